"""The polygons of layers: closed rings, found by matching end points bit for bit, united into regions."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from register.errors import BadMesh
from register.geometry.layers import crossings

if TYPE_CHECKING:
    from manifold3d import CrossSection

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]

# Pairs of triangle and layer that are held at once (about 100 bytes each).
CHUNK_PAIRS = 500_000
# Corners closer than this to the line between their neighbours are left out of a region's polygons.
SIMPLER_MM = 0.005
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
        If a cut does not close.

    Notes
    -----
    Both triangles at an edge compute its point from the same two corners in the same order, so the ends of their
    cuts are equal to the last bit and can be matched by sorting. Bodies that overlap are united by the positive
    filling rule. Source: common practice.
    """
    # manifold3d loads where polygons are first needed.
    from manifold3d import CrossSection, FillRule

    found: list[Section] = []
    for start, end, layer, layers in _cuts(triangles_mm, heights_mm):
        signed = np.bincount(layer, weights=(start[:, 0] * end[:, 1] - start[:, 1] * end[:, 0]) / 2.0, minlength=layers)
        rings = _rings(start, _followers(start, end, layer), layer, layers)
        for ring, area in zip(rings, signed, strict=True):
            region = CrossSection(ring, FillRule.Positive)
            found.append(Section(region.simplify(SIMPLER_MM), region.area(), float(area)))
    return found


def _cuts(triangles: Floats, heights: Floats) -> Iterator[tuple[Floats, Floats, Indices, int]]:
    """For each block of layers its cuts: starts (k, 2), ends (k, 2), layers in the block (k,), and its size."""
    order = np.argsort(triangles[..., 2], axis=1, kind="stable")
    corners = np.take_along_axis(triangles, order[..., None], axis=1)
    even = (order[:, 1] - order[:, 0]) % 3 == 1
    first = np.searchsorted(heights, corners[:, 0, 2], side="left")
    last = np.searchsorted(heights, corners[:, 2, 2], side="left")
    blocks = np.cumsum(crossings(triangles, heights)) // CHUNK_PAIRS
    bounds = [0, *(np.flatnonzero(np.diff(blocks)) + 1).tolist(), len(heights)]
    for begin, end in pairwise(bounds):
        low, high = np.maximum(first, begin), np.minimum(last, end)
        cut = np.flatnonzero(high > low)
        count = high[cut] - low[cut]
        which = np.repeat(cut, count)
        layer = np.arange(len(which)) - np.repeat(np.cumsum(count) - count - low[cut], count)
        height = heights[layer]
        v0, v1, v2 = (corners[which, i] for i in range(3))
        upper = (v1[:, 2] <= height)[:, None]
        across = _point_on(v0, v2, height)
        beside = _point_on(np.where(upper, v1, v0), np.where(upper, v2, v1), height)
        forward = even[which][:, None]
        yield np.where(forward, across, beside), np.where(forward, beside, across), layer - begin, end - begin


def _point_on(low: Floats, high: Floats, height: Floats) -> Floats:
    share = (height - low[:, 2]) / (high[:, 2] - low[:, 2])  # low ≤ height < high, so never a division by 0
    return low[:, :2] + (high[:, :2] - low[:, :2]) * share[:, None] + 0.0


def _followers(start: Floats, end: Floats, layer: Indices) -> Indices:
    """For each cut the one that begins where it ends."""
    follower = np.empty(len(start), dtype=np.int64)
    for salt in _SALTS:
        by_start = np.argsort(_keys(start, layer, salt), kind="stable")
        by_end = np.argsort(_keys(end, layer, salt), kind="stable")
        follower[by_end] = by_start
        if np.array_equal(start[by_start], end[by_end]):
            return follower
    raise BadMesh("A cut through the mesh does not close.", "Repair the model so that it is one closed body.")


def _keys(points: Floats, layer: Indices, salt: int) -> NDArray[np.uint64]:
    """A number for each point: its layer above 40 mixed bits of its coordinates."""
    bits = np.ascontiguousarray(points).view(np.uint64)
    mixed = bits[:, 0] * np.uint64(salt)
    mixed ^= mixed >> np.uint64(29)
    mixed = (mixed + bits[:, 1]) * np.uint64(0xBF58476D1CE4E5B9)
    mixed ^= mixed >> np.uint64(32)
    return (layer.astype(np.uint64) << np.uint64(44)) | (mixed >> np.uint64(20))


def _rings(start: Floats, follower: Indices, layer: Indices, layers: int) -> list[list[Floats]]:
    """The closed rings of each layer, each (k, 2)."""
    after = follower.tolist()
    seen = bytearray(len(after))
    order: list[int] = []
    bounds = [0]
    for begin in np.argsort(layer, kind="stable").tolist():
        if seen[begin]:
            continue
        at = begin
        while not seen[at]:
            seen[at] = 1
            order.append(at)
            at = after[at]
        bounds.append(len(order))
    walked = start[order]
    rings: list[list[Floats]] = [[] for _ in range(layers)]
    ring_layers = layer[np.array(order, dtype=np.int64)[bounds[:-1]]].tolist() if order else []
    for i, ring_layer in enumerate(ring_layers):
        if bounds[i + 1] - bounds[i] > 2:
            rings[ring_layer].append(walked[bounds[i] : bounds[i + 1]])
    return rings
