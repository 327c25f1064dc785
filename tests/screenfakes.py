"""Fakes for the screens: a drill that judges by pitch alone, a library, a pianist."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from fractions import Fraction as F
from pathlib import Path
from typing import Protocol, TypedDict

from textual import work

from coach.coaching.drill.drill import Drill
from coach.coaching.drill.drill_events import (
    AssignmentGiven,
    DrillEvent,
    DrillState,
    NoteMarked,
    Proposed,
    RepetitionBegan,
    RepetitionEnded,
    SetAside,
    StateChanged,
    StrayKey,
)
from coach.coaching.model import Assignment, AssignmentKind, Decision, Request, Trouble, TroubleKind
from coach.coaching.planning import PlanRow
from coach.judging.judge import JudgingJob
from coach.judging.model import Cause, Family, Fault, Judgement, Label, ScoreLabel, Stage
from coach.playing.click_schedule import Timed
from coach.playing.midi_events import KeyDown, KeyEvent, MidiEvent
from coach.playing.notes import PlayedNote, Take
from coach.playing.ports.own_sound import OwnSound
from coach.score.build import score_from_notes
from coach.score.formats import ScoreError
from coach.score.model import Hands, Score
from coach.score.window import Excerpt, Window, excerpt
from coach.screens.dialogs.opening import OpeningScreen
from coach.screens.interfaces import (
    ClickLike,
    Collaborators,
    DiariesLike,
    DrillLike,
    DrillSession,
    Errand,
    HomeItem,
    NextDrill,
    PianistsLike,
)
from coach.screens.widgets import Engraver


def note(
    pitch: int, onset: int, length: int, hand: str = "RH", **more: object
) -> dict[str, object]:
    return {"pitch": pitch, "onset": onset, "length": length, "hand": hand, **more}


def two_hands(bars: int = 2) -> Score:
    """A C major tune in quarters over half notes, with fingering."""
    notes = []
    for bar in range(bars):
        for beat, (pitch, finger) in enumerate([(60, "1"), (62, "2"), (64, "3"), (65, "4")]):
            notes.append(note(pitch + 2 * (bar % 2), 4 * bar + beat, 1, fingering=finger))
        notes.append(note(48, 4 * bar, 2, "LH", fingering="5"))
        notes.append(note(43, 4 * bar + 2, 2, "LH", fingering="2"))
    return score_from_notes(notes, qpm=80, title="Fake tune")


class FakeDrill:
    """Every key is the next onset's; a repetition is clean when all its pitches were struck."""

    def __init__(
        self,
        score: Score,
        hands: Hands = Hands.RIGHT,
        window: Window | None = None,
        required: int = 3,
    ) -> None:
        self.score, self.state = score, DrillState.READY
        self.asked: list[Request] = []
        self.window = window or Window(F(0), F(4), hands)
        self.run, self.required = 0, required
        self.troubles: tuple[Trouble, ...] = ()
        self.click = self.changed = False
        self.proposes = ""
        self._set_up()

    def _set_up(self) -> None:
        self.excerpt = excerpt(self.score, self.window)
        self.struck: list[PlayedNote] = []

    @property
    def assignment(self) -> Assignment:
        whole = self.window.end_quarters >= 4
        reason = "Play it as it is, so that I hear where it breaks." if whole else "Only this."
        return Assignment(
            self.window,
            60.0 if whole else 40.0,
            Stage.RHYTHM,
            self.required,
            AssignmentKind.TRY,
            reason,
            self.click,
        )

    @property
    def decision(self) -> Decision:
        trouble = self.troubles[0] if self.troubles else None
        done = self.run >= self.required
        return Decision(
            self.assignment, self.changed, self.run, trouble, self.troubles, finished=done
        )

    def given(self) -> AssignmentGiven:
        return AssignmentGiven(self.assignment, self.excerpt, self.decision)

    @property
    def reached(self) -> F | None:
        return self.excerpt.notes[len(self.struck) - 1].onset_quarters if self.struck else None

    def start(self, now_s: float) -> tuple[DrillEvent, ...]:
        return (StateChanged(self.state), self.given())

    def hear(self, event: KeyEvent) -> tuple[DrillEvent, ...]:
        if not isinstance(event, KeyDown) or self.state is DrillState.NO_PIANO:
            return ()
        pitch, at_s = event.pitch, event.at_s
        out: list[DrillEvent] = []
        if not self.struck:
            self.state = DrillState.PLAYING
            out += [StateChanged(self.state), RepetitionBegan(at_s)]
        index = len(self.struck)
        self.struck.append(PlayedNote(pitch, event.velocity, at_s))
        right = self.excerpt.notes[index].pitch == pitch
        out.append(NoteMarked(index, Label.MATCHED if right else Label.WRONG))
        if not any(one.pitch == pitch for one in self.excerpt.notes):
            out.append(StrayKey(pitch, None))
        if len(self.struck) == len(self.excerpt.notes):
            out += self._end()
        return tuple(out)

    def _end(self) -> list[DrillEvent]:
        notes = self.excerpt.notes
        pairs = list(zip(notes, self.struck, strict=True))
        labels = [Label.MATCHED if n.pitch == p.pitch else Label.WRONG for n, p in pairs]
        clean = all(label is Label.MATCHED for label in labels)
        self.run = self.run + 1 if clean else 0
        judgement, asked = self._judgement(labels, clean), self.assignment
        self.changed = not clean and self.window.end_quarters > 2
        if self.changed:
            self.window = replace(self.window, end_quarters=F(2))
        ended = RepetitionEnded(Take(tuple(self.struck)), judgement, self.decision, asked, ())
        self.state = DrillState.FINISHED if self.run >= self.required else DrillState.READY
        self._set_up()
        proposed = [Proposed(self.proposes)] if self.proposes else []
        self.proposes = ""
        return [ended, StateChanged(self.state), self.given(), *proposed]

    def _judgement(self, labels: list[Label], clean: bool) -> Judgement:
        faults: tuple[Fault, ...] = ()
        if not clean:
            at = labels.index(Label.WRONG)
            onset = self.excerpt.notes[at].onset_quarters
            transition = self.excerpt.transition_to(onset, self.window.hands)
            faults = (
                Fault(
                    transition,
                    onset,
                    Family.PITCH,
                    1.0,
                    "wrong key",
                    note=at,
                    cause=Cause.WRONG_KEY,
                ),
            )
            kind = TroubleKind.ONE_HAND
            place = "RH bar 1, beat 2 → 3"
            self.troubles = (Trouble(transition, onset, kind, 0.8, "2 of the last 2", place),)
        sentence = "Clean." if clean else "RH wrong key on beat 3."
        score = tuple(ScoreLabel(i, label, i, 20.0) for i, label in enumerate(labels))
        return Judgement(
            self.excerpt, Stage.RHYTHM, score, (), 61.0, (), faults, clean, True, False, sentence
        )

    def tick(self, now_s: float) -> tuple[DrillEvent, ...]:
        return ()

    def take_verdict(
        self, job: JudgingJob, judgement: Judgement, now_s: float
    ) -> tuple[DrillEvent, ...]:
        return ()

    def piano_lost(self, now_s: float) -> tuple[DrillEvent, ...]:
        self.state = DrillState.NO_PIANO
        self._set_up()
        return (SetAside("The piano was unplugged."), StateChanged(self.state))

    def piano_found(self, now_s: float) -> tuple[DrillEvent, ...]:
        if self.state is not DrillState.NO_PIANO:
            return ()
        self.state = DrillState.READY
        return (StateChanged(self.state), self.given())

    def ask(self, request: Request, now_s: float) -> tuple[DrillEvent, ...]:
        self.asked.append(request)
        if request is Request.LARGER:
            self.window = replace(self.window, end_quarters=F(8))
            self._set_up()
        return (self.given(),)

    def foresee(self, request: Request) -> Excerpt:
        end = F(8) if request is Request.LARGER else self.window.end_quarters
        return excerpt(self.score, replace(self.window, end_quarters=end))

    def pause(self, now_s: float) -> tuple[DrillEvent, ...]:
        self.state = DrillState.RESTING
        return (StateChanged(self.state),)

    def resume(self, now_s: float) -> tuple[DrillEvent, ...]:
        self.state = DrillState.READY
        return (StateChanged(self.state), self.given())


class DrillOfScore(DrillLike, Protocol):
    """A drill that knows its score: the real one, or the fake."""

    @property
    def score(self) -> Score:
        """What is drilled."""


class FakePianist:
    """Plays every note right, a quarter of a second apart."""

    def play(
        self, excerpt: Excerpt, qpm: float | None, *, start_s: float
    ) -> tuple[PlayedNote, ...]:
        return tuple(
            PlayedNote(n.pitch, 64, start_s + 0.25 * i, 0.2) for i, n in enumerate(excerpt.notes)
        )


class FakeLibrary:
    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def items(self) -> tuple[HomeItem, ...]:
        return (
            HomeItem(Errand.WARM_UP, "Warm-up", "2 weak spots of yesterday", Path("tune.musicxml")),
            HomeItem(Errand.GO_ON, "Fake tune", "go on where you stopped", Path("tune.musicxml")),
            HomeItem(Errand.DRILL, "Broken", "sample score", Path("broken.musicxml")),
        )

    def folder(self) -> Path:
        return self._folder


class FakePorts:
    """Remembers whom to post to, so that a test can play."""

    def __init__(self) -> None:
        self._post: Callable[[MidiEvent], None] | None = None
        self.closed = False
        self.own = OwnSound()
        self.watching: Callable[[int, tuple[int, ...], float], None] | None = None

    def post(self, event: MidiEvent) -> None:
        """Play it."""
        assert self._post, "nobody listens"
        self._post(event)

    def names_in(self) -> tuple[str, ...]:
        return ("Test piano",)

    def listen(
        self, wanted: str | None, post: Callable[[MidiEvent], None], before: str | None = None
    ) -> None:
        self._post = post

    def watch(self, watch: Callable[[int, tuple[int, ...], float], None] | None) -> None:
        self.watching = watch

    def name_out(self, wanted: str | None = None) -> None:
        """It takes no click."""

    def close(self) -> None:
        self.closed = True


class FakeClick:
    """Sounds, or has no way to."""

    def __init__(self, sounds: bool = True) -> None:
        self.sounds = sounds
        self.played: list[Timed] = []
        self.stopped = 0

    def prepare(self) -> None:
        pass

    def play(self, messages: Sequence[Timed], from_s: float | None = None) -> bool:
        self.played = [*(one for one in self.played if from_s and one[0] < from_s), *messages]
        return self.sounds

    def stop(self) -> None:
        self.stopped += 1

    def close(self) -> None:
        pass


class StillOpening(OpeningScreen):
    """A score that is not open yet."""

    def __init__(self, path: Path) -> None:
        super().__init__(Staging()._open, path, Errand.DRILL)

    @work(thread=True)
    def _open(self) -> None:
        """Never done."""


class StagingOptions(TypedDict, total=False):
    """What a test may stage otherwise."""

    drill: DrillOfScore
    ports: bool
    sentence: str
    learns: bool
    notices: tuple[str, ...]
    after: DrillOfScore | None
    click: ClickLike
    diaries: DiariesLike
    engraver: Engraver
    pianists: PianistsLike


class Staging:
    """Everything the app is given, and what it did with it."""

    def __init__(
        self,
        folder: Path = Path("."),
        *,
        drill: DrillOfScore | None = None,
        ports: bool = True,
        sentence: str = "",
        learns: bool = False,
        notices: tuple[str, ...] = (),
        after: DrillOfScore | None = None,
        click: ClickLike | None = None,
        diaries: DiariesLike | None = None,
        engraver: Engraver | None = None,
        pianists: PianistsLike | None = None,
    ) -> None:
        self.score = drill.score if drill else two_hands()
        self.drill: DrillOfScore = drill or FakeDrill(self.score)
        self.ports = FakePorts()
        self.kept: list[RepetitionEnded] = []
        self.left = 0
        self.errands: list[Errand | str] = []
        self.moves: list[str] = []
        self.keep_says = sentence
        self.plan: Sequence[PlanRow] = ()
        self.learns = learns
        self.after = after
        self.given = Collaborators(
            open_score=self._open,
            make_session=self._session,
            library=FakeLibrary(folder),
            ports=self.ports if ports else None,
            click=click,
            ports_sentence="" if ports else "Install libasound2 to use a piano.",
            make_pianist=lambda score: FakePianist(),
            demo_path=Path("tune.musicxml"),
            notices=lambda: notices,
            diaries=diaries,
            engraver=engraver,
            pianists=pianists,
        )

    def _open(
        self,
        path: Path,
        moves: Sequence[str],
        on_progress: Callable[[str], None],
        cancelled: Callable[[], bool],
    ) -> Score:
        self.moves += moves
        on_progress("reading bar 1")
        if path.name == "broken.musicxml":
            raise ScoreError("broken.musicxml is empty; choose another file.")
        return self.score

    def _go_on(self, now_s: float) -> DrillSession:
        assert self.after
        self.drill, self.after = self.after, None
        return self._session(self.score, None, "going on", now_s)

    def _session(
        self, score: Score, path: Path | None, errand: Errand | str, now_s: float
    ) -> DrillSession:
        self.errands.append(errand)
        real = self.drill if self.learns else None
        assert real is None or isinstance(real, Drill)
        return DrillSession(
            score, self.drill, "Fake tune", self._keep, self._leave,
            real.coach.plan if real else lambda: self.plan,
            real.change_plan if real else None,
            real.reorder if real else None,
            lambda: self.keep_says,
            NextDrill("bars 3 to 4", self._go_on) if self.after else None,
        )  # fmt: skip

    def _keep(self, ended: RepetitionEnded) -> str:
        self.kept.append(ended)
        return self.keep_says

    def _leave(self) -> str:
        self.left += 1
        return ""
