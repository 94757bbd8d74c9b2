"""Tables of the shop: hours, people, machines, materials, tools."""

from datetime import datetime
from typing import Any

from sqlalchemy import REAL, Text, UniqueConstraint
from sqlmodel import Field

from register.domain.materials import Form
from register.store.column_types import Flag, Json, UtcTime
from register.store.row import Row, holds, one_of

STRICT = {"sqlite_strict": True}


class ShopRow(Row, table=True):
    """The shop; one row. Hours and exceptions travel whole, as shop.toml writes them."""

    __tablename__ = "shop"
    __table_args__ = (holds("chance", "chance_target > 0 AND chance_target < 1"), STRICT)

    name: str = Field(sa_type=Text)
    zone: str = Field(sa_type=Text)
    currency: str = Field(sa_type=Text)
    chance_target: float = Field(sa_type=REAL)
    hours: Any = Field(sa_type=Json, nullable=False)
    exceptions: Any = Field(sa_type=Json, nullable=False)
    print_settings: Any = Field(sa_type=Json, nullable=False)


class PersonRow(Row, table=True):
    """Someone of the shop; `signed_off` lists the machines that they may run alone."""

    __tablename__ = "person"
    __table_args__ = (UniqueConstraint("name"), STRICT)

    name: str = Field(sa_type=Text)
    responsible_adult: bool = Field(sa_type=Flag)
    signed_off: Any = Field(sa_type=Json, nullable=False)
    gone: bool = Field(default=False, sa_type=Flag)


class MaterialRow(Row, table=True):
    """A material with its figures; `cutting` is for sheet alone."""

    __tablename__ = "material"
    __table_args__ = (
        UniqueConstraint("name"),
        one_of("form", Form),
        holds("density", "density_g_cm3 > 0"),
        holds("costs", "cost_per_kg_cents >= 0 AND cost_per_m2_mm_cents >= 0"),
        STRICT,
    )

    name: str = Field(sa_type=Text)
    form: str = Field(sa_type=Text)
    density_g_cm3: float = Field(sa_type=REAL)
    source: str = Field(sa_type=Text)
    filament_diameter_mm: float = Field(sa_type=REAL)
    cost_per_kg_cents: int
    cost_per_m2_mm_cents: int
    cutting: Any = Field(default=None, sa_type=Json, nullable=True)
    print_overrides: Any = Field(sa_type=Json, nullable=False)
    gone: bool = Field(default=False, sa_type=Flag)


class ToolRow(Row, table=True):
    """A router's cutting tool."""

    __tablename__ = "tool"
    __table_args__ = (UniqueConstraint("name"), holds("size", "diameter_mm > 0 AND flutes > 0"), STRICT)

    name: str = Field(sa_type=Text)
    diameter_mm: float = Field(sa_type=REAL)
    flutes: int
    gone: bool = Field(default=False, sa_type=Flag)


class MachineRow(Row, table=True):
    """A printer or a router."""

    __tablename__ = "machine"
    __table_args__ = (
        UniqueConstraint("name"),
        one_of("process", ("printed", "routed")),
        holds("size", "size_x_mm > 0 AND size_y_mm > 0 AND size_z_mm > 0"),
        holds("times", "set_up_s >= 0 AND unload_s >= 0 AND cost_per_h_cents >= 0"),
        STRICT,
    )

    name: str = Field(sa_type=Text)
    process: str = Field(sa_type=Text)
    size_x_mm: float = Field(sa_type=REAL)
    size_y_mm: float = Field(sa_type=REAL)
    size_z_mm: float = Field(sa_type=REAL)
    set_up_s: float = Field(sa_type=REAL)
    unload_s: float = Field(sa_type=REAL)
    cost_per_h_cents: int
    materials: Any = Field(sa_type=Json, nullable=False)
    tools: Any = Field(sa_type=Json, nullable=False)
    print_overrides: Any = Field(sa_type=Json, nullable=False)
    router: Any = Field(default=None, sa_type=Json, nullable=True)
    out_of_order: bool = Field(sa_type=Flag)
    gone: bool = Field(default=False, sa_type=Flag)
    powder: Any = Field(default=None, sa_type=Json, nullable=True)


class PermissionRow(Row, table=True):
    """A responsible adult's leave to run a machine with nobody there; withdrawn ones stay in the history."""

    __tablename__ = "unattended_permission"
    __table_args__ = (
        UniqueConstraint("machine_key"),
        holds("conditions_said", "length(trim(conditions)) > 0"),
        holds("longest", "longest_h > 0"),
        STRICT,
    )

    machine_key: str = Field(sa_type=Text, foreign_key="machine.key")
    given_by: str = Field(sa_type=Text)
    given_at: datetime = Field(sa_type=UtcTime)
    conditions: str = Field(sa_type=Text)
    longest_h: float = Field(sa_type=REAL)
