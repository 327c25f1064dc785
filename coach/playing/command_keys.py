"""Commands from the piano: what asks for something, and is no music.

Keys beyond the piece's range lie side by side from the lowest white key up, where the piece leaves
them free, and go on from the highest down. A pianist finds them without looking, as steps from the
end of the keyboard. What else asks is learnt: a key, the middle or the left pedal, a button. The
right pedal never asks, nor the left one where the score wants it.

Nothing is fired while a repetition is played, nor by a key or pedal that comes along with others: a
slip off the music, an arm on the keys, a child.

The key at the edge of the keyboard (:class:`Edge`) asks to go on, also where no other key asks for
anything. Every piano has a lowest key, the hand finds it without looking, and no slip strikes it.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from coach.playing.midi_events import (
    DOWN_FROM,
    PROGRAM,
    SOFT,
    SOSTENUTO,
    ButtonDown,
    KeyDown,
    KeyUp,
    MidiEvent,
    Pedal,
)
from coach.score.model import Score
from coach.score.pitch import MIDDLE_C, Spelling

# The key at the edge, with which a pianist asks to go on.

LOWEST_C = 36
"""The lowest key of a keyboard of 61 keys; of larger ones it lies below (common practice)."""
HIGHEST_C = 96
"""The highest key of a keyboard of 61 keys; of larger ones it lies above."""
CLEAR_SEMITONES = 5
"""How far it has to be from what is played there, so that no slip strikes it. Our choice."""


class Edge(StrEnum):
    """Which end of the keyboard."""

    LOWEST = "lowest"
    HIGHEST = "highest"

    @classmethod
    def clear_of(cls, pitches: Collection[int]) -> Edge:
        """The end that is free of these keys: the highest only where they need the lowest."""
        needs_low = min(pitches) - CLEAR_SEMITONES < LOWEST_C
        needs_high = max(pitches) + CLEAR_SEMITONES > HIGHEST_C
        return cls.HIGHEST if needs_low and not needs_high else cls.LOWEST

    def is_struck(self, pitch: int, pitches: Collection[int]) -> bool:
        """Whether a key lies at this end of every keyboard, and outside what is played."""
        if self is Edge.LOWEST:
            return pitch <= LOWEST_C and pitch < min(pitches)
        return pitch >= HIGHEST_C and pitch > max(pitches)


# The keys beyond the piece's range, and what else asks for something.

RANGES: Mapping[int, tuple[int, int]] = {
    88: (21, 108),
    85: (21, 105),
    76: (28, 103),
    73: (28, 100),
    61: (36, 96),
    49: (36, 84),
}
"""Lowest and highest key of keyboards of so many keys (MIDI numbers; common practice)."""
WHITE = frozenset({0, 2, 4, 5, 7, 9, 11})
"""Pitch classes of the white keys."""
ALONE_S = 0.4
"""A key is a command only where no other came so shortly before it. Own choice, because nobody who
reaches from the music to the end of the keyboard is quicker."""


REACH_SEMITONES = 15
"""How far a command key is at least from what the piece needs. Own choice, because a hand that
begins an octave too low, and slips a step beside that, still strikes none."""


class PianoCommand(StrEnum):
    """What can be asked for from the piano, the most wanted first."""

    HEAR = "hear"
    HEAR_MINE = "mine"
    SLOWER = "slower"
    FASTER = "faster"
    SMALLER = "smaller"
    LARGER = "larger"
    OTHER_HAND = "other hand"
    NEXT = "next"
    PAUSE = "pause"
    WITH_ME = "with me"
    CLICK = "click"
    LOOP = "loop"
    AGAIN = "again"
    NOT_THIS = "not this"
    WHY = "why"
    DETAILS = "details"
    PLAN = "plan"
    HOME = "home"
    MORE = "more"
    """All of these, each on a key of its own, while nothing is played."""


_ASKED: tuple[PianoCommand, ...] = tuple(one for one in PianoCommand if one != PianoCommand.MORE)
"""All that is done, and does not only lead to it."""


@dataclass(frozen=True, slots=True)
class CommandKey:
    """A key and what it asks for."""

    pitch: int
    command: PianoCommand

    @property
    def name(self) -> str:
        """The key's name, without its octave."""
        return Spelling.of(self.pitch).words


def lay_command_keys(lowest: int, highest: int, size: int = 88) -> tuple[CommandKey, ...]:
    """The command keys of a piece that needs the keys from ``lowest`` to ``highest``.

    As many commands as there are free white keys, those at the low end first, in order from it;
    then from the high end down. A key has to be :data:`REACH_SEMITONES` away from the piece. Where
    there are fewer keys than commands, the last of them leads to all.
    """
    first, last = RANGES[size]
    low = [key for key in range(first, lowest - REACH_SEMITONES + 1) if key % 12 in WHITE]
    high = [key for key in range(last, highest + REACH_SEMITONES - 1, -1) if key % 12 in WHITE]
    free, asked = [*low, *high], list(_ASKED)
    if len(free) < len(asked):
        asked[max(len(free) - 1, 0) :] = [PianoCommand.MORE]
    return tuple(CommandKey(key, command) for key, command in zip(free, asked, strict=False))


def lay_all_commands(size: int = 88) -> tuple[CommandKey, ...]:
    """Every command on a white key from the lowest up: for while nothing is played at all."""
    first, last = RANGES[size]
    white = (key for key in range(first, last + 1) if key % 12 in WHITE)
    asked = _ASKED
    return tuple(CommandKey(key, command) for key, command in zip(white, asked, strict=False))


# What is learnt: any key, pedal or button that the pianist chose for a command.


class TriggerKind(StrEnum):
    """What of a piano can ask for something."""

    KEY = "key"
    PEDAL = "pedal"
    BUTTON = "button"


@dataclass(frozen=True, slots=True)
class Trigger:
    """A key, a pedal or a button, by its MIDI number."""

    kind: TriggerKind
    number: int

    def __str__(self) -> str:
        """As it is kept: ``pedal 67``."""
        return f"{self.kind} {self.number}"

    @classmethod
    def read(cls, text: str) -> Trigger | None:
        """What :meth:`__str__` wrote; None for anything else."""
        kind, _, number = text.partition(" ")
        if kind not in list(TriggerKind) or not (number.isascii() and number.isdecimal()):
            return None
        return cls(TriggerKind(kind), int(number))

    @property
    def words(self) -> str:
        """What it is, for the pianist."""
        if self.kind is TriggerKind.PEDAL:
            return "the left pedal" if self.number == SOFT else "the middle pedal"
        if self.kind is TriggerKind.KEY:
            end = "low" if self.number < MIDDLE_C else "high"
            return f"the {end} {Spelling.of(self.number).words}"
        if self.number >= PROGRAM:
            return f"the button of sound {self.number - PROGRAM + 1}"
        return f"button {self.number}"


def trigger_of(event: MidiEvent) -> Trigger | None:
    """What of the piano was used, where it may be chosen at all: never the right pedal."""
    match event:
        case KeyDown(pitch):
            return Trigger(TriggerKind.KEY, pitch)
        case Pedal(controller, value) if controller in (SOSTENUTO, SOFT):
            return Trigger(TriggerKind.PEDAL, controller) if value >= DOWN_FROM else None
        case ButtonDown(number):
            return Trigger(TriggerKind.BUTTON, number)
    return None


def asks_una_corda(score: Score) -> bool:
    """Whether the score wants the left pedal somewhere (the usual words for it)."""
    wanted = ("una corda", "u.c.", "due corde", "soft pedal", "linkes pedal", "mit verschiebung")
    return any(word in one.text.casefold() for one in score.directions for word in wanted)


Bound = Mapping[Trigger, PianoCommand]
"""What the pianist chose for what."""


def leave_out_music(bound: Bound, score: Score) -> dict[Trigger, PianoCommand]:
    """What of it may ask while a piece is practised: no key in its range, no pedal it wants."""
    pitches = [note.pitch for note in score.notes]
    near = range(min(pitches) - REACH_SEMITONES + 1, max(pitches) + REACH_SEMITONES)
    needs_left = asks_una_corda(score)
    return {
        trigger: command
        for trigger, command in bound.items()
        if not (trigger.kind is TriggerKind.KEY and trigger.number in near)
        and not (needs_left and trigger == Trigger(TriggerKind.PEDAL, SOFT))
    }


END_KEYS = 20
"""A key so near to an end of the keyboard may be chosen for a command where no piece is at hand.
Own choice, because a piece that leaves them free leaves no more."""


def is_at_an_end(trigger: Trigger, lowest: int, highest: int) -> bool:
    """Whether it may be chosen where no piece is at hand: no key in the middle of the keyboard."""
    in_reach = range(lowest + END_KEYS, highest - END_KEYS + 1)
    return not (trigger.kind is TriggerKind.KEY and trigger.number in in_reach)


class CommandListener:
    """Tells what of the piano asks for something; time is an argument."""

    def __init__(self, keys: Sequence[CommandKey], bound: Bound | None = None) -> None:
        """``bound`` is what was learnt; it comes before the keys as they are laid."""
        laid = {Trigger(TriggerKind.KEY, one.pitch): one.command for one in keys}
        self._commands = {**laid, **(bound or {})}
        self._last_s = float("-inf")
        """When a key was struck, last."""
        self._down: set[int] = set()
        """Pedals that are down."""

    def hear(self, event: MidiEvent, *, is_playing: bool) -> PianoCommand | None:
        """What it asks for, where it asks for anything; to be told of everything, in order."""
        trigger = trigger_of(event)
        alone = self._note(event)
        return self._commands.get(trigger) if trigger and alone and not is_playing else None

    def _note(self, event: MidiEvent) -> bool:
        """Whether it comes alone: a key or pedal not soon after a key, a pedal that goes down."""
        match event:
            case KeyDown(_, _, at_s):
                alone = at_s - self._last_s >= ALONE_S
                self._last_s = at_s
                return alone
            case Pedal(controller, value, at_s):
                was_down = controller in self._down
                is_down = value >= DOWN_FROM
                (self._down.add if is_down else self._down.discard)(controller)
                return is_down and not was_down and at_s - self._last_s >= ALONE_S
            case KeyUp():
                return False
        return True


# Lists on the screen: a few keys at the low end move in them, while nothing is played.


class ListStep(StrEnum):
    """What can be done with a list, in the order of its keys."""

    CHOOSE = "choose"
    DOWN = "down"
    UP = "up"
    BACK = "back"


QUIET_S = 1.0
"""A key moves in a list only where so long before it nothing was struck but such keys. Own choice,
because who tries the piano out strikes its lowest keys together with others."""

_STEPS = {
    PianoCommand.HEAR: ListStep.CHOOSE,
    PianoCommand.AGAIN: ListStep.CHOOSE,
    PianoCommand.NEXT: ListStep.DOWN,
    PianoCommand.MORE: ListStep.BACK,
    PianoCommand.HOME: ListStep.BACK,
    PianoCommand.PAUSE: ListStep.BACK,
}
"""What the learnt commands mean in a list."""


def lay_list_keys(size: int = 88) -> tuple[tuple[int, ListStep], ...]:
    """The lowest white keys, and what each does with a list."""
    return tuple(
        (one.pitch, step) for one, step in zip(lay_all_commands(size), ListStep, strict=False)
    )


class ListKeys:
    """Tells which key, pedal or button moves in a list; time is an argument."""

    def __init__(self, size: int = 88, bound: Bound | None = None) -> None:
        self._steps = dict(lay_list_keys(size))
        self._learnt = CommandListener((), bound)
        self._other_s = float("-inf")
        """When a key was struck that moves in no list, last."""

    def hear(self, event: MidiEvent) -> ListStep | None:
        """What it does with a list, where anything; to be told of everything, in order."""
        learnt = self._learnt.hear(event, is_playing=False)
        if not isinstance(event, KeyDown):
            return _STEPS.get(learnt) if learnt else None
        step = self._steps.get(event.pitch) or (_STEPS.get(learnt) if learnt else None)
        if step is None:
            self._other_s = event.at_s
            return None
        return step if event.at_s - self._other_s >= QUIET_S else None
