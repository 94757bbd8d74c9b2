"""Revision letters, and which revision works in place of which."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from register.domain.parts import Process
from register.domain.revisions import (
    Interchange,
    Revision,
    RevisionState,
    Stage,
    accepts,
    letter_at,
    ordinal,
    successor,
)
from register.errors import BadText

BOTH, ONE_WAY, NONE = Interchange.BOTH_WAYS, Interchange.ONE_WAY, Interchange.NONE


def revision(letter: str, interchange: Interchange) -> Revision:
    return Revision("PT-1", letter, Process.PRINTED, RevisionState.RELEASED, Stage.PRODUCTION, interchange)


@pytest.mark.parametrize(
    ("letter", "following"),
    [
        (None, "A"),
        ("A", "B"),
        ("H", "J"),
        ("N", "P"),
        ("P", "R"),
        ("R", "T"),
        ("W", "Y"),
        ("Y", "AA"),
        ("AA", "AB"),
        ("AH", "AJ"),
        ("AY", "BA"),
        ("YY", "AAA"),
        ("YYY", "AAAA"),
    ],
)
def test_letters_follow_without_i_o_q_s_x_and_z(letter: str | None, following: str) -> None:
    # Source: ASME Y14.35 (second-hand): I, O, Q, S, X and Z are not used; after Y comes AA, after AY comes BA.
    assert successor(letter) == following


def test_places_of_letters_counted_by_hand() -> None:
    # 20 letters: A is 1, Y is 20, AA is 21, AY is 40, BA is 41, YY is 20 * 20 + 20 = 420.
    assert [ordinal(letter) for letter in ("A", "H", "J", "Y", "AA", "AY", "BA", "YY", "AAA")] == [
        1,
        8,
        9,
        20,
        21,
        40,
        41,
        420,
        421,
    ]


@given(st.integers(1, 10**9))
def test_place_and_letter_are_each_others_inverse(place: int) -> None:
    assert ordinal(letter_at(place)) == place


@given(st.text("ABCDEFGHJKLMNPRTUVWY", min_size=1, max_size=6))
def test_letter_and_place_are_each_others_inverse(letter: str) -> None:
    assert letter_at(ordinal(letter)) == letter


@given(st.text("ABCDEFGHJKLMNPRTUVWY", min_size=1, max_size=6))
def test_the_letter_that_follows_stands_one_place_on(letter: str) -> None:
    assert ordinal(successor(letter)) == ordinal(letter) + 1


@pytest.mark.parametrize("letter", ["", "I", "O", "Q", "S", "X", "Z", "AI", "a", "1", "A1", " A", "Ä", "-"])
def test_what_is_no_revision_letter_is_refused(letter: str) -> None:
    with pytest.raises(BadText) as refusal:
        ordinal(letter)
    assert repr(letter) in refusal.value.what
    assert "I, O, Q, S, X and Z" in refusal.value.cure
    with pytest.raises(BadText):
        accepts([revision("A", BOTH)], "A", letter)


# A, then B both ways with A, C with nothing before it, D in place of C but not the other way, E both ways with D.
HISTORY = [
    revision("A", BOTH),
    revision("B", BOTH),
    revision("C", NONE),
    revision("D", ONE_WAY),
    revision("E", BOTH),
]


@pytest.mark.parametrize(("called_for", "taken"), [("A", "AB"), ("B", "AB"), ("C", "CDE"), ("D", "DE"), ("E", "DE")])
def test_interchange_is_followed_along_the_chain(called_for: str, taken: str) -> None:
    assert "".join(offered for offered in "ABCDE" if accepts(HISTORY, called_for, offered)) == taken
    # In whatever order the history comes.
    assert "".join(offered for offered in "ABCDE" if accepts(HISTORY[::-1], called_for, offered)) == taken


@pytest.mark.parametrize(
    ("interchange", "newer_for_older", "older_for_newer"),
    [(BOTH, True, True), (ONE_WAY, True, False), (NONE, False, False)],
)
def test_one_step_of_each_kind(interchange: Interchange, newer_for_older: bool, older_for_newer: bool) -> None:
    history = [revision("A", NONE), revision("B", interchange)]
    assert accepts(history, "A", "B") is newer_for_older
    assert accepts(history, "B", "A") is older_for_newer
    assert accepts(history, "A", "A")
    assert accepts(history, "B", "B")


def test_letters_left_out_do_not_break_the_chain() -> None:
    history = [revision("A", BOTH), revision("D", BOTH), revision("AA", ONE_WAY)]
    assert accepts(history, "A", "AA")
    assert not accepts(history, "AA", "D")
    assert accepts(history, "D", "A")


def test_a_letter_that_the_part_does_not_have_is_taken_by_nothing_else() -> None:
    history = [revision("A", BOTH), revision("B", BOTH)]
    assert not accepts(history, "B", "F")
    assert not accepts(history, "F", "B")
    assert accepts(history, "F", "F")


@given(st.lists(st.sampled_from(Interchange), min_size=2, max_size=8), st.data())
def test_what_a_takes_through_b_it_takes(steps: list[Interchange], data: st.DataObject) -> None:
    history = [revision(letter_at(place), step) for place, step in enumerate(steps, start=1)]
    letters = st.sampled_from([each.letter for each in history])
    first, second, third = sorted((data.draw(letters), data.draw(letters), data.draw(letters)))
    newer = accepts(history, first, second) and accepts(history, second, third)
    older = accepts(history, third, second) and accepts(history, second, first)
    assert accepts(history, first, third) == newer
    assert accepts(history, third, first) == older
