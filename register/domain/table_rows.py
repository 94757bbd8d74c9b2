"""Rows of a table: how their cells are written, and the rules that go across them."""

from datetime import UTC, datetime

from register.domain.materials import Form
from register.domain.stock import StockForm
from register.domain.table_columns import (
    COLUMNS,
    DECIMALS,
    EMPTY,
    GRAMS,
    PIECES_OF_SHEET,
    UNMARKED,
    Cell,
    Subject,
    Values,
)
from register.errors import NotAllowed


def named(subject: Subject, values: Values) -> dict[str, Cell]:
    """The values of a row by the names of their columns."""
    return {column.name: value for column, value in zip(COLUMNS[subject], values, strict=True)}


def checked_row(subject: Subject, values: Values) -> Values:
    """A row whose cells are right one by one, held against the rules that go across columns.

    Returns
    -------
    Values
        With what follows from the other cells filled in.

    Raises
    ------
    NotAllowed
        If the cells contradict one another.
    """
    if subject is Subject.STOCK:
        return _checked_lot(values)
    if subject is Subject.POSITIONS:
        return _checked_position(values)
    if subject is Subject.COMPETITIONS:
        row = named(subject, values)
        if str(cell_text(row["parts_due"])) > str(cell_text(row["starts"])):
            raise NotAllowed("parts would be due after the competition starts.", "Give parts_due an earlier time.")
    return values


def cell_text(cell: Cell) -> str:
    """A cell as CSV and reports write it: yes and no, UTC times with Z, figures in full, nothing for None."""
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    if isinstance(cell, datetime):
        return cell.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    if isinstance(cell, tuple):
        return _fitted_text(cell)
    return str(cell)


def row_name(subject: Subject, values: Values) -> str:
    """What a row is called: the texts of its key."""
    keys = [value for column, value in zip(COLUMNS[subject], values, strict=True) if column.key]
    return ", ".join(cell_text(value) for value in keys)


def material_form(stock_form: str) -> Form:
    """The form of material that a lot is of."""
    return StockForm(stock_form).material_form


def _checked_lot(values: Values) -> Values:
    row = named(Subject.STOCK, values)
    weighed = StockForm(str(row["form"])).weighed
    unit = GRAMS if weighed else PIECES_OF_SHEET
    if row["unit"] not in (None, unit):
        raise NotAllowed(f"a {row['form']} is counted in {unit}, not in {row['unit']}.", f"Write {unit} as the unit.")
    if not weighed and None in (row["thickness_mm"], row["width_mm"], row["length_mm"]):
        raise NotAllowed(f"a {row['form']} needs its size.", "Give thickness_mm, width_mm and length_mm.")
    amount = row["amount"]
    rounded = round(amount, DECIMALS) if isinstance(amount, float) else amount
    return tuple((row | {"unit": unit, "amount": rounded}).values())


def _checked_position(values: Values) -> Values:
    row = named(Subject.POSITIONS, values)
    quantity, fitted = row["quantity"], row["fitted"]
    if not isinstance(quantity, int) or not fitted:
        fitted = (EMPTY,) * (quantity if isinstance(quantity, int) else 0)
    if not isinstance(fitted, tuple) or len(fitted) != quantity:
        count = len(fitted) if isinstance(fitted, tuple) else 0
        raise NotAllowed(
            f"the position holds {quantity} and fitted tells of {count}.",
            f"Give one entry a piece: a letter, {UNMARKED} for an unmarked piece, {EMPTY} where nothing is fitted.",
        )
    return tuple((row | {"fitted": fitted}).values())


def _fitted_text(fitted: tuple[str, ...]) -> str:
    """`A;A;-`; many like pieces in a row as `40*A`."""
    runs: list[list[str | int]] = []
    for each in fitted:
        if runs and runs[-1][0] == each:
            runs[-1][1] = int(runs[-1][1]) + 1
        else:
            runs.append([each, 1])
    few = len(fitted) <= 20
    return ";".join(
        ";".join([str(each)] * int(count)) if few or count == 1 else f"{count}*{each}" for each, count in runs
    )
