"""The shop, its machines, materials, tools and people: rows out, rows in."""

from collections.abc import Iterable
from dataclasses import asdict, replace
from datetime import date, time
from typing import Any

import sqlalchemy as sa
from sqlmodel import Session, col, select

from register.domain.machines import Machine, PowderSettings, PrintSettings, RouterLimits, Tool, UnattendedPermission
from register.domain.materials import Cutting, Form, Material
from register.domain.parts import Process
from register.domain.people import Person
from register.domain.shop import HoursException, OpenHours, Shop, ShopSettings
from register.errors import NotFound
from register.store.plain import rows, table_of
from register.store.tables.shop import MachineRow, MaterialRow, PermissionRow, PersonRow, ShopRow, ToolRow
from register.store.transaction import Reading, Writing


def settings(reading: Reading) -> ShopSettings:
    """Everything that the shop has, as its shop.toml would say it, with the permissions recorded beside it."""
    return ShopSettings(shop(reading), machines(reading), materials(reading), tools(reading), people(reading))


def shop(reading: Reading) -> Shop:
    """The shop itself.

    Raises
    ------
    NotFound
        If the register holds none yet.
    """
    row = reading.session.exec(select(ShopRow)).first()
    if row is None:
        raise _no_shop()
    return Shop(
        row.name,
        row.zone,
        row.currency,
        tuple(
            OpenHours(day, time.fromisoformat(opens), time.fromisoformat(closes)) for day, opens, closes in row.hours
        ),
        tuple(
            HoursException(date.fromisoformat(day), _time(opens), _time(closes))
            for day, opens, closes in row.exceptions
        ),
        row.chance_target,
        PrintSettings(**row.print_settings),
    )


def chance_target(reading: Reading) -> float:
    """The chance of enough spares that the shop wants; raises NotFound if the register holds no shop yet."""
    found = rows(reading, sa.select(table_of(ShopRow).c.chance_target))
    if not found:
        raise _no_shop()
    return float(found[0][0])


def machines(reading: Reading) -> tuple[Machine, ...]:
    """Every machine that the shop still has, by name."""
    given = {row.machine_key: row for row in reading.session.exec(select(PermissionRow))}
    rows = reading.session.exec(
        select(MachineRow).where(col(MachineRow.gone).is_(False)).order_by(col(MachineRow.name))
    )
    return tuple(_machine(row, given.get(row.key)) for row in rows)


def materials(reading: Reading) -> tuple[Material, ...]:
    """Every material that the shop still has, by name."""
    rows = reading.session.exec(
        select(MaterialRow).where(col(MaterialRow.gone).is_(False)).order_by(col(MaterialRow.name))
    )
    return tuple(_material(row) for row in rows)


def tools(reading: Reading) -> tuple[Tool, ...]:
    """Every router tool that the shop still has, by name."""
    rows = reading.session.exec(select(ToolRow).where(col(ToolRow.gone).is_(False)).order_by(col(ToolRow.name)))
    return tuple(Tool(row.name, row.diameter_mm, row.flutes) for row in rows)


def people(reading: Reading) -> tuple[Person, ...]:
    """Everyone of the shop, by name."""
    rows = reading.session.exec(select(PersonRow).where(col(PersonRow.gone).is_(False)).order_by(col(PersonRow.name)))
    return tuple(Person(row.name, row.responsible_adult, tuple(row.signed_off)) for row in rows)


def machine_key(session: Session, name: str) -> str:
    """Key of the machine called `name`.

    Raises
    ------
    NotFound
        If the shop has none of that name.
    """
    row = session.exec(select(MachineRow).where(MachineRow.name == name, col(MachineRow.gone).is_(False))).first()
    if row is None:
        raise NotFound(f"There is no machine {name!r}.", "See `pitwright machine list`.")
    return row.key


def keep_settings(writing: Writing, wanted: ShopSettings) -> None:
    """Make the register say what `wanted` says; what it no longer names is marked as gone, never deleted."""
    _keep_shop(writing, wanted.shop)
    _keep_named(writing, MaterialRow, ((each.name, _material_columns(each)) for each in wanted.materials))
    _keep_named(writing, ToolRow, ((each.name, asdict(each)) for each in wanted.tools))
    _keep_named(writing, MachineRow, ((each.name, _machine_columns(each)) for each in wanted.machines))
    _keep_named(
        writing,
        PersonRow,
        ((each.name, asdict(each) | {"signed_off": list(each.signed_off)}) for each in wanted.people),
    )


def keep_permission(writing: Writing, machine: str, permission: UnattendedPermission | None) -> None:
    """Record, change or withdraw (None) the leave to run a machine unattended."""
    key = machine_key(writing.session, machine)
    row = writing.session.exec(select(PermissionRow).where(PermissionRow.machine_key == key)).first()
    if permission is None:
        if row is not None:
            writing.session.delete(row)
        return
    row = row or PermissionRow(key=writing.key(), machine_key=key, **asdict(permission))
    for name, value in asdict(permission).items():
        setattr(row, name, value)
    writing.session.add(row)


def _time(text: str | None) -> time | None:
    return None if text is None else time.fromisoformat(text)


def _machine(row: MachineRow, given: PermissionRow | None) -> Machine:
    leave = UnattendedPermission(given.given_by, given.given_at, given.conditions, given.longest_h) if given else None
    return Machine(
        row.name,
        Process(row.process),
        (row.size_x_mm, row.size_y_mm, row.size_z_mm),
        row.set_up_s,
        row.unload_s,
        row.cost_per_h_cents,
        tuple(row.materials),
        tuple(row.tools),
        row.print_overrides,
        None if row.router is None else RouterLimits(**row.router),
        row.out_of_order,
        leave,
        None if row.powder is None else PowderSettings(**row.powder),
    )


def _machine_columns(machine: Machine) -> dict[str, Any]:
    x_mm, y_mm, z_mm = machine.size_mm
    plain = asdict(replace(machine, permission=None))
    dropped = {"size_mm", "permission"}
    return {name: value for name, value in plain.items() if name not in dropped} | {
        "process": machine.process.value,
        "size_x_mm": x_mm,
        "size_y_mm": y_mm,
        "size_z_mm": z_mm,
        "materials": list(machine.materials),
        "tools": list(machine.tools),
        "print_overrides": dict(machine.print_overrides),
    }


def _material(row: MaterialRow) -> Material:
    cutting = row.cutting and Cutting(
        row.cutting["surface_speed_m_min"],
        tuple((pair[0], pair[1]) for pair in row.cutting["chip_loads_mm"]),
        row.cutting["depth_per_pass_d"],
    )
    return Material(
        row.name,
        Form(row.form),
        row.density_g_cm3,
        row.source,
        row.filament_diameter_mm,
        row.cost_per_kg_cents,
        row.cost_per_m2_mm_cents,
        cutting,
        row.print_overrides,
    )


def _material_columns(material: Material) -> dict[str, Any]:
    columns = asdict(material) | {"form": material.form.value, "print_overrides": dict(material.print_overrides)}
    if material.cutting is not None:
        # JSON gives lists back; a tuple here would look like a change each time that the shop is read.
        columns["cutting"] |= {"chip_loads_mm": [list(pair) for pair in material.cutting.chip_loads_mm]}
    return columns


def _keep_shop(writing: Writing, wanted: Shop) -> None:
    columns: dict[str, Any] = {
        "name": wanted.name,
        "zone": wanted.zone,
        "currency": wanted.currency,
        "chance_target": wanted.chance_target,
        "hours": [[each.weekday, each.opens.isoformat(), each.closes.isoformat()] for each in wanted.hours],
        "exceptions": [
            [each.day.isoformat(), each.opens and each.opens.isoformat(), each.closes and each.closes.isoformat()]
            for each in wanted.exceptions
        ],
        "print_settings": asdict(wanted.print_settings),
    }
    row = writing.session.exec(select(ShopRow)).first() or ShopRow(key=writing.key(), **columns)
    for column, value in columns.items():
        setattr(row, column, value)
    writing.session.add(row)


def _keep_named(writing: Writing, table: type[Any], wanted: Iterable[tuple[str, dict[str, Any]]]) -> None:
    standing = {row.name: row for row in writing.session.exec(select(table))}
    for name, columns in wanted:
        row = standing.pop(name, None) or table(key=writing.key())
        for column, value in (columns | {"gone": False}).items():
            setattr(row, column, value)
        writing.session.add(row)
    for row in standing.values():
        row.gone = True
        writing.session.add(row)


def _no_shop() -> NotFound:
    return NotFound("The register has no shop yet.", "Give it one with `pitwright shop read shop.toml`.")
