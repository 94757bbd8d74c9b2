"""What a table from outside would add to the register and change in it, and the report of an import."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from register.domain.table_columns import COLUMNS, Cell, Column, Subject, Values
from register.domain.table_rows import cell_text, named, row_name
from register.errors import BadFile

# A report tells this many rows; the counts beside them tell of all.
MOST_TOLD = 50


@dataclass(frozen=True)
class TableRow:
    """One row of a table from outside; `line` is where it begins in the file, `values` are in the columns' order."""

    line: int
    values: Values


@dataclass(frozen=True)
class ColumnChange:
    """One cell that a row would change, as it is written in a table; None for a row that is new."""

    column: str
    old: str | None
    new: str


@dataclass(frozen=True)
class RowChange:
    """One row that is added or changed."""

    line: int
    row: str
    change: str
    columns: tuple[ColumnChange, ...]


@dataclass(frozen=True)
class Comparison:
    """A table from outside held against the register.

    `changed` has each row with the values that stand; `left` counts rows that the register holds just so, and
    `not_named` rows of the register that the table does not name, which stay as they are.
    """

    subject: Subject
    added: tuple[TableRow, ...]
    changed: tuple[tuple[TableRow, Values], ...]
    left: int
    not_named: int


@dataclass(frozen=True)
class ImportReport:
    """What an import did, or with `dry_run` would do. `changes` tells the first rows, the counts tell of all.

    `operation` is the one that takes it all back, None where nothing was written.
    """

    subject: Subject
    dry_run: bool
    rows: int
    added: int
    changed: int
    left: int
    not_named: int
    operation: int | None
    changes: tuple[RowChange, ...]


class Faults:
    """Faults of a table, gathered so that the first is told with the count of the others."""

    def __init__(self) -> None:
        self.count = 0
        self._first: tuple[int, str, str] | None = None

    def note(self, line: int, what: str, cure: str, column: str = "") -> None:
        """Note one fault; `what` is a sentence, or what goes on after "Line 7: "."""
        self.count += 1
        if self._first is None or line < self._first[0]:
            plain = what.rstrip(".")
            plain = plain[0].lower() + plain[1:] if plain.startswith(("The ", "A ", "There ")) else plain
            self._first = (line, f"Line {line}{', ' if column else ''}{column}: {plain}", cure)

    def refuse_if_any(self) -> None:
        """Raise BadFile about the first fault, if there is any."""
        if self._first is None:
            return
        _, what, cure = self._first
        more = f" ({self.count - 1} more {'fault' if self.count == 2 else 'faults'} after it)" if self.count > 1 else ""
        raise BadFile(f"{what}{more}.", cure)


def compared(subject: Subject, standing: Iterable[Values], wanted: Sequence[TableRow]) -> Comparison:
    """What a table would add, change and leave.

    Raises
    ------
    BadFile
        If two of its rows tell of the same thing.
    """
    columns = COLUMNS[subject]
    places = [(place, column.folded) for place, column in enumerate(columns) if column.key]
    held = {_key(places, values): values for values in standing}
    seen: dict[Values, int] = {}
    faults = Faults()
    added: list[TableRow] = []
    changed: list[tuple[TableRow, Values]] = []
    left = 0
    for row in wanted:
        key = _key(places, row.values)
        if seen.setdefault(key, row.line) != row.line:
            faults.note(row.line, f"line {seen[key]} tells of {row_name(subject, row.values)} too", "Take one out.")
            continue
        before = held.pop(key, None)
        if before is None and not _says_nothing(subject, row.values):
            added.append(row)
        elif before is not None and any(_differ(*each) for each in zip(columns, before, row.values, strict=True)):
            changed.append((row, before))
        else:
            left += 1
    faults.refuse_if_any()
    return Comparison(subject, tuple(added), tuple(changed), left, len(held))


def report_of(comparison: Comparison, dry_run: bool, operation: int | None) -> ImportReport:
    """The report of an import; see `ImportReport`."""
    subject = comparison.subject
    told = [(row, None) for row in comparison.added[:MOST_TOLD]]
    both: list[tuple[TableRow, Values | None]] = sorted(
        [*told, *comparison.changed[:MOST_TOLD]], key=lambda each: each[0].line
    )
    return ImportReport(
        subject,
        dry_run,
        len(comparison.added) + len(comparison.changed) + comparison.left,
        len(comparison.added),
        len(comparison.changed),
        comparison.left,
        comparison.not_named,
        operation,
        tuple(_row_change(subject, row, before) for row, before in both[:MOST_TOLD]),
    )


def _key(places: list[tuple[int, bool]], values: Values) -> Values:
    return tuple(str(values[place]).casefold() if folded else values[place] for place, folded in places)


def _differ(column: Column, old: Cell, new: Cell) -> bool:
    if column.folded:
        return str(old).casefold() != str(new).casefold()
    return old != new


def _says_nothing(subject: Subject, values: Values) -> bool:
    """Whether a row tells of no pieces at a place where there never were any."""
    return subject is Subject.SPARES and named(subject, values)["quantity"] == 0


def _row_change(subject: Subject, row: TableRow, before: Values | None) -> RowChange:
    columns = COLUMNS[subject]
    old: Values = before if before is not None else (None,) * len(columns)
    return RowChange(
        row.line,
        row_name(subject, row.values),
        "added" if before is None else "changed",
        tuple(
            ColumnChange(column.name, None if before is None else cell_text(was), cell_text(now))
            for column, was, now in zip(columns, old, row.values, strict=True)
            if not column.key and (before is None or _differ(column, was, now))
        ),
    )
