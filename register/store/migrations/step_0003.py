"""Step 3: a pose that must be kept, powder and its printers, and an index of what wears."""

import sqlalchemy as sa
from alembic.operations import Operations

from register.store.migrations.kept_rows import add_to_kept
from register.store.migrations.rebuilding import rebuild_table

DOES = "adds a pose that a revision must keep, powder and powder printers, and an index of the parts that wear"


def upgrade(op: Operations) -> None:
    """Add the columns and the index, and let materials and lots be powder."""
    first = 'CONSTRAINT pk_revision PRIMARY KEY ("key")'
    printed = "CONSTRAINT ck_revision_pose_is_printed CHECK (keep_pose = '' OR process = 'printed')"
    rebuild_table(op, "revision", {first: f"keep_pose TEXT DEFAULT '' NOT NULL, \n\t{first}, \n\t{printed}"})
    add_to_kept(op, "revision", "keep_pose", "")
    op.add_column("machine", sa.Column("powder", sa.Text(), nullable=True))
    add_to_kept(op, "machine", "powder", None)
    rebuild_table(op, "material", {"form IN ('filament', 'sheet')": "form IN ('filament', 'sheet', 'powder')"})
    rebuild_table(
        op,
        "lot",
        {
            "form IN ('spool', 'sheet', 'offcut')": "form IN ('spool', 'sheet', 'offcut', 'powder')",
            "form = 'spool' OR": "form IN ('spool', 'powder') OR",
        },
    )
    op.create_index("ix_part_wear", "part", ["number_folded"], unique=False, sqlite_where=sa.text("wear = 1"))
