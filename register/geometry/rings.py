"""The polygons of layers: closed rings, found by matching end points bit for bit, united into regions."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from register.errors import BadMesh
from register.geometry.layers import counted, spans_of
from register.geometry.vectors import CHUNK

if TYPE_CHECKING:
    from manifold3d import CrossSection

Floats = NDArray[np.float64]
Indices = NDArray[np.int32]
Counts = NDArray[np.int32]

# Pairs of triangle and layer that are held at once (about 100 bytes each).
CHUNK_PAIRS = 250_000
# Corners closer than this to the line between their neighbours are left out of a region's polygons.
SIMPLER_MM = 0.005
# Corners at which the cost of a cut is sampled; and the cost of all cuts that is not paid (some 70 ns each).
WORK_SAMPLES = 16
MOST_WORK = 1e8
_SALTS = (0x9E3779B97F4A7C15, 0xD6E8FEB86659FD93)


@dataclass(frozen=True)
class Section:
    """One cut through a mesh.

    `region` is what lies inside at least one body; `united_mm2` is its exact area (`region` itself is simplified to
    0.005 mm), `signed_mm2` counts what two bodies share twice.
    """

    region: "CrossSection"
    united_mm2: float
    signed_mm2: float


def sections(triangles_mm: Floats, heights_mm: Floats) -> list[Section]:
    """The cut through a closed mesh at each height.

    Parameters
    ----------
    triangles_mm : (n, 3, 3)
        Corners, counter-clockwise seen from outside.
    heights_mm : (m,)
        Ascending. At a height at which a face lies flat, the section just above it.

    Raises
    ------
    BadMesh
        If a cut does not close, or the cuts are so rough that their polygons would take minutes.

    Notes
    -----
    Both triangles at an edge compute its point from the same two corners in the same order, so the ends of their
    cuts are equal to the last bit and can be matched by their bits. Bodies that overlap are united by the positive
    filling rule. Source: common practice.
    """
    # manifold3d loads where polygons are first needed.
    from manifold3d import CrossSection, FillRule

    found: list[Section] = []
    work = 0.0
    for start, end, layer, layers in _cuts(triangles_mm, heights_mm):
        work += float(_work(start, end, layer, layers).sum())
        if work > MOST_WORK:
            raise BadMesh(
                "The mesh is so rough that a cut through it cannot be worked with.", "Smooth it, or export it coarser."
            )
        signed = np.bincount(layer, weights=(start[:, 0] * end[:, 1] - start[:, 1] * end[:, 0]) / 2.0, minlength=layers)
        rings = _rings(start, _followers(start, end, layer), layer, layers)
        for ring, area in zip(rings, signed, strict=True):
            region = CrossSection(ring, FillRule.Positive)
            found.append(Section(region.simplify(SIMPLER_MM), region.area(), float(area)))
    return found


def sections_work(triangles_mm: Floats, heights_mm: Floats) -> Floats:
    """What the polygon of each cut (m,) would cost, before it is paid.

    Notes
    -----
    Uniting rings sweeps a line over them: at each corner it goes through the edges that the line then meets. So
    the cost is their sum over all corners, here taken at some corners of each cut. Source: sweep-line algorithms.
    """
    found = [_work(start, end, layer, layers) for start, end, layer, layers in _cuts(triangles_mm, heights_mm)]
    return np.concatenate([np.zeros(0), *found])


def _work(start: Floats, end: Floats, layer: Counts, layers: int) -> Floats:
    low, high = np.minimum(start[:, 1], end[:, 1]), np.maximum(start[:, 1], end[:, 1])
    bounds = np.searchsorted(layer, np.arange(layers + 1)).tolist()
    work = np.zeros(layers)
    for k, (first, last) in enumerate(pairwise(bounds)):
        if last > first:
            at = start[first : last : -(-(last - first) // WORK_SAMPLES), 1]
            met = np.searchsorted(np.sort(low[first:last]), at, "right")
            met -= np.searchsorted(np.sort(high[first:last]), at, "right")
            work[k] = (last - first) * (1.0 + float(met.mean()))
    return work


def _cuts(triangles: Floats, heights: Floats) -> Iterator[tuple[Floats, Floats, Counts, int]]:
    """For each block of layers its cuts: starts (k, 2), ends (k, 2), ascending layers in it (k,), its size."""
    first, last = spans_of(triangles, heights)
    blocks = np.cumsum(counted(first, last, len(heights))) // CHUNK_PAIRS
    bounds = [0, *(np.flatnonzero(np.diff(blocks)) + 1).tolist(), len(heights)]
    for begin, end in pairwise(bounds):
        low, high = np.maximum(first, begin), np.minimum(last, end)
        cut = np.flatnonzero(high > low).astype(np.int32)
        low, count = low[cut], (high - low)[cut]
        places = np.concatenate([[0], np.cumsum(count)])
        start, stop = np.empty((places[-1], 2)), np.empty((places[-1], 2))
        layer = np.arange(places[-1], dtype=np.int32)
        layer -= np.repeat((places[:-1] - low).astype(np.int32), count)
        # Facets with thousands of cuts each are taken in smaller numbers.
        pieces = np.searchsorted(places, np.arange(0, places[-1], CHUNK), side="right") - 1
        for one, other in pairwise([*np.unique(pieces).tolist(), len(cut)]):
            made = slice(places[one], places[other])
            _cut_facets(triangles[cut[one:other]], count[one:other], heights[layer[made]], start[made], stop[made])
        layer -= np.int32(begin)
        # Layer by layer, so that what is looked up together lies together. Small numbers are sorted by their digits.
        order = np.argsort(layer.astype(np.uint16) if end - begin < 1 << 16 else layer, kind="stable")
        yield start[order], stop[order], layer[order], end - begin


def _cut_facets(triangles: Floats, count: Counts, height: Floats, start: Floats, stop: Floats) -> None:
    """The cuts of triangles (k, 3, 3), of which each has `count` (k,) at the heights (c,), into (c, 2) and (c, 2).

    Notes
    -----
    Of the sides of a triangle one goes up through the plane and one goes down; counter-clockwise seen from outside,
    the cut runs from the one that goes down to the one that goes up, with the solid at its left.
    """
    x, y, z = np.ascontiguousarray(triangles.transpose(2, 0, 1)).reshape(3, -1)
    corner = np.repeat(np.arange(0, 3 * len(triangles), 3, dtype=np.int32), count)
    low_0, low_1, low_2 = (z[corner + i] <= height for i in range(3))
    # The side that goes up begins at the lower corner whose next one is above, and likewise for the one down.
    up = (low_1 & ~low_2) + np.int32(2) * (low_2 & ~low_0)
    down = (low_2 & ~low_1) + np.int32(2) * (low_0 & ~low_2)
    after = np.array([1, 2, 0], dtype=np.int32)
    for side, made in (((corner + after[down], corner + down), start), ((corner + up, corner + after[up]), stop)):
        low, high = side
        below = z[low]
        share = (height - below) / (z[high] - below)  # low ≤ height < high, so never a division by 0
        for axis, values in enumerate((x, y)):
            begun = values[low]
            made[:, axis] = begun + (values[high] - begun) * share + 0.0


def _followers(start: Floats, end: Floats, layer: Counts) -> Indices:
    """For each cut the one that begins where it ends."""
    follower = np.empty(len(start), dtype=np.int32)
    for salt in _SALTS:
        by_start = np.argsort(_keys(start, layer, salt))
        by_end = np.argsort(_keys(end, layer, salt))
        follower[by_end] = by_start
        if np.array_equal(start[by_start], end[by_end]):
            return follower
    raise BadMesh("A cut through the mesh does not close.", "Repair the model so that it is one closed body.")


def _keys(points: Floats, layer: Counts, salt: int) -> NDArray[np.uint64]:
    """A number for each point: its layer above 40 mixed bits of its coordinates."""
    bits = np.ascontiguousarray(points).view(np.uint64)
    mixed = bits[:, 0] * np.uint64(salt)
    mixed ^= mixed >> np.uint64(29)
    mixed = (mixed + bits[:, 1]) * np.uint64(0xBF58476D1CE4E5B9)
    mixed ^= mixed >> np.uint64(32)
    return (layer.astype(np.uint64) << np.uint64(44)) | (mixed >> np.uint64(20))


def _rings(start: Floats, follower: Indices, layer: Counts, layers: int) -> list[list[Floats]]:
    """The closed rings of each layer, each (k, 2)."""
    after = follower.tolist()
    order: list[int] = []
    bounds = [0]
    append = order.append
    for begin in range(len(after)):
        at = after[begin]
        if at < 0:
            continue
        append(begin)
        after[begin] = -1
        while at != begin:
            append(at)
            after[at], at = -1, after[at]
        bounds.append(len(order))
    walked = start[order]
    rings: list[list[Floats]] = [[] for _ in range(layers)]
    ring_layers = layer[np.array(order, dtype=np.int64)[bounds[:-1]]].tolist() if order else []
    for i, ring_layer in enumerate(ring_layers):
        if bounds[i + 1] - bounds[i] > 2:
            rings[ring_layer].append(walked[bounds[i] : bounds[i + 1]])
    return rings
