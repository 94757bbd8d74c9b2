"""A table made anew with other words in its SQL: what SQLite needs where a CHECK changes."""

from collections.abc import Mapping

from alembic.operations import Operations
from sqlalchemy import text

from register.errors import StoreBroken

_PASSING = "rebuilt_by_a_step"


def rebuild_table(op: Operations, table: str, replaced: Mapping[str, str]) -> None:
    """Make `table` anew, with the pieces of its SQL that `replaced` names written otherwise.

    Everything else stays byte for byte: columns, other constraints, STRICT, indexes, and every row with its rowid.
    A column that the new SQL adds takes its default. Foreign keys must be off: dropping the old table would delete
    the rows that point to it.

    Raises
    ------
    StoreBroken
        If the SQL of the table does not hold one of the pieces exactly once.
    """
    connection = op.get_bind()
    assert not connection.exec_driver_sql("PRAGMA foreign_keys").scalar()
    rows = connection.execute(
        text("SELECT type, sql FROM sqlite_master WHERE tbl_name = :table AND sql IS NOT NULL"), {"table": table}
    ).all()
    body = next(str(sql)[str(sql).index("(") :] for kind, sql in rows if kind == "table")
    for old, new in replaced.items():
        if body.count(old) != 1:
            raise StoreBroken(
                f"The table {table} is not as pitwright made it.",
                "Send a copy of the folder to whoever keeps pitwright here; nothing was changed.",
            )
        body = body.replace(old, new)
    columns = ", ".join(f'"{row[1]}"' for row in connection.exec_driver_sql(f'PRAGMA table_info("{table}")'))
    connection.exec_driver_sql(f'CREATE TABLE "{_PASSING}" {body}')
    connection.exec_driver_sql(f'INSERT INTO "{_PASSING}" (rowid, {columns}) SELECT rowid, {columns} FROM "{table}"')
    connection.exec_driver_sql(f'DROP TABLE "{table}"')
    connection.exec_driver_sql(f'ALTER TABLE "{_PASSING}" RENAME TO "{table}"')
    for sql in (str(sql) for kind, sql in rows if kind == "index"):
        connection.exec_driver_sql(sql)
