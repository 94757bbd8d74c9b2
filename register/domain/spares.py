"""Spares: which piece on hand is usable where, and the word for it."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from register.domain.parts import Part
from register.domain.revisions import Revision, accepts, ordinal
from register.domain.robots import Position


class Signal(StrEnum):
    """How a wear part stands."""

    OK = "OK"
    SHORT = "SHORT"
    NO_SPARE = "NO SPARE"


@dataclass(frozen=True)
class OnHand:
    """Pieces of one revision at one place; `revision` is None where the piece is unmarked."""

    part: str
    revision: str | None
    place: str
    quantity: int


@dataclass(frozen=True)
class Unusable:
    """Pieces that fit nothing that is on a robot now, and why."""

    revision: str | None
    quantity: int
    why: str


@dataclass(frozen=True)
class SpareLine:
    """How one wear part stands: pieces fitted, pieces usable now and after the change, and the advice.

    `without` names the robots for which not one usable piece is on hand. `expected_use`, `chance_of_enough` and
    `advised` are None where no event is ahead or no log supports them.
    """

    part: str
    name: str
    robots: tuple[str, ...]
    fitted: int
    usable_now: int
    usable_after_change: int
    unusable: tuple[Unusable, ...]
    without: tuple[str, ...]
    expected_use: float | None
    advised: int | None
    chance_of_enough: float | None
    signal: Signal


@dataclass(frozen=True)
class Usability:
    """What the pieces on hand of one part are good for; see `usability`."""

    now: int
    after_change: int
    unusable: tuple[Unusable, ...]
    without: tuple[str, ...]


def usability(history: Sequence[Revision], positions: Sequence[Position], pieces: Sequence[OnHand]) -> Usability:
    """Which pieces on hand are usable now, and which after the change.

    Parameters
    ----------
    history
        Every revision of the part.
    positions
        Where the part sits on active robots.
    pieces
        What is on hand of it, at any place.

    Notes
    -----
    A piece is usable now if what is fitted at some position accepts it, after the change if the required revision
    does. An unmarked piece counts as neither. Where nothing marked is fitted, the required revision stands in.
    """
    now = after = 0
    unusable: list[Unusable] = []
    marked = [(piece.revision, piece.quantity) for piece in pieces if piece.revision is not None and piece.quantity > 0]
    for letter, quantity in _summed(marked):
        fits_now = any(_takes(history, position, letter) for position in positions)
        fits_after = any(accepts(history, position.required, letter) for position in positions)
        now += quantity if fits_now else 0
        after += quantity if fits_after else 0
        if not fits_now:
            unusable.append(Unusable(letter, quantity, _why(history, positions, letter, fits_after)))
    unmarked = sum(piece.quantity for piece in pieces if piece.revision is None)
    if unmarked:
        unusable.append(Unusable(None, unmarked, "unmarked: nobody can say which revision it is"))
    letters = [letter for letter, _ in marked]
    without = [p.robot for p in positions if not any(_takes(history, p, letter) for letter in letters)]
    return Usability(now, after, tuple(unusable), tuple(dict.fromkeys(without)))


def signal_for(fitted: int, found: Usability, advised: int | None) -> Signal:
    """NO SPARE where a robot would stand without one, SHORT where fewer are usable than advised, else OK."""
    if fitted and found.without:
        return Signal.NO_SPARE
    if advised is not None and found.now < advised:
        return Signal.SHORT
    return Signal.OK


def carried(position: Position) -> tuple[str, ...]:
    """The letters that count as fitted at a position, each once, oldest first; the required one where none is known."""
    known = {letter for letter in position.fitted if letter is not None}
    return tuple(sorted(known, key=ordinal)) or (position.required,)


def _takes(history: Sequence[Revision], position: Position, letter: str) -> bool:
    return any(accepts(history, fitted, letter) for fitted in carried(position))


def _summed(pieces: list[tuple[str, int]]) -> list[tuple[str, int]]:
    totals: dict[str, int] = {}
    for letter, quantity in pieces:
        totals[letter] = totals.get(letter, 0) + quantity
    return sorted(totals.items(), key=lambda each: ordinal(each[0]))


def _why(history: Sequence[Revision], positions: Sequence[Position], letter: str, fits_after: bool) -> str:
    fitted = sorted({each for position in positions for each in carried(position)}, key=ordinal)
    if not positions:
        return "no active robot carries this part"
    if fits_after:
        verbs = ("is", "does") if len(fitted) == 1 else ("are", "do")
        return (
            f"fits only after the change: {' and '.join(fitted)} {verbs[0]} fitted now and {verbs[1]} not take {letter}"
        )
    return f"{letter} does not work in place of {' or '.join(fitted)}, which is fitted"


@dataclass(frozen=True)
class WearCase:
    """Everything that one wear part's line is worked out from.

    `exposure` is the past use and `ahead` the use to come, both in matches times pieces fitted; `target` is the chance
    of enough that the shop wants; `event_ahead` is False while no competition is to come.
    """

    part: Part
    history: tuple[Revision, ...]
    positions: tuple[Position, ...]
    pieces: tuple[OnHand, ...]
    replacements: int
    exposure: float
    ahead: float
    target: float
    event_ahead: bool


@dataclass(frozen=True)
class Taken:
    """A piece that was taken: where from, what is left at that place, and how the part stands now.

    `line` is None for a part that does not wear.
    """

    part: str
    revision: str | None
    place: str
    left_there: int
    line: SpareLine | None
