"""Machines, materials and tools of a shop.toml."""

import difflib
from collections.abc import Mapping, Sequence
from dataclasses import fields

from register.domain.machines import Machine, PowderSettings, PrintSettings, RouterLimits, Tool
from register.domain.materials import Cutting, Form, Material
from register.domain.parts import Process
from register.domain.texts import NOTE_LENGTH
from register.errors import BadQuantity, BadSettings
from register.settings.fields import Span, Table
from register.units.sheets import split_material

LENGTH_MM = Span(0, 100_000, open_low=True)
_COST = Span(0, 10**9)
_DIAMETER_MM = Span(0, 100, open_low=True)
_SPEED = Span(0, 10_000, open_low=True)
_DAY_S = Span(0, 86_400)
_COUNT = Span(0, 1000)
_SHARE = Span(0, 1)

PRINT_SPANS: Mapping[str, Span] = {
    "layer_height_mm": Span(0, 5, open_low=True),
    "first_layer_height_mm": Span(0, 5, open_low=True),
    "line_width_mm": Span(0, 10, open_low=True),
    "contours": _COUNT,
    "solid_top_layers": _COUNT,
    "solid_bottom_layers": _COUNT,
    "infill_share": _SHARE,
    "contour_speed_mm_s": _SPEED,
    "solid_speed_mm_s": _SPEED,
    "infill_speed_mm_s": _SPEED,
    "support_speed_mm_s": _SPEED,
    "first_layer_speed_mm_s": _SPEED,
    "travel_speed_mm_s": _SPEED,
    "acceleration_mm_s2": Span(0, 10**6, open_low=True),
    "junction_deviation_mm": Span(0, 1, open_low=True),
    "flow_limit_mm3_s": Span(0, 1000, open_low=True),
    "layer_change_s": Span(0, 600),
    "least_layer_s": Span(0, 600),
    "heating_s": _DAY_S,
    "support_angle_deg": Span(0, 90),
    "support_share": _SHARE,
    "bed_edge_mm": Span(0, 100),
}
ROUTER_SPANS: Mapping[str, Span] = {
    "spindle_low_rpm": Span(0, 200_000, open_low=True),
    "spindle_high_rpm": Span(0, 200_000, open_low=True),
    "feed_limit_mm_s": _SPEED,
    "plunge_limit_mm_s": _SPEED,
    "rapid_mm_s": _SPEED,
    "acceleration_mm_s2": Span(0, 10**6, open_low=True),
    "junction_deviation_mm": Span(0, 1, open_low=True),
    "clearance_height_mm": Span(0, 1000, open_low=True),
    "spin_up_s": Span(0, 3600),
    "tool_change_s": _DAY_S,
}
POWDER_SPANS: Mapping[str, Span] = {
    "layer_height_mm": Span(0, 5, open_low=True),
    "recoat_s": Span(0, 3600),
    "scan_mm2_s": Span(0, 10**6, open_low=True),
    "contour_speed_mm_s": _SPEED,
    "warm_up_s": _DAY_S,
    "cool_down_s": Span(0, 7 * 86_400),
    "packing_share": Span(0, 1, open_low=True),
    "recycled_share": _SHARE,
    "loose_share": Span(0, 1, open_low=True),
}
_WHOLE = frozenset(each.name for each in fields(PrintSettings) if each.type is int)

_MACHINE = ("name", "process", "size_mm", "set_up_s", "unload_s", "cost_per_h_cents", "materials", "out_of_order")
_OF_A_ROUTER = "Only a routed machine has it; a printed one has [machine.print_settings]."
_OF_A_PRINTER = "Only a printed machine has it; a routed one has [machine.router]."
_MACHINE_KEYS = {
    Process.PRINTED: ((*_MACHINE, "print_settings", "powder"), {"tools": _OF_A_ROUTER, "router": _OF_A_ROUTER}),
    Process.ROUTED: (
        (*_MACHINE, "tools", "router"),
        {"print_settings": _OF_A_PRINTER, "powder": _OF_A_PRINTER},
    ),
}
_MATERIAL = ("name", "form", "density_g_cm3", "source")
_OF_A_SHEET = "Only a sheet has it; change form, or take it out."
_OF_A_FILAMENT = "Only a filament has it; change form, or take it out."
_WEIGHED = "Only filament and powder have it; change form, or take it out."
_MATERIAL_KEYS = {
    Form.FILAMENT: (
        (*_MATERIAL, "filament_diameter_mm", "cost_per_kg_cents", "print_settings"),
        {"cutting": _OF_A_SHEET, "cost_per_m2_mm_cents": _OF_A_SHEET},
    ),
    Form.SHEET: (
        (*_MATERIAL, "cost_per_m2_mm_cents", "cutting"),
        {
            "filament_diameter_mm": _OF_A_FILAMENT,
            "cost_per_kg_cents": _WEIGHED,
            "print_settings": _OF_A_FILAMENT,
        },
    ),
    Form.POWDER: (
        (*_MATERIAL, "cost_per_kg_cents"),
        {
            "filament_diameter_mm": _OF_A_FILAMENT,
            "print_settings": "Only a filament has it; a powder printer has [machine.powder].",
            "cutting": _OF_A_SHEET,
            "cost_per_m2_mm_cents": _OF_A_SHEET,
        },
    ),
}


def print_values(where: str, content: object) -> dict[str, float]:
    """The print settings that a table gives, by name.

    Raises
    ------
    BadSettings
        For an unknown key or a value out of range.
    """
    table = Table(where, content, tuple(PRINT_SPANS))
    return {
        key: table.whole(key, PRINT_SPANS[key]) if key in _WHOLE else table.number(key, PRINT_SPANS[key])
        for key in table.given()
    }


def check_print(where: str, settings: PrintSettings) -> None:
    """Refuse settings that no bead can follow.

    Raises
    ------
    BadSettings
        If a layer is higher than the line is wide.
    """
    for key in ("layer_height_mm", "first_layer_height_mm"):
        height_mm = getattr(settings, key)
        if height_mm > settings.line_width_mm:
            raise BadSettings(
                f"In {where}, {key} is {height_mm:g}, more than line_width_mm = {settings.line_width_mm:g}.",
                "Make the layer lower or the line wider.",
            )


def read_tool(where: str, content: object) -> Tool:
    """One `[[tool]]`."""
    table = Table(where, content, ("name", "diameter_mm", "flutes"))
    return Tool(table.text("name"), table.number("diameter_mm", _DIAMETER_MM), table.whole("flutes", Span(1, 20)))


def read_material(where: str, content: object) -> Material:
    """One `[[material]]`."""
    form = Form(_choice(where, content, "form", [each.value for each in Form]))
    table = Table(where, content, *_MATERIAL_KEYS[form])
    name = table.text("name")
    _check_material_name(table, name)
    return Material(
        name,
        form,
        table.number("density_g_cm3", Span(0, 25, open_low=True)),
        table.text("source", longest=NOTE_LENGTH),
        table.number("filament_diameter_mm", Span(0, 10, open_low=True), 1.75),
        table.whole("cost_per_kg_cents", _COST, 0),
        table.whole("cost_per_m2_mm_cents", _COST, 0),
        _cutting(f"[material.cutting] of {name!r}", table.raw("cutting")) if "cutting" in table else None,
        print_values(f"[material.print_settings] of {name!r}", table.raw("print_settings"))
        if "print_settings" in table
        else {},
    )


def _check_material_name(table: Table, name: str) -> None:
    """Refuse a name that could not be told from its thickness in `6061 3.175 mm`."""
    try:
        read, thickness_mm = split_material(name)
    except BadQuantity as bad:
        raise table.refusal("name", f"is {name!r}, which reads as a thickness", "Name the material alone.") from bad
    if thickness_mm is not None:
        raise table.refusal("name", "ends in a thickness", "Leave it out: stock and parts give the thickness.")
    if read != name:
        raise table.refusal("name", "holds signs that are written in several ways", f"Write name = {read!r}.")


def _cutting(where: str, content: object) -> Cutting:
    table = Table(where, content, ("surface_speed_m_min", "depth_per_pass_d", "chip_loads_mm"))
    chip_loads = table.pairs("chip_loads_mm", _DIAMETER_MM, Span(0, 5, open_low=True))
    thick = [diameter for diameter, chip in chip_loads if chip >= diameter]
    if thick:
        raise table.refusal(
            "chip_loads_mm",
            f"has a chip as thick as the tool of {thick[0]:g} mm",
            "Write [diameter, chip load] in mm, such as [3.175, 0.05].",
        )
    return Cutting(
        table.number("surface_speed_m_min", Span(0, 10_000, open_low=True)),
        chip_loads,
        table.number("depth_per_pass_d", Span(0, 20, open_low=True)),
    )


def read_machine(where: str, content: object, materials: Sequence[Material], tools: Sequence[Tool]) -> Machine:
    """One `[[machine]]`, whose materials and tools must be among those given."""
    process = Process(_choice(where, content, "process", [each.value for each in _MACHINE_KEYS]))
    table = Table(where, content, *_MACHINE_KEYS[process])
    name = table.text("name")
    width, depth, height = table.numbers("size_mm", LENGTH_MM, 3)
    powder = _powder(f"[machine.powder] of {name!r}", table) if "powder" in table else None
    form = Form.SHEET if process is Process.ROUTED else Form.FILAMENT if powder is None else Form.POWDER
    return Machine(
        name,
        process,
        (width, depth, height),
        table.number("set_up_s", _DAY_S, 600.0),
        table.number("unload_s", _DAY_S, 300.0),
        table.whole("cost_per_h_cents", _COST, 0),
        named(table, "materials", [each.name for each in materials if each.form is form], f"{form} material"),
        named(table, "tools", [each.name for each in tools], "tool"),
        print_values(f"[machine.print_settings] of {name!r}", table.raw("print_settings"))
        if "print_settings" in table
        else {},
        _router(f"[machine.router] of {name!r}", table) if process is Process.ROUTED else None,
        table.flag("out_of_order"),
        powder=powder,
    )


def _powder(where: str, machine: Table) -> PowderSettings:
    if "print_settings" in machine:
        raise machine.refusal(
            "print_settings", "stands beside powder", "Keep [machine.powder] for a powder printer, and only that."
        )
    table = Table(where, machine.raw("powder"), tuple(POWDER_SPANS))
    return PowderSettings(**{key: table.number(key, POWDER_SPANS[key]) for key in table.given()})


def _router(where: str, machine: Table) -> RouterLimits:
    table = Table(where, machine.raw("router") if "router" in machine else {}, tuple(ROUTER_SPANS))
    limits = RouterLimits(**{key: table.number(key, ROUTER_SPANS[key]) for key in table.given()})
    if limits.spindle_low_rpm > limits.spindle_high_rpm:
        raise table.refusal(
            "spindle_low_rpm", "is above spindle_high_rpm", "Write the slowest as low and the fastest as high."
        )
    return limits


def named(table: Table, key: str, known: Sequence[str], what: str) -> tuple[str, ...]:
    """The texts of a key, each the name of something that is there.

    Raises
    ------
    BadSettings
        If one names nothing that is there.
    """
    names = table.texts(key)
    for name in names:
        if name not in known:
            near = difflib.get_close_matches(name, known, n=1, cutoff=0.5) or list(known[:10])
            cure = f"There is: {', '.join(near)}." if near else f"Add a {what} of that name first."
            raise table.refusal(key, f"names {name!r}, and there is no {what} of that name", cure)
    return names


def _choice(where: str, content: object, key: str, choices: Sequence[str]) -> str:
    """The value of a key that decides which other keys there may be."""
    if not isinstance(content, dict):
        raise BadSettings(f"{where} is not a table.", "Give it a heading and keys below it.")
    if content.get(key) not in choices:
        wanted = " or ".join(f'{key} = "{choice}"' for choice in choices)
        raise BadSettings(f"{where} does not say which {key} it has.", f"Write {wanted}.")
    return str(content[key])
