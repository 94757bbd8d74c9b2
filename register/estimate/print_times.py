"""How long each layer of a print takes."""

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from register.domain.machines import PrintSettings
from register.estimate.motion import paths_s, straight_s
from register.estimate.print_layers import LayerRegions, LayerStack, area_mm2

if TYPE_CHECKING:
    from manifold3d import CrossSection

Floats = NDArray[np.float64]

# Between two chords the tool goes along the outline: at 45° that is √2 spacings.
LINK_SPACINGS = 1.4
# Lengths of chords as multiples of their mean, at four quantiles of an even spread from 0 to twice the mean.
CHORD_QUANTILES = (0.25, 0.75, 1.25, 1.75)
# Mean way between two pieces of a layer, as a share of the diagonal of its box.
TRAVEL_SHARE = 0.35


def layer_times_s(stack: LayerStack, regions: LayerRegions, edge_mm2: float, settings: PrintSettings) -> Floats:
    """Time of each layer (m,) with its travel, its change and its least time, without heating.

    Notes
    -----
    Contours are planned corner by corner. Hatched regions are taken as N = b/(2·s) chords, b the region's boundary
    seen along the hatch and s the spacing, of mean length A/(s·N), each from rest to rest, with a link between
    chords. Source: common practice; the number of chords is Cauchy's, exact for straight hatch.
    """
    total = _contours_s(stack, regions, settings)
    width, share = settings.line_width_mm, settings.support_share
    hatches = [(regions.skin, width, settings.solid_speed_mm_s)]
    if settings.infill_share > 0.0:
        hatches.append((regions.sparse, width / settings.infill_share, settings.infill_speed_mm_s))
    if settings.support_angle_deg > 0.0:
        hatches.append((regions.support, width / share, settings.support_speed_mm_s))
    pieces = np.array([len(regions.loops[i]) for i in stack.run], dtype=np.float64)
    for layers, spacing, speed in hatches:
        areas, spans, counts = _measured(layers)
        total += _hatch_s(areas, spans, spacing, _speeds(stack, speed, settings), settings.acceleration_mm_s2)
        pieces += counts
    diagonals = np.array([_diagonal_mm(cut.region) for cut in stack.cuts])[stack.run]
    total += pieces * straight_s(TRAVEL_SHARE * diagonals, settings.travel_speed_mm_s, settings.acceleration_mm_s2)
    total[0] += edge_mm2 / width / float(_speeds(stack, settings.contour_speed_mm_s, settings)[0])
    return np.maximum(total, settings.least_layer_s) + settings.layer_change_s


def _speeds(stack: LayerStack, speed_mm_s: float, settings: PrintSettings) -> Floats:
    """`speed_mm_s` in each layer, held to the flow limit and, in the first, to its own speed."""
    by_flow = settings.flow_limit_mm3_s / (settings.line_width_mm * stack.thicknesses_mm)
    speeds = np.minimum(speed_mm_s, by_flow)
    speeds[0] = min(float(speeds[0]), settings.first_layer_speed_mm_s)
    return np.asarray(speeds)


def _contours_s(stack: LayerStack, regions: LayerRegions, settings: PrintSettings) -> Floats:
    """Time of the contours of each layer; what is too narrow for a loop is drawn at the same speed."""
    speeds = _speeds(stack, settings.contour_speed_mm_s, settings)
    first = _loops_s(regions.loops[:1], float(speeds[0]), settings)
    cuts = _loops_s(regions.loops, float(speeds[-1]), settings)
    times = cuts[stack.run]
    times[0] = first[0]
    lengths = np.array([sum(_length_mm(loop) for loop in loops) for loops in regions.loops])
    walls = np.array([area_mm2(c.region) - area_mm2(i) for c, i in zip(stack.cuts, regions.inner, strict=True)])
    gaps = np.maximum(walls / settings.line_width_mm - lengths, 0.0)
    return np.asarray(times + gaps[stack.run] / speeds)


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


def _measured(layers: tuple["CrossSection", ...]) -> tuple[Floats, Floats, Floats]:
    """Area, boundary seen at ±45° and number of outlines of each layer's region; equal regions are measured once."""
    known: dict[int, tuple[float, float, int]] = {}
    for region in layers:
        if id(region) not in known:
            rings = region.to_polygons()
            # The mean of |dx + dy| and |dx − dy| is the larger of |dx| and |dy|.
            spans = [np.abs(np.diff(ring, axis=0, append=ring[:1])).max(axis=1).sum() for ring in rings]
            known[id(region)] = (area_mm2(region), float(sum(spans)) / np.sqrt(2.0), len(rings))
    areas, spans_mm, counts = zip(*(known[id(region)] for region in layers), strict=True)
    return np.array(areas), np.array(spans_mm), np.array(counts, dtype=np.float64)


def _hatch_s(areas: Floats, spans: Floats, spacing: float, speeds: Floats, acceleration: float) -> Floats:
    chords = spans / (2.0 * spacing)
    mean = np.divide(areas, spacing * chords, out=np.zeros_like(areas), where=chords > 0.0)
    each = sum(straight_s(share * mean, speeds, acceleration) for share in CHORD_QUANTILES) / len(CHORD_QUANTILES)
    return np.asarray(chords * (each + straight_s(LINK_SPACINGS * spacing, speeds, acceleration)))


def _length_mm(loop: Floats) -> float:
    steps = np.diff(loop, axis=0)
    return float(np.sqrt(np.einsum("ij,ij->i", steps, steps)).sum())


def _diagonal_mm(region: "CrossSection") -> float:
    if region.is_empty():
        return 0.0
    left, front, right, back = region.bounds()
    return float(np.hypot(right - left, back - front))
