"""Routed parts: a plate, a sheet, a machine and its tools make time, mass and cost."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from register.domain.estimates import Hole, RoutedEstimate
from register.domain.machines import Machine, RouterLimits, Tool
from register.domain.materials import Cutting, Form, Material
from register.domain.parts import Process
from register.errors import BadQuantity, BadSettings, DoesNotFit, UnknownMaterial
from register.estimate.cutting import (
    ENTRY_MM,
    HELD_SLUG_MM2,
    QUARTER_CHORDS,
    Conditions,
    Cut,
    between_s,
    conditions_for,
    contour,
    hole,
    inside_loops,
    outside_loop,
    pocket,
    pocket_region,
    polygons_of,
    slug_mm2,
)
from register.geometry.plates import Plate

if TYPE_CHECKING:
    from shapely.geometry import Polygon
    from shapely.geometry.base import BaseGeometry

# An estimate without actuals behind it: about 80 % of runs fall within these shares. Source: common practice.
RANGE = 1.25
THICKNESS_MM = 0.1
THICKEST_MM = 200.0
# Fasteners want their hole's centre two diameters from any edge; larger openings a web as thick as the sheet.
EDGE_DISTANCE_D = 2.0  # common practice, no source
LARGEST_FASTENER_MM = 12.0  # common practice, no source
RESIDUE_MM2 = 0.02
FILM_MM = 1e-4


def estimate_routed(
    plate: Plate, thickness_mm: float | None, material: Material, machine: Machine, tools: Sequence[Tool]
) -> RoutedEstimate:
    """One routed piece.

    Parameters
    ----------
    plate
        From a mesh or a drawing.
    thickness_mm
        Of the sheet; needed where the plate does not say it.
    material
        A sheet material with cutting figures.
    machine
        A router; its `tools` name those of `tools` that it has, all where it names none.
    tools
        The shop's.

    Raises
    ------
    UnknownMaterial
        If the material is no sheet or has no cutting figures.
    BadQuantity
        If no thickness is known, or one that no sheet has.
    BadSettings
        If the machine is no router or has no tool.
    DoesNotFit
        If the plate is larger than the machine's travel either way round.

    Notes
    -----
    The tool is the largest that enters every hole, slot and pocket, else the smallest. `cut_length_mm` is what it
    runs at depth over all passes, without ramps and drilled holes. The material counted is the box round the
    plate and its cut. A person's set-up is not in the time.
    """
    cutting = _cutting(material)
    thickness, warnings = _thickness(plate, thickness_mm)
    tool, refused = _chosen_tool(plate, machine, tools)
    limits = machine.router or RouterLimits()
    _check_fit(plate, thickness, tool, machine, limits)
    conditions = conditions_for(tool, cutting, limits, thickness)
    cuts, left_out = _cuts(plate, conditions)
    duration = sum(cut.duration_s for cut in cuts) + limits.spin_up_s + limits.tool_change_s
    duration += between_s(cuts, (plate.outline.bounds[0], plate.outline.bounds[1]), limits)
    area = float(plate.outline.area)
    pocketed = sum(each.area_mm2 * each.depth_mm for each in plate.pockets)
    mass_g = (area * thickness - pocketed) * material.density_g_cm3 / 1000.0
    return RoutedEstimate(
        process=Process.ROUTED.value,
        sha256=plate.sha256,
        size_mm=(plate.size_mm[0], plate.size_mm[1], thickness),
        thickness_mm=thickness,
        outline_area_mm2=area,
        outer_perimeter_mm=float(plate.outline.exterior.length),
        holes=plate.holes,
        slots=plate.slots,
        pockets=plate.pockets,
        material=material.name,
        machine=machine.name,
        tool=tool.name,
        spindle_rpm=conditions.spindle_rpm,
        feed_mm_s=conditions.feed_mm_s,
        passes=conditions.passes,
        cut_length_mm=sum(cut.length_mm for cut in cuts),
        mass_g=mass_g,
        duration_s=duration,
        duration_low_s=duration / RANGE,
        duration_high_s=duration * RANGE,
        cost_cents=_cost_cents(plate, thickness, tool, material, duration / 3600.0 * machine.cost_per_h_cents),
        warnings=(
            *plate.warnings, *warnings, *conditions.warnings, *refused, *left_out,
            *_corners_left(plate, tool), *_close_holes(plate, thickness),
        ),
    )  # fmt: skip


def _cutting(material: Material) -> Cutting:
    if material.form is not Form.SHEET:
        raise UnknownMaterial(f"{material.name} is {material.form.value} and not sheet.", "Name a sheet material.")
    if material.cutting is None or not material.cutting.chip_loads_mm:
        raise UnknownMaterial(
            f"{material.name} has no cutting figures.", "Give its surface speed, chip loads and depth per pass."
        )
    return material.cutting


def _thickness(plate: Plate, given_mm: float | None) -> tuple[float, tuple[str, ...]]:
    """The thickness to cut: the part's own where it has one."""
    own = plate.thickness_mm
    thickness = own if own is not None else given_mm
    if thickness is None:
        raise BadQuantity("A drawing does not say how thick the part is.", "Give the thickness of the sheet.")
    if not 0.0 < thickness <= THICKEST_MM:
        raise BadQuantity(f"The thickness is {thickness:g} mm.", f"Give one above 0 and up to {THICKEST_MM:g} mm.")
    if own is not None and given_mm is not None and abs(own - given_mm) > THICKNESS_MM:
        return own, (f"The part is {own:.2f} mm thick and the sheet {given_mm:.2f} mm; the part's own was taken.",)
    return thickness, ()


def _chosen_tool(plate: Plate, machine: Machine, tools: Sequence[Tool]) -> tuple[Tool, tuple[str, ...]]:
    """The largest tool that enters every opening, else the smallest and what it does not enter."""
    if machine.process is not Process.ROUTED:
        raise BadSettings(f"{machine.name} is no router.", "Name a router for a routed part.")
    fitting = [tool for tool in tools if not machine.tools or tool.name in machine.tools]
    if not fitting:
        raise BadSettings(f"{machine.name} has no cutting tool.", "Give it one of the shop's tools.")
    fitting.sort(key=lambda tool: -tool.diameter_mm)
    for tool in fitting:
        round_ones = all(_enters(tool, each) for each in plate.holes)
        if round_ones and all(_goes_into(tool, each) for each in plate.slot_polygons) and _clears(tool, plate):
            return tool, ()
    smallest = fitting[-1]
    small = sorted(each.diameter_mm for each in plate.holes if not _enters(smallest, each))
    if not small:
        return smallest, ()
    return smallest, (
        f"Holes smaller than {smallest.name}, {smallest.diameter_mm:g} mm: {len(small)}, the least {small[0]:.2f} mm. "
        "Drill them by hand; they are not in the time.",
    )


def _enters(tool: Tool, opening: Hole) -> bool:
    return tool.diameter_mm <= opening.diameter_mm + ENTRY_MM


def _goes_into(tool: Tool, opening: Polygon) -> bool:
    return bool(inside_loops(opening, tool.diameter_mm))


def _clears(tool: Tool, plate: Plate) -> bool:
    """Whether the tool gets into every pocket."""
    return all(
        polygons_of(pocket_region(floor, _walls(plate, each.depth_mm), tool.diameter_mm))
        for floor, each in zip(plate.pocket_polygons, plate.pockets, strict=True)
    )


def _walls(plate: Plate, depth_mm: float) -> BaseGeometry:
    """What stands higher than the floor of a pocket of that depth."""
    walls: BaseGeometry = plate.outline
    for floor, each in zip(plate.pocket_polygons, plate.pockets, strict=True):
        if each.depth_mm >= depth_mm - ENTRY_MM:
            walls = walls.difference(floor)
    return walls


def _check_fit(plate: Plate, thickness: float, tool: Tool, machine: Machine, limits: RouterLimits) -> None:
    """The tool's centre must get round the plate, lying either way, and above it."""
    needed = sorted(side + tool.diameter_mm for side in plate.size_mm[:2])
    travel = sorted(machine.size_mm[:2])
    if any(need > has + 1e-6 for need, has in zip(needed, travel, strict=True)):
        raise DoesNotFit(
            f"With its cut the plate takes {needed[1]:.1f} × {needed[0]:.1f} mm, and {machine.name} travels "
            f"{travel[1]:g} × {travel[0]:g} mm.",
            "Split the part, or name a larger machine.",
        )
    if thickness + limits.clearance_height_mm > machine.size_mm[2]:
        raise DoesNotFit(
            f"A sheet of {thickness:.1f} mm leaves {machine.name} no room to lift the tool.", "Take thinner sheet."
        )


def _cuts(plate: Plate, conditions: Conditions) -> tuple[list[Cut], tuple[str, ...]]:
    """Every cut with the outside last, and what the tool cannot do."""
    diameter = conditions.tool.diameter_mm
    cuts = [hole(each, conditions) for each in plate.holes if _enters(conditions.tool, each)]
    shut = 0
    for slot in plate.slot_polygons:
        loops = inside_loops(slot, diameter)
        shut += not loops
        cuts += [contour(loop, conditions, slug_mm2(slot, diameter) > HELD_SLUG_MM2) for loop in loops]
    full = 0
    for floor, recess in zip(plate.pocket_polygons, plate.pockets, strict=True):
        region = pocket_region(floor, _walls(plate, recess.depth_mm), diameter)
        cleared = pocket(region, recess.depth_mm, conditions)
        full += cleared is None
        cuts += [cleared] if cleared is not None else []
    cuts.append(contour(outside_loop(plate.outline, diameter), conditions, held=True))
    counted = ((shut, "slot(s)"), (full, "pocket(s)"))
    return cuts, tuple(
        f"{count} {what} narrower than {conditions.tool.name} are not in the time." for count, what in counted if count
    )


def _corners_left(plate: Plate, tool: Tool) -> tuple[str, ...]:
    """What a round tool leaves standing in inside corners: r²(1 − π/4) in one of 90°."""
    from shapely.geometry import Polygon

    radius = tool.diameter_mm / 2.0 - ENTRY_MM
    reached = [slot.exterior for slot in plate.slot_polygons if _goes_into(tool, slot)]
    solid = Polygon(plate.outline.exterior, reached)
    closed = solid.buffer(radius, quad_segs=QUARTER_CHORDS).buffer(-radius, quad_segs=QUARTER_CHORDS)
    # Rounding leaves films along straight walls, which would join one corner to the next.
    standing = closed.difference(solid).buffer(-FILM_MM)
    left = [each.area for each in polygons_of(standing) if each.area > RESIDUE_MM2]
    if not left:
        return ()
    return (f"The tool leaves {sum(left):.2f} mm² standing in {len(left)} inside corner(s): file or redraw them.",)


def _close_holes(plate: Plate, thickness: float) -> tuple[str, ...]:
    """Holes whose centre is near an edge or another opening."""
    import shapely

    if not plate.holes:
        return ()
    centres = np.array([(each.x_mm, each.y_mm) for each in plate.holes])
    diameters = np.array([each.diameter_mm for each in plate.holes])
    edges = shapely.union_all([plate.outline.exterior, *(slot.exterior for slot in plate.slot_polygons)])
    nearest = shapely.distance(shapely.points(centres), edges)
    for low, high in pairwise([*range(0, len(centres), 500), len(centres)]):
        apart = np.hypot(*(centres[low:high, None] - centres[None]).transpose(2, 0, 1)) - diameters / 2.0
        apart[np.arange(high - low), np.arange(low, high)] = np.inf
        nearest[low:high] = np.minimum(nearest[low:high], apart.min(axis=1))
    wanted = np.where(diameters <= LARGEST_FASTENER_MM, EDGE_DISTANCE_D * diameters, diameters / 2.0 + thickness)
    close = int(np.count_nonzero(nearest < wanted - 1e-6))
    if not close:
        return ()
    return (
        f"Holes too near an edge or an opening: {close}. Keep two diameters from the centre, or a web as thick as the "
        "sheet.",
    )


def _cost_cents(plate: Plate, thickness: float, tool: Tool, material: Material, machine_cents: float) -> int:
    """Sheet under the plate and its cut, and the machine's hours."""
    along, across = (side + 2.0 * tool.diameter_mm for side in plate.size_mm[:2])
    return round(along * across * thickness * material.cost_per_m2_mm_cents / 1e6 + machine_cents)
