"""Machines, their limits and settings, and the permission that an unattended run needs."""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from datetime import datetime

from register.domain.parts import Process
from register.errors import BadSettings, NotAllowed


@dataclass(frozen=True)
class PrintSettings:
    """How a part is printed. Lengths mm, speeds mm/s, accelerations mm/s², flow mm³/s, times s, shares 0…1.

    `solid_top_layers` and `solid_bottom_layers` count layers; `support_angle_deg` is the overhang from the vertical
    beyond which support is needed (0: never supported); `bed_edge_mm` is the width of the edge printed round the
    part's foot.
    """

    layer_height_mm: float = 0.2
    first_layer_height_mm: float = 0.2
    line_width_mm: float = 0.45
    contours: int = 3
    solid_top_layers: int = 5
    solid_bottom_layers: int = 4
    infill_share: float = 0.2
    contour_speed_mm_s: float = 45.0
    solid_speed_mm_s: float = 60.0
    infill_speed_mm_s: float = 80.0
    support_speed_mm_s: float = 60.0
    first_layer_speed_mm_s: float = 20.0
    travel_speed_mm_s: float = 150.0
    acceleration_mm_s2: float = 1500.0
    junction_deviation_mm: float = 0.02
    flow_limit_mm3_s: float = 12.0
    layer_change_s: float = 1.0
    least_layer_s: float = 8.0
    heating_s: float = 240.0
    support_angle_deg: float = 0.0
    support_share: float = 0.15
    bed_edge_mm: float = 0.0

    def overridden(self, *overrides: Mapping[str, float]) -> "PrintSettings":
        """These settings with single values replaced, later mappings winning.

        Raises
        ------
        BadSettings
            If a mapping names a setting that does not exist.
        """
        known = {each.name: each.type for each in fields(self)}
        merged: dict[str, float] = {}
        for mapping in overrides:
            merged.update(mapping)
        unknown = sorted(set(merged) - set(known))
        if unknown:
            raise BadSettings(f"There is no print setting {unknown[0]!r}.", f"The settings are: {', '.join(known)}.")
        whole = {name: int(value) if known[name] is int else float(value) for name, value in merged.items()}
        return replace(self, **whole)  # type: ignore[arg-type]


@dataclass(frozen=True)
class RouterLimits:
    """What a router can do. Speeds mm/s, accelerations mm/s², lengths mm, times s, spindle in revolutions a minute."""

    spindle_low_rpm: float = 8000.0
    spindle_high_rpm: float = 24000.0
    feed_limit_mm_s: float = 60.0
    plunge_limit_mm_s: float = 10.0
    rapid_mm_s: float = 80.0
    acceleration_mm_s2: float = 400.0
    junction_deviation_mm: float = 0.02
    clearance_height_mm: float = 5.0
    spin_up_s: float = 8.0
    tool_change_s: float = 120.0


@dataclass(frozen=True)
class PowderSettings:
    """How a powder printer works. Lengths mm, speeds mm/s, areas mm², times s, shares 0…1.

    `recoat_s` is the time that each layer's powder takes; `scan_mm2_s` the area fused in a second, inside the contours
    that are drawn at `contour_speed_mm_s`; `warm_up_s` and `cool_down_s` belong to a whole load. `packing_share` is how
    much of the machine's volume the parts of a full load fill; `recycled_share` how much of the powder that is filled
    in has been through a load before; `loose_share` what loose powder weighs against a solid part of the same volume.
    """

    layer_height_mm: float = 0.1
    recoat_s: float = 10.0
    scan_mm2_s: float = 400.0
    contour_speed_mm_s: float = 500.0
    warm_up_s: float = 7200.0
    cool_down_s: float = 28800.0
    packing_share: float = 0.1
    recycled_share: float = 0.5
    loose_share: float = 0.5


@dataclass(frozen=True)
class Tool:
    """A router's cutting tool; `flutes` is the number of teeth."""

    name: str
    diameter_mm: float
    flutes: int


@dataclass(frozen=True)
class UnattendedPermission:
    """A responsible adult's leave to run one machine with nobody there, and on what conditions.

    `longest_h` is the longest run without anyone in the shop, in hours.
    """

    given_by: str
    given_at: datetime
    conditions: str
    longest_h: float


@dataclass(frozen=True)
class Machine:
    """A printer or a router. `size_mm` is the usable travel in x, y and z.

    `set_up_s` and `unload_s` are a person's time before and after each load; `permission` is None until a
    responsible adult has given it. A printer with `powder` prints powder, and any other filament.
    """

    name: str
    process: Process
    size_mm: tuple[float, float, float]
    set_up_s: float = 600.0
    unload_s: float = 300.0
    cost_per_h_cents: int = 0
    materials: tuple[str, ...] = ()
    tools: tuple[str, ...] = ()
    print_overrides: Mapping[str, float] = field(default_factory=dict)
    router: RouterLimits | None = None
    out_of_order: bool = False
    permission: UnattendedPermission | None = None
    powder: PowderSettings | None = None


def allow_unattended(machine: Machine, permission: UnattendedPermission) -> Machine:
    """`machine` with `permission` recorded.

    Raises
    ------
    NotAllowed
        For a router: it never runs with nobody there. For a permission that leaves out who gives it, its conditions
        or its longest run.
    """
    if machine.process is Process.ROUTED:
        raise NotAllowed(
            f"{machine.name} is a router and never runs unattended.",
            "Plan its jobs inside attended hours.",
        )
    if not (permission.given_by.strip() and permission.conditions.strip() and permission.longest_h > 0):
        raise NotAllowed(
            f"The permission for {machine.name} leaves out who gives it, its conditions or its longest run.",
            "Record all three before it runs unattended.",
        )
    return replace(machine, permission=permission)
