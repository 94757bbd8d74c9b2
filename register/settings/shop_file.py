"""shop.toml: how a shop writes its machines, materials, tools, people, hours and settings.

Notes
-----
Keys carry the unit, and nothing is guessed: an unknown key, a wrong unit or a text where a number belongs is refused
with what to write instead. Tables in the order in which `written_shop` writes them, with what may be left out in
brackets::

    [shop]            name, (zone = "UTC"), (currency = "EUR"), (chance_target = 0.9)
    [hours]           (monday … sunday = ["16:00-21:00", …]); "24:00" is the end of a day
    [[exception]]     day = 2031-03-08, and hours = [ … ] or closed = true
    [print_settings]  (every field of PrintSettings)
    [[tool]]          name, diameter_mm, flutes
    [[material]]      name, form, density_g_cm3, source
                      filament: (filament_diameter_mm), (cost_per_kg_cents), [material.print_settings]
                      sheet: (cost_per_m2_mm_cents), [material.cutting] surface_speed_m_min, depth_per_pass_d,
                      chip_loads_mm = [[tool diameter, chip load], …]
    [[machine]]       name, process, size_mm = [x, y, z], (set_up_s), (unload_s), (cost_per_h_cents), (materials),
                      (out_of_order); printed: [machine.print_settings]; routed: (tools), [machine.router]
    [[person]]        name, (responsible_adult), (signed_off = [machines])

Leave to run a machine unattended is never read from here: a responsible adult records it in the register.
"""

import re
import tomllib
from collections.abc import Callable, Sequence
from datetime import date, datetime, time
from functools import lru_cache
from importlib.resources import files
from itertools import pairwise
from typing import TypeVar

from register.domain.machines import Machine, PrintSettings, Tool
from register.domain.materials import Material
from register.domain.parts import Process
from register.domain.people import Person
from register.domain.shop import HoursException, OpenHours, Shop, ShopSettings
from register.domain.texts import shown
from register.errors import BadQuantity, BadSettings
from register.settings.fields import Span, Table
from register.settings.machine_tables import check_print, named, print_values, read_machine, read_material, read_tool
from register.units.moments import zone_named

LARGEST_FILE_BYTES = 1_000_000
WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
_MOST_TABLES = 1000
_TOP = ("shop", "hours", "exception", "print_settings", "machine", "material", "tool", "person")
_SPAN = re.compile(r"([01][0-9]|2[0-3]):([0-5][0-9])\s*[-–]\s*(?:([01][0-9]|2[0-3]):([0-5][0-9])|24:00)", re.ASCII)
_WORD = r"""(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')"""
# A key of a million joined words makes tomllib fill the memory, so long chains are refused before it sees them.
_LONG_CHAIN = re.compile(rf"""(?<![\w"'-]){_WORD}(?:[ \t]*+\.[ \t]*+{_WORD}){{8}}""", re.ASCII)

Named = TypeVar("Named", Machine, Material, Tool, Person)


def read_shop(data: bytes, name: str) -> ShopSettings:
    """The settings that the bytes of a shop.toml hold, checked.

    Parameters
    ----------
    data
        UTF-8, at most 1 MB.
    name
        Of the file, for messages.

    Raises
    ------
    BadSettings
        If anything in it is unknown, missing, out of range, in another unit or no TOML at all.
    """
    content = _toml(data, shown(name)[:80])
    top = Table(shown(name)[:80], content, _TOP)
    tools = _each(top, "tool", read_tool)
    materials = _each(top, "material", read_material)
    machines = _each(top, "machine", lambda where, table: read_machine(where, table, materials, tools))
    people = _each(top, "person", lambda where, table: _person(where, table, machines))
    settings = ShopSettings(_shop(top), machines, materials, tools, people)
    _check_prints(settings)
    return settings


@lru_cache(maxsize=1)
def built_in() -> ShopSettings:
    """The settings that are in force without a register: generic machines and the usual materials."""
    name = "built_in.toml"
    return read_shop(files("register.settings").joinpath(name).read_bytes(), name)


def _toml(data: bytes, name: str) -> dict[str, object]:
    if len(data) > LARGEST_FILE_BYTES:
        raise BadSettings(
            f"{name} has {len(data)} bytes.", "A shop.toml has at most 1 MB; check that it is the file meant."
        )
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as bad:
        raise BadSettings(f"{name} is not UTF-8 text at byte {bad.start}.", "Save it as UTF-8.") from None
    chain = _LONG_CHAIN.search(text)
    if chain is not None:
        line = text.count("\n", 0, chain.start()) + 1
        raise BadSettings(f"{name} joins more than eight words with points in line {line}.", "Write the key alone.")
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as bad:
        raise BadSettings(f"{name} is no TOML: {shown(str(bad))[:200]}.", "Put that place right.") from None
    except (RecursionError, ValueError):
        raise BadSettings(
            f"{name} nests too deep or holds an endless number.", "Write plain keys and numbers."
        ) from None


def _each(top: Table, key: str, read: Callable[[str, object], Named]) -> tuple[Named, ...]:
    """Every table of the list `key`, read by `read`; their names must differ, capitals aside."""
    found = tuple(read(_where(key, number, table), table) for number, table in enumerate(_tables(top, key), 1))
    taken: set[str] = set()
    for each in found:
        if each.name.casefold() in taken:
            raise BadSettings(f"There are two [[{key}]] called {each.name!r}.", "Give each a name of its own.")
        taken.add(each.name.casefold())
    return found


def _tables(top: Table, key: str) -> Sequence[object]:
    tables = top.raw(key) if key in top else []
    if not isinstance(tables, list):
        raise BadSettings(f"{top.where} has one {key} where a list is meant.", f"Write [[{key}]] in double brackets.")
    if len(tables) > _MOST_TABLES:
        raise BadSettings(f"{top.where} has {len(tables)} times [[{key}]].", f"Write at most {_MOST_TABLES}.")
    return tables


def _where(key: str, number: int, table: object) -> str:
    name = table.get("name") if isinstance(table, dict) else None
    return f"[[{key}]] {shown(name)[:80]!r}" if isinstance(name, str) and name else f"[[{key}]] number {number}"


def _shop(top: Table) -> Shop:
    if "shop" not in top:
        raise BadSettings(f"{top.where} has no [shop].", 'Add a line [shop] and below it name = "…".')
    table = Table("[shop]", top.raw("shop"), ("name", "zone", "currency", "chance_target"))
    zone = table.text("zone", "UTC")
    try:
        zone_named(zone)
    except BadQuantity as bad:
        raise table.refusal("zone", f"is {zone!r}, which the tz database does not know", bad.cure) from None
    currency = table.text("currency", "EUR")
    if not re.fullmatch(r"[A-Z]{3}", currency):
        raise table.refusal("currency", f"is {currency!r}", 'Write the three capitals of ISO 4217, such as "EUR".')
    values = print_values("[print_settings]", top.raw("print_settings")) if "print_settings" in top else {}
    return Shop(
        table.text("name"),
        zone,
        currency,
        _hours(top),
        _exceptions(top),
        table.number("chance_target", Span(0, 0.9999, open_low=True), 0.9),
        PrintSettings().overridden(values),
    )


def _hours(top: Table) -> tuple[OpenHours, ...]:
    table = Table("[hours]", top.raw("hours") if "hours" in top else {}, WEEKDAYS)
    return tuple(
        OpenHours(weekday, opens, closes)
        for weekday, day in enumerate(WEEKDAYS)
        for opens, closes in _spans(table, day)
    )


def _exceptions(top: Table) -> tuple[HoursException, ...]:
    found: list[HoursException] = []
    seen: set[date] = set()
    for number, content in enumerate(_tables(top, "exception"), 1):
        table = Table(f"[[exception]] number {number}", content, ("day", "hours", "closed"))
        day = table.need("day")
        if not isinstance(day, date) or isinstance(day, datetime):
            raise table.refusal("day", "is not a day", "Write it without quotes, such as day = 2031-03-08.")
        if day in seen:
            raise table.refusal("day", f"is {day}, which an earlier one has", "Write all hours of a day in one list.")
        seen.add(day)
        spans = _spans(table, "hours")
        if table.flag("closed") == bool(spans):
            raise BadSettings(
                f"The [[exception]] of {day} must have either hours or closed = true.",
                'Write hours = ["10:00-18:00"], or closed = true.',
            )
        found.extend([HoursException(day, opens, closes) for opens, closes in spans] or [HoursException(day)])
    return tuple(found)


def _spans(table: Table, key: str) -> list[tuple[time, time]]:
    """The spans of hours of a key, ascending and apart; 24:00 is time(0), as everywhere in the plan."""
    spans: list[tuple[time, time]] = []
    for text in table.texts(key):
        found = _SPAN.fullmatch(text)
        if found is None:
            raise table.refusal(key, f"holds {text!r}", f'Write {key} = ["16:00-21:00"].')
        closes = time(int(found[3] or 0), int(found[4] or 0))
        spans.append((time(int(found[1]), int(found[2])), closes))
        if found[3] and closes <= spans[-1][0]:
            raise table.refusal(key, f"closes before it opens in {text!r}", "Write two days for hours past midnight.")
    for (_, sooner), (later, _) in pairwise(spans):
        if sooner == time(0) or later < sooner:
            raise table.refusal(key, "has hours that overlap or go back", "Write them in order and apart.")
    return spans


def _person(where: str, content: object, machines: Sequence[Machine]) -> Person:
    table = Table(where, content, ("name", "responsible_adult", "signed_off"))
    return Person(
        table.text("name"),
        table.flag("responsible_adult"),
        named(table, "signed_off", [each.name for each in machines], "machine"),
    )


def _check_prints(settings: ShopSettings) -> None:
    """Check the settings of every printer with every material that it takes, merged as an estimate merges them."""
    check_print("[print_settings]", settings.shop.print_settings)
    overrides = {each.name: each.print_overrides for each in settings.materials}
    for machine in settings.machines:
        if machine.process is not Process.PRINTED:
            continue
        own = settings.shop.print_settings.overridden(machine.print_overrides)
        check_print(f"[machine.print_settings] of {machine.name!r}", own)
        for material in machine.materials:
            check_print(f"{machine.name!r} with {material!r}", own.overridden(overrides[material]))
