"""CSV: texts in rows, within bounds, and with everything that a spreadsheet would run as a formula disarmed."""

import csv
import io
from collections.abc import Iterable, Iterator, Sequence

from register.domain.table_columns import LONGEST_CELL, MOST_BYTES, MOST_COLUMNS, MOST_ROWS
from register.errors import BadFile

# What makes a spreadsheet take a text for a formula, its full-width and small forms too.
# Source: OWASP, "CSV Injection" (from memory).
_STARTS = frozenset("=+-@\t\r\n＝＋－＠﹦﹢﹣﹫")
_DELIMITERS = (",", ";")
_LONGEST_LINE = 1_000_000


# The line where a row begins, counted from 1, and its cells.
TextRow = tuple[int, list[str]]


def armed_text(text: str) -> str:
    """`text` as a spreadsheet takes it for a text: with an apostrophe before what would start a formula.

    An apostrophe at the start is doubled, so that `plain_text` gives back every text exactly.
    """
    return f"'{text}" if _would_run(text) or text.startswith("'") else text


def plain_text(cell: str) -> str:
    """The inverse of `armed_text`; an apostrophe that guards nothing stays, as in a table from elsewhere."""
    if not cell.startswith("'"):
        return cell
    rest = cell[1:]
    return rest if _would_run(rest) or rest.startswith("'") else cell


def csv_bytes(rows: Iterable[Sequence[str]]) -> bytes:
    """Rows as CSV (RFC 4180) in UTF-8, with the mark that makes spreadsheets read it as UTF-8."""
    text = io.StringIO(newline="")
    csv.writer(text, strict=True, lineterminator="\r\n").writerows(rows)
    return text.getvalue().encode("utf-8-sig")


def text_rows(content: bytes, known: frozenset[str]) -> Iterator[TextRow]:
    """The rows of a CSV file, its header first; rows of nothing but blanks are passed over.

    Parameters
    ----------
    content
        UTF-8, with or without a byte order mark.
    known
        Names of columns, by which the delimiter is told.

    Raises
    ------
    BadFile
        If it is too large, no UTF-8 or no CSV, or holds too many rows, columns or signs in a cell.
    """
    text = decoded(content)
    reader = csv.reader(_lines(text), strict=True, delimiter=_delimiter(text, known))
    count = 0
    while True:
        line = reader.line_num + 1
        cells = _next_row(reader, line)
        if cells is None:
            return
        count += 1
        _refuse_large(line, cells, count)
        if any(map(str.strip, cells)):
            yield line, cells


def decoded(content: bytes) -> str:
    """The text of a table's file.

    Raises
    ------
    BadFile
        If it is too large, or no UTF-8.
    """
    if len(content) > MOST_BYTES:
        raise BadFile(f"The table has more than {MOST_BYTES // 1_000_000} MB.", "Split it into several files.")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise BadFile(f"Line {line} of the table is not written in UTF-8.", "Save it again as UTF-8.") from None


def _would_run(text: str) -> bool:
    return text[:1] in _STARTS or text.lstrip()[:1] in _STARTS if text else False


def _lines(text: str) -> Iterator[str]:
    for number, line in enumerate(io.StringIO(text, newline=""), 1):
        if len(line) > _LONGEST_LINE:
            raise BadFile(f"Line {number} has {len(line)} characters.", f"Use at most {_LONGEST_LINE} in a line.")
        yield line


def _delimiter(text: str, known: frozenset[str]) -> str:
    """The delimiter under which the header has most of the known columns."""

    def columns(delimiter: str) -> tuple[int, int]:
        try:
            cells = next(csv.reader(_lines(text), strict=True, delimiter=delimiter), [])
        except csv.Error:
            return 0, 0
        return sum(cell.strip().casefold() in known for cell in cells), len(cells)

    return max(_DELIMITERS, key=columns)


def _next_row(reader: Iterator[list[str]], line: int) -> list[str] | None:
    try:
        return next(reader, None)
    except csv.Error as error:
        said = str(error)
        if "limit" in said:
            raise BadFile(*_long_cell(line)) from None
        if "end of data" in said:
            raise BadFile(f"Line {line} opens a quote that is never closed.", "Close it, or take it out.") from None
        raise BadFile(
            f"Line {line} is not written as CSV.", "Put a cell with quotes in it in quotes, and double the quotes."
        ) from None


def _refuse_large(line: int, cells: list[str], count: int) -> None:
    if count > MOST_ROWS + 1:
        raise BadFile(f"The table has more than {MOST_ROWS} rows.", "Split it into several files.")
    if len(cells) > MOST_COLUMNS:
        raise BadFile(f"Line {line} has {len(cells)} cells.", f"Use at most {MOST_COLUMNS} columns.")
    if max(map(len, cells), default=0) > LONGEST_CELL:
        raise BadFile(*_long_cell(line))


def _long_cell(line: int) -> tuple[str, str]:
    return f"Line {line} has a cell of more than {LONGEST_CELL} characters.", "Shorten it, or close its quotes."
