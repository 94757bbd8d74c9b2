"""Tables of the register as CSV or JSON, and back. Here and not in reports, because actions read and write them."""

from collections.abc import Iterable, Iterator, Sequence

from register.domain.exchange import Faults, TableRow
from register.domain.table_columns import COLUMNS, Cell, Column, Kind, Subject, TableForm, Values
from register.domain.table_rows import cell_text, checked_row
from register.errors import BadFile, RegisterError
from register.settings.csv_rows import armed_text, csv_bytes, plain_text, text_rows
from register.settings.json_rows import Scalar, json_bytes, object_rows
from register.settings.table_cells import reader_for
from register.units.quantities import quoted

_FIGURES = frozenset({Kind.FLAG, Kind.WHOLE, Kind.FIGURE, Kind.MOMENT})

# The line where a row begins, and its cells in the order of the columns; None where the file has no such column.
_Found = Iterator[tuple[int, list[Scalar]]]


def written_table(subject: Subject, rows: Iterable[Values], form: TableForm) -> bytes:
    """Rows as a file. CSV disarms what a spreadsheet would run as a formula; `read_table` gives it back as it was."""
    columns = COLUMNS[subject]
    if form is TableForm.JSON:
        return json_bytes(
            {column.name: _json_value(cell) for column, cell in zip(columns, values, strict=True)} for values in rows
        )
    header = [column.name for column in columns]
    armed = [column.kind not in _FIGURES for column in columns]
    return csv_bytes(
        [
            header,
            *(
                [
                    armed_text(cell_text(cell)) if arm else cell_text(cell)
                    for arm, cell in zip(armed, values, strict=True)
                ]
                for values in rows
            ),
        ]
    )


def read_table(subject: Subject, content: bytes, form: TableForm, zone: str) -> tuple[TableRow, ...]:
    """The rows of a file, each cell checked.

    Parameters
    ----------
    zone
        In which times without an offset are meant.

    Raises
    ------
    BadFile
        If it is too large or not of that form; if a column is unknown, missing or there twice; if a cell is wrong.
        The message has the line, the column, and how many faults follow.
    """
    columns = COLUMNS[subject]
    written = form is TableForm.CSV
    readers = [reader_for(column, zone, written) for column in columns]
    found = _csv_rows(content, columns) if written else _json_rows(content, columns)
    faults = Faults()
    rows: list[TableRow] = []
    for line, cells in found:
        values: list[Cell] = []
        for column, read, cell in zip(columns, readers, cells, strict=True):
            try:
                values.append(read(cell))
            except RegisterError as wrong:
                faults.note(line, wrong.what, wrong.cure, column.name)
        if len(values) == len(columns):
            try:
                rows.append(TableRow(line, checked_row(subject, tuple(values))))
            except RegisterError as wrong:
                faults.note(line, wrong.what, wrong.cure)
    faults.refuse_if_any()
    return tuple(rows)


def _csv_rows(content: bytes, columns: Sequence[Column]) -> _Found:
    rows = text_rows(content, frozenset(column.name for column in columns))
    header = next(rows, None)
    if header is None:
        raise BadFile("The table is empty.", f"Its first line names the columns: {_listed(columns)}.")
    names = [plain_text(cell).strip().casefold() for cell in header[1]]
    _refuse_columns(header[0], names, columns)
    places = [names.index(column.name) if column.name in names else None for column in columns]
    for line, cells in rows:
        if len(cells) != len(names):
            raise BadFile(
                f"Line {line} has {len(cells)} cells and the header {len(names)}.",
                "Put a cell that holds the delimiter in quotes, and leave none out.",
            )
        yield line, [None if place is None else plain_text(cells[place]) for place in places]


def _json_rows(content: bytes, columns: Sequence[Column]) -> _Found:
    for line, values in object_rows(content):
        _refuse_columns(line, list(values), columns)
        yield line, [values.get(column.name) for column in columns]


def _refuse_columns(line: int, names: Sequence[str], columns: Sequence[Column]) -> None:
    known = {column.name for column in columns}
    for place, name in enumerate(names):
        if name not in known:
            raise BadFile(f"Line {line}: there is no column {quoted(name)}.", f"The columns are: {_listed(columns)}.")
        if name in names[:place]:
            raise BadFile(f"Line {line}: the column {name} stands there twice.", "Take one out.")
    missing = [column.name for column in columns if column.name not in names and not column.may_be_missing]
    if missing:
        raise BadFile(f"Line {line}: the column {missing[0]} is missing.", f"The columns are: {_listed(columns)}.")


def _listed(columns: Sequence[Column]) -> str:
    return ", ".join(column.name for column in columns)


def _json_value(cell: Cell) -> Scalar:
    return cell if isinstance(cell, str | int | float) or cell is None else cell_text(cell)
