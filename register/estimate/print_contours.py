"""How long the contours of each cut take, with the thin lines between them and the travel from loop to loop."""

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from register.domain.machines import PrintSettings
from register.estimate.hatch_lines import outlines_of
from register.estimate.loop_lines import contour_loops, length_mm
from register.estimate.motion import paths_s, straight_s
from register.estimate.print_layers import LayerRegions, LayerStack, area_mm2

if TYPE_CHECKING:
    from manifold3d import CrossSection

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]

# Ways of travel, found by comparing with every line drawn, over the parts and settings of the accuracy benchmark. In
# diagonals of the layer's box: from the end of a layer's hatch to the next layer, to the first loop, to the first hatch
# of a kind, to the first thin line; in line widths: between loops of one outline.
LAYER_WAY = 0.55
LOOP_WAY = 0.12
HATCH_WAY = 0.2
GAP_WAY = 0.2
NESTED_WAY = 1.2
# Where loops cover so much more or less than there is to cover, something is too narrow for them.
NARROW_SHARE = 0.001
# Of cuts with something narrow so many are looked at; the others take after the next one that was.
NARROW_CUTS = 60
# Among more boxes than these the nearest is not looked for; they are taken as spread evenly.
MOST_BOXES = 400
EVEN_WAY = 0.7


def contours_s(
    stack: LayerStack, regions: LayerRegions, first_mm_s: float, speed_mm_s: float, settings: PrintSettings
) -> Floats:
    """Time of the contours of each layer (m,) with their travel.

    Parameters
    ----------
    first_mm_s, speed_mm_s
        Speed in the first layer, and in the others.

    Notes
    -----
    Loops are planned corner by corner, from one to the nearest outline. Thin lines between loops are drawn only for
    cuts where the lengths of the loops do not fit the area that they should cover, and only for some of them.
    """
    times = _loops_s(regions.loops, speed_mm_s, settings)[stack.run]
    times[:1] = _loops_s(regions.loops[:1], first_mm_s, settings)
    times += _travel_s(stack, regions, settings)[stack.run]
    gaps_mm, beyond_s = _gaps(stack, regions, speed_mm_s, settings)
    speeds = np.full(len(stack.run), speed_mm_s)
    speeds[0] = first_mm_s
    return np.asarray(times + gaps_mm[stack.run] / speeds + beyond_s[stack.run])


def ways_apart_mm(low: Floats, high: Floats) -> float:
    """The ways that lead from box to box, each on to its nearest: corners (k, 2) and (k, 2).

    Notes
    -----
    Into or out of a box that encloses another the way is that to its side.
    """
    count = len(low)
    if count < 2:
        return 0.0
    if count > MOST_BOXES:
        area = float(np.prod(high.max(axis=0) - low.min(axis=0)))
        return (count - 1) * EVEN_WAY * float(np.sqrt(area / count))
    gaps = np.maximum(low[:, None], low[None]) - np.minimum(high[:, None], high[None])
    ways = np.hypot(*np.moveaxis(np.maximum(gaps, 0.0), 2, 0))
    margins = np.minimum(np.abs(low[:, None] - low[None]), np.abs(high[:, None] - high[None])).min(axis=2)
    ways = np.where((gaps < 0.0).all(axis=2), margins, ways)
    np.fill_diagonal(ways, np.inf)
    return float(ways.min(axis=1).sum()) * (count - 1) / count


def diagonal_mm(region: "CrossSection") -> float:
    """Of a region's box; 0 if it is empty."""
    if region.is_empty():
        return 0.0
    left, front, right, back = region.bounds()
    return float(np.hypot(right - left, back - front))


def _travel_s(stack: LayerStack, regions: LayerRegions, settings: PrintSettings) -> Floats:
    """Time of the travel between the loops of each cut, and to the first of them."""
    outlines = outlines_of([cut.region for cut in stack.cuts])
    low, high, owner = outlines.boxes()
    bounds = np.searchsorted(owner, np.arange(len(stack.cuts) + 1))
    rings = np.diff(bounds)
    diagonals, apart = np.zeros(len(rings)), np.zeros(len(rings))
    for i in np.flatnonzero(rings).tolist():
        part = slice(bounds[i], bounds[i + 1])
        diagonals[i] = diagonal_mm(stack.cuts[i].region)
        apart[i] = ways_apart_mm(low[part], high[part])
    nested = np.maximum(np.array([len(loops) for loops in regions.loops]) - rings, 0)
    far = np.maximum(rings - 1, 0)
    times = far * _hop_s(apart / np.maximum(far, 1), settings)
    times += _hop_s(LOOP_WAY * diagonals, settings)
    return np.asarray(times + nested * _hop_s(np.array(NESTED_WAY * settings.line_width_mm), settings))


def _gaps(
    stack: LayerStack, regions: LayerRegions, speed_mm_s: float, settings: PrintSettings
) -> tuple[Floats, Floats]:
    """Length of the thin lines of each cut, and what they take beyond length over speed, with their travel."""
    walls = np.array([area_mm2(c.region) - area_mm2(i) for c, i in zip(stack.cuts, regions.inner, strict=True)])
    covered = np.array([sum(length_mm(loop[:-1]) for loop in loops) for loops in regions.loops])
    narrow = np.flatnonzero(np.abs(covered * settings.line_width_mm - walls) > NARROW_SHARE * walls + 1e-6)
    lengths, beyond = np.zeros(len(walls)), np.zeros(len(walls))
    if settings.contours == 0 or len(narrow) == 0:
        return lengths, beyond
    seen = narrow[:: -(-len(narrow) // NARROW_CUTS)]
    for i in seen.tolist():
        lengths[i], beyond[i] = _drawn_gaps(stack.cuts[i].region, speed_mm_s, settings)
    nearest = seen[np.minimum(np.searchsorted(seen, narrow), len(seen) - 1)]
    lengths[narrow], beyond[narrow] = lengths[nearest], beyond[nearest]
    return lengths, beyond


def _drawn_gaps(outline: "CrossSection", speed_mm_s: float, settings: PrintSettings) -> tuple[float, float]:
    drawn = contour_loops(outline, settings.contours, settings.line_width_mm)
    lines = [*drawn.gaps, *(np.concatenate([ring, ring[:1]]) for ring in drawn.gap_rings)]
    if not lines:
        return 0.0, 0.0
    bounds = np.cumsum([0] + [len(line) for line in lines])
    a, deviation = settings.acceleration_mm_s2, settings.junction_deviation_mm
    time_s = float(paths_s(np.concatenate(lines), bounds, speed_mm_s, a, deviation).sum())
    length = sum(float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum()) for line in lines)
    low, high = (np.array([pick(line, axis=0) for line in lines]) for pick in (np.min, np.max))
    far = len(lines) - 1
    travel = far * _hop_s(np.array(ways_apart_mm(low, high) / max(far, 1)), settings)
    return length, time_s - length / speed_mm_s + float(
        travel + _hop_s(np.array(GAP_WAY * diagonal_mm(outline)), settings)
    )


def _loops_s(loops: tuple[tuple[Floats, ...], ...], speed_mm_s: float, settings: PrintSettings) -> Floats:
    """Time of all loops of each cut."""
    flat = [loop for each in loops for loop in each]
    if not flat:
        return np.zeros(len(loops))
    owner = np.repeat(np.arange(len(loops)), [len(each) for each in loops])
    bounds = np.cumsum([0] + [len(loop) for loop in flat])
    times = paths_s(
        np.concatenate(flat), bounds, speed_mm_s, settings.acceleration_mm_s2, settings.junction_deviation_mm
    )
    return np.bincount(owner, weights=times, minlength=len(loops)).astype(np.float64)


def _hop_s(way_mm: Floats, settings: PrintSettings) -> Floats:
    return straight_s(way_mm, settings.travel_speed_mm_s, settings.acceleration_mm_s2)
