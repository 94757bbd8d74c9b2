"""Tables of the history: operations, and the row changes that triggers write under them."""

from typing import Any

from sqlalchemy import CheckConstraint, Column, ForeignKey, Index, Integer, Table, Text, UniqueConstraint, text

from register.store.row import metadata

HISTORY_TABLES = ("operation", "change", "open_operation", "register_identity")
_STRICT: dict[str, Any] = {"sqlite_strict": True}

# Plain Core tables: they are written by triggers and by the transaction alone, and nobody maps them.
operation = Table(
    "operation",
    metadata,
    Column("seq", Integer, primary_key=True),
    Column("key", Text, nullable=False),
    Column("station", Text, nullable=False),
    Column("at", Text, nullable=False),
    Column("who", Text, nullable=False),
    Column("why", Text, nullable=False),
    Column("undoes", Integer, ForeignKey("operation.seq"), nullable=True),
    UniqueConstraint("key"),
    Index("ix_operation_at", "at"),
    Index("ix_operation_who", "who"),
    Index("ix_operation_undoes", "undoes", sqlite_where=text("undoes IS NOT NULL")),
    **_STRICT,
)

change = Table(
    "change",
    metadata,
    Column("seq", Integer, primary_key=True),
    Column("operation", Integer, ForeignKey("operation.seq"), nullable=False),
    Column("row_table", Text, nullable=False),
    Column("row_key", Text, nullable=False),
    Column("old", Text, nullable=True),
    Column("new", Text, nullable=True),
    Index("ix_change_operation", "operation"),
    Index("ix_change_row", "row_table", "row_key"),
    # Rows that are gone: they are found in the history alone.
    Index("ix_change_gone", "row_table", "row_key", sqlite_where=text("new IS NULL")),
    **_STRICT,
)

# Holds one row while a transaction writes and none otherwise: a write outside an operation fails on it.
open_operation = Table(
    "open_operation",
    metadata,
    Column("one", Integer, primary_key=True),
    Column("operation", Integer, ForeignKey("operation.seq"), nullable=False),
    CheckConstraint("one = 1", name="single"),
    **_STRICT,
)

register_identity = Table(
    "register_identity",
    metadata,
    Column("key", Text, primary_key=True),
    Column("station", Text, nullable=False),
    Column("made_at", Text, nullable=False),
    # A demo's clock runs on from this moment instead of the computer's time.
    Column("runs_from", Text, nullable=True),
    **_STRICT,
)
