"""One cell of a table: from what a file holds to a value, or a refusal in words that go on after "Line 7, wear: "."""

import math
import re
from collections.abc import Callable, Mapping
from datetime import UTC

from register.domain.parts import checked_number
from register.domain.revisions import ordinal
from register.domain.table_columns import EMPTY, MOST_OF_A_PART, UNMARKED, Cell, Column, Kind
from register.domain.table_rows import cell_text
from register.domain.texts import clean_text
from register.errors import BadText
from register.settings.json_rows import Scalar
from register.units.moments import moment
from register.units.quantities import quoted

# A cell of a column, read; the shop's zone is bound in before.
Reader = Callable[[Scalar], Cell]

_FIGURE = re.compile(r"[0-9]{1,16}(?:[.,][0-9]{1,25})?(?:[eE][+-]?[0-9]{1,3})?")
_THOUSANDS = re.compile(r"[0-9]+,[0-9]{3}")
_WHOLE = re.compile(r"[0-9]{1,15}")
_RUN = re.compile(r"(?:([0-9]{1,5})\*)?([A-Za-z]{1,8}|[?-])")
_FLAGS = {"yes": True, "no": False, "true": True, "false": False}
_LONGEST_LETTER = 8


def reader_for(column: Column, zone: str, written: bool) -> Reader:
    """What reads the cells of `column`.

    Parameters
    ----------
    zone
        In which times without an offset are meant.
    written
        Whether all cells are texts, as in CSV; else numbers and flags come as such, as in JSON.

    Returns
    -------
    Reader
        Raises BadText or BadQuantity, whose words name neither line nor column.
    """
    read = _READERS[column.kind]
    if written and column.kind in _WRITTEN:
        typed = _WRITTEN[column.kind]

        def inner(cell: Scalar) -> Cell:
            return read(column, typed(str(cell)), zone)
    else:

        def inner(cell: Scalar) -> Cell:
            return read(column, cell, zone)

    def outer(cell: Scalar) -> Cell:
        if cell is None or (isinstance(cell, str) and not cell.strip()):
            return _nothing(column)
        return inner(cell)

    return outer


def _nothing(column: Column) -> Cell:
    if column.may_be_empty or column.may_be_missing:
        return "" if column.kind is Kind.NOTE else None
    raise BadText("the cell is empty", _EXAMPLES.get(column.kind, "Fill it in."))


def _text(column: Column, cell: Scalar, zone: str) -> str:
    return clean_text(_told(cell), column.name, column.longest)


def _number(column: Column, cell: Scalar, zone: str) -> str:
    return checked_number(_told(cell))


def _flag(column: Column, cell: Scalar, zone: str) -> bool:
    if not isinstance(cell, bool):
        raise BadText(f"{_quoted(cell)} is neither true nor false", "Write true or false, without quotes.")
    return cell


def _whole(column: Column, cell: Scalar, zone: str) -> int:
    if isinstance(cell, bool) or not isinstance(cell, int):
        raise BadText(f"{_quoted(cell)} is no whole number", "Write a whole number, without quotes.")
    if not column.least <= cell <= column.most:
        raise BadText(
            f"{_quoted(cell)} is out of bounds", f"Write a whole number from {column.least:g} to {column.most:.0f}."
        )
    return cell


def _figure(column: Column, cell: Scalar, zone: str) -> float:
    if isinstance(cell, bool) or not isinstance(cell, int | float):
        raise BadText(f"{_quoted(cell)} is no number", "Write the number alone, without quotes and unit.")
    inside = column.least <= cell <= column.most and not (column.above and cell == column.least)
    # Compared before it is turned into a float: a whole number of a file may be too large for one.
    if not inside or not math.isfinite(cell):
        lowest = "more than" if column.above else "at least"
        raise BadText(
            f"{_quoted(cell)} is out of bounds",
            f"Write a number of {lowest} {column.least:g} and at most {column.most:.0f}.",
        )
    return float(cell)


def _moment(column: Column, cell: Scalar, zone: str) -> Cell:
    return moment(_told(cell), zone).astimezone(UTC).replace(microsecond=0)


def _choice(column: Column, cell: Scalar, zone: str) -> str:
    text = _told(cell).strip().casefold()
    if text not in column.choices:
        raise BadText(f"{_quoted(cell)} is not known here", f"Write one of: {', '.join(column.choices)}.")
    return text


def _letter(column: Column, cell: Scalar, zone: str) -> str:
    letter = _told(cell).strip().upper()
    if len(letter) > _LONGEST_LETTER:
        raise BadText(f"{_quoted(cell)} is not a revision letter", "Use letters like A, B or AA.")
    ordinal(letter)
    return letter


def _mark(column: Column, cell: Scalar, zone: str) -> str:
    return UNMARKED if _told(cell).strip() == UNMARKED else _letter(column, cell, zone)


def _fitted(column: Column, cell: Scalar, zone: str) -> tuple[str, ...]:
    fitted: list[str] = []
    for each in _told(cell).split(";"):
        run = _RUN.fullmatch(each.strip())
        count = int(run[1] or 1) if run else 0
        if run is None or not 0 < count + len(fitted) <= MOST_OF_A_PART:
            raise BadText(
                f"{quoted(each)} does not tell what is fitted",
                f"Write A;A;{UNMARKED};{EMPTY} or 40*A: a letter, {UNMARKED} for unmarked, {EMPTY} for none.",
            )
        fitted += [run[2] if run[2] in (UNMARKED, EMPTY) else _letter(column, run[2], zone)] * count
    return tuple(fitted)


def _told(cell: Scalar) -> str:
    if not isinstance(cell, str):
        raise BadText(f"{_quoted(cell)} is no text", "Write it in quotes.")
    return cell


def _quoted(cell: Scalar) -> str:
    """A cell as a message shows it; texts in quotes."""
    if isinstance(cell, str):
        return quoted(cell)
    if isinstance(cell, bool):
        return "true" if cell else "false"
    return cell_text(cell)


def _written_flag(text: str) -> bool:
    flag = _FLAGS.get(text.strip().casefold())
    if flag is None:
        raise BadText(f"{quoted(text)} is neither yes nor no", "Write yes or no.")
    return flag


def _written_whole(text: str) -> int:
    plain = text.strip()
    if not _WHOLE.fullmatch(plain):
        raise BadText(f"{quoted(text)} is no whole number", "Write figures alone, like 12.")
    return int(plain)


def _written_figure(text: str) -> float:
    plain = text.strip()
    if _THOUSANDS.fullmatch(plain):
        raise BadText(
            f"The comma in {quoted(text)} may part thousands or decimals", "Write it with a point, like 1234.5."
        )
    if not _FIGURE.fullmatch(plain):
        raise BadText(f"{quoted(text)} is no number", "Write the number alone, without its unit, like 3.175.")
    return float(plain.replace(",", "."))


_READERS: Mapping[Kind, Callable[[Column, Scalar, str], Cell]] = {
    Kind.NUMBER: _number,
    Kind.TEXT: _text,
    Kind.NOTE: _text,
    Kind.FLAG: _flag,
    Kind.WHOLE: _whole,
    Kind.FIGURE: _figure,
    Kind.MOMENT: _moment,
    Kind.CHOICE: _choice,
    Kind.LETTER: _letter,
    Kind.MARK: _mark,
    Kind.FITTED: _fitted,
}
_WRITTEN: Mapping[Kind, Callable[[str], Scalar]] = {
    Kind.FLAG: _written_flag,
    Kind.WHOLE: _written_whole,
    Kind.FIGURE: _written_figure,
}
_EXAMPLES = {
    Kind.FLAG: "Write yes or no.",
    Kind.MARK: f"Write the letter, or {UNMARKED} for unmarked pieces.",
    Kind.MOMENT: "Write it like 2031-03-22 09:00.",
}
