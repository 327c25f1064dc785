"""Which place, which hand, what sort of trouble: told from what was heard of each move."""

from __future__ import annotations

from fractions import Fraction as F
from random import Random

import pytest

from coach.coaching.diagnosis.evidence import Evidence, MoveAttempt
from coach.coaching.diagnosis.troubles import Diagnosis, diagnose, fitts_bits, leap_bits
from coach.coaching.model import Observation, TroubleKind
from coach.coaching.windows import PracticeMap
from coach.coaching.wording import evidence_words
from coach.judging.model import Outcome
from coach.score.build import score_from_notes
from coach.score.model import Hands, Score
from coach.score.window import Window
from tests.lessons import piece

RH, LH, BOTH = Hands.RIGHT, Hands.LEFT, Hands.TOGETHER
QPM = 96.0
WORDS = {"w": Outcome.WRONG, "l": Outcome.LATE, ".": Outcome.CLEAN, "-": Outcome.NOT_REACHED}


class Ear:
    """What was heard of a piece, repetition after repetition."""

    def __init__(self, score: Score | None = None) -> None:
        self.score = score or piece()
        self.practice_map = PracticeMap(self.score, Window(F(0), self.score.end_quarters))
        self.evidence = Evidence()
        self.now_s = 0.0

    def hears(
        self,
        course: str,
        hand: Hands = LH,
        beat: int = 6,
        *,
        hands: Hands = BOTH,
        qpm: float = QPM,
        late_ms: float = 400.0,
    ) -> Ear:
        """``"w.l"``: the hand's arrival on the beat was wrong, clean, late; all else was clean."""
        for letter in course:
            self.repetition({(hand, beat): WORDS[letter]}, hands, qpm, late_ms)
        return self

    def repetition(
        self,
        failed: dict[tuple[Hands, int], Outcome],
        hands: Hands = BOTH,
        qpm: float = QPM,
        late_ms: float = 400.0,
    ) -> None:
        self.now_s += 20
        moves = [t for t in self.practice_map.transitions if t.hands.members <= hands.members]
        outcomes = [failed.get((t.hands, int(t.to_quarters)), Outcome.CLEAN) for t in moves]
        late = [late_ms if outcome is Outcome.LATE else None for outcome in outcomes]
        self.evidence.add(
            [
                Observation(self.now_s, t, t.to_quarters, hands, outcome, qpm, ms)
                for t, outcome, ms in zip(moves, outcomes, late, strict=True)
            ],
            QPM,
        )

    @property
    def diagnosis(self) -> Diagnosis:
        return diagnose(self.evidence, self.practice_map)

    @property
    def troubles(self) -> list[tuple[Hands, int]]:
        return [(t.hands, int(t.transition.to_quarters)) for t in self.diagnosis.troubles]


def test_nothing_failed_nothing_is_suspected() -> None:
    found = Ear().hears(".....").diagnosis
    assert (found.troubles, found.suspects) == ((), ())


def test_the_more_was_heard_the_fewer_places_are_to_be_expected_unheard() -> None:
    """Before anything is heard one place is expected; of those that fail in six of ten, one in
    four hundred is still silent after the sixth hearing, and of rarer ones more."""
    ear, unheard = Ear(), []
    for _ in range(6):
        unheard.append(ear.diagnosis.unheard)
        ear.hears(".")
    assert unheard == sorted(unheard, reverse=True)
    assert unheard[0] == pytest.approx(1.0, abs=0.01)
    assert 0.05 < unheard[-1] < 0.1


def test_where_one_place_breaks_a_second_is_likelier() -> None:
    assert Ear().hears("www").diagnosis.unheard > 1.5 * Ear().hears("...").diagnosis.unheard


def heard(*repetitions: tuple[int, ...]) -> Ear:
    """Repetitions in which the left hand was wrong on these beats."""
    ear = Ear()
    for beats in repetitions:
        ear.repetition({(LH, beat): Outcome.WRONG for beat in beats})
    return ear


def test_a_slip_or_two_elsewhere_do_not_make_a_slip_of_what_broke_twice() -> None:
    """They make it less sure, tenfold or so: it is as likely a place now as not."""

    def odds(*repetitions: tuple[int, ...]) -> float:
        suspects = heard(*repetitions).diagnosis.suspects
        fault = next(s.posterior.fault for s in suspects if s.transition.to_quarters == 9)
        return fault / (1 - fault)

    before, after = odds((9,), (9,), (), (), ()), odds((9,), (9,), (), (), (), (3, 13))
    assert 5 < before / after < 20


def test_of_many_places_that_broke_once_none_is_named_for_breaking_twice() -> None:
    """Who slips everywhere slips twice somewhere."""
    assert heard((2,), (5,), (8,), (11,), (2,)).troubles == []
    assert heard((2,), (5,), (8,), (11,), (2,), (2,)).troubles == [(LH, 2)]


def test_who_is_not_known_slips_seldom_and_is_known_by_the_slips() -> None:
    """One move in 130; after six clean repetitions of 32 moves one in 400, after one slip in each
    of six one in 40."""
    assert Ear().diagnosis.slip_rate.mean == pytest.approx(1 / 130, rel=0.1)
    assert heard(*[()] * 6).diagnosis.slip_rate.mean == pytest.approx(1 / 390, rel=0.1)
    often = heard((3,), (6,), (9,), (12,), (15,), (2,)).diagnosis.slip_rate.mean
    assert often == pytest.approx(1 / 40, rel=0.25)


def test_one_failure_is_suspected_and_not_yet_named() -> None:
    found = Ear().hears("..w").diagnosis
    assert found.troubles == ()
    assert [int(s.transition.to_quarters) for s in found.suspects] == [6]


def test_what_was_wrong_twice_in_one_hand_is_that_hand_s_until_it_is_clean_alone() -> None:
    assert Ear().hears(".ww").troubles == [(LH, 6)]
    assert Ear().hears(".ww").hears(".", hands=LH).diagnosis.troubles[0].open_hand


def test_where_one_hand_moves_alone_nothing_can_be_of_both_together() -> None:
    notes = [{"pitch": 60, "onset": 4 * k, "length": 4, "hand": "LH"} for k in range(2)]
    notes += [{"pitch": 72 + k % 3, "onset": k, "length": 1, "hand": "RH"} for k in range(8)]
    ear = Ear(score_from_notes(notes, qpm=QPM)).hears("w", RH, 2).hears("w", RH, 4)
    by_beat = {int(one.transition.to_quarters): one for one in ear.diagnosis.suspects}
    assert by_beat[2].posterior.together == 0.0 < by_beat[4].posterior.together


@pytest.mark.parametrize("hand", [RH, LH])
def test_what_fails_again_and_again_in_a_hand_is_named_as_that_hand_s(hand: Hands) -> None:
    ear = Ear().hears("ww.w", hand).hears("w.w", hand, hands=hand)
    assert ear.troubles == [(hand, 6)]
    assert ear.diagnosis.troubles[0].sure > 0.9


def test_it_is_told_with_the_evidence() -> None:
    (trouble,) = Ear().hears("ll.ll").hears("lll", hands=LH).diagnosis.troubles
    assert trouble.place == "LH bar 2, beat 2 → 3"
    assert trouble.evidence == "7 of the last 8: late to bar 2 beat 3, 0.4 s, LH"


def test_one_slip_among_many_clean_ones_is_no_trouble() -> None:
    assert Ear().hears("....w.....").troubles == []


def test_what_failed_once_and_held_since_is_suspected_less_and_less() -> None:
    ear, sure = Ear().hears("w"), []
    for _ in range(6):
        sure.append(ear.diagnosis.suspects[0].posterior.fault)
        ear.hears(".")
    assert sure == sorted(sure, reverse=True)
    assert sure[-1] < sure[0] / 2


def test_clean_at_an_easy_tempo_says_little_of_the_tempo_asked_for() -> None:
    slow, fast = (Ear().hears("ww").hears("....", qpm=qpm) for qpm in (QPM / 2, QPM))
    still = slow.diagnosis.suspects[0].posterior.fault
    assert still > fast.diagnosis.suspects[0].posterior.fault


def test_what_fails_only_together_is_named_so() -> None:
    ear = Ear()
    for _ in range(4):
        ear.hears("w").hears(".", hands=LH).hears(".", RH, hands=RH)
    (trouble,) = ear.diagnosis.troubles
    assert (trouble.hands, trouble.kind) == (BOTH, TroubleKind.TOGETHER_ONLY)


def test_several_troubles_are_ranked_the_surest_first() -> None:
    ear = Ear()
    for beat, course in ((6, "ww"), (12, "w")):
        ear.hears(course, LH, beat).hears(course, LH, beat, hands=LH)
    for _ in range(4):
        ear.repetition({(LH, 6): Outcome.WRONG, (LH, 12): Outcome.WRONG})
        ear.repetition({(LH, 6): Outcome.WRONG}, hands=LH)
    assert ear.troubles[0] == (LH, 6)
    sure = [s.posterior.fault for s in ear.diagnosis.suspects]
    assert {int(s.transition.to_quarters) for s in ear.diagnosis.suspects} == {6, 12}
    assert sure == sorted(sure, reverse=True)


def test_ordinary_slips_are_no_one_place() -> None:
    """A slip in one move of 200: at most 3 in 100 sessions of 20 repetitions name a place."""
    random, named = Random(5), 0
    for _ in range(60):
        ear, claimed = Ear(), False
        for count in range(20):
            moves = [(t.hands, int(t.to_quarters)) for t in ear.practice_map.transitions]
            slips = {move: Outcome.WRONG for move in moves if random.random() < 0.005}
            ear.repetition(slips, (BOTH, BOTH, RH, LH)[count % 4])
            claimed = claimed or bool(ear.troubles)
        named += claimed
    assert named <= 0.03 * 60


class TestWhatSortItIs:
    """A leap that misses is reach; right notes that come late at any tempo are reading."""

    @staticmethod
    def leaping(semitones: int) -> Ear:
        notes = [
            {"pitch": 48 + (semitones if k == 6 else k % 2), "onset": k, "length": 1, "hand": "LH"}
            for k in range(16)
        ]
        return Ear(score_from_notes(notes, qpm=QPM))

    def kind(self, ear: Ear) -> TroubleKind:
        (trouble,) = ear.diagnosis.troubles
        return trouble.kind

    def test_a_leap_that_is_missed_is_reach(self) -> None:
        assert self.kind(self.leaping(24).hears("wwww", hands=LH)) is TroubleKind.REACH

    def test_a_step_that_is_missed_is_not(self) -> None:
        assert self.kind(self.leaping(2).hears("wwww", hands=LH)) is TroubleKind.ONE_HAND

    def test_late_with_right_notes_however_slowly_is_reading(self) -> None:
        ear = self.leaping(2).hears("llll", hands=LH).hears("lll", hands=LH, qpm=QPM / 2)
        assert self.kind(ear) is TroubleKind.READING

    def test_late_at_the_tempo_only_is_not(self) -> None:
        ear = self.leaping(2).hears("lllll", hands=LH)
        assert self.kind(ear) is TroubleKind.ONE_HAND

    def test_a_leap_that_comes_late_is_not_reach(self) -> None:
        ear = self.leaping(24).hears("lllll", hands=LH)
        assert self.kind(ear) is not TroubleKind.REACH


@pytest.mark.outside
@pytest.mark.parametrize(("semitones", "bits"), [(12, 3.004), (24, 3.911)])
def test_how_hard_a_leap_is_by_fitts(semitones: int, bits: float) -> None:
    """ISO 9241-411: log2(A / W + 1), from memory; octave 165 mm, key 23.5 mm (computed)."""
    assert fitts_bits(semitones) == pytest.approx(bits, abs=5e-4)
    assert fitts_bits(-semitones) == fitts_bits(semitones)


def test_a_leap_is_from_the_middle_of_what_was_struck_to_the_middle_of_what_is() -> None:
    """A third around D to a third around D an octave higher: twelve semitones."""
    notes = [
        {"pitch": pitch, "onset": onset, "length": 1, "hand": "RH"}
        for onset, pitches in enumerate([(60, 64), (72, 76)])
        for pitch in pitches
    ]
    score = score_from_notes(notes)
    here = PracticeMap(score, Window(F(0), score.end_quarters))
    assert leap_bits(here, F(1), Hands.RIGHT) == pytest.approx(fitts_bits(12))


def test_the_further_the_harder() -> None:
    leaps = [fitts_bits(semitones) for semitones in range(37)]
    assert leaps[0] == 0.0
    assert leaps == sorted(set(leaps))


def test_a_trouble_that_has_held_since_says_so() -> None:
    """Still believed in, though none of the moves that are kept failed."""
    clean = MoveAttempt(False, Outcome.CLEAN, F(4), None, True, 1.0)
    said = evidence_words([clean] * 8, "bar 2 beat 1", Hands.LEFT)
    assert said == "0 of the last 8; it failed before that, LH"
    assert evidence_words([], "bar 2 beat 1", Hands.LEFT) == ""


def test_one_attempt_is_the_last_time_and_no_count() -> None:
    clean = MoveAttempt(False, Outcome.CLEAN, F(4), None, True, 1.0)
    late = MoveAttempt(True, Outcome.LATE, F(4), 300.0, True, 1.0)
    said = [evidence_words(moves, "bar 2 beat 1", Hands.LEFT) for moves in ([clean], [late])]
    assert said == [
        "0 of the last 1; it failed before that, LH",
        "the last time: late to bar 2 beat 1, 0.3 s, LH",
    ]
    assert evidence_words([clean, late], "bar 2 beat 1", Hands.LEFT).startswith("1 of the last 2:")
