"""What every table of the register has: a key, a row version, strict types and named checks."""

from collections.abc import Iterable
from enum import StrEnum
from typing import Any, ClassVar

from sqlalchemy import CheckConstraint, MetaData, Text
from sqlalchemy.orm import declared_attr
from sqlmodel import Field, SQLModel

metadata = MetaData(
    naming_convention={
        "pk": "pk_%(table_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "uq": "uq_%(table_name)s_%(column_0_name)s",
        "ix": "ix_%(table_name)s_%(column_0_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
    }
)


class Row(SQLModel):
    """A row with a time-ordered key and a version that counts its changes."""

    metadata: ClassVar[MetaData] = metadata
    # A table model checks nothing that it is given, so what it would check with is not made at start.
    model_config = {"defer_build": True}

    key: str = Field(primary_key=True, sa_type=Text)
    version: int = Field(default=1, nullable=False)

    @declared_attr.directive
    def __mapper_args__(cls) -> dict[str, Any]:  # noqa: N805
        """Count versions up at each change."""
        return {"version_id_col": cls.__table__.c.version}  # type: ignore[attr-defined]


def one_of(column: str, choices: type[StrEnum] | Iterable[str]) -> CheckConstraint:
    """A named CHECK that `column` holds one of the texts of `choices`."""
    listed = ", ".join(f"'{choice}'" for choice in choices)
    return CheckConstraint(f"{column} IN ({listed})", name=f"{column}_known")


def holds(name: str, condition: str) -> CheckConstraint:
    """A named CHECK of any condition."""
    return CheckConstraint(condition, name=name)
