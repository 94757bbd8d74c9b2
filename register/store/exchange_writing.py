"""Rows that an import adds, changes and takes out, written in bulk."""

from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from sqlalchemy import bindparam, delete, insert, update

from register.store.keys import new_key
from register.store.row import metadata
from register.store.transaction import Writing

_Columns = dict[str, Any]


@dataclass
class Steps:
    """Rows to delete, insert and change, by table, in the order in which they are written."""

    at: datetime
    who: str
    deletes: dict[str, list[str]] = field(default_factory=dict)
    inserts: dict[str, list[_Columns]] = field(default_factory=dict)
    updates: dict[str, list[_Columns]] = field(default_factory=dict)

    def insert(self, table: str, **columns: Any) -> str:
        """Add a row and give back its key."""
        key = new_key(self.at)
        self.inserts.setdefault(table, []).append({"key": key, "version": 1} | columns)
        return key

    def update(self, table: str, row_key: str, **columns: Any) -> None:
        """Change a row."""
        self.updates.setdefault(table, []).append(
            {"row_key": row_key} | {f"new_{name}": value for name, value in columns.items()}
        )

    def delete(self, table: str, row_key: str) -> None:
        """Take a row out."""
        self.deletes.setdefault(table, []).append(row_key)


def write(writing: Writing, steps: Steps) -> None:
    """Write the steps, many rows at a time."""
    connection = writing.session.connection()
    # An assembly may stand before its parent.
    connection.exec_driver_sql("PRAGMA defer_foreign_keys = ON")
    for name, keys in steps.deletes.items():
        table = metadata.tables[name]
        connection.execute(delete(table).where(table.c.key == bindparam("row_key")), [{"row_key": key} for key in keys])
    for name, rows in steps.inserts.items():
        connection.execute(insert(metadata.tables[name]), rows)
    for name, rows in steps.updates.items():
        table = metadata.tables[name]
        # Names of their own, because the plain ones are the library's.
        changed: dict[str, Any] = {name.removeprefix("new_"): bindparam(name) for name in rows[0] if name != "row_key"}
        wanted = update(table).where(table.c.key == bindparam("row_key"))
        connection.execute(wanted.values(changed | {"version": table.c.version + 1}), rows)
