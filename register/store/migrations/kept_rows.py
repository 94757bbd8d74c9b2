"""Rows that the history keeps as JSON: a step that adds a column adds it to them, or nothing older can be undone."""

from alembic.operations import Operations
from sqlalchemy import text


def add_to_kept(op: Operations, table: str, column: str, value: str | int | float | None) -> None:
    """Add a column to every kept row of `table`, as the triggers would have written it.

    Parameters
    ----------
    column
        The last column of the table, which has it already.
    value
        What the rows that were there have in it.

    Notes
    -----
    The text is added at the end of what is kept and nothing else of it is written anew: undo compares what is kept
    with what the table says, byte for byte.
    """
    connection = op.get_bind()
    *_, (last, kind) = ((row[1], row[2]) for row in connection.exec_driver_sql(f'PRAGMA table_info("{table}")'))
    assert last == column
    # JSON keeps 15 figures of a REAL, so the history keeps its SQL literal (register.store.history).
    kept = "quote(:value)" if kind == "REAL" else ":value"
    added = f"|| ',' || substr(json_object(:column, {kept}), 2)"
    connection.execute(
        text(
            f"UPDATE change SET old = substr(old, 1, length(old) - 1) {added}, "
            f"new = substr(new, 1, length(new) - 1) {added} WHERE row_table = :table"
        ),
        {"table": table, "column": column, "value": value},
    )
