"""Estimates: what a revision takes to make, in the shape that every screen and `--json` shows."""

from dataclasses import dataclass
from datetime import date

from register.domain.parts import Process

Size = tuple[float, float, float]


@dataclass(frozen=True)
class PrintedVolumes:
    """Where the material of a print goes, mm³."""

    contours: float
    solid_layers: float
    infill: float
    support: float
    bed_edge: float
    total: float


@dataclass(frozen=True)
class PrintedEstimate:
    """One printed piece. `duration_*` holds the machine's time with heating; the range is about 80 % likely."""

    process: str
    sha256: str
    triangles: int
    size_mm: Size
    solid_volume_mm3: float
    surface_area_mm2: float
    closed: bool
    bodies: int
    material: str
    settings: str
    machine: str
    layers: int
    volumes_mm3: PrintedVolumes
    mass_g: float
    filament_mm: float
    duration_s: float
    duration_low_s: float
    duration_high_s: float
    cost_cents: int
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class Hole:
    """A round through hole, diameter and centre in mm."""

    diameter_mm: float
    x_mm: float
    y_mm: float


@dataclass(frozen=True)
class Pocket:
    """A recess that does not go through: area mm², depth mm."""

    area_mm2: float
    depth_mm: float


@dataclass(frozen=True)
class RoutedEstimate:
    """One routed piece; `duration_*` is the machine's time with tool changes and spin-up, without a person's set-up."""

    process: str
    sha256: str
    size_mm: Size
    thickness_mm: float
    outline_area_mm2: float
    outer_perimeter_mm: float
    holes: tuple[Hole, ...]
    slots: int
    pockets: tuple[Pocket, ...]
    material: str
    machine: str
    tool: str
    spindle_rpm: float
    feed_mm_s: float
    passes: int
    cut_length_mm: float
    mass_g: float
    duration_s: float
    duration_low_s: float
    duration_high_s: float
    cost_cents: int
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class BoughtEstimate:
    """One bought piece and the last day on which ordering it is in time; `mass_g` is None until it is weighed."""

    process: str
    unit_cost_cents: int
    lead_days: int
    needed_on: date | None
    order_by: date | None
    mass_g: float | None
    cost_cents: int
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class ProgramEstimate:
    """One run of a machine program: its moves, waits and tool changes, without heating and a person's work.

    `cut_length_mm` is what moves at a feed, or on a printer with filament; `rapid_length_mm` is the rest.
    """

    process: str
    sha256: str
    machine: str
    blocks: int
    duration_s: float
    duration_low_s: float
    duration_high_s: float
    cut_length_mm: float
    rapid_length_mm: float
    dwell_s: float
    tool_changes: int
    warnings: tuple[str, ...]


Estimate = PrintedEstimate | RoutedEstimate | BoughtEstimate


@dataclass(frozen=True)
class EstimateRequest:
    """What to estimate. `machine` is a name, or None for the first that can do it; `unit` is that of the file.

    `unit_cost_cents` and `lead_days` belong to bought parts, `material` and `thickness_mm` to made ones.
    """

    process: Process
    material: str | None = None
    thickness_mm: float | None = None
    machine: str | None = None
    unit: str | None = None
    unit_cost_cents: int | None = None
    lead_days: int | None = None
    needed_on: date | None = None
