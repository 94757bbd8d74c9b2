"""Operations by part, by person and by time."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, text

from register.domain.history import Operation
from register.errors import NotFound
from register.store.column_types import time_text
from register.store.history import LISTED, operation_from, undone_by
from register.store.transaction import Reading

# Rows that belong to a part, each with the column that names the row which it hangs on.
_HANGS_ON = (
    ("revision", "part_key", "part"),
    ("position", "part_key", "part"),
    ("piece_move", "part_key", "part"),
    ("replacement", "part_key", "part"),
    ("estimate", "revision_key", "revision"),
    ("job", "revision_key", "revision"),
    ("fitted", "position_key", "position"),
    ("stock_move", "job_key", "job"),
)


@dataclass(frozen=True)
class Wanted:
    """Which operations: of a part number, of a person, from a moment until before another; None for any."""

    part: str | None = None
    who: str | None = None
    since: datetime | None = None
    until: datetime | None = None


def operations_of(reading: Reading, wanted: Wanted, most: int) -> tuple[Operation, ...]:
    """The last `most` operations that `wanted` names, newest first.

    Raises
    ------
    NotFound
        If the history knows no such part or person.
    """
    connection = reading.session.connection()
    values: dict[str, Any] = {"most": most}
    tables, conditions = "", ["1"]
    if wanted.part is not None:
        tables, values["number"] = f"WITH {', '.join(_rows_of_part())} ", _known_part(connection, wanted.part)
        conditions.append(f"seq IN ({_touching()})")
    if wanted.who is not None:
        names = _known_names(connection, wanted.who)
        marks = {f"who{place}": name for place, name in enumerate(names)}
        # The sign keeps a name beside a day from choosing the index: a day holds less than a person's years.
        sifted = "+who" if wanted.since else "who"
        conditions.append(f"{sifted} IN ({', '.join(f':{mark}' for mark in marks)})")
        values |= marks
    for bound, condition in ((wanted.since, "at >= :since"), (wanted.until, "at < :until")):
        if bound is not None:
            conditions.append(condition)
            values[condition.split(":")[1]] = time_text(bound)
    listed = f"{tables}{LISTED} WHERE {' AND '.join(conditions)} ORDER BY seq DESC LIMIT :most"
    undone = undone_by(reading)
    return tuple(operation_from(row, undone) for row in connection.execute(text(listed), values))


def _rows_of_part() -> Iterator[str]:
    """Common table expressions `rows_of_TABLE`: keys of all rows of a part, those that are gone from the change log."""
    yield (
        'rows_of_part(key) AS MATERIALIZED (SELECT "key" FROM part WHERE number_folded = :number '
        "UNION SELECT row_key FROM change WHERE new IS NULL AND row_table = 'part' "
        "AND json_extract(old, '$.number_folded') = :number)"
    )
    for table, column, above in _HANGS_ON:
        yield (
            f'rows_of_{table}(key) AS MATERIALIZED (SELECT "key" FROM "{table}" '
            f'WHERE "{column}" IN (SELECT key FROM rows_of_{above}) '
            f"UNION SELECT row_key FROM change WHERE new IS NULL AND row_table = '{table}' "
            f"AND json_extract(old, '$.{column}') IN (SELECT key FROM rows_of_{above}))"
        )


def _touching() -> str:
    return " UNION ALL ".join(
        f"SELECT operation FROM change WHERE row_table = '{table}' AND row_key IN (SELECT key FROM rows_of_{table})"
        for table in ("part", *(table for table, _, _ in _HANGS_ON))
    )


def _known_part(connection: Connection, number: str) -> str:
    wanted = number.strip().casefold()
    there = connection.execute(
        text(
            "SELECT 1 FROM part WHERE number_folded = :number UNION ALL SELECT 1 FROM change "
            "WHERE new IS NULL AND row_table = 'part' AND json_extract(old, '$.number_folded') = :number LIMIT 1"
        ),
        {"number": wanted},
    ).first()
    if there is None:
        raise NotFound(f"There has never been a part {number!r}.", "See `pitwright part list`.")
    return wanted


def _known_names(connection: Connection, who: str) -> list[str]:
    """Everybody of the history whose name is `who`, whatever the case."""
    # One step of the index for each name, however many operations each has.
    names: list[Any] = [
        name
        for (name,) in connection.exec_driver_sql(
            "WITH RECURSIVE names(name) AS (SELECT min(who) FROM operation UNION ALL "
            "SELECT (SELECT min(who) FROM operation WHERE who > name) FROM names WHERE name IS NOT NULL) "
            "SELECT name FROM names WHERE name IS NOT NULL"
        )
    ]
    alike = [str(name) for name in names if str(name).casefold() == who.strip().casefold()]
    if not alike:
        known = ", ".join(str(name) for name in names[:10]) or "nobody"
        raise NotFound(f"{who!r} has done nothing in this register.", f"In its history are {known}.")
    return alike
