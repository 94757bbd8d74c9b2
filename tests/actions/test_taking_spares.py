"""Spares: what counts as usable, who gets the last one, what a count and a replacement do."""

from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest

from register.actions import competitions, history, parts, revisions, robots, spares
from register.domain.competitions import Entry
from register.domain.pieces import Cause, Replacement
from register.domain.revisions import Interchange
from register.domain.spares import Signal
from register.errors import NoSpare, NotAllowed, NotFound, RegisterError
from register.opening import Register
from tests.shops import (
    CLAW_B,
    NOON,
    PART,
    POSITION,
    ROBOT,
    STUDENT,
    SetClock,
    claws,
    dumped,
    logged,
    printed,
    released,
    wear_register,
)


@pytest.fixture
def register(tmp_path: Path) -> Register:
    """Two claws A fitted on Basalt, one claw A on the shelf."""
    return wear_register(tmp_path / "register", on_hand=1)


def on_hand(register: Register) -> dict[tuple[str | None, str], int]:
    return {(each.revision, each.place): each.quantity for each in parts.show_part(register, PART).on_hand}


def fitted(register: Register) -> tuple[str | None, ...]:
    return robots.show_robot(register, ROBOT).positions[0].fitted


def test_signal_goes_from_ok_to_no_spare_with_the_last_one_and_back_with_undo(register: Register) -> None:
    assert (claws(register).signal, claws(register).usable_now) == (Signal.OK, 1)
    taken = spares.take_spare(register, PART)
    assert (taken.revision, taken.place, taken.left_there) == ("A", "shelf", 0)
    assert taken.line == claws(register)
    assert (claws(register).signal, claws(register).without) == (Signal.NO_SPARE, (ROBOT,))
    history.undo(register)
    assert (claws(register).signal, claws(register).without) == (Signal.OK, ())


def test_taking_where_there_is_none_says_what_is_there_and_what_is_fitted(register: Register) -> None:
    released(register, printed(interchange=Interchange.NONE), CLAW_B)
    spares.add_spares(register, PART, "B", 4, "pit box")
    spares.take_spare(register, PART)
    before = dumped(register)
    with pytest.raises(NoSpare) as refused:
        spares.take_spare(register, PART)
    assert refused.value.what == "No usable spare of CL-1 is on hand (there: 4 × B at pit box; fitted: A)."
    assert refused.value.exit_code == 3
    assert dumped(register) == before


def test_revision_that_does_not_fit_is_not_counted_and_the_line_says_why(register: Register) -> None:
    released(register, printed(interchange=Interchange.NONE), CLAW_B)
    spares.add_spares(register, PART, "B", 4, "pit box")
    line = claws(register)
    assert (line.usable_now, line.usable_after_change) == (1, 1)
    assert [(each.revision, each.quantity, each.why) for each in line.unusable] == [
        ("B", 4, "B does not work in place of A, which is fitted")
    ]
    robots.require_revision(register, ROBOT, POSITION, "B")
    line = claws(register)
    assert (line.usable_now, line.usable_after_change) == (1, 4)
    assert line.unusable[0].why == "fits only after the change: A is fitted now and does not take B"


def test_unmarked_pieces_are_not_counted_and_never_taken(register: Register) -> None:
    spares.add_spares(register, PART, None, 5, "shelf")
    assert claws(register).usable_now == 1
    assert [(each.revision, each.quantity) for each in claws(register).unusable] == [(None, 5)]
    spares.take_spare(register, PART)
    with pytest.raises(NoSpare, match="there: 5 × unmarked at shelf"):
        spares.take_spare(register, PART)


def test_newest_usable_revision_is_taken_first(register: Register) -> None:
    released(register, printed(interchange=Interchange.BOTH_WAYS), CLAW_B)
    spares.add_spares(register, PART, "B", 1, "pit box")
    assert spares.take_spare(register, PART).revision == "B"
    assert spares.take_spare(register, PART).revision == "A"


def test_piece_of_one_place_or_revision_is_taken_from_there_alone(register: Register) -> None:
    spares.add_spares(register, PART, "A", 1, "pit box")
    assert spares.take_spare(register, PART, ROBOT, place="pit box", letter="a").place == "pit box"
    with pytest.raises(NoSpare):
        spares.take_spare(register, PART, place="pit box")
    with pytest.raises(NoSpare):
        spares.take_spare(register, PART, letter="B")
    assert spares.take_spare(register, PART).place == "shelf"


def test_newer_piece_that_works_one_way_serves_the_older_position_and_not_the_reverse(
    register: Register,
) -> None:
    released(register, printed(interchange=Interchange.ONE_WAY), CLAW_B)
    robots.record_fitted(register, ROBOT, POSITION, ("B", "B"))
    with pytest.raises(NoSpare):
        spares.take_spare(register, PART)
    robots.record_fitted(register, ROBOT, POSITION, ("A", "A"))
    spares.add_spares(register, PART, "B", 1, "shelf")
    assert spares.take_spare(register, PART).revision == "B"


@pytest.mark.parametrize(
    "act",
    [
        lambda r: spares.take_spare(r, "NO-SUCH"),
        lambda r: spares.take_spare(r, PART, "Nobody"),
        lambda r: spares.take_spare(r, PART, "Chert"),
        lambda r: spares.add_spares(r, "NO-SUCH", "A", 1, "shelf"),
        lambda r: spares.add_spares(r, PART, "B", 1, "shelf"),
        lambda r: spares.count_spares(r, "NO-SUCH", "A", 1, "shelf", ""),
        lambda r: spares.count_spares(r, PART, "B", 3, "shelf", ""),
        lambda r: spares.log_replacement(r, ROBOT, "nowhere", Cause.WORN),
        lambda r: spares.log_replacement(r, "Nobody", POSITION, Cause.WORN),
        lambda r: spares.add_spares(r, PART, "A", 0, "shelf"),
        lambda r: spares.add_spares(r, PART, "A", 10**30, "shelf"),
        lambda r: spares.add_spares(r, PART, "A", 1, " "),
        lambda r: spares.count_spares(r, PART, "A", -1, "shelf", "why"),
        lambda r: spares.log_replacement(r, ROBOT, POSITION, Cause.WORN, slot=0),
        lambda r: spares.log_replacement(r, ROBOT, POSITION, Cause.WORN, slot=3),
        lambda r: spares.log_replacement(r, ROBOT, POSITION, Cause.WORN, slot=10**30),
    ],
)
def test_what_names_nothing_that_is_there_or_counts_nothing_is_refused_and_writes_nothing(
    register: Register, act: Callable[[Register], object]
) -> None:
    robots.add_robot(register, "Chert")
    before = dumped(register)
    with pytest.raises(RegisterError) as refused:
        act(register)
    assert refused.value.exit_code in (3, 4)
    assert dumped(register) == before


def test_unknown_part_is_not_found_before_a_reason_is_asked_for(register: Register) -> None:
    with pytest.raises(NotFound, match="There is no part 'NO-SUCH'"):
        spares.count_spares(register, "NO-SUCH", None, 3, "shelf", "")


def test_count_that_differs_needs_its_reason_and_then_gives_the_difference(register: Register) -> None:
    with pytest.raises(NotAllowed, match="shelf should hold 1 of CL-1, not 4"):
        spares.count_spares(register, PART, "A", 4, "shelf", "  ")
    assert spares.count_spares(register, PART, "A", 1, "shelf", "") == 0
    assert spares.count_spares(register, PART, "a", 4, "shelf", "found three in a drawer") == 3
    assert on_hand(register) == {("A", "shelf"): 4}
    assert spares.count_spares(register, PART, "A", 0, "shelf", "all gone") == -4
    assert on_hand(register) == {}


def test_pieces_of_one_place_are_counted_apart_from_those_of_another(register: Register) -> None:
    assert spares.add_spares(register, PART, "A", 2, "pit box") == 2
    assert spares.add_spares(register, PART, "A", 2, "shelf") == 3
    assert on_hand(register) == {("A", "pit box"): 2, ("A", "shelf"): 3}


def test_replacement_takes_a_spare_fits_it_in_its_slot_and_is_logged(register: Register) -> None:
    released(register, printed(), CLAW_B)
    spares.add_spares(register, PART, "B", 1, "pit box")
    done = spares.log_replacement(register, ROBOT, POSITION, Cause.BROKEN, slot=2, note="hit the wall")
    assert done == Replacement(PART, ROBOT, POSITION, 2, "A", "B", Cause.BROKEN, STUDENT, NOON, "hit the wall")
    assert fitted(register) == ("A", "B")
    assert on_hand(register) == {("A", "shelf"): 1}
    assert spares.list_replacements(register) == (done,)
    history.undo(register)
    assert fitted(register) == ("A", "A")
    assert on_hand(register) == {("A", "shelf"): 1, ("B", "pit box"): 1}
    assert spares.list_replacements(register) == ()


def test_replacement_without_a_spare_is_refused_and_fits_nothing(register: Register) -> None:
    spares.take_spare(register, PART)
    with pytest.raises(NoSpare):
        spares.log_replacement(register, ROBOT, POSITION, Cause.WORN)
    assert fitted(register) == ("A", "A")
    assert spares.list_replacements(register) == ()


def test_piece_from_nowhere_is_fitted_as_unmarked_and_leaves_the_spares_alone(register: Register) -> None:
    done = spares.log_replacement(register, ROBOT, POSITION, Cause.WRONG, from_spares=False)
    assert (done.removed, done.fitted) == ("A", None)
    assert fitted(register) == (None, "A")
    assert on_hand(register) == {("A", "shelf"): 1}


def test_empty_slot_keeps_its_place_among_the_fitted(register: Register) -> None:
    robots.record_fitted(register, ROBOT, POSITION, (None, "A"))
    assert fitted(register) == (None, "A")
    robots.record_fitted(register, ROBOT, POSITION, ("A", None))
    assert fitted(register) == ("A",)
    robots.record_fitted(register, ROBOT, POSITION, (None, None))
    assert fitted(register) == ()
    # Where nothing is fitted, what is required stands in.
    assert claws(register).usable_now == 1


def test_advice_follows_from_the_log_and_the_matches_to_come(tmp_path: Path) -> None:
    clock = SetClock()
    register = wear_register(tmp_path / "register", clock, on_hand=3)
    past, coming, far = (NOON + timedelta(days=days) for days in (-30, 20, 60))
    competitions.add_competition(register, "past", past, None, (Entry(ROBOT, 10),))
    competitions.add_competition(register, "next", coming, None, (Entry(ROBOT, 5),))
    competitions.add_competition(register, "after it", far, None, (Entry(ROBOT, 50),))
    spares.log_replacement(register, ROBOT, POSITION, Cause.WORN)
    line = claws(register)
    # 1 replacement in 10 matches × 2 claws, 5 matches × 2 claws to come: (1/2 + 1) · 10/20.
    assert line.expected_use == pytest.approx(0.75)
    # Negative binomial, a = 3/2, p = 20/30: P(0) = p^1.5, P(1) = 1.5 (1 − p) P(0), P(2) = 1.5 · 2.5/2 (1 − p)² P(0).
    p = 20 / 30
    chances = [p**1.5, 1.5 * (1 - p) * p**1.5, 1.875 * (1 - p) ** 2 * p**1.5]
    assert line.chance_of_enough == pytest.approx(sum(chances))
    # P(≤ 1) = 0.816 < 0.9 ≤ P(≤ 2) = 0.930: two are advised, and two are there.
    assert (line.usable_now, line.advised, line.signal) == (2, 2, Signal.OK)
    spares.take_spare(register, PART)
    assert claws(register).signal is Signal.SHORT
    clock.after(days=100)
    assert (claws(register).expected_use, claws(register).signal) == (None, Signal.OK)


@pytest.mark.parametrize(
    "past",
    [
        Replacement(PART, ROBOT, POSITION, 3, "A", "A", Cause.WORN, "", NOON),
        Replacement(PART, ROBOT, POSITION, 10**30, "A", "A", Cause.WORN, "", NOON),
        Replacement(PART, ROBOT, POSITION, 0, "A", "A", Cause.WORN, "", NOON),
        Replacement(PART, ROBOT, POSITION, 1, "A", "A", Cause.WORN, "", NOON + timedelta(seconds=1)),
        Replacement("P-9", ROBOT, POSITION, 1, None, None, Cause.WORN, "", NOON),
        Replacement(PART, ROBOT, "nowhere", 1, "A", "A", Cause.WORN, "", NOON),
        Replacement(PART, ROBOT, POSITION, 1, "A", "C", Cause.WORN, "", NOON),
    ],
)
def test_earlier_replacement_that_cannot_have_been_is_refused(register: Register, past: Replacement) -> None:
    parts.add_part(register, "P-9", "Other", True)
    before = dumped(register)
    with pytest.raises(RegisterError) as refused:
        spares.record_past_replacement(register, past)
    assert refused.value.exit_code in (3, 4)
    assert dumped(register) == before


def test_earlier_replacement_is_logged_and_moves_no_piece(register: Register) -> None:
    past = Replacement(PART, ROBOT, POSITION, 1, "A", "A", Cause.WORN, "", NOON - timedelta(days=3))
    done = spares.record_past_replacement(register, past)
    assert done.by == STUDENT
    assert spares.list_replacements(register) == (done,)
    assert on_hand(register) == {("A", "shelf"): 1}


def test_release_alone_makes_no_spare_usable_or_useless(register: Register) -> None:
    logged(register, printed(interchange=Interchange.NONE), CLAW_B)
    before = claws(register)
    revisions.release_revision(register, PART, "B")
    assert claws(register) == before
