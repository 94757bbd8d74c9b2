"""Stock as a table."""

from rich.console import RenderableType

from register.domain.stock import Lot, StockForm
from register.reports.wording import line, near, table
from register.units.written import written_length, written_mass


def stock_list(lots: tuple[Lot, ...], zone: str) -> RenderableType:
    """What is left of every lot."""
    if not lots:
        return line("No stock is there yet. Add a lot with `pitwright stock add LABEL MATERIAL AMOUNT`.")
    rows = [
        (
            each.label,
            each.material,
            _size(each),
            written_mass(each.amount) if each.form is StockForm.SPOOL else _pieces(each),
            f"comes {near(each.arrives, zone)}" if each.arrives else "on hand",
            each.note,
        )
        for each in lots
    ]
    return table(("lot", "material", "size", "left", "", "note"), rows, ("left",))


def _pieces(lot: Lot) -> str:
    """`2 sheets`, `0.5 sheets`, `1 offcut`."""
    return f"{lot.amount:.4g} {lot.form.value}{'' if lot.amount == 1 else 's'}"


def _size(lot: Lot) -> str | None:
    if lot.thickness_mm is None or lot.width_mm is None or lot.length_mm is None:
        return None
    return f"{written_length(lot.thickness_mm)}, {lot.width_mm:g} × {lot.length_mm:g} mm"
