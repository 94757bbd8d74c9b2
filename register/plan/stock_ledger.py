"""What stock will hold, and when a job can have what it needs. Whole seconds after the plan's moment."""

import math
from bisect import insort
from collections.abc import Iterable, Sequence

from register.domain.plans import Need, Supply
from register.plan.lanes import SecondScale

# A ten-thousandth of a gram: below what any scale shows, above what sums of floats lose.
TOLERANCE = 1e-4


class StockLedger:
    """The balance of each material over time, with what earlier jobs take.

    A job takes all it needs at its start. It may have it from the moment on from which the balance never again falls
    below that amount, so that nothing already promised is taken away.
    """

    def __init__(self, supplies: Iterable[Supply], scale: SecondScale) -> None:
        self._moves: dict[str, list[tuple[int, float]]] = {}
        for supply in supplies:
            moves = self._moves.setdefault(supply.material, [])
            moves.append((0, supply.on_hand))
            moves.extend((max(0, scale.up(moment)), amount) for moment, amount in supply.arrivals)
        for moves in self._moves.values():
            moves.sort()

    def earliest(self, needs: Sequence[Need]) -> int | None:
        """When all of `needs` can be had; None if never."""
        found = [self._one(need) for need in needs]
        return None if None in found else max((each for each in found if each is not None), default=0)

    def decisive(self, needs: Sequence[Need]) -> Need | None:
        """Of `needs`, the one that can be had last (or never)."""

        def moment(need: Need) -> float:
            found = self._one(need)
            return math.inf if found is None else found

        return max(needs, key=moment, default=None)

    def short(self, needs: Sequence[Need]) -> Need | None:
        """The first of `needs` that can never be had."""
        return next((need for need in needs if self._one(need) is None), None)

    def left(self, material: str) -> float:
        """What nobody has been promised, once everything has arrived."""
        return sum(amount for _, amount in self._moves.get(material, []))

    def take(self, needs: Sequence[Need], second: int) -> None:
        """Promise `needs` to a job that starts at `second`."""
        for need in needs:
            insort(self._moves.setdefault(need.material, []), (second, -need.amount))

    def _one(self, need: Need) -> int | None:
        if need.amount <= TOLERANCE:
            return 0
        moves = self._moves.get(need.material, [])
        balance = sum(amount for _, amount in moves)
        earliest = None
        index = len(moves)
        while index and balance >= need.amount - TOLERANCE:
            earliest = moves[index - 1][0]
            while index and moves[index - 1][0] == earliest:
                index -= 1
                balance -= moves[index][1]
        return earliest


def joined_needs(needs: Iterable[Need]) -> tuple[Need, ...]:
    """`needs` with each material once."""
    amounts: dict[tuple[str, str], float] = {}
    for need in needs:
        amounts[need.material, need.unit] = amounts.get((need.material, need.unit), 0.0) + need.amount
    return tuple(Need(material, amount, unit) for (material, unit), amount in amounts.items())
