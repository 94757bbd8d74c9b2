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
class PowderLoad:
    """A powder printer's full load of such pieces, and what one of them takes of its powder.

    `fresh_g` is drawn from stock for one piece, of which `unusable_g` is powder that cannot be filled in again;
    `pieces` fill a load, which takes `full_load_s`; a load of this piece alone takes `lone_load_s`.
    """

    fresh_g: float
    unusable_g: float
    pieces: int
    full_load_s: float
    lone_load_s: float

    def load_s(self, pieces: int) -> float:
        """Time of a load of 1 to all of `pieces`: what is spread and scanned grows with them."""
        if self.pieces == 1:
            return self.full_load_s
        return self.lone_load_s + (pieces - 1) / (self.pieces - 1) * (self.full_load_s - self.lone_load_s)


@dataclass(frozen=True)
class PrintedEstimate:
    """One printed piece. `duration_*` holds the machine's time with heating; the range is about 80 % likely.

    `exact` says that every line was drawn and planned, `pose` how the part was turned for it. Of powder, every layer
    is solid, `filament_mm` is 0, and `duration_*` is the piece's share of the full load that `powder` tells of.
    """

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
    exact: bool = False
    pose: str = "as drawn"
    powder: PowderLoad | None = None

    @property
    def taken_g(self) -> float:
        """What one piece takes from stock: its filament, or the powder that is filled in fresh for it."""
        return self.powder.fresh_g if self.powder is not None else self.mass_g


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

    `unit_cost_cents` and `lead_days` belong to bought parts, `material` and `thickness_mm` to made ones; `exact` asks
    for every line of a print to be drawn and planned; `turned` is the name or the number of a pose to print it in.
    """

    process: Process
    material: str | None = None
    thickness_mm: float | None = None
    machine: str | None = None
    unit: str | None = None
    unit_cost_cents: int | None = None
    lead_days: int | None = None
    needed_on: date | None = None
    exact: bool = False
    turned: str | None = None
