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
                      powder: (cost_per_kg_cents)
                      sheet: (cost_per_m2_mm_cents), [material.cutting] surface_speed_m_min, depth_per_pass_d,
                      chip_loads_mm = [[tool diameter, chip load], …]
    [[machine]]       name, process, size_mm = [x, y, z], (set_up_s), (unload_s), (cost_per_h_cents), (materials),
                      (out_of_order); printed: [machine.print_settings], or [machine.powder] (every field of
                      PowderSettings); routed: (tools), [machine.router]
    [[person]]        name, (responsible_adult), (signed_off = [machines])

Leave to run a machine unattended is never read from here: a responsible adult records it in the register.
"""

import re
import tomllib
from collections.abc import Callable
from dataclasses import asdict
from functools import lru_cache
from importlib.resources import files
from typing import TypeVar

from register.domain.machines import Machine, Tool
from register.domain.materials import Material
from register.domain.parts import Process
from register.domain.people import Person
from register.domain.shop import ShopSettings
from register.domain.texts import shown
from register.errors import BadSettings
from register.settings.fields import Table
from register.settings.machine_tables import check_print, read_machine, read_material, read_tool
from register.settings.shop_tables import read_person, read_shop_itself, tables_of
from register.settings.written_tables import block, machine_blocks, material_blocks, shop_blocks

LARGEST_FILE_BYTES = 1_000_000
_TOP = ("shop", "hours", "exception", "print_settings", "machine", "material", "tool", "person")
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
    people = _each(top, "person", lambda where, table: read_person(where, table, machines))
    settings = ShopSettings(read_shop_itself(top), machines, materials, tools, people)
    _check_prints(settings)
    return settings


def written_shop(settings: ShopSettings) -> str:
    """The text of a shop.toml that reads back as `settings`.

    Notes
    -----
    Leave to run unattended is left out: it is recorded in the register and never read from a file.
    """
    blocks = [
        *shop_blocks(settings.shop),
        *(block("[[tool]]", asdict(tool)) for tool in settings.tools),
        *(each for material in settings.materials for each in material_blocks(material)),
        *(each for machine in settings.machines for each in machine_blocks(machine)),
        *(block("[[person]]", asdict(person)) for person in settings.people),
    ]
    return "\n".join(blocks)


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
    found = tuple(read(_where(key, number, table), table) for number, table in enumerate(tables_of(top, key), 1))
    taken: set[str] = set()
    for each in found:
        if each.name.casefold() in taken:
            raise BadSettings(f"There are two [[{key}]] called {each.name!r}.", "Give each a name of its own.")
        taken.add(each.name.casefold())
    return found


def _where(key: str, number: int, table: object) -> str:
    name = table.get("name") if isinstance(table, dict) else None
    return f"[[{key}]] {shown(name)[:80]!r}" if isinstance(name, str) and name else f"[[{key}]] number {number}"


def _check_prints(settings: ShopSettings) -> None:
    """Check the settings of every printer with every material that it takes, merged as an estimate merges them."""
    check_print("[print_settings]", settings.shop.print_settings)
    overrides = {each.name: each.print_overrides for each in settings.materials}
    for machine in settings.machines:
        if machine.process is not Process.PRINTED or machine.powder is not None:
            continue
        own = settings.shop.print_settings.overridden(machine.print_overrides)
        check_print(f"[machine.print_settings] of {machine.name!r}", own)
        for material in machine.materials:
            check_print(f"{machine.name!r} with {material!r}", own.overridden(overrides[material]))
