"""Materials: what parts are made of, with the figures that estimates need."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum


class Form(StrEnum):
    """How a material comes."""

    FILAMENT = "filament"
    SHEET = "sheet"
    POWDER = "powder"


@dataclass(frozen=True)
class Cutting:
    """How a sheet material is cut.

    `chip_loads_mm` gives the chip load (advance per tooth, mm) by tool diameter (mm), ascending;
    `depth_per_pass_d` is the depth of a pass as a multiple of the tool's diameter.
    """

    surface_speed_m_min: float
    chip_loads_mm: tuple[tuple[float, float], ...]
    depth_per_pass_d: float


@dataclass(frozen=True)
class Material:
    """A material. `cost_per_kg_cents` is for filament, `cost_per_m2_mm_cents` for 1 m² of sheet of 1 mm.

    `print_overrides` replaces single print settings for this material (keys are fields of `PrintSettings`).
    """

    name: str
    form: Form
    density_g_cm3: float
    source: str
    filament_diameter_mm: float = 1.75
    cost_per_kg_cents: int = 0
    cost_per_m2_mm_cents: int = 0
    cutting: Cutting | None = None
    print_overrides: Mapping[str, float] = field(default_factory=dict)
