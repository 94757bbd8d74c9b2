"""Bought parts: cost, lead time and the last day to order."""

from datetime import date

import pytest

from register.errors import BadQuantity
from register.estimate.bought import estimate_bought


def test_the_last_day_to_order_lies_the_lead_time_before_the_need() -> None:
    found = estimate_bought(1250, 14, date(2028, 3, 10))

    # 2028 is a leap year: 10 March − 14 days = 25 February (10 days in March, 29 − 25 = 4 in February).
    assert found.order_by == date(2028, 2, 25)
    assert (found.unit_cost_cents, found.cost_cents, found.lead_days) == (1250, 1250, 14)
    assert found.process == "bought"
    assert found.mass_g is None
    assert found.warnings == ()


def test_what_is_not_known_is_said() -> None:
    found = estimate_bought(0, 0, None)

    assert found.order_by is None
    assert [warning.split(",")[0] for warning in found.warnings] == [
        "No price is known",
        "No lead time is known",
        "No date is set by which it is needed",
    ]


def test_a_part_over_the_counter_is_ordered_on_the_day_it_is_needed() -> None:
    assert estimate_bought(300, 0, date(2027, 1, 1)).order_by == date(2027, 1, 1)


@pytest.mark.parametrize(
    ("cents", "days", "needed_on"),
    [(-1, 3, None), (100, -1, None), (100, 4000, None), (100, 3650, date(1, 1, 2)), (100, 10**12, date(2027, 1, 1))],
)
def test_figures_that_cannot_be_are_refused(cents: int, days: int, needed_on: date | None) -> None:
    with pytest.raises(BadQuantity):
        estimate_bought(cents, days, needed_on)
