"""Tables of parts, revisions, files, estimates, and of the robots that carry them."""

from datetime import datetime
from typing import Any

from sqlalchemy import REAL, Index, Text, UniqueConstraint, text
from sqlmodel import Field

from register.domain.parts import Process
from register.domain.revisions import Interchange, RevisionState, Stage
from register.store.column_types import Flag, Json, UtcTime
from register.store.finding import FOUND
from register.store.row import Row, holds, one_of
from register.store.tables.shop import STRICT


class PartRow(Row, table=True):
    """A part number. `number_folded` finds it whatever the case."""

    __tablename__ = "part"
    __table_args__ = (
        UniqueConstraint("number_folded"),
        holds("number_said", "length(trim(number)) > 0"),
        Index("ix_part_found", "number_folded", text(FOUND)),
        Index("ix_part_wear", "number_folded", sqlite_where=text("wear = 1")),
        STRICT,
    )

    number: str = Field(sa_type=Text)
    number_folded: str = Field(sa_type=Text)
    name: str = Field(sa_type=Text)
    wear: bool = Field(sa_type=Flag)


class StoredFileRow(Row, table=True):
    """A file of the file room, by the sha256 of its bytes."""

    __tablename__ = "stored_file"
    __table_args__ = (
        UniqueConstraint("sha256"),
        holds("hash", "length(sha256) = 64"),
        holds("size", "bytes > 0"),
        STRICT,
    )

    sha256: str = Field(sa_type=Text)
    name: str = Field(sa_type=Text)
    bytes: int


class RevisionRow(Row, table=True):
    """One revision. `place` is the letter's place in the series, so that AA sorts after Y."""

    __tablename__ = "revision"
    __table_args__ = (
        UniqueConstraint("part_key", "letter"),
        UniqueConstraint("part_key", "place", name="uq_revision_place"),
        one_of("process", Process),
        one_of("state", RevisionState),
        one_of("stage", Stage),
        one_of("interchange", Interchange),
        holds("bought_costs", "process <> 'bought' OR (unit_cost_cents >= 0 AND lead_days >= 0)"),
        holds("made_has_file", "process = 'bought' OR (file_sha256 IS NOT NULL AND material IS NOT NULL)"),
        holds("thickness", "thickness_mm IS NULL OR thickness_mm > 0"),
        holds("pose_is_printed", "keep_pose = '' OR process = 'printed'"),
        Index("ix_revision_file_sha256", "file_sha256"),
        STRICT,
    )

    part_key: str = Field(sa_type=Text, foreign_key="part.key")
    letter: str = Field(sa_type=Text)
    place: int
    process: str = Field(sa_type=Text)
    state: str = Field(sa_type=Text)
    stage: str = Field(sa_type=Text)
    interchange: str = Field(sa_type=Text)
    interchange_why: str = Field(sa_type=Text)
    changed: str = Field(sa_type=Text)
    material: str | None = Field(default=None, sa_type=Text)
    thickness_mm: float | None = Field(default=None, sa_type=REAL)
    file_sha256: str | None = Field(default=None, sa_type=Text, foreign_key="stored_file.sha256")
    file_name: str | None = Field(default=None, sa_type=Text)
    unit: str = Field(sa_type=Text)
    unit_cost_cents: int | None = None
    lead_days: int | None = None
    logged_by: str = Field(sa_type=Text)
    logged_at: datetime = Field(sa_type=UtcTime)
    released_by: str | None = Field(default=None, sa_type=Text)
    released_at: datetime | None = Field(default=None, sa_type=UtcTime)
    keep_pose: str = Field(default="", sa_type=Text, sa_column_kwargs={"server_default": ""})


class EstimateRow(Row, table=True):
    """The estimate of a revision, whole, as `--json` prints it."""

    __tablename__ = "estimate"
    __table_args__ = (UniqueConstraint("revision_key"), STRICT)

    revision_key: str = Field(sa_type=Text, foreign_key="revision.key")
    made_at: datetime = Field(sa_type=UtcTime)
    body: Any = Field(sa_type=Json, nullable=False)


class RobotRow(Row, table=True):
    """A robot."""

    __tablename__ = "robot"
    __table_args__ = (UniqueConstraint("name"), STRICT)

    name: str = Field(sa_type=Text)
    note: str = Field(sa_type=Text)
    active: bool = Field(sa_type=Flag)


class AssemblyRow(Row, table=True):
    """A group of positions on one robot; a module is swapped whole."""

    __tablename__ = "assembly"
    __table_args__ = (UniqueConstraint("robot_key", "name"), STRICT)

    robot_key: str = Field(sa_type=Text, foreign_key="robot.key")
    parent_key: str | None = Field(default=None, sa_type=Text, foreign_key="assembly.key")
    name: str = Field(sa_type=Text)
    module: bool = Field(sa_type=Flag)


class PositionRow(Row, table=True):
    """A place for like pieces on a robot, with the revision that it is meant to carry."""

    __tablename__ = "position"
    __table_args__ = (
        UniqueConstraint("robot_key", "name"),
        holds("quantity", "quantity > 0"),
        Index("ix_position_part_key", "part_key"),
        STRICT,
    )

    robot_key: str = Field(sa_type=Text, foreign_key="robot.key")
    assembly_key: str | None = Field(default=None, sa_type=Text, foreign_key="assembly.key")
    name: str = Field(sa_type=Text)
    part_key: str = Field(sa_type=Text, foreign_key="part.key")
    quantity: int
    required_key: str = Field(sa_type=Text, foreign_key="revision.key")


class FittedRow(Row, table=True):
    """What sits in one slot of a position now. No row: nothing fitted; a row without revision: an unmarked piece."""

    __tablename__ = "fitted"
    __table_args__ = (UniqueConstraint("position_key", "slot"), holds("slot", "slot > 0"), STRICT)

    position_key: str = Field(sa_type=Text, foreign_key="position.key")
    slot: int
    revision_key: str | None = Field(default=None, sa_type=Text, foreign_key="revision.key")
    fitted_by: str = Field(sa_type=Text)
    fitted_at: datetime = Field(sa_type=UtcTime)
