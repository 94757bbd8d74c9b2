"""How a router cuts: spindle and feed, and how long contours, holes and pockets take."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from register.domain.estimates import Hole
from register.domain.machines import RouterLimits, Tool
from register.domain.materials import Cutting
from register.estimate.motion import path_s, straight_s

if TYPE_CHECKING:
    from shapely.geometry import Polygon
    from shapely.geometry.base import BaseGeometry

Floats = NDArray[np.float64]

# Source of the figures down to STEP_OVER: common practice.
SKIN_MM = 0.2  # cut into the board below, so that the last pass goes through
RAMP_DEG = 3.0
TAB_WIDTH_MM = 6.0
TAB_HEIGHT_MM = 1.5
TAB_EVERY_MM = 150.0
FEWEST_TABS = 3
HELD_SLUG_MM2 = 100.0  # a smaller piece from inside a slot falls free
STEP_OVER = 0.5  # of the tool's diameter
# A tool enters an opening that is this much narrower than itself: sizes are rounded.
ENTRY_MM = 0.01
# Holes up to this many tool diameters are drilled, not bored.
DRILLED_BELOW = 1.05
# A turn below this is a chord of an arc, a larger one a corner.
CHORD_TURN_RAD = 0.35
QUARTER_CHORDS = 64
# Chip load falls with the depth of a pass, in tool diameters. Source: makers' feed tables, named in the tests.
DEPTHS_D, DEPTH_FACTORS = (1.0, 2.0, 3.0), (1.0, 0.75, 0.5)


@dataclass(frozen=True)
class Conditions:
    """What the tool does in one material: `depth_mm` is the whole depth, `deepest_mm` the most in one pass."""

    tool: Tool
    limits: RouterLimits
    spindle_rpm: float
    feed_mm_s: float
    depth_mm: float
    deepest_mm: float
    passes: int
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class Cut:
    """One cut: where the tool goes in, the length that it runs at depth, and its time from surface to bottom."""

    x_mm: float
    y_mm: float
    length_mm: float
    duration_s: float
    depth_mm: float


def passes_for(depth_mm: float, deepest_mm: float) -> int:
    """Passes of at most `deepest_mm` that reach `depth_mm`."""
    return max(1, math.ceil(depth_mm / deepest_mm - 1e-9))


def conditions_for(tool: Tool, cutting: Cutting, limits: RouterLimits, thickness_mm: float) -> Conditions:
    """Spindle speed, feed and passes to cut through a sheet.

    Notes
    -----
    n = 1000·v_c/(π·D) within the spindle's limits; v_f = n·z·f_z. f_z is interpolated over the material's table by
    diameter and lowered for passes deeper than the diameter. Source: SME, N = 12V/(πD) and F = f·n·N.
    """
    diameter = tool.diameter_mm
    warnings: list[str] = []
    wanted = 1000.0 * cutting.surface_speed_m_min / (math.pi * diameter)
    spindle = min(wanted, limits.spindle_high_rpm)
    if spindle < limits.spindle_low_rpm:
        spindle = limits.spindle_low_rpm
        warnings.append(
            f"The spindle cannot turn as slowly as {wanted:.0f} rpm; at {spindle:.0f} rpm the tool runs hot."
        )
    diameters, loads = zip(*cutting.chip_loads_mm, strict=True)
    if not diameters[0] - ENTRY_MM <= diameter <= diameters[-1] + ENTRY_MM:
        warnings.append(f"No chip load is listed near {diameter:g} mm; that of the nearest diameter was taken.")
    depth = thickness_mm + SKIN_MM
    deepest = cutting.depth_per_pass_d * diameter
    passes = passes_for(depth, deepest)
    factor = float(np.interp(depth / passes / diameter, DEPTHS_D, DEPTH_FACTORS))
    feed = spindle * tool.flutes * float(np.interp(diameter, diameters, loads)) * factor / 60.0
    feed = min(feed, limits.feed_limit_mm_s)
    return Conditions(tool, limits, spindle, feed, depth, deepest, passes, tuple(warnings))


def outside_loop(outline: Polygon, diameter_mm: float) -> Floats:
    """The tool centre's way round the outside: a convex outline's perimeter grows by π·D."""
    from shapely.geometry import Polygon

    grown = Polygon(outline.exterior).buffer(diameter_mm / 2.0, quad_segs=QUARTER_CHORDS)
    return _corners(grown)


def inside_loops(opening: BaseGeometry, diameter_mm: float) -> list[Floats]:
    """The tool centre's ways round the inside of an opening; none where the tool does not enter."""
    shrunk = opening.buffer(ENTRY_MM - diameter_mm / 2.0, quad_segs=QUARTER_CHORDS)
    return [_corners(each) for each in polygons_of(shrunk)]


def slug_mm2(opening: Polygon, diameter_mm: float) -> float:
    """Area of what comes loose inside an opening."""
    return float(opening.buffer(-diameter_mm).area)


def polygons_of(region: BaseGeometry) -> list[Polygon]:
    """The polygons that a region is made of."""
    return [each for each in getattr(region, "geoms", [region]) if each.geom_type == "Polygon" and not each.is_empty]


def contour(loop_mm: Floats, conditions: Conditions, held: bool) -> Cut:
    """A closed contour through the sheet in passes, each entered by a ramp; `held` leaves tabs.

    Notes
    -----
    The time over a tab is that of the loop below it, a lift, a plunge and two stops more.
    """
    limits, feed = conditions.limits, conditions.feed_mm_s
    length = float(np.hypot(*(np.roll(loop_mm, -1, axis=0) - loop_mm).T).sum())
    once = loop_s(loop_mm, conditions)
    step = conditions.depth_mm / conditions.passes
    duration = conditions.passes * (once + _ramp_s(step, conditions))
    if held:
        tabs = max(FEWEST_TABS, math.ceil(length / TAB_EVERY_MM))
        thickness = conditions.depth_mm - SKIN_MM
        height = min(TAB_HEIGHT_MM, thickness / 2.0)
        low = sum(step * (index + 1) > thickness - height for index in range(conditions.passes))
        lift = straight_s(height, limits.rapid_mm_s, limits.acceleration_mm_s2)
        plunge = straight_s(height, limits.plunge_limit_mm_s, limits.acceleration_mm_s2)
        duration += tabs * low * float(lift + plunge + 2.0 * feed / limits.acceleration_mm_s2)
    return Cut(float(loop_mm[0, 0]), float(loop_mm[0, 1]), length * conditions.passes, duration, conditions.depth_mm)


def hole(opening: Hole, conditions: Conditions) -> Cut:
    """A round hole: drilled where the tool just fits, else bored on a helix.

    Notes
    -----
    R = (d − D)/2, pitch p = min(a_p, 2πR·tan θ), L = (H/p)·√((2πR)² + p²) + 2πR, at a speed that the arc, the plunge
    limit and the feed allow. Source: geometry of the helix. A drilled hole has no length at depth.
    """
    limits, depth = conditions.limits, conditions.depth_mm
    diameter = conditions.tool.diameter_mm
    if opening.diameter_mm < DRILLED_BELOW * diameter:
        duration = straight_s(depth, min(limits.plunge_limit_mm_s, conditions.feed_mm_s), limits.acceleration_mm_s2)
        return Cut(opening.x_mm, opening.y_mm, 0.0, float(duration), depth)
    radius = (opening.diameter_mm - diameter) / 2.0
    turn = 2.0 * math.pi * radius
    pitch = min(conditions.deepest_mm, turn * math.tan(math.radians(RAMP_DEG)))
    slant = math.hypot(turn, pitch)
    length = depth / pitch * slant + turn
    speed = min(
        conditions.feed_mm_s, math.sqrt(limits.acceleration_mm_s2 * radius), limits.plunge_limit_mm_s * slant / pitch
    )
    duration = straight_s(length, speed, limits.acceleration_mm_s2)
    return Cut(opening.x_mm + radius, opening.y_mm, length, float(duration), depth)


def pocket_region(floor: Polygon, walls: BaseGeometry, diameter_mm: float) -> BaseGeometry:
    """Where the tool's centre goes in a pocket; empty where it does not enter.

    Parameters
    ----------
    floor
        The pocket seen from above; where it ends at no wall, the tool may run over its edge.
    walls
        What stands higher than its floor.
    """
    from shapely.geometry import Polygon

    grown = walls.buffer(diameter_mm / 2.0 - ENTRY_MM, quad_segs=QUARTER_CHORDS)
    region: BaseGeometry = Polygon(floor.exterior).difference(grown)
    return region


def pocket(region: BaseGeometry, depth_mm: float, conditions: Conditions) -> Cut | None:
    """A pocket cleared by loops inward from its walls; None where the tool does not enter."""
    diameter = conditions.tool.diameter_mm
    length = once = 0.0
    start = None
    while polygons_of(region):
        for polygon in polygons_of(region):
            for ring in (polygon.exterior, *polygon.interiors):
                loop = np.asarray(ring.coords, dtype=np.float64)[:-1, :2]
                start = loop[0] if start is None else start
                length += float(ring.length)
                once += loop_s(loop, conditions)
        region = region.buffer(-STEP_OVER * diameter, quad_segs=8)
    if start is None:
        return None
    passes = passes_for(depth_mm, conditions.deepest_mm)
    duration = passes * (once + _ramp_s(depth_mm / passes, conditions))
    return Cut(float(start[0]), float(start[1]), length * passes, duration, depth_mm)


def loop_s(loop_mm: Floats, conditions: Conditions) -> float:
    """Time once round a closed loop at depth, from rest to rest.

    Notes
    -----
    Chords of an arc of radius R are run at √(a·R) at most: their shallow corners alone would not slow the tool.
    """
    limits = conditions.limits
    steps = np.roll(loop_mm, -1, axis=0) - loop_mm
    lengths = np.hypot(steps[:, 0], steps[:, 1])
    loop_mm, steps, lengths = loop_mm[lengths > 1e-9], steps[lengths > 1e-9], lengths[lengths > 1e-9]
    before = np.roll(steps, 1, axis=0)
    cross = before[:, 0] * steps[:, 1] - before[:, 1] * steps[:, 0]
    turns = np.abs(np.arctan2(cross, (before * steps).sum(axis=1)))
    turns[turns > CHORD_TURN_RAD] = 0.0
    bend = np.maximum((turns + np.roll(turns, -1)) / 2.0, 1e-12)
    speeds = np.minimum(conditions.feed_mm_s, np.sqrt(limits.acceleration_mm_s2 * lengths / bend))
    return path_s(loop_mm, speeds, limits.acceleration_mm_s2, limits.junction_deviation_mm, closed=True)


def between_s(cuts: list[Cut], start_mm: tuple[float, float], limits: RouterLimits) -> float:
    """Time off the work: to each cut the nearest way first, down, and up again; the last cut stays last."""
    at = np.array(start_mm)
    places = np.array([(cut.x_mm, cut.y_mm) for cut in cuts])
    left = np.ones(len(cuts), dtype=np.bool_)
    left[-1] = False
    distances = []
    for _ in range(len(cuts) - 1):
        ways = np.where(left, np.hypot(*(places - at).T), np.inf)
        nearest = int(np.argmin(ways))
        distances.append(ways[nearest])
        left[nearest], at = False, places[nearest]
    distances.append(np.hypot(*(places[-1] - at)))
    ups = np.array([limits.clearance_height_mm + cut.depth_mm for cut in cuts])
    downs = np.full(len(cuts), limits.clearance_height_mm)
    moves = np.concatenate([distances, ups, downs])
    return float(straight_s(moves, limits.rapid_mm_s, limits.acceleration_mm_s2).sum())


def _ramp_s(step_mm: float, conditions: Conditions) -> float:
    """Time of one ramp down by `step_mm` along the contour."""
    limits, angle = conditions.limits, math.radians(RAMP_DEG)
    speed = min(conditions.feed_mm_s, limits.plunge_limit_mm_s / math.sin(angle))
    return float(straight_s(step_mm / math.tan(angle), speed, limits.acceleration_mm_s2))


def _corners(polygon: Polygon) -> Floats:
    return np.asarray(polygon.exterior.coords, dtype=np.float64)[:-1, :2]
