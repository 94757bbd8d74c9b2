"""The estimate of a part that is printed in powder: its share of a full load, and the powder that it takes."""

import math
from dataclasses import dataclass
from itertools import permutations

import numpy as np

from register.domain.estimates import PowderLoad, PrintedEstimate, PrintedVolumes, Size
from register.domain.machines import Machine, PowderSettings
from register.domain.materials import Form, Material
from register.domain.parts import Process
from register.errors import BadSettings, DoesNotFit, UnknownMaterial
from register.estimate.printed import EIGHTY_PERCENT, FIT_SLACK_MM, TIME_SPREAD, open_spread
from register.geometry.layers import layer_profile
from register.geometry.meshes import Mesh

# Of a part, its layers are held in memory one by one.
MOST_LAYERS = 100_000
_SHARES = frozenset({"packing_share", "recycled_share", "loose_share"})
_MAY_BE_ZERO = frozenset({"recoat_s", "warm_up_s", "cool_down_s", "recycled_share"})


@dataclass(frozen=True)
class _Packed:
    """How many pieces fill a load, how high they stack, and how high one lies by itself, mm."""

    pieces: int
    used_mm: float
    lying_mm: float


def estimate_powder(mesh: Mesh, material: Material, machine: Machine) -> PrintedEstimate:
    """What one piece takes of a full load of a powder printer.

    Parameters
    ----------
    mesh
        As `read_mesh` gave it. Its layers are counted in its pose; in powder it may lie any way up.
    machine
        A printer with `powder` settings.

    Raises
    ------
    UnknownMaterial
        If the material is not powder.
    DoesNotFit
        If the part is larger than the machine, whichever side is up.
    BadSettings
        If a setting is out of range or the machine prints no powder.

    Notes
    -----
    A piece of volume V scans each layer's area and its contours. N pieces fill a load: so many that they take
    `packing_share` of the machine's volume B, and no more than there is room for as boxes. A load warms up, spreads
    and scans every layer up to the height that is used, and cools down; a piece's time is an N-th of that.

    The powder of a load weighs W = N·m + (B' − N·V)·density·loose_share, with m the mass of a piece and B' the volume
    up to the height that is used. Filled in again and again, (1 − recycled_share)·W of it must be fresh each time, and
    never less than the parts themselves; what is fresh beyond them is powder that cannot be used again.
    Source: balance of mass; the figures of a machine: common practice, no source.
    """
    settings = _checked(machine, material)
    packed = _packed(mesh, machine, settings)
    scan_s, layers = _scan_s(mesh, settings)
    load = _load(mesh, material, machine, settings, packed, scan_s)
    known_s = (settings.warm_up_s + settings.cool_down_s) / load.pieces
    duration_s = load.full_load_s / load.pieces
    spread = math.exp(EIGHTY_PERCENT * math.hypot(TIME_SPREAD, open_spread(mesh)))
    volume = mesh.volume_mm3
    cost = load.fresh_g / 1000.0 * material.cost_per_kg_cents + duration_s / 3600.0 * machine.cost_per_h_cents
    return PrintedEstimate(
        process=Process.PRINTED.value,
        sha256=mesh.sha256,
        triangles=mesh.facets,
        size_mm=mesh.size_mm,
        solid_volume_mm3=volume,
        surface_area_mm2=mesh.area_mm2,
        closed=mesh.closed,
        bodies=mesh.bodies,
        material=material.name,
        settings=_in_words(settings),
        machine=machine.name,
        layers=layers,
        volumes_mm3=PrintedVolumes(0.0, volume, 0.0, 0.0, 0.0, volume),
        mass_g=volume * material.density_g_cm3 / 1000.0,
        filament_mm=0.0,
        duration_s=duration_s,
        duration_low_s=known_s + (duration_s - known_s) / spread,
        duration_high_s=known_s + (duration_s - known_s) * spread,
        cost_cents=round(cost),
        warnings=mesh.warnings,
        powder=load,
    )


def _checked(machine: Machine, material: Material) -> PowderSettings:
    if material.form is not Form.POWDER:
        raise UnknownMaterial(f"{material.name} is {material.form.value}, not powder.", "Name a powder.")
    if machine.process is not Process.PRINTED or machine.powder is None:
        raise BadSettings(f"{machine.name} prints no powder.", "Name a machine that has [machine.powder] in shop.toml.")
    figures = vars(machine.powder) | {"density_g_cm3": material.density_g_cm3}
    for name, figure in figures.items():
        top = 1.0 if name in _SHARES else 1e6
        if not (0.0 <= figure <= top) or (figure == 0.0 and name not in _MAY_BE_ZERO):
            least = "of 0 or more" if name in _MAY_BE_ZERO else "above 0"
            raise BadSettings(f"{name} is {figure:g}.", f"Give a figure {least}, up to {top:g}.")
    return machine.powder


def _packed(mesh: Mesh, machine: Machine, settings: PowderSettings) -> _Packed:
    """Pieces of a full load: by volume, and by boxes side by side and on top of one another, whichever is fewer."""
    boxes, lying_mm = 0, math.inf
    for sides in permutations(mesh.size_mm):
        counts = [int((room + FIT_SLACK_MM) // side) for side, room in zip(sides, machine.size_mm, strict=True)]
        boxes = max(boxes, math.prod(counts))
        if all(counts):
            lying_mm = min(lying_mm, sides[2])
    if boxes == 0:
        raise DoesNotFit(
            f"The part is {_sides(mesh.size_mm)} mm, and {machine.name} holds {_sides(machine.size_mm)} mm, "
            "whichever side is up.",
            "Split it or name a larger machine.",
        )
    bed_mm2, height_mm = machine.size_mm[0] * machine.size_mm[1], machine.size_mm[2]
    packed_mm3 = settings.packing_share * bed_mm2 * height_mm
    pieces = min(boxes, max(1, int(packed_mm3 / mesh.volume_mm3)))
    stacked_mm = pieces * mesh.volume_mm3 / (settings.packing_share * bed_mm2)
    used_mm = height_mm if pieces == boxes > 1 else min(height_mm, max(lying_mm, stacked_mm))
    return _Packed(pieces, used_mm, lying_mm)


def _scan_s(mesh: Mesh, settings: PowderSettings) -> tuple[float, int]:
    """Time that the scanner spends on one piece, and the piece's layers."""
    bottom_mm = float(mesh.triangles_mm[..., 2].min())
    layers = _layers(mesh.size_mm[2], settings)
    if layers > MOST_LAYERS:
        raise BadSettings(f"The part would have {layers} layers.", "Give a greater layer_height_mm.")
    heights_mm = bottom_mm + (np.arange(layers, dtype=np.float64) + 0.5) * (mesh.size_mm[2] / layers)
    areas_mm2, contours_mm = layer_profile(mesh.triangles_mm, heights_mm)
    scanned = np.maximum(areas_mm2, 0.0).sum() / settings.scan_mm2_s
    return float(scanned + contours_mm.sum() / settings.contour_speed_mm_s), layers


def _load(
    mesh: Mesh, material: Material, machine: Machine, settings: PowderSettings, packed: _Packed, scan_s: float
) -> PowderLoad:
    fixed_s = settings.warm_up_s + settings.cool_down_s
    part_g = mesh.volume_mm3 * material.density_g_cm3 / 1000.0
    filled_mm3 = machine.size_mm[0] * machine.size_mm[1] * packed.used_mm
    loose_mm3 = max(0.0, filled_mm3 - packed.pieces * mesh.volume_mm3)
    loose_g = loose_mm3 * material.density_g_cm3 / 1000.0 * settings.loose_share / packed.pieces
    fresh_g = max(part_g, (1.0 - settings.recycled_share) * (part_g + loose_g))
    return PowderLoad(
        fresh_g,
        fresh_g - part_g,
        packed.pieces,
        fixed_s + _layers(packed.used_mm, settings) * settings.recoat_s + packed.pieces * scan_s,
        fixed_s + _layers(packed.lying_mm, settings) * settings.recoat_s + scan_s,
    )


def _layers(height_mm: float, settings: PowderSettings) -> int:
    # A height that is whole layers is not one layer more by the rounding of a quotient.
    return max(1, math.ceil(height_mm / settings.layer_height_mm - 1e-6))


def _sides(size_mm: Size) -> str:
    return " × ".join(f"{side:.4g}" for side in size_mm)


def _in_words(settings: PowderSettings) -> str:
    return (
        f"powder in {settings.layer_height_mm:g} mm layers, packed to {settings.packing_share * 100:g} %, "
        f"{settings.recycled_share * 100:g} % recycled"
    )
