"""Area and contour length of every layer, straight from the triangles, without building a polygon."""

import numpy as np
from numpy.typing import NDArray

from register.geometry.topology import middle_of

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]

# A piece of a triangle that spans more layers than this goes into running sums, a shorter one is evaluated.
LONG_SPAN = 8
# Pairs of triangle and layer that are evaluated at once.
CHUNK_PAIRS = 1_000_000
# A facet this close to vertical shifts its section by less than 1e-6 of the layer's height.
VERTICAL = 1e-6
# A facet that rises less is flat: its cut would be nothing but rounding.
FLAT_MM = 1e-9


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
    triangles, heights = triangles - middle, heights - middle[2]
    normals = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    z = np.sort(triangles[:, :, 2], axis=1)
    rise = z[:, 2] - z[:, 0]
    upright = rise > FLAT_MM
    triangles, normals, z, rise = triangles[upright], normals[upright], z[upright], rise[upright]
    length = np.hypot(normals[:, 0], normals[:, 1]) / rise
    area_0 = np.einsum("ij,ij->i", normals, triangles[:, 0]) / (2.0 * rise)
    area_1 = -normals[:, 2] / (2.0 * rise)
    sums = np.zeros((2, len(heights)))
    for zero, one in ((z[:, 0], z[:, 1]), (z[:, 2], z[:, 1])):
        _add_pieces(sums, heights, zero, one, np.stack([area_0, area_1, length]))
    return np.maximum(sums[0], 0.0), sums[1]


def crossings(triangles_mm: Floats, heights_mm: Floats) -> Indices:
    """How many triangles each height cuts: (m,)."""
    z = triangles_mm[..., 2]
    low, high = (pick(pick(z[:, 0], z[:, 1]), z[:, 2]) for pick in (np.minimum, np.maximum))
    first, last = _span(low, high, heights_mm)
    return _counted(first, last, len(heights_mm))


def same_as_below(triangles_mm: Floats, heights_mm: Floats) -> NDArray[np.bool_]:
    """Whether each layer has the same outline as the one below it: (m,), the first False.

    Notes
    -----
    True where no corner lies between the two heights and both cut vertical facets only.
    """
    triangles = np.asarray(triangles_mm)
    z = triangles[..., 2]
    normals = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    sloped = np.abs(normals[:, 2]) > VERTICAL * np.hypot(normals[:, 0], normals[:, 1])
    slopes = crossings(triangles[sloped], heights_mm)
    corners = np.bincount(np.searchsorted(heights_mm, z.reshape(-1), side="left"), minlength=len(heights_mm) + 1)
    same = (slopes == 0) & (corners[: len(heights_mm)] == 0)
    same[1:] &= slopes[:-1] == 0
    same[:1] = False
    return np.asarray(same, dtype=np.bool_)


def _add_pieces(sums: Floats, heights: Floats, zero: Floats, one: Floats, terms: Floats) -> None:
    """Add the pieces over which hat goes from 0 at `zero` to 1 at `one` (n,); `terms` are (3, n)."""
    first, last = _span(np.minimum(zero, one), np.maximum(zero, one), heights)
    spans = last - first
    _add_long(sums, heights, *_chosen(spans > LONG_SPAN, first, last, zero, one, terms))
    first, last, zero, one, terms = _chosen((spans > 0) & (spans <= LONG_SPAN), first, last, zero, one, terms)
    step = max(CHUNK_PAIRS // LONG_SPAN, 1)
    for begin in range(0, len(first), step):
        part = slice(begin, begin + step)
        count = last[part] - first[part]
        which = np.repeat(np.arange(begin, begin + len(count)), count)
        layer = np.arange(len(which)) - np.repeat(np.cumsum(count) - count - first[part], count)
        height = heights[layer]
        hat = np.clip((height - zero[which]) / (one[which] - zero[which]), 0.0, 1.0)
        area = hat * (terms[0, which] + terms[1, which] * height)
        sums[0] += np.bincount(layer, weights=area, minlength=len(heights))
        sums[1] += np.bincount(layer, weights=hat * terms[2, which], minlength=len(heights))


def _add_long(
    sums: Floats, heights: Floats, first: Indices, last: Indices, zero: Floats, one: Floats, terms: Floats
) -> None:
    slope = 1.0 / (one - zero)
    start = -zero * slope
    area_0, area_1, length = terms
    powers = (
        (0, 0, start * area_0),
        (0, 1, slope * area_0 + start * area_1),
        (0, 2, slope * area_1),
        (1, 0, start * length),
        (1, 1, slope * length),
    )
    for row, power, coefficient in powers:
        sums[row] += _running(first, last, coefficient, len(heights)) * heights**power


def _running(first: Indices, last: Indices, weights: Floats, layers: int) -> Floats:
    """Sum of `weights` of the spans that hold each layer."""
    steps = np.bincount(first, weights=weights, minlength=layers + 1)
    steps -= np.bincount(last, weights=weights, minlength=layers + 1)
    return np.cumsum(steps)[:layers].astype(np.float64)


def _counted(first: Indices, last: Indices, layers: int) -> Indices:
    steps = np.bincount(first, minlength=layers + 1) - np.bincount(last, minlength=layers + 1)
    return np.cumsum(steps)[:layers].astype(np.int64)


def _span(low: Floats, high: Floats, heights: Floats) -> tuple[Indices, Indices]:
    """First layer at or above `low`, and first at or above `high`: a piece is cut where low ≤ height < high."""
    return np.searchsorted(heights, low, side="left"), np.searchsorted(heights, high, side="left")


def _chosen(
    chosen: NDArray[np.bool_], first: Indices, last: Indices, zero: Floats, one: Floats, terms: Floats
) -> tuple[Indices, Indices, Floats, Floats, Floats]:
    return first[chosen], last[chosen], zero[chosen], one[chosen], terms[:, chosen]
