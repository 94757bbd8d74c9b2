"""Which spool suffices: against trying every lot and every two lots, and against cases counted by hand."""

from datetime import UTC, datetime, timedelta
from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from register.domain.estimates import PowderLoad, PrintedEstimate, PrintedVolumes
from register.domain.stock import Lot, SpoolAdvice, StockForm
from register.stocking.spools import spools_for

NOW = datetime(2031, 3, 4, 12, tzinfo=UTC)


def estimate(mass_g: float, material: str = "PLA", powder: PowderLoad | None = None) -> PrintedEstimate:
    none = PrintedVolumes(0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    size = (10.0, 10.0, 10.0)
    return PrintedEstimate(
        "printed", "0" * 64, 12, size, 1.0, 1.0, True, 1, material, "", "Wren", 50, none, mass_g, 1.0, 60.0, 50.0, 70.0,
        0, (), powder=powder,
    )  # fmt: skip


def spool(label: str, grams: float, material: str = "PLA", **more: object) -> Lot:
    return Lot(label, material, StockForm.SPOOL, grams, **more)  # type: ignore[arg-type]


def advised(need_g: float, *lots: Lot, quantity: int = 1) -> SpoolAdvice:
    return spools_for(estimate(need_g), quantity, lots, NOW)


def taken(advice: SpoolAdvice) -> list[tuple[str, float, float]]:
    return [(use.lot, use.takes_g, use.left_g) for use in advice.uses]


def test_smallest_spool_that_is_enough_alone_is_taken() -> None:
    advice = advised(200.0, spool("P-1", 1000.0), spool("P-2", 250.0), spool("P-3", 199.0))
    assert taken(advice) == [("P-2", 200.0, 50.0)]
    assert (advice.short_g, advice.cautions) == (0.0, ())


def test_spool_that_holds_exactly_what_is_needed_is_enough() -> None:
    # Four pieces of 0.1 g, and 0.4 g: in binary 4 × 0.1 is 0.4 and a sum of tenths may miss it by a bit.
    assert taken(advised(0.1, spool("P-1", 0.1 + 0.1 + 0.1 + 0.1), quantity=4)) == [("P-1", 0.4, 0.0)]


def test_two_spools_that_leave_least_over_are_taken_the_smaller_first_and_the_change_is_said() -> None:
    # 500 g are needed. 100 + 450 leaves 50; 300 + 450 leaves 250; 100 + 300 is not enough.
    advice = advised(250.0, spool("P-1", 450.0), spool("P-2", 100.0), spool("P-3", 300.0), quantity=2)
    assert taken(advice) == [("P-2", 100.0, 0.0), ("P-1", 400.0, 50.0)]
    assert any("somebody has to be there" in caution for caution in advice.cautions)


def test_what_is_short_is_said_where_all_spools_together_are_not_enough() -> None:
    advice = advised(700.0, spool("P-1", 300.0), spool("P-2", 250.0))
    assert (advice.uses, advice.lots, advice.on_hand_g, advice.short_g) == ((), 2, 550.0, 150.0)


def test_more_than_two_spools_are_never_advised_though_nothing_is_short() -> None:
    advice = advised(700.0, *(spool(f"P-{number}", 300.0) for number in range(3)))
    assert (advice.uses, advice.lots, advice.on_hand_g, advice.short_g) == ((), 3, 900.0, 0.0)


def test_other_materials_sheets_empty_spools_and_what_is_still_on_its_way_do_not_count() -> None:
    lots = [
        spool("other", 900.0, "PETG"),
        spool("empty", 0.0),
        spool("ordered", 900.0, arrives=NOW + timedelta(hours=1)),
        Lot("sheet", "PLA", StockForm.SHEET, 900.0, 3.0, 100.0, 100.0),
        Lot("powder", "PLA", StockForm.POWDER, 900.0),
    ]
    assert advised(10.0, *lots).lots == 0
    come = spool("came", 900.0, "pla", arrives=NOW)
    assert taken(advised(10.0, *lots, come)) == [("came", 10.0, 890.0)]


def test_of_powder_what_is_filled_in_fresh_is_taken_and_two_lots_are_simply_mixed() -> None:
    powder = PowderLoad(30.0, 10.0, 40, 90000.0, 40000.0)
    lots = [Lot(label, "PLA", StockForm.POWDER, grams) for label, grams in (("N-1", 40.0), ("N-2", 100.0))]
    advice = spools_for(estimate(20.0, powder=powder), 4, [*lots, spool("S-1", 500.0)], NOW)
    assert (advice.need_g, advice.form) == (120.0, StockForm.POWDER)
    assert taken(advice) == [("N-1", 40.0, 0.0), ("N-2", 80.0, 20.0)]
    assert advice.cautions == ()


# Half grams, so that every sum is exact.
HALVES = st.integers(1, 2400).map(lambda count: count / 2)


@given(st.lists(HALVES, max_size=9), HALVES)
def test_advice_is_what_trying_every_lot_and_every_two_finds(amounts: list[float], need_g: float) -> None:
    lots = [spool(f"P-{number}", grams) for number, grams in enumerate(amounts)]
    advice = advised(need_g, *lots)
    alone = [grams for grams in amounts if grams >= need_g]
    pairs = [one + other for one, other in combinations(amounts, 2) if one + other >= need_g]
    left = sum(use.left_g for use in advice.uses)
    if alone:
        assert (len(advice.uses), left) == (1, min(alone) - need_g)
    elif pairs:
        assert (len(advice.uses), left) == (2, min(pairs) - need_g)
    else:
        assert advice.uses == ()
        assert advice.short_g == max(0.0, need_g - sum(amounts))
    held = {lot.label: lot.amount for lot in lots}
    for use in advice.uses:
        assert held[use.lot] == use.holds_g == use.takes_g + use.left_g
        assert use.takes_g > 0 <= use.left_g
    if advice.uses:
        assert sum(use.takes_g for use in advice.uses) == need_g
        assert len({use.lot for use in advice.uses}) == len(advice.uses)
        # All but the last are used up.
        assert all(use.left_g == 0 for use in advice.uses[:-1])


@pytest.mark.parametrize("turned", [False, True])
def test_advice_does_not_hang_on_the_order_in_which_lots_are_told(turned: bool) -> None:
    lots = [spool(f"P-{number}", grams) for number, grams in enumerate([60.0, 50.0, 60.0, 50.0])]
    assert taken(advised(105.0, *(reversed(lots) if turned else lots))) == [("P-1", 50.0, 0.0), ("P-2", 55.0, 5.0)]
