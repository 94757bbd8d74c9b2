"""Which piece on hand is usable where, and the word for it."""

import pytest

from register.domain.parts import Process
from register.domain.revisions import Interchange, Revision, RevisionState, Stage
from register.domain.robots import Position
from register.domain.spares import OnHand, Signal, Unusable, Usability, carried, signal_for, usability

BOTH, ONE_WAY, NONE = Interchange.BOTH_WAYS, Interchange.ONE_WAY, Interchange.NONE


def history(*steps: tuple[str, Interchange]) -> list[Revision]:
    return [
        Revision("PT-1", letter, Process.PRINTED, RevisionState.RELEASED, Stage.PRODUCTION, step)
        for letter, step in steps
    ]


def position(required: str, *fitted: str | None, robot: str = "robot one") -> Position:
    return Position(robot, None, "left", "PT-1", max(1, len(fitted)), required, fitted)


def on_hand(revision: str | None, quantity: int, place: str = "shelf") -> OnHand:
    return OnHand("PT-1", revision, place, quantity)


def test_pieces_of_the_fitted_revision_are_usable_at_any_place() -> None:
    found = usability(history(("A", BOTH)), [position("A", "A")], [on_hand("A", 2), on_hand("A", 3, "pit box")])
    assert found == Usability(now=5, after_change=5, unusable=(), without=())


def test_a_piece_can_be_usable_now_and_not_after_the_change() -> None:
    # A is fitted, B required, and neither works in the other's place.
    found = usability(history(("A", BOTH), ("B", NONE)), [position("B", "A")], [on_hand("A", 4), on_hand("B", 1)])
    assert (found.now, found.after_change) == (4, 1)
    assert found.unusable == (Unusable("B", 1, "fits only after the change: A is fitted now and does not take B"),)
    assert found.without == ()


def test_one_way_works_from_old_to_new_alone() -> None:
    steps = history(("A", BOTH), ("B", ONE_WAY))
    newer_on_hand = usability(steps, [position("A", "A")], [on_hand("B", 1)])
    assert (newer_on_hand.now, newer_on_hand.after_change) == (1, 1)
    older_on_hand = usability(steps, [position("B", "B")], [on_hand("A", 1)])
    assert (older_on_hand.now, older_on_hand.after_change) == (0, 0)
    assert older_on_hand.unusable == (Unusable("A", 1, "A does not work in place of B, which is fitted"),)
    assert older_on_hand.without == ("robot one",)


def test_a_chain_is_followed_and_breaks_where_one_step_does() -> None:
    steps = history(("A", BOTH), ("B", BOTH), ("C", BOTH), ("D", NONE), ("E", BOTH))
    pieces = [on_hand(letter, 1) for letter in "ABCDE"]
    found = usability(steps, [position("E", "A")], pieces)
    assert (found.now, found.after_change) == (3, 2)
    assert [each.revision for each in found.unusable] == ["D", "E"]


def test_an_unmarked_piece_counts_as_neither() -> None:
    found = usability(history(("A", BOTH)), [position("A", "A")], [on_hand(None, 2), on_hand(None, 1, "pit box")])
    assert (found.now, found.after_change) == (0, 0)
    assert found.unusable == (Unusable(None, 3, "unmarked: nobody can say which revision it is"),)
    assert found.without == ("robot one",)


def test_a_piece_of_a_revision_that_the_part_does_not_have_counts_as_neither() -> None:
    found = usability(history(("A", BOTH), ("B", BOTH)), [position("B", "B")], [on_hand("F", 1)])
    assert (found.now, found.after_change, found.without) == (0, 0, ("robot one",))


def test_each_robot_needs_a_piece_of_its_own_kind() -> None:
    steps = history(("A", BOTH), ("B", NONE))
    positions = [
        position("A", "A", robot="robot one"),
        position("B", "B", robot="robot two"),
        position("B", "B", robot="robot two"),
    ]
    assert usability(steps, positions, [on_hand("A", 1)]).without == ("robot two",)
    assert usability(steps, positions, [on_hand("A", 1), on_hand("B", 1)]).without == ()
    assert usability(steps, positions, []).without == ("robot one", "robot two")


def test_where_nothing_marked_is_fitted_the_required_revision_stands_in() -> None:
    steps = history(("A", BOTH), ("B", NONE))
    assert carried(position("B")) == ("B",)
    assert carried(position("B", None, None)) == ("B",)
    assert carried(position("B", "B", None, "A", "B")) == ("A", "B")
    found = usability(steps, [position("B", None)], [on_hand("A", 1), on_hand("B", 1)])
    assert (found.now, found.after_change) == (1, 1)


def test_two_revisions_fitted_side_by_side_each_take_their_own() -> None:
    steps = history(("A", BOTH), ("B", NONE), ("C", NONE))
    found = usability(steps, [position("C", "A", "B")], [on_hand("A", 1), on_hand("B", 2), on_hand("C", 4)])
    assert (found.now, found.after_change) == (3, 4)
    assert found.unusable == (Unusable("C", 4, "fits only after the change: A and B are fitted now and do not take C"),)


def test_a_part_on_no_active_robot_has_no_use() -> None:
    found = usability(history(("A", BOTH)), [], [on_hand("A", 2)])
    assert found == Usability(0, 0, (Unusable("A", 2, "no active robot carries this part"),), ())


def test_a_place_that_has_been_emptied_counts_nothing() -> None:
    found = usability(history(("A", BOTH)), [position("A", "A")], [on_hand("A", 0), on_hand(None, 0)])
    assert found == Usability(0, 0, (), ("robot one",))


@pytest.mark.parametrize(
    ("fitted", "now", "without", "advised", "signal"),
    [
        (4, 3, (), 3, Signal.OK),
        (4, 3, (), None, Signal.OK),
        (4, 2, (), 3, Signal.SHORT),
        (4, 0, ("robot one",), 3, Signal.NO_SPARE),
        (4, 0, ("robot one",), None, Signal.NO_SPARE),
        (4, 5, ("robot two",), 3, Signal.NO_SPARE),
        (0, 0, (), None, Signal.OK),
        (0, 0, (), 2, Signal.SHORT),
    ],
)
def test_the_word_for_it(fitted: int, now: int, without: tuple[str, ...], advised: int | None, signal: Signal) -> None:
    assert signal_for(fitted, Usability(now, now, (), without), advised) is signal
