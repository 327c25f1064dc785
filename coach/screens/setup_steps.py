"""Setting a piano up, step by step, each done by playing: what is asked, and what was found.

Pure: time is an argument. What is to sound is asked for by :meth:`PianoSetup.take_sound`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum

from coach.judging.calibration import calibrate
from coach.playing.click_schedule import HIGH_WOOD_BLOCK, Timed
from coach.playing.command_keys import PianoCommand, Trigger, is_at_an_end, trigger_of
from coach.playing.midi_events import KeyDown, MidiEvent
from coach.playing.piano_check import name_shift
from coach.score.pitch import MIDDLE_C

BEATS, BEAT_S = 14, 0.6
"""The click to tap along with: a hundred beats a minute, for less than nine seconds."""
SOFT_NOTE, SOFT_VELOCITY, SOFT_S = 72, 40, 1.2
"""The note that tries the way out: a soft C above the middle."""
BEFORE_S = 0.6
"""From a step's beginning to its first sound. Own choice: the words are read first."""
HEARD_WITHIN_S = 8.0
"""How long an answer to the soft note is waited for. Own choice."""
BOUND = (PianoCommand.HEAR, PianoCommand.NEXT)
"""The two commands that are bound: in a list they choose and go down, so that both together lead
through a whole evening."""


class SetupStep(Enum):
    """What is asked for, in this order."""

    STRIKE = "Strike any key."
    LOWEST = "Strike the lowest key of your piano."
    HIGHEST = "Now the highest."
    SOUND = "A soft C sounds now, by itself. Strike any key once you hear it; else wait."
    TAP = "Strike any key; then tap one key along with the click, as evenly as you can."
    HEAR = (
        "What shall mean “hear”? Press the middle or the left pedal, a button, or a key at either "
        "end. A key in the middle: none."
    )
    NEXT = "And what shall mean “next”? A key in the middle: none."
    DONE = "That is all. Strike any key to go on."


@dataclass(slots=True)
class SetupFound:
    """What was found out; None where a step was passed over."""

    piano_keys: int | None = None
    is_heard: bool | None = None
    offset_ms: float | None = None
    bound: dict[Trigger, PianoCommand] = field(default_factory=dict)
    remedies: list[str] = field(default_factory=list)
    """What there is to do at the piano, in sentences."""


NO_WAY_OUT = "It takes no MIDI from here, or its other cable is missing: the click is only seen."
LOCAL_CONTROL = "Sounds a key twice, or not at all? Look at the piano's Local Control: on, mostly."
NOT_HEARD = (
    "The soft note was not heard: turn the volume up, and see that the piano receives on channel 1 "
    "(some call it MIDI IN). With Local Control off it may be silent, too: turn that on."
)
COMES_BACK = "It sends on what it is sent (thru): I leave that out, and hear only your keys."
TAPS_TOO_FEW = "The taps were too few or too uneven to tell the delay; it stays as it was."


class PianoSetup:
    """Asks for one thing after the other; what is played leads on."""

    def __init__(self, *, can_sound: bool) -> None:
        self.step = SetupStep.STRIKE
        self.found = SetupFound()
        self.said = LOCAL_CONTROL
        """What is said beside the question: of the step before, or why it is asked again."""
        self.done: list[str] = []
        """What is known by now, a row each."""
        self._can_sound = can_sound
        self._lowest = 0
        self._since_s = 0.0
        self._clicks: tuple[float, ...] = ()
        self._taps: list[float] = []
        self._sound: tuple[Timed, ...] | None = None

    @property
    def is_over(self) -> bool:
        """Whether there is nothing more to ask."""
        return self.step is SetupStep.DONE

    def take_sound(self) -> tuple[Timed, ...] | None:
        """What is to sound now, once; None where nothing new is."""
        sound, self._sound = self._sound, None
        return sound

    def hear(self, event: MidiEvent) -> None:
        """Something was played."""
        if self.step in (SetupStep.HEAR, SetupStep.NEXT):
            self._bind(event)
        elif isinstance(event, KeyDown):
            self._hear_key(event.pitch, event.at_s)

    def tick(self, now_s: float) -> None:
        """Time passed: nobody heard the soft note; the click is over."""
        if self.step is SetupStep.SOUND and now_s > self._since_s + HEARD_WITHIN_S:
            self._answer_sound(False, now_s)
        elif self.step is SetupStep.TAP and self._clicks and now_s > self._clicks[-1] + BEAT_S:
            self._end_taps(now_s)

    def _hear_key(self, pitch: int, at_s: float) -> None:
        match self.step:
            case SetupStep.STRIKE:
                self._turn_to(SetupStep.LOWEST, at_s)
            case SetupStep.LOWEST if pitch >= MIDDLE_C:
                self.said = "That one is in the upper half."
            case SetupStep.LOWEST:
                self._lowest = pitch
                self._turn_to(SetupStep.HIGHEST, at_s)
            case SetupStep.HIGHEST if pitch <= max(MIDDLE_C, self._lowest):
                self.said = "That one is in the lower half."
            case SetupStep.HIGHEST:
                self._take_size(pitch, at_s)
            case SetupStep.SOUND:
                self._answer_sound(True, at_s)
            case SetupStep.TAP:
                self._tap(at_s)

    def _take_size(self, highest: int, at_s: float) -> None:
        size, remedy = name_shift(self._lowest, highest)
        self.found.piano_keys = size
        self._add_remedy(remedy)
        count = highest - self._lowest + 1
        as_one = "" if count == size else f" (used as one of {size})"
        self.done.append(f"{count} keys{as_one}")
        if not self._can_sound:
            self._add_remedy(NO_WAY_OUT)
        self._turn_to(SetupStep.SOUND if self._can_sound else SetupStep.HEAR, at_s)

    def _answer_sound(self, is_heard: bool, now_s: float) -> None:
        self.found.is_heard = is_heard
        if is_heard:
            self.done.append("what I play is heard")
        else:
            self._add_remedy(NOT_HEARD)
        self._turn_to(SetupStep.TAP if is_heard else SetupStep.HEAR, now_s)

    def _tap(self, at_s: float) -> None:
        if self._clicks:
            self._taps.append(at_s)
            return
        start_s = at_s + 2 * BEAT_S
        self._clicks = tuple(start_s + BEAT_S * beat for beat in range(BEATS))
        block = (0x99, HIGH_WOOD_BLOCK, 100)  # channel 10 (General MIDI level 1)
        self._sound = tuple((when_s, block) for when_s in self._clicks)

    def _end_taps(self, now_s: float) -> None:
        found = calibrate(self._clicks, self._taps)
        if found is None:
            self._add_remedy(TAPS_TOO_FEW)
        else:
            self.found.offset_ms = found.offset_ms
            side = "after" if found.offset_ms >= 0 else "before"
            self.done.append(f"your keys come {abs(found.offset_ms):.0f} ms {side} the click")
        self._turn_to(SetupStep.HEAR, now_s)

    def _bind(self, event: MidiEvent) -> None:
        trigger = trigger_of(event)
        if trigger is None:
            return
        command = BOUND[self.step is SetupStep.NEXT]
        highest = self._lowest + (self.found.piano_keys or 88) - 1
        if trigger in self.found.bound:
            self.said = f"{trigger.words} already means “{self.found.bound[trigger]}”: another one."
            return
        if is_at_an_end(trigger, self._lowest, highest):
            self.found.bound[trigger] = command
            self.done.append(f"{trigger.words}: {command}")
        follows = SetupStep.NEXT if self.step is SetupStep.HEAR else SetupStep.DONE
        self._turn_to(follows, 0.0)

    def _add_remedy(self, sentence: str) -> None:
        if sentence:
            self.found.remedies.append(sentence)
            self.said = sentence

    def _turn_to(self, step: SetupStep, now_s: float) -> None:
        self.step, self._since_s = step, now_s
        self.said = self.said if self.found.remedies[-1:] == [self.said] else ""
        if step is SetupStep.SOUND:
            on_s = now_s + BEFORE_S
            on, off = (0x90, SOFT_NOTE, SOFT_VELOCITY), (0x80, SOFT_NOTE, 0)
            self._sound = ((on_s, on), (on_s + SOFT_S, off))
