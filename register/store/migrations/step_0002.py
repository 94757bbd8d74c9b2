"""Step 2: indexes, so that a register of many seasons answers as fast as a new one."""

from typing import Any

import sqlalchemy as sa
from alembic.operations import Operations

DOES = "adds indexes, so that counts, spares and the history are found at once in a large register"

REPLACED = (
    ("ix_piece_move_part_key", "piece_move"),
    ("ix_stock_move_lot_key", "stock_move"),
)
# Name, table, columns, and the condition of an index that holds a part of the rows.
INDEXES: tuple[tuple[str, str, tuple[str, ...], str | None], ...] = (
    ("ix_piece_move_on_hand", "piece_move", ("part_key", "revision_key", "place", "quantity"), None),
    ("ix_stock_move_left", "stock_move", ("lot_key", "amount"), None),
    ("ix_stock_move_job_key", "stock_move", ("job_key",), "job_key IS NOT NULL"),
    ("ix_job_revision_key", "job", ("revision_key",), None),
    ("ix_operation_at", "operation", ("at",), None),
    ("ix_operation_who", "operation", ("who",), None),
    ("ix_operation_undoes", "operation", ("undoes",), "undoes IS NOT NULL"),
    ("ix_change_gone", "change", ("row_table", "row_key"), "new IS NULL"),
)


def upgrade(op: Operations) -> None:
    """Make the indexes; no row changes."""
    for name, table in REPLACED:
        op.drop_index(name, table_name=table)
    for name, table, columns, condition in INDEXES:
        partial: dict[str, Any] = {"sqlite_where": sa.text(condition)} if condition else {}
        op.create_index(name, table, list(columns), unique=False, **partial)
    found = sa.text("number_folded || char(31) || lower(name)")
    op.create_index("ix_part_found", "part", ["number_folded", found], unique=False)
