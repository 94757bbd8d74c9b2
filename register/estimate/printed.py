"""The estimate of a printed part: where its material goes, how long it takes, what it weighs and costs."""

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from register.domain.estimates import PrintedEstimate, PrintedVolumes
from register.domain.machines import Machine, PrintSettings
from register.domain.materials import Form, Material
from register.domain.parts import Process
from register.errors import BadSettings, DoesNotFit, UnknownMaterial
from register.estimate.exact_times import exact_print
from register.estimate.print_layers import LayerRegions, LayerStack, area_mm2, bed_edge_mm2, layer_regions, layer_stack
from register.estimate.print_times import layer_times_s
from register.geometry.meshes import Mesh

Floats = NDArray[np.float64]

# How far off an estimate is that no actual print has corrected yet: standard deviation of ln(actual/estimate).
# Source: common practice.
TIME_SPREAD = 0.20
# What an open mesh adds to its doubt about the volume. Source: measured, tests/benchmarks/open_meshes.py.
OPEN_SPREAD = 0.05
COARSE_SPREAD = 0.15
# Between these many standard deviations lie 80 % of a normal distribution. Source: tables of it.
EIGHTY_PERCENT = 1.2816
FIT_SLACK_MM = 0.001
OVERHANG_DEG = 45.0
NOTABLE_OVERHANG_MM2 = 25.0
NOTABLE_THIN_SHARE = 0.02
# What rounding leaves of areas that are none.
NOTHING_SHARE = 1e-6

_ABOVE_ZERO = (
    "layer_height_mm",
    "first_layer_height_mm",
    "line_width_mm",
    "contour_speed_mm_s",
    "solid_speed_mm_s",
    "infill_speed_mm_s",
    "support_speed_mm_s",
    "first_layer_speed_mm_s",
    "travel_speed_mm_s",
    "acceleration_mm_s2",
    "flow_limit_mm3_s",
    "support_share",
)
_NOT_BELOW_ZERO = (
    "contours",
    "solid_top_layers",
    "solid_bottom_layers",
    "infill_share",
    "junction_deviation_mm",
    "layer_change_s",
    "least_layer_s",
    "heating_s",
    "support_angle_deg",
    "bed_edge_mm",
)
_AT_MOST = {"infill_share": 1.0, "support_share": 1.0, "support_angle_deg": 89.0, "contours": 100, "bed_edge_mm": 100.0}


def estimate_printed(
    mesh: Mesh,
    material: Material,
    machine: Machine,
    base: PrintSettings,
    exact: bool = False,
    tell: Callable[[float], None] | None = None,
) -> PrintedEstimate:
    """What one piece takes to print in the pose that the mesh has.

    Parameters
    ----------
    mesh
        As `read_mesh` gave it.
    material, machine
        Their `print_overrides` replace single settings of `base`, the material's last.
    exact
        Whether every line is drawn and planned, instead of its time being worked out from areas and samples.
    tell
        Called with the share of the exact form that is done, 0 to 1; what it raises stops the work.

    Raises
    ------
    UnknownMaterial
        If the material is not filament.
    DoesNotFit
        If the part is larger than the machine, also turned by 90° on the bed.
    BadSettings
        If a setting is out of range, the settings print nothing, or the machine is not a printer.

    Notes
    -----
    The range holds 80 % of prints if ln(actual/estimate) has a standard deviation of 0.20, more for open meshes;
    heating is known and stays outside it. Nothing here has learnt from actual prints. The range of the exact form is
    no narrower: what an actual print does otherwise (its own order of lines, drawing filament back, the firmware's
    limits) is the same unknown for both, and far more than what lies between them.
    """
    if material.form is not Form.FILAMENT:
        raise UnknownMaterial(f"{material.name} is {material.form.value}, not filament.", "Name a filament.")
    settings = _checked(base.overridden(machine.print_overrides, material.print_overrides), machine, material)
    _check_fit(mesh, machine, settings)
    stack = layer_stack(mesh.triangles_mm, settings)
    regions = layer_regions(stack, settings)
    edge_mm2 = bed_edge_mm2(stack.cuts[0].region, settings.bed_edge_mm)
    if exact:
        drawn = exact_print(stack, regions, settings, tell)
        volumes, work_s = drawn.volumes_mm3, float(drawn.layers_s.sum())
    else:
        volumes = _volumes(stack, regions, edge_mm2, settings)
        work_s = float(layer_times_s(stack, regions, edge_mm2, settings).sum())
    if volumes.contours + volumes.solid_layers + volumes.infill <= NOTHING_SHARE * mesh.volume_mm3:
        raise BadSettings("With these settings nothing is printed.", "Give contours, solid layers or infill.")
    spread = math.exp(EIGHTY_PERCENT * _spread(mesh, stack))
    mass_g = volumes.total * material.density_g_cm3 / 1000.0
    duration_s = work_s + settings.heating_s
    cost = mass_g / 1000.0 * material.cost_per_kg_cents + duration_s / 3600.0 * machine.cost_per_h_cents
    return PrintedEstimate(
        process=Process.PRINTED.value,
        sha256=mesh.sha256,
        triangles=mesh.facets,
        size_mm=mesh.size_mm,
        solid_volume_mm3=mesh.volume_mm3,
        surface_area_mm2=mesh.area_mm2,
        closed=mesh.closed,
        bodies=mesh.bodies,
        material=material.name,
        settings=_in_words(settings),
        machine=machine.name,
        layers=len(stack.heights_mm),
        volumes_mm3=volumes,
        mass_g=mass_g,
        filament_mm=volumes.total / (math.pi * material.filament_diameter_mm**2 / 4.0),
        duration_s=duration_s,
        duration_low_s=work_s / spread + settings.heating_s,
        duration_high_s=work_s * spread + settings.heating_s,
        cost_cents=round(cost),
        warnings=(*mesh.warnings, *_warnings(mesh, stack, regions, settings)),
        exact=exact,
    )


def overhang_mm2(triangles_mm: Floats, free_mm: float) -> float:
    """Area, seen from below, of what overhangs by more than 45° and lies more than `free_mm` above the bed."""
    normals = np.cross(triangles_mm[:, 1] - triangles_mm[:, 0], triangles_mm[:, 2] - triangles_mm[:, 0])
    steep = -normals[:, 2] > (math.sin(math.radians(OVERHANG_DEG)) + 1e-6) * np.linalg.norm(normals, axis=1)
    z = triangles_mm[..., 2]
    off_bed = z.max(axis=1) > z.min() + free_mm
    return float(-normals[steep & off_bed, 2].sum() / 2.0)


def _checked(settings: PrintSettings, machine: Machine, material: Material) -> PrintSettings:
    if machine.process is not Process.PRINTED:
        raise BadSettings(f"{machine.name} is not a printer.", "Name a printer.")
    figures = [(name, float(getattr(settings, name)), True) for name in _ABOVE_ZERO]
    figures += [(name, float(getattr(settings, name)), False) for name in _NOT_BELOW_ZERO]
    figures += [("density_g_cm3", material.density_g_cm3, True)]
    figures += [("filament_diameter_mm", material.filament_diameter_mm, True)]
    for name, figure, above in figures:
        top = _AT_MOST.get(name, 1e6)
        if not (0.0 <= figure <= top) or (above and figure == 0.0):
            raise BadSettings(
                f"{name} is {figure:g}.", f"Give a figure {'above 0' if above else 'of 0 or more'}, up to {top:g}."
            )
    return settings


def _check_fit(mesh: Mesh, machine: Machine, settings: PrintSettings) -> None:
    edge = 2.0 * settings.bed_edge_mm
    x, y, z = mesh.size_mm
    room_x, room_y, room_z = (each + FIT_SLACK_MM for each in machine.size_mm)
    if z > room_z:
        raise DoesNotFit(
            f"The part is {z:.4g} mm high, and {machine.name} prints {machine.size_mm[2]:.4g} mm.",
            "Lay it down, split it or name a larger printer.",
        )
    x, y = x + edge, y + edge
    if (x > room_x or y > room_y) and (y > room_x or x > room_y):
        with_edge = " with its bed edge" if edge else ""
        raise DoesNotFit(
            f"The part is {x:.4g} × {y:.4g} mm on the bed{with_edge}, and {machine.name} holds "
            f"{machine.size_mm[0]:.4g} × {machine.size_mm[1]:.4g} mm.",
            "Turn it, split it or name a larger printer.",
        )


def _volumes(stack: LayerStack, regions: LayerRegions, edge_mm2: float, settings: PrintSettings) -> PrintedVolumes:
    """Areas times thicknesses; the cuts' exact areas, of which the simplified polygons give the shares."""
    exact = np.array([max(cut.united_mm2, 0.0) for cut in stack.cuts])
    simple = np.array([area_mm2(cut.region) for cut in stack.cuts])
    scale = np.divide(exact, simple, out=np.ones_like(exact), where=simple > 0.0)
    inner = np.minimum(np.array([area_mm2(each) for each in regions.inner]) * scale, exact)[stack.run]
    sparse = np.minimum(np.array([area_mm2(each) for each in regions.sparse]) * scale[stack.run], inner)
    thickness = stack.thicknesses_mm
    contours = float(((exact[stack.run] - inner) * thickness).sum())
    solid = float(((inner - sparse) * thickness).sum())
    infill = float((sparse * thickness).sum()) * settings.infill_share
    columns = np.array([area_mm2(each) for each in regions.support])
    support = float((columns * thickness).sum()) * settings.support_share
    edge = edge_mm2 * settings.first_layer_height_mm
    return PrintedVolumes(contours, solid, infill, support, edge, contours + solid + infill + support + edge)


def open_spread(mesh: Mesh) -> float:
    """What an open mesh adds: standard deviation of ln(actual/estimate); 0 for a closed one."""
    return 0.0 if mesh.closed else math.hypot(OPEN_SPREAD, mesh.doubt)


def _spread(mesh: Mesh, stack: LayerStack) -> float:
    return math.sqrt(TIME_SPREAD**2 + open_spread(mesh) ** 2 + (COARSE_SPREAD**2 if stack.stride > 1 else 0.0))


def _in_words(settings: PrintSettings) -> str:
    words = [
        f"{settings.layer_height_mm:g} mm layers",
        f"{settings.contours} contour{'' if settings.contours == 1 else 's'}",
        f"{settings.infill_share * 100:g} % infill",
    ]
    if settings.support_angle_deg > 0.0:
        words.append(f"support beyond {settings.support_angle_deg:g}°")
    if settings.bed_edge_mm > 0.0:
        words.append(f"{settings.bed_edge_mm:g} mm bed edge")
    return ", ".join(words)


def _warnings(mesh: Mesh, stack: LayerStack, regions: LayerRegions, settings: PrintSettings) -> list[str]:
    said = []
    if settings.support_angle_deg <= 0.0:
        area = overhang_mm2(mesh.triangles_mm, settings.first_layer_height_mm)
        if area > NOTABLE_OVERHANG_MM2:
            said.append(
                f"About {area:.0f} mm² overhang by more than {OVERHANG_DEG:g}° and no support is set: "
                "turn the part or set support_angle_deg."
            )
    thin = float((regions.thin_mm2[stack.run] * stack.thicknesses_mm).sum())
    if thin > NOTABLE_THIN_SHARE * mesh.volume_mm3:
        said.append(
            f"About {100.0 * min(thin / mesh.volume_mm3, 1.0):.0f} % of the part is thinner than a line of "
            f"{settings.line_width_mm:g} mm and may not print."
        )
    if stack.stride > 1:
        said.append(f"The mesh is so fine that {stack.stride} layers share one outline; the estimate is less certain.")
    return said
