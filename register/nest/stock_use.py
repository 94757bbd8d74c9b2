"""What a job takes from stock: grams of filament, shares of a sheet, or an offcut that holds it whole."""

from collections.abc import Sequence

from register.domain.estimates import PrintedEstimate, RoutedEstimate
from register.domain.machines import Tool
from register.domain.stock import Lot, StockForm
from register.errors import DoesNotFit
from register.nest.loads import MOST_PIECES, loads

# Room left round each routed piece beside the tool's own width, and round the sheet for holding it down.
# Common practice, no source.
CLEARANCE_MM = 2.0
SHEET_MARGIN_MM = 10.0
THICKNESS_TOLERANCE_MM = 0.2
# Shares of a sheet are sums of fractions.
_SLACK = 1e-9


def filament_g(estimate: PrintedEstimate, quantity: int) -> float:
    """Filament, or powder from stock, for `quantity` pieces, g."""
    return estimate.taken_g * quantity


def gap_mm(estimate: RoutedEstimate, tools: Sequence[Tool]) -> float:
    """Distance between routed pieces: the tool's diameter and a clearance, mm."""
    diameter_mm = next((tool.diameter_mm for tool in tools if tool.name == estimate.tool), 0.0)
    return diameter_mm + CLEARANCE_MM


def sheet_lots(estimate: RoutedEstimate, lots: Sequence[Lot], form: StockForm) -> list[Lot]:
    """Lots of the right material and thickness, largest sheet first."""
    fit = [
        lot
        for lot in lots
        if lot.form is form
        and lot.material.casefold() == estimate.material.casefold()
        and abs((lot.thickness_mm or 0.0) - estimate.thickness_mm) <= THICKNESS_TOLERANCE_MM
    ]
    return sorted(fit, key=lambda lot: (-(lot.width_mm or 0.0) * (lot.length_mm or 0.0), lot.label))


def pieces_a_sheet(estimate: RoutedEstimate, lot: Lot, between_mm: float) -> int:
    """Pieces that one sheet of a lot gives; 0 if not one."""
    inner_mm = ((lot.width_mm or 0.0) - 2 * SHEET_MARGIN_MM, (lot.length_mm or 0.0) - 2 * SHEET_MARGIN_MM)
    if min(inner_mm) <= 0:
        return 0
    try:
        return loads(MOST_PIECES, (*estimate.size_mm[:2], 1.0), (*inner_mm, 1.0), between_mm)[0]
    except DoesNotFit:
        return 0


def offcut_for(estimate: RoutedEstimate, quantity: int, lots: Sequence[Lot], between_mm: float) -> Lot | None:
    """The smallest offcut on hand that holds a whole job, if there is one."""
    offcuts = [lot for lot in sheet_lots(estimate, lots, StockForm.OFFCUT) if lot.amount >= 1]
    return next((lot for lot in reversed(offcuts) if pieces_a_sheet(estimate, lot, between_mm) >= quantity), None)


def sheet_for(
    estimate: RoutedEstimate, lots: Sequence[Lot], between_mm: float, quantity: int = 0
) -> tuple[Lot, int] | None:
    """The largest sheet of which there is enough for `quantity` pieces, and the pieces that one gives.

    None if there is none; a lot with nothing left is passed over whatever the quantity.
    """
    for lot in sheet_lots(estimate, lots, StockForm.SHEET):
        each = pieces_a_sheet(estimate, lot, between_mm)
        if each and lot.amount > _SLACK and lot.amount * each >= quantity - _SLACK:
            return lot, each
    return None
