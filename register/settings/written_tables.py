"""The tables of a shop.toml as text."""

import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from datetime import date, time

from register.domain.machines import Machine
from register.domain.materials import Form, Material
from register.domain.parts import Process
from register.domain.shop import Shop
from register.domain.texts import without_hidden
from register.settings.shop_tables import WEEKDAYS


def shop_blocks(shop: Shop) -> Iterable[str]:
    """`[shop]`, `[hours]`, every `[[exception]]` and `[print_settings]`."""
    yield block(
        "[shop]",
        {"name": shop.name, "zone": shop.zone, "currency": shop.currency, "chance_target": shop.chance_target},
    )
    hours: dict[str, list[str]] = {}
    for each in sorted(shop.hours, key=lambda each: each.weekday):
        hours.setdefault(WEEKDAYS[each.weekday], []).append(_span(each.opens, each.closes))
    yield block("[hours]", hours)
    days: dict[date, list[str]] = {}
    for exception in shop.exceptions:
        spans = days.setdefault(exception.day, [])
        if exception.opens is not None and exception.closes is not None:
            spans.append(_span(exception.opens, exception.closes))
    for day, spans in days.items():
        yield block("[[exception]]", {"day": day, "hours": spans} if spans else {"day": day, "closed": True})
    yield block("[print_settings]", asdict(shop.print_settings))


def _span(opens: time, closes: time) -> str:
    return f"{opens:%H:%M}-{'24:00' if closes == time(0) else f'{closes:%H:%M}'}"


def material_blocks(material: Material) -> Iterable[str]:
    """One `[[material]]` and the tables below it."""
    values: dict[str, object] = {
        "name": material.name,
        "form": material.form.value,
        "density_g_cm3": material.density_g_cm3,
        "source": material.source,
    }
    if material.form is Form.SHEET:
        yield block("[[material]]", values | {"cost_per_m2_mm_cents": material.cost_per_m2_mm_cents})
        if material.cutting is not None:
            yield block("[material.cutting]", asdict(material.cutting))
        return
    if material.form is Form.FILAMENT:
        values["filament_diameter_mm"] = material.filament_diameter_mm
    values["cost_per_kg_cents"] = material.cost_per_kg_cents
    yield block("[[material]]", values)
    if material.print_overrides:
        yield block("[material.print_settings]", material.print_overrides)


def machine_blocks(machine: Machine) -> Iterable[str]:
    """One `[[machine]]` and the table below it; leave to run unattended is left out."""
    values: dict[str, object] = {
        "name": machine.name,
        "process": machine.process.value,
        "size_mm": machine.size_mm,
        "set_up_s": machine.set_up_s,
        "unload_s": machine.unload_s,
        "cost_per_h_cents": machine.cost_per_h_cents,
        "materials": machine.materials,
        "out_of_order": machine.out_of_order,
    }
    if machine.process is Process.ROUTED:
        yield block("[[machine]]", values | {"tools": machine.tools})
        if machine.router is not None:
            yield block("[machine.router]", asdict(machine.router))
        return
    yield block("[[machine]]", values)
    if machine.powder is not None:
        yield block("[machine.powder]", asdict(machine.powder))
    if machine.print_overrides:
        yield block("[machine.print_settings]", machine.print_overrides)


def block(heading: str, values: Mapping[str, object]) -> str:
    """One table of plain keys."""
    return "".join([f"{heading}\n", *(f"{key} = {_value(value)}\n" for key, value in values.items())])


def _value(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        # A JSON text is a TOML text, but for what JSON leaves as it is and a terminal would obey.
        return without_hidden(json.dumps(value, ensure_ascii=False), lambda sign: f"\\U{ord(sign):08x}")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, list | tuple):
        return f"[{', '.join(_value(each) for each in value)}]"
    return repr(value)
