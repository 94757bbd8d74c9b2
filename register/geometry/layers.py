"""Area and contour length of every layer, straight from the triangles, without building a polygon."""

import numpy as np
from numpy.typing import NDArray

from register.geometry.topology import middle_of
from register.geometry.vectors import corner_columns, cross, dot, parts

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]
Counts = NDArray[np.int32]

# A piece of a triangle that spans more layers than this goes into running sums, a shorter one is evaluated.
LONG_SPAN = 8
# A facet this close to vertical shifts its section by less than 1e-6 of the layer's height.
VERTICAL = 1e-6
# A facet that rises less is flat: its cut would be nothing but rounding.
FLAT_MM = 1e-9
# Places for one layer in the table that finds layers, and steps from there beyond which sorting is as fast.
PLACES, MOST_STEPS = 4, 3


def layer_profile(triangles_mm: Floats, heights_mm: Floats) -> tuple[Floats, Floats]:
    """Cross-section area and contour length of a closed mesh at each height.

    Parameters
    ----------
    triangles_mm : (n, 3, 3)
        Corners, counter-clockwise seen from outside.
    heights_mm : (m,)
        Ascending.

    Returns
    -------
    areas_mm2, contour_lengths_mm : (m,), (m,)
        At a height at which a face lies flat, the section just above it. Bodies that overlap count once each.

    Notes
    -----
    A triangle with n = e1×e2, d = n·v0 and corners at z0 ≤ z1 ≤ z2, H = z2 − z0, is cut over hat(z) of its longest
    cut, hat rising 0→1 over z0…z1 and falling over z1…z2. It adds hat·(d − n_z·z)/(2H) to the area (divergence
    theorem) and hat·|n_xy|/H to the length. Either is a polynomial in z on each of its two pieces: long pieces go
    into running sums of coefficients, short ones are evaluated layer by layer with hat held to 0…1, because a plane
    that nearly touches a corner would lose all its digits in the sums. Memory does not grow with n·m.
    Source: divergence theorem.
    """
    triangles = np.asarray(triangles_mm, dtype=np.float64)
    heights = np.asarray(heights_mm, dtype=np.float64)
    if len(heights) == 0 or len(triangles) == 0:
        return np.zeros(len(heights)), np.zeros(len(heights))
    middle = middle_of(triangles)
    sums = _Sums(heights - middle[2])
    for part in parts(len(triangles)):
        corners = corner_columns(triangles[part], middle)
        low, mid, high = _sorted(corners[:, 2])
        rise = high - low
        first, between, last = (sums.layers.at_or_above(z) for z in (low, mid, high))
        cut = np.flatnonzero((last > first) & (rise > FLAT_MM))
        if len(cut) == 0:
            continue
        corners, rise = corners[:, :, cut], rise[cut]
        normal = cross(corners[1] - corners[0], corners[2] - corners[0])
        half = 0.5 / rise
        terms = np.stack([dot(normal, corners[0]) * half, -normal[2] * half, np.hypot(normal[0], normal[1]) / rise])
        first, between, last = first[cut], between[cut], last[cut]
        sums.add(first, between, low[cut], mid[cut], terms)
        sums.add(between, last, high[cut], mid[cut], terms)
    return sums.whole()


class LayerFinder:
    """Finds layers by height. `heights` (m,) are ascending."""

    def __init__(self, heights: Floats) -> None:
        self._heights = np.append(heights, np.inf)
        # A table of evenly spaced places says where to begin, a place too early; even layers are one step away then.
        count = PLACES * len(heights)
        reach = float(heights[-1] - heights[0]) if len(heights) else 0.0
        self._scale = count / reach if reach > FLAT_MM else 0.0
        places = heights[:1] + (np.arange(count + 1) - 1.0) * (reach / max(count, 1))
        self._start = np.searchsorted(heights, places, side="left").astype(np.int32)
        ahead = np.append(self._start[3:], [len(heights)] * 3)[: len(self._start)]
        self._steps = int((ahead - self._start).max(initial=0))

    def at_or_above(self, z: Floats) -> Counts:
        """The first layer at or above each height; m where there is none."""
        if self._scale == 0.0 or self._steps > MOST_STEPS:
            return np.searchsorted(self._heights[:-1], z, side="left").astype(np.int32)
        place = (z - self._heights[0]) * self._scale
        np.clip(place, 0.0, len(self._start) - 1.0, out=place)
        found = self._start[place.astype(np.int32)]
        for _ in range(self._steps):
            found += self._heights[found] < z
        return np.asarray(found)


def spans_of(triangles_mm: Floats, heights_mm: Floats) -> tuple[Counts, Counts]:
    """Which layers each triangle cuts: from the first (n,) up to, but without, the last (n,)."""
    layers = LayerFinder(heights_mm)
    first, last = (np.empty(len(triangles_mm), dtype=np.int32) for _ in range(2))
    for part in parts(len(triangles_mm)):
        low, _, high = _sorted(triangles_mm[part, :, 2].T)
        first[part], last[part] = layers.at_or_above(low), layers.at_or_above(high)
    return first, last


def crossings(triangles_mm: Floats, heights_mm: Floats) -> Indices:
    """How many triangles each height cuts: (m,)."""
    return counted(*spans_of(triangles_mm, heights_mm), len(heights_mm))


def counted(first: Counts, last: Counts, layers: int) -> Indices:
    """How many spans hold each of so many layers."""
    steps = np.bincount(first, minlength=layers + 1) - np.bincount(last, minlength=layers + 1)
    return np.cumsum(steps)[:layers].astype(np.int64)


def same_as_below(triangles_mm: Floats, heights_mm: Floats) -> NDArray[np.bool_]:
    """Whether each layer has the same outline as the one below it: (m,), the first False.

    Notes
    -----
    True where no corner lies between the two heights and both cut vertical facets only.
    """
    layers = LayerFinder(heights_mm)
    slopes = np.zeros(len(heights_mm) + 1, dtype=np.int64)
    corners = np.zeros_like(slopes)
    origin = np.zeros(3)
    for part in parts(len(triangles_mm)):
        columns = corner_columns(triangles_mm[part], origin)
        normal = cross(columns[1] - columns[0], columns[2] - columns[0])
        sloped = np.abs(normal[2]) > VERTICAL * np.hypot(normal[0], normal[1])
        found = [layers.at_or_above(z) for z in columns[:, 2]]
        for each in found:
            corners += np.bincount(each, minlength=len(corners))
        low, _, high = _sorted(np.stack(found))
        slopes += np.bincount(low[sloped], minlength=len(slopes))
        slopes -= np.bincount(high[sloped], minlength=len(slopes))
    cut = np.cumsum(slopes)[:-1]
    same = (cut == 0) & (corners[:-1] == 0)
    same[1:] &= cut[:-1] == 0
    same[:1] = False
    return np.asarray(same, dtype=np.bool_)


def _sorted(three: Floats) -> tuple[Floats, Floats, Floats]:
    """Three rows (3, k), sorted column by column."""
    a, b, c = three
    low, high = np.minimum(a, b), np.maximum(a, b)
    return np.minimum(low, c), np.maximum(low, np.minimum(high, c)), np.maximum(high, c)


class _Sums:
    """Areas and lengths of layers as far as triangles have been added."""

    def __init__(self, heights: Floats) -> None:
        self.layers = LayerFinder(heights)
        self._heights = heights
        self._short = np.zeros((2, len(heights)))
        # Coefficients of the powers of the height, as steps from layer to layer.
        self._areas, self._lengths = np.zeros((3, len(heights) + 1)), np.zeros((2, len(heights) + 1))

    def add(self, first: Counts, last: Counts, zero: Floats, one: Floats, terms: Floats) -> None:
        """Add the pieces over which hat goes from 0 at `zero` to 1 at `one` (k,); `terms` are (3, k)."""
        count = last - first
        long = np.flatnonzero(count > LONG_SPAN)
        if len(long):
            self._add_long(first[long], last[long], zero[long], one[long], terms[:, long])
            count[long] = 0
        which = np.repeat(np.arange(len(count), dtype=np.int32), count)
        layer = np.arange(len(which), dtype=np.int32)
        layer -= np.repeat(np.cumsum(count, dtype=np.int32) - count - first, count)
        height = self._heights[layer]
        hat = height - zero[which]
        hat /= (one - zero)[which]
        np.clip(hat, 0.0, 1.0, out=hat)
        length = hat * terms[2, which]
        height *= terms[1, which]
        height += terms[0, which]
        hat *= height
        self._short[0] += np.bincount(layer, weights=hat, minlength=len(self._heights))
        self._short[1] += np.bincount(layer, weights=length, minlength=len(self._heights))

    def _add_long(self, first: Counts, last: Counts, zero: Floats, one: Floats, terms: Floats) -> None:
        slope = 1.0 / (one - zero)
        start = -zero * slope
        area_0, area_1, length = terms
        self._step(self._areas[0], first, last, start * area_0)
        self._step(self._areas[1], first, last, slope * area_0 + start * area_1)
        self._step(self._areas[2], first, last, slope * area_1)
        self._step(self._lengths[0], first, last, start * length)
        self._step(self._lengths[1], first, last, slope * length)

    def _step(self, row: Floats, first: Counts, last: Counts, weights: Floats) -> None:
        row += np.bincount(first, weights=weights, minlength=len(row))
        row -= np.bincount(last, weights=weights, minlength=len(row))

    def whole(self) -> tuple[Floats, Floats]:
        """Areas and lengths (m,), (m,)."""
        areas, lengths = self._short
        areas = areas + self._long(self._areas)
        return np.maximum(areas, 0.0), lengths + self._long(self._lengths)

    def _long(self, rows: Floats) -> Floats:
        powers = self._heights ** np.arange(len(rows))[:, None]
        return np.asarray((np.cumsum(rows, axis=1)[:, :-1] * powers).sum(axis=0))
