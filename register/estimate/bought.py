"""Bought parts: what they cost and when they must be ordered."""

from datetime import date, timedelta

from register.domain.estimates import BoughtEstimate
from register.errors import BadQuantity

# A longer wait than this is a slip of the pen, and dates end somewhere.
LONGEST_LEAD_DAYS = 3650


def estimate_bought(unit_cost_cents: int, lead_days: int, needed_on: date | None) -> BoughtEstimate:
    """One bought piece.

    Parameters
    ----------
    unit_cost_cents
        0 where the price is not known yet.
    lead_days
        Calendar days from the order to having it; 0 where it is bought over the counter.
    needed_on
        None where no date is set.

    Raises
    ------
    BadQuantity
        If the price is below 0, or the lead time below 0 or beyond ten years.
    """
    if unit_cost_cents < 0:
        raise BadQuantity(f"The price is {unit_cost_cents / 100:.2f}.", "Give 0 or more.")
    if not 0 <= lead_days <= LONGEST_LEAD_DAYS:
        raise BadQuantity(f"The lead time is {lead_days} days.", f"Give 0 to {LONGEST_LEAD_DAYS} days.")
    warnings: list[str] = []
    if unit_cost_cents == 0:
        warnings.append("No price is known, so it counts as free.")
    if lead_days == 0:
        warnings.append("No lead time is known, so it counts as there on the day it is ordered.")
    order_by = None
    if needed_on is None:
        warnings.append("No date is set by which it is needed, so there is no last day to order it.")
    elif needed_on.toordinal() <= lead_days:
        raise BadQuantity(f"It is needed on {needed_on.isoformat()}.", "Give a date of our time.")
    else:
        order_by = needed_on - timedelta(days=lead_days)
    return BoughtEstimate(
        "bought", unit_cost_cents, lead_days, needed_on, order_by, None, unit_cost_cents, tuple(warnings)
    )
