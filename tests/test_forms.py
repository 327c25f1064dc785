"""The same notes in another form: dotted, short and long, gathered into chords."""

from fractions import Fraction as F

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.score.build import score_from_notes
from coach.score.counting import syllables
from coach.score.forms import WrittenForm, write_in_form
from coach.score.model import Hands, Score
from coach.score.notation import write
from coach.score.window import Window, excerpt

Rhythm = list[tuple[F, F]]


def eighths(count: int = 8, length: F = F(1, 2), pitches: tuple[int, ...] = ()) -> Score:
    """A right hand's even notes, and a whole note of the left."""
    notes = [
        {"pitch": (pitches or (60, 62, 64, 65, 67))[k % (len(pitches) or 5)], "onset": k * length,
         "length": length, "hand": "RH"}
        for k in range(count)
    ]  # fmt: skip
    return score_from_notes([*notes, {"pitch": 48, "onset": 0, "length": 4, "hand": "LH"}])


def rhythm(score: Score, form: WrittenForm, hands: Hands = Hands.RIGHT) -> Rhythm:
    window = Window(F(0), score.end_quarters, hands, form=form)
    return [(n.onset_quarters, n.length_quarters) for n in excerpt(score, window).notes]


def test_even_eighths_become_dotted_eighths_and_sixteenths() -> None:
    got = rhythm(eighths(4), WrittenForm.DOTTED)
    assert got == [(F(0), F(3, 4)), (F(3, 4), F(1, 4)), (F(1), F(3, 4)), (F(7, 4), F(1, 4))]


def test_the_other_way_round_the_first_of_two_is_the_short_one() -> None:
    got = rhythm(eighths(4), WrittenForm.SHORT_LONG)
    assert got == [(F(0), F(1, 4)), (F(1, 4), F(3, 4)), (F(1), F(1, 4)), (F(5, 4), F(3, 4))]


def test_a_note_without_a_partner_stays_as_it_is_written() -> None:
    assert rhythm(eighths(3), WrittenForm.DOTTED)[-1] == (F(1), F(1, 2))


def test_a_pair_begins_on_the_beat() -> None:
    """The second eighth of a beat and the first of the next are no pair."""
    score = eighths(4)
    window = Window(F(1, 2), F(2), Hands.RIGHT, form=WrittenForm.DOTTED)
    onsets = [n.onset_quarters for n in excerpt(score, window).notes]
    assert onsets == [F(1, 2), F(1), F(7, 4)]


def test_what_a_hand_holds_at_once_is_struck_as_a_chord_for_each_beat() -> None:
    score = eighths(8, F(1, 4), (60, 64, 67, 72))
    window = Window(F(0), F(2), Hands.RIGHT, landing=False, form=WrittenForm.BLOCKED)
    got = excerpt(score, window).notes
    assert [(n.onset_quarters, n.pitch) for n in got] == [
        (F(at), pitch) for at in (0, 1) for pitch in (60, 64, 67, 72)
    ]
    assert {n.length_quarters for n in got} == {F(1)}


def test_what_no_hand_can_hold_stays_as_it_is_written() -> None:
    score = eighths(4, F(1, 4), (48, 60, 67, 72))
    assert rhythm(score, WrittenForm.BLOCKED) == rhythm(score, WrittenForm.AS_WRITTEN)


def test_what_goes_by_step_is_no_grip() -> None:
    """Two seconds are a cluster; a seventh chord has one among thirds, and is gripped."""
    by_step = eighths(4, F(1, 4), pitches=(60, 62, 64, 62))
    assert rhythm(by_step, WrittenForm.BLOCKED) == rhythm(by_step, WrittenForm.AS_WRITTEN)
    seventh = eighths(4, F(1, 4), pitches=(65, 67, 71, 74))
    assert rhythm(seventh, WrittenForm.BLOCKED) == 4 * [(F(0), F(1))]


@pytest.mark.parametrize("form", [WrittenForm.DOTTED, WrittenForm.SHORT_LONG])
def test_the_hands_meet_where_they_met(form: WrittenForm) -> None:
    """Eighths over quarters, then over eighths: quarters stay, and eighths go along."""
    rows = {"RH": 8 * [F(1, 2)], "LH": [F(1), F(1), *4 * [F(1, 2)]]}
    notes = [
        {"pitch": pitch + k, "onset": sum(lengths[:k], F(0)), "length": length, "hand": hand}
        for (hand, lengths), pitch in zip(rows.items(), (60, 40), strict=True)
        for k, length in enumerate(lengths)
    ]
    score = score_from_notes(notes)
    right, left = (rhythm(score, form, hands) for hands in (Hands.RIGHT, Hands.LEFT))
    window = Window(F(0), score.end_quarters, Hands.TOGETHER, form=form)
    both = excerpt(score, window).notes
    together = {
        hand: [(n.onset_quarters, n.length_quarters) for n in both if n.hand.value == hand]
        for hand in rows
    }
    assert together["RH"] == right
    assert together["LH"] == [(F(0), F(1)), (F(1), F(1)), *right[4:]]
    assert left[:2] != together["LH"][:2]  # alone its quarters are pairs, too


def test_a_key_that_comes_twice_in_a_chord_is_struck_once() -> None:
    score = eighths(4, F(1, 4), (60, 64, 60, 64))
    assert len(rhythm(score, WrittenForm.BLOCKED)) == 2


def test_the_note_that_is_arrived_at_stays_where_it_is() -> None:
    score = eighths(8)
    window = Window(F(0), F(2), Hands.RIGHT, form=WrittenForm.DOTTED)
    assert excerpt(score, window).notes[-1].onset_quarters == 2


@pytest.mark.parametrize("form", list(WrittenForm))
def test_every_form_can_be_written_and_counted(form: WrittenForm) -> None:
    score = eighths(8)
    window = Window(F(0), F(4), form=form)
    drawn = write(score, excerpt(score, window), syllables)
    assert {head.note for head in drawn.heads} == set(range(len(drawn.excerpt.notes)))


@pytest.mark.property
@given(
    st.lists(st.integers(60, 76), min_size=1, max_size=12),
    st.sampled_from([F(1, 4), F(1, 2), F(1)]),
    st.sampled_from(list(WrittenForm)),
)
def test_no_note_is_lost_or_made_and_none_leaves_its_stretch(
    pitches: list[int], length: F, form: WrittenForm
) -> None:
    score = eighths(len(pitches), length, tuple(pitches))
    plain = excerpt(score, Window(F(0), score.end_quarters))
    written = write_in_form(plain.notes, form, plain.grid_quarters)
    assert {n.pitch for n in written} == {n.pitch for n in plain.notes}
    assert {n.id for n in written} <= {n.id for n in plain.notes}
    assert max(n.end_quarters for n in written) <= max(n.end_quarters for n in plain.notes)
    assert list(written) == sorted(written, key=lambda n: (n.onset_quarters, n.pitch))
