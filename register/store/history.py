"""Every row change, written by triggers under the operation that made it; and the way back."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, text
from sqlalchemy.exc import IntegrityError

from register.domain.history import Operation
from register.errors import NotAllowed, NotFound
from register.store.column_types import time_from
from register.store.tables.history import HISTORY_TABLES
from register.store.transaction import Reading, Writing

# An operation in the way: its number and what it was.
Later = Sequence[Any]
_NAMED = "SELECT o.seq, o.why FROM change c JOIN operation o ON o.seq = c.operation"


@dataclass(frozen=True)
class _Columns:
    """Names of a table's columns, and those that hold REAL numbers."""

    names: tuple[str, ...]
    real: frozenset[str]

    def as_json(self, source: str) -> str:
        """SQL that gives a row of `source` as JSON. JSON keeps 15 figures of a REAL, so its SQL literal is kept."""
        return "json_object({})".format(
            ", ".join(
                f"'{name}', quote({source}.\"{name}\")" if name in self.real else f"'{name}', {source}.\"{name}\""
                for name in self.names
            )
        )

    def value(self, name: str, kept: Any) -> Any:
        """A kept value as SQLite takes it."""
        if name not in self.real:
            return kept
        return None if kept == "NULL" else float(kept)


def _columns(connection: Connection, table: str) -> _Columns:
    rows = connection.exec_driver_sql(f'PRAGMA table_info("{table}")').all()
    return _Columns(tuple(row[1] for row in rows), frozenset(row[1] for row in rows if row[2] == "REAL"))


def tables_with_history(connection: Connection) -> tuple[str, ...]:
    """Every table whose changes are kept."""
    rows = connection.exec_driver_sql(
        "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%' ORDER BY name"
    )
    return tuple(name for (name,) in rows if name not in HISTORY_TABLES)


def drop_triggers(connection: Connection) -> None:
    """Take the history triggers away while a schema step runs: what it moves about is no operation of a person."""
    rows = connection.exec_driver_sql("SELECT name FROM sqlite_master WHERE type = 'trigger' AND name LIKE 'history%'")
    for (name,) in rows.all():
        connection.exec_driver_sql(f'DROP TRIGGER "{name}"')


def rebuild_triggers(connection: Connection) -> None:
    """Write the history triggers anew for every table; each schema step ends with this."""
    for name, statement in trigger_statements(connection).items():
        connection.exec_driver_sql(f'DROP TRIGGER IF EXISTS "{name}"')
        connection.exec_driver_sql(statement)


def trigger_statements(connection: Connection) -> dict[str, str]:
    """Name and SQL of each trigger that keeps the history of the tables that are there."""
    statements = {}
    for table in tables_with_history(connection):
        columns = _columns(connection, table)
        for moment, key, old, new in (
            ("INSERT", "NEW", "NULL", columns.as_json("NEW")),
            ("UPDATE", "NEW", columns.as_json("OLD"), columns.as_json("NEW")),
            ("DELETE", "OLD", columns.as_json("OLD"), "NULL"),
        ):
            name = f"history_{table}_{moment.lower()}"
            statements[name] = (
                f'CREATE TRIGGER "{name}" AFTER {moment} ON "{table}" BEGIN '
                "INSERT INTO change (operation, row_table, row_key, old, new) VALUES "
                f"((SELECT operation FROM open_operation), '{table}', {key}.\"key\", {old}, {new}); END"
            )
    return statements


LISTED = "SELECT seq, at, who, why, undoes FROM operation"


def operation_at(reading: Reading, number: int) -> Operation:
    """Operation `number`.

    Raises
    ------
    NotFound
        If there is none.
    """
    # A number that SQLite cannot hold is no operation's.
    held = number if abs(number) < 1 << 62 else 0
    row = reading.session.connection().execute(text(f"{LISTED} WHERE seq = :number"), {"number": held}).first()
    if row is None:
        raise NotFound(f"There is no operation {number}.", "See `pitwright history`.")
    return operation_from(row, undone_by(reading))


def last_undoable(reading: Reading, who: str) -> Operation:
    """The newest operation of `who` that is neither an undo nor undone: nobody takes another's back unawares.

    One that kept a plan and nothing else is passed over: who undoes means what was done before it.

    Raises
    ------
    NotFound
        If there is none.
    """
    undone = undone_by(reading)
    rows = reading.session.connection().execute(
        text(
            f"{LISTED} WHERE who = :who AND undoes IS NULL AND EXISTS (SELECT 1 FROM change "
            "WHERE change.operation = operation.seq AND row_table <> 'plan') ORDER BY seq DESC"
        ),
        {"who": who},
    )
    for row in rows:
        if row[0] not in undone:
            return operation_from(row, undone)
    raise NotFound(f"{who} has nothing to undo.", "See `pitwright history`, and give the operation's number.")


def undone_by(reading: Reading, before: int | None = None) -> dict[int, int]:
    """Which operations are undone, each with the one that took it back; an undo that was undone does not count.

    Parameters
    ----------
    before
        Only operations below this number count; all of them if None.
    """
    rows = reading.session.connection().execute(
        # Named, because SQLite would rather walk down the key over all operations than sort the few undos.
        text(
            "SELECT seq, undoes FROM operation INDEXED BY ix_operation_undoes "
            "WHERE undoes IS NOT NULL AND seq < :before ORDER BY seq DESC"
        ),
        {"before": before if before is not None else 1 << 62},
    )
    undone: dict[int, int] = {}
    for number, target in rows:
        if number not in undone:
            undone[target] = number
    return undone


def last_operation(reading: Reading) -> int:
    """Number of the newest operation, 0 if there is none."""
    return int(reading.session.connection().execute(text("SELECT coalesce(max(seq), 0) FROM operation")).scalar_one())


def take_back(writing: Writing, number: int) -> None:
    """Restore every row that operation `number` changed to what it was before, exactly.

    Raises
    ------
    NotAllowed
        If a later operation changed one of these rows, stands on one of them, took away what they stand on or holds
        what must be theirs alone; the message names it.
    """
    connection = writing.session.connection()
    connection.exec_driver_sql("PRAGMA defer_foreign_keys = ON")
    spans = _spans(connection, number)
    shapes = {table: _columns(connection, table) for table in {span[0] for span in spans}}
    for table, key, _, new in spans:
        _refuse_if_moved_on(connection, table, shapes[table], key, new, number)
    # Deletions first, so that a restored row never meets the one that took its unique name.
    for table, key, old, new in sorted(spans, key=lambda span: (span[2] is not None, span[3] is None)):
        try:
            _restore(connection, table, shapes[table], key, old, new)
        except IntegrityError as error:
            raise _stands_in_the_way(number, _holder(connection, table, key, old)) from error
    _refuse_if_dangling(connection, number, {(table, key) for table, key, _, _ in spans})


def operation_from(row: Any, undone: dict[int, int]) -> Operation:
    """An operation from a row of `LISTED`, and which are undone."""
    return Operation(row[0], time_from(row[1]), row[2], row[3], row[4], undone.get(row[0]))


def _spans(connection: Connection, number: int) -> list[tuple[str, str, str | None, str | None]]:
    """(table, key, row before, row after) of each row that an operation touched."""
    rows = connection.execute(
        text("SELECT row_table, row_key, old, new FROM change WHERE operation = :number ORDER BY seq"),
        {"number": number},
    ).all()
    found: dict[tuple[str, str], list[str | None]] = {}
    for table, key, old, new in rows:
        span = found.setdefault((table, key), [old, new])
        span[1] = new
    return [(table, key, old, new) for (table, key), (old, new) in found.items() if old != new]


def _refuse_if_moved_on(
    connection: Connection, table: str, columns: _Columns, key: str, new: str | None, number: int
) -> None:
    shape = columns.as_json(f'"{table}"')
    now = connection.execute(text(f'SELECT {shape} FROM "{table}" WHERE "key" = :key'), {"key": key}).scalar()
    if now != new:
        raise _stands_in_the_way(number, _last_change(connection, table, key))


def _holder(connection: Connection, table: str, key: str, old: str | None) -> Later | None:
    """The last change of the row that holds what the row `key` must have alone, such as its name."""
    kept = json.loads(old or "{}")
    for index in connection.exec_driver_sql(f'PRAGMA index_list("{table}")').all():
        names = [row[2] for row in connection.exec_driver_sql(f'PRAGMA index_info("{index[1]}")')]
        alike = "".join(f' AND "{name}" = :v{place}' for place, name in enumerate(names))
        values = {f"v{place}": kept.get(name) for place, name in enumerate(names)}
        held = text(f'SELECT "key" FROM "{table}" WHERE "key" <> :key{alike}')
        holder = connection.execute(held, values | {"key": key}).scalar() if index[2] else None
        if holder is not None:
            return _last_change(connection, table, str(holder))
    return None


def _refuse_if_dangling(connection: Connection, number: int, restored: set[tuple[str, str]]) -> None:
    loose = connection.exec_driver_sql("PRAGMA foreign_key_check").first()
    if loose is None:
        return
    table, rowid, parent, link = loose
    links = connection.exec_driver_sql(f'PRAGMA foreign_key_list("{table}")').all()
    column, target = next((row[3], row[4]) for row in links if row[0] == link)
    key, value = connection.execute(
        text(f'SELECT "key", "{column}" FROM "{table}" WHERE rowid = :rowid'), {"rowid": rowid}
    ).one()
    if (table, key) not in restored:
        raise _stands_in_the_way(number, _last_change(connection, table, key))
    later = connection.execute(
        text(
            f"{_NAMED} WHERE c.row_table = :parent AND c.new IS NULL AND json_extract(c.old, :path) = :value "
            "ORDER BY c.seq DESC LIMIT 1"
        ),
        {"parent": parent, "path": f'$."{target}"', "value": value},
    ).first()
    raise _stands_in_the_way(number, later, "took away what it stands on")


def _last_change(connection: Connection, table: str, key: str) -> Later | None:
    """The operation that changed a row last, before the one that is open."""
    return connection.execute(
        text(
            f"{_NAMED} WHERE c.row_table = :table AND c.row_key = :key "
            "AND c.operation < (SELECT operation FROM open_operation) ORDER BY c.seq DESC LIMIT 1"
        ),
        {"table": table, "key": key},
    ).first()


def _stands_in_the_way(number: int, later: Later | None, how: str = "stands on it") -> NotAllowed:
    named = f"operation {later[0]} ({later[1]})" if later else "a later operation"
    return NotAllowed(f"Operation {number} cannot be undone: {named} {how}.", "Undo that one first.")


def _restore(connection: Connection, table: str, columns: _Columns, key: str, old: str | None, new: str | None) -> None:
    if old is None:
        connection.execute(text(f'DELETE FROM "{table}" WHERE "key" = :key'), {"key": key})
        return
    kept = json.loads(old)
    values = {f"v{place}": columns.value(name, kept[name]) for place, name in enumerate(columns.names)}
    marks = list(values)
    if new is None:
        names = ", ".join(f'"{name}"' for name in columns.names)
        connection.execute(
            text(f'INSERT INTO "{table}" ({names}) VALUES ({", ".join(":" + mark for mark in marks)})'), values
        )
        return
    pairs = ", ".join(f'"{name}" = :{mark}' for name, mark in zip(columns.names, marks, strict=True))
    connection.execute(text(f'UPDATE "{table}" SET {pairs} WHERE "key" = :row_key'), values | {"row_key": key})
