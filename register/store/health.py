"""Whether the database is sound, read whole."""

from collections.abc import Iterator

from sqlalchemy import text

from register.store.history import tables_with_history
from register.store.transaction import Reading


def faults(reading: Reading) -> Iterator[str]:
    """Each thing that is wrong with the database, in words."""
    connection = reading.session.connection()
    for (said,) in connection.exec_driver_sql("PRAGMA integrity_check(20)"):
        if said != "ok":
            yield f"the database says {said}"
    for row in connection.exec_driver_sql("PRAGMA foreign_key_check"):
        yield f"a row of {row[0]} points to a row of {row[2]} that is not there"
    triggers = {name for (name,) in connection.exec_driver_sql("SELECT name FROM sqlite_master WHERE type = 'trigger'")}
    for table in tables_with_history(connection):
        if not {f"history_{table}_{moment}" for moment in ("insert", "update", "delete")} <= triggers:
            yield f"changes of {table} are not kept"


def row_count(reading: Reading) -> int:
    """Rows of the register, its history left out."""
    connection = reading.session.connection()
    return sum(
        int(connection.execute(text(f'SELECT count(*) FROM "{table}"')).scalar_one())
        for table in tables_with_history(connection)
    )
