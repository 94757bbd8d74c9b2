"""Tables of the work: jobs, stock, pieces, replacements, competitions and the plan. Ledgers are only ever added to."""

from datetime import datetime
from typing import Any

from sqlalchemy import REAL, Index, Text, UniqueConstraint, text
from sqlmodel import Field

from register.domain.jobs import JobState
from register.domain.pieces import Cause, PieceMove
from register.domain.stock import StockForm, StockMove
from register.store.column_types import Json, UtcTime
from register.store.row import Row, holds, one_of
from register.store.tables.shop import STRICT


class JobRow(Row, table=True):
    """A job; its number is the station's letter and a count of that station."""

    __tablename__ = "job"
    __table_args__ = (
        UniqueConstraint("station", "count"),
        one_of("state", JobState),
        holds("quantity", "quantity > 0"),
        holds("scrapped", "scrapped >= 0 AND scrapped <= quantity"),
        holds("weight", "weight > 0"),
        Index("ix_job_state", "state"),
        Index("ix_job_revision_key", "revision_key"),
        STRICT,
    )

    station: str = Field(sa_type=Text)
    count: int
    revision_key: str = Field(sa_type=Text, foreign_key="revision.key")
    quantity: int
    scrapped: int = Field(default=0)
    state: str = Field(sa_type=Text)
    due: datetime | None = Field(default=None, sa_type=UtcTime)
    weight: float = Field(sa_type=REAL)
    machine_key: str | None = Field(default=None, sa_type=Text, foreign_key="machine.key")
    note: str = Field(sa_type=Text)
    queued_by: str = Field(sa_type=Text)
    queued_at: datetime = Field(sa_type=UtcTime)
    started_at: datetime | None = Field(default=None, sa_type=UtcTime)
    made_at: datetime | None = Field(default=None, sa_type=UtcTime)


class LotRow(Row, table=True):
    """A spool, powder, or sheets or offcuts of one size; what is left of it is the sum of its moves."""

    __tablename__ = "lot"
    __table_args__ = (
        UniqueConstraint("label"),
        one_of("form", StockForm),
        holds("sizes", "form IN ('spool', 'powder') OR (thickness_mm > 0 AND width_mm > 0 AND length_mm > 0)"),
        STRICT,
    )

    label: str = Field(sa_type=Text)
    material: str = Field(sa_type=Text)
    form: str = Field(sa_type=Text)
    thickness_mm: float | None = Field(default=None, sa_type=REAL)
    width_mm: float | None = Field(default=None, sa_type=REAL)
    length_mm: float | None = Field(default=None, sa_type=REAL)
    arrives: datetime | None = Field(default=None, sa_type=UtcTime)
    note: str = Field(sa_type=Text)


class StockMoveRow(Row, table=True):
    """One move of a lot: grams of a spool or of powder, pieces of sheet."""

    __tablename__ = "stock_move"
    __table_args__ = (
        one_of("move", StockMove),
        holds("amount", "amount <> 0 OR move = 'counted'"),
        Index("ix_stock_move_left", "lot_key", "amount"),
        Index("ix_stock_move_job_key", "job_key", sqlite_where=text("job_key IS NOT NULL")),
        STRICT,
    )

    lot_key: str = Field(sa_type=Text, foreign_key="lot.key")
    move: str = Field(sa_type=Text)
    amount: float = Field(sa_type=REAL)
    job_key: str | None = Field(default=None, sa_type=Text, foreign_key="job.key")
    note: str = Field(sa_type=Text)
    at: datetime = Field(sa_type=UtcTime)


class PieceMoveRow(Row, table=True):
    """One move of pieces on hand. A move without revision is of unmarked pieces."""

    __tablename__ = "piece_move"
    __table_args__ = (
        one_of("move", PieceMove),
        holds("quantity", "quantity <> 0 OR move = 'counted'"),
        Index("ix_piece_move_on_hand", "part_key", "revision_key", "place", "quantity"),
        STRICT,
    )

    part_key: str = Field(sa_type=Text, foreign_key="part.key")
    revision_key: str | None = Field(default=None, sa_type=Text, foreign_key="revision.key")
    place: str = Field(sa_type=Text)
    move: str = Field(sa_type=Text)
    quantity: int
    job_key: str | None = Field(default=None, sa_type=Text, foreign_key="job.key")
    note: str = Field(sa_type=Text)
    at: datetime = Field(sa_type=UtcTime)


class ReplacementRow(Row, table=True):
    """A piece that was replaced on a robot, and why."""

    __tablename__ = "replacement"
    __table_args__ = (one_of("cause", Cause), Index("ix_replacement_part_key", "part_key"), STRICT)

    part_key: str = Field(sa_type=Text, foreign_key="part.key")
    position_key: str = Field(sa_type=Text, foreign_key="position.key")
    slot: int
    removed_key: str | None = Field(default=None, sa_type=Text, foreign_key="revision.key")
    fitted_key: str | None = Field(default=None, sa_type=Text, foreign_key="revision.key")
    cause: str = Field(sa_type=Text)
    note: str = Field(sa_type=Text)
    by: str = Field(sa_type=Text)
    at: datetime = Field(sa_type=UtcTime)


class CompetitionRow(Row, table=True):
    """An event; parts must be on hand before it starts."""

    __tablename__ = "competition"
    __table_args__ = (UniqueConstraint("name"), holds("order", "parts_due <= starts"), STRICT)

    name: str = Field(sa_type=Text)
    starts: datetime = Field(sa_type=UtcTime)
    parts_due: datetime = Field(sa_type=UtcTime)


class EntryRow(Row, table=True):
    """A robot at an event with the matches that it plays there."""

    __tablename__ = "entry"
    __table_args__ = (UniqueConstraint("competition_key", "robot_key"), holds("matches", "matches >= 0"), STRICT)

    competition_key: str = Field(sa_type=Text, foreign_key="competition.key")
    robot_key: str = Field(sa_type=Text, foreign_key="robot.key")
    matches: int


class PlanRow(Row, table=True):
    """The plan last taken, with the operation that it stood on."""

    __tablename__ = "plan"
    __table_args__ = (STRICT,)

    stood_on: int
    made_at: datetime = Field(sa_type=UtcTime)
    body: Any = Field(sa_type=Json, nullable=False)
