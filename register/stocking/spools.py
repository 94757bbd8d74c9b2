"""Which spool suffices for what is printed, or which two."""

from collections.abc import Sequence
from datetime import datetime

from register.domain.estimates import PrintedEstimate
from register.domain.stock import Lot, LotUse, SpoolAdvice, StockForm

# Grams that are sums of fractions.
_SLACK_G = 1e-9
CHANGE = "The first spool runs out under way: somebody has to be there to change it, so do not leave it to the night."


def spools_for(
    estimate: PrintedEstimate, quantity: int, lots: Sequence[Lot], now: datetime, promised_g: float = 0.0
) -> SpoolAdvice:
    """The lots to take for `quantity` pieces.

    Parameters
    ----------
    lots
        Of any material and form; only those that have arrived by `now` and hold something count.
    promised_g
        What other jobs that are not made yet need of the same material; it is said, and taken from no lot.

    Returns
    -------
    SpoolAdvice
        The smallest lot that is enough alone; else the two that leave least over together, the smaller used up first;
        else none, and what is short.
    """
    form = StockForm.SPOOL if estimate.powder is None else StockForm.POWDER
    need_g = estimate.taken_g * quantity
    on_hand = sorted(
        (
            lot
            for lot in lots
            if lot.form is form
            and lot.material.casefold() == estimate.material.casefold()
            and lot.there(now)
            and lot.amount > _SLACK_G
        ),
        key=lambda lot: (lot.amount, lot.label),
    )
    chosen = _one(need_g, on_hand) or _two(need_g, on_hand)
    together_g = sum(lot.amount for lot in on_hand)
    return SpoolAdvice(
        estimate.material,
        form,
        need_g,
        _used_up_in_order(need_g, chosen),
        len(on_hand),
        together_g,
        0.0 if chosen else max(0.0, need_g - together_g),
        _cautions(estimate.material, len(chosen) > 1 and form is StockForm.SPOOL, promised_g),
    )


def _cautions(material: str, changed: bool, promised_g: float) -> tuple[str, ...]:
    said = [CHANGE] if changed else []
    if promised_g > _SLACK_G:
        said.append(f"Other jobs not made yet need {promised_g:.0f} g of {material} too, which is not counted here.")
    return tuple(said)


def _one(need_g: float, ascending: Sequence[Lot]) -> tuple[Lot, ...]:
    """The smallest lot that is enough alone; nothing if none is."""
    return next(((lot,) for lot in ascending if lot.amount >= need_g - _SLACK_G), ())


def _two(need_g: float, ascending: Sequence[Lot]) -> tuple[Lot, ...]:
    """The two lots that hold enough together and least over that, found from both ends; nothing if no two do."""
    best: tuple[Lot, ...] = ()
    small, large = 0, len(ascending) - 1
    while small < large:
        pair = ascending[small], ascending[large]
        if pair[0].amount + pair[1].amount < need_g - _SLACK_G:
            small += 1
            continue
        if not best or pair[0].amount + pair[1].amount < best[0].amount + best[1].amount:
            best = pair
        large -= 1
    return best


def _used_up_in_order(need_g: float, chosen: Sequence[Lot]) -> tuple[LotUse, ...]:
    uses: list[LotUse] = []
    missing_g = need_g
    for lot in chosen:
        takes_g = min(lot.amount, missing_g)
        uses.append(LotUse(lot.label, lot.amount, takes_g, lot.amount - takes_g))
        missing_g -= takes_g
    return tuple(uses)
