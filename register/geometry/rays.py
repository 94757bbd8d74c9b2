"""Rays along x, y and z through a mesh, closed or not, and where they go through its facets."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from register.geometry.topology import bounds_of

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]
Counts = NDArray[np.int32]
Flags = NDArray[np.bool_]
Axes = tuple[Floats, Floats, Floats]

# How few or many planes a lattice has across the part.
FEWEST, MOST = 16, 1500
# Crossings of rays and facets that are foreseen for one direction; a coarser lattice is taken beyond it.
MOST_CROSSINGS = 1_000_000
# Facets, rows or crossings that are worked on at once.
CHUNK = 100_000


@dataclass(frozen=True)
class Crossings:
    """Where the rays of one direction (0, 1, 2 for x, y, z) go through facets, sorted by ray and then along it.

    (k,) each: `ray` numbers the rays, `place` is the node of the ray that comes next, `at_mm` the coordinate along
    it, `enters` whether the facet faces the ray, and `facet` its number.
    """

    direction: int
    ray: Counts
    place: Counts
    at_mm: Floats
    enters: Flags
    facet: Counts

    def nodes_after(self, nodes: int) -> Indices:
        """Numbers of the nodes that come next, where each ray has so many."""
        return self.ray.astype(np.int64) * nodes + self.place

    def turned(self, facets: Flags) -> "Crossings":
        """The same with some facets (n,) turned round."""
        return replace(self, enters=self.enters ^ facets[self.facet])


def lattice_for(triangles_mm: Floats, nodes: int) -> Axes | None:
    """Planes across x, y and z, whose meetings are the nodes through which rays are sent.

    Parameters
    ----------
    triangles_mm : (n, 3, 3)
    nodes
        How many nodes, about.

    Returns
    -------
    Coordinates (nx,), (ny,), (nz,), ascending; None if the facets lie so thick that no lattice of a useful fineness
    can be had for them.

    Notes
    -----
    The planes are jittered, so that none falls on a face of the part, and no pattern of the part on that of the
    rays. Source: common practice (jittered sampling).
    """
    low, high = bounds_of(triangles_mm)
    extent = high - low
    shadows, reaches = _shadows(triangles_mm)
    pitch = (float(np.prod(extent)) / nodes) ** (1.0 / 3.0)
    while True:
        counts = np.clip(np.ceil(extent / pitch), FEWEST, MOST)
        pitches = extent / counts
        crossings = shadows * pitches / np.prod(pitches)
        work = max(float(crossings.max()), float((reaches / pitches).max()))
        if work <= MOST_CROSSINGS and float(np.prod(counts)) <= 2 * nodes + FEWEST**3:
            break
        if counts.max() <= FEWEST:
            return None
        pitch *= 1.25
    jitter = np.random.default_rng(0)
    x, y, z = (
        start + (np.arange(int(count)) + jitter.uniform(0.1, 0.9, int(count))) * step
        for start, count, step in zip(low, counts, pitches, strict=True)
    )
    return x, y, z


def crossings_of(triangles_mm: Floats, axes: Axes) -> tuple[Crossings, ...]:
    """Every crossing of triangles (n, 3, 3) with the rays of a lattice: along x, along y and along z."""
    return tuple(_along(triangles_mm, axes, direction) for direction in range(3))


def _shadows(triangles: Floats) -> tuple[Floats, Floats]:
    """The areas that all facets cover seen along x, y and z, and how far they reach in all along each: (3,), (3,)."""
    shadows, reaches = np.zeros(3), np.zeros(3)
    for begin in range(0, len(triangles), CHUNK):
        a, b, c = (triangles[begin : begin + CHUNK, i].T for i in range(3))
        one, other = b - a, c - a
        for i, (u, v) in enumerate(((1, 2), (2, 0), (0, 1))):
            shadows[i] += np.abs(one[u] * other[v] - one[v] * other[u]).sum() / 2.0
        reaches += (np.maximum(np.maximum(a, b), c) - np.minimum(np.minimum(a, b), c)).sum(axis=1)
    return shadows, reaches


def _along(triangles: Floats, axes: Axes, direction: int) -> Crossings:
    found = [each for begin in range(0, len(triangles), CHUNK) for each in _crossed(triangles, begin, axes, direction)]
    nothing = (np.zeros(0, np.int32), np.zeros(0), np.zeros(0, np.bool_), np.zeros(0, np.int32))
    ray, at, enters, facet = (np.concatenate([each[i] for each in [nothing, *found]]) for i in range(4))
    order = np.lexsort((at, ray))
    ray, at = ray[order], at[order]
    place = np.searchsorted(axes[direction], at).astype(np.int32)
    return Crossings(direction, ray, place, at, enters[order], facet[order])


def _crossed(
    triangles: Floats, begin: int, axes: Axes, direction: int
) -> Iterator[tuple[Counts, Floats, Flags, Counts]]:
    """Rays, coordinates along them, facing and facets of the crossings of one chunk of facets.

    Notes
    -----
    A facet is cut by each row of rays between two of its edges, worked out from the same two corners in the same
    order for both facets at an edge: a ray on an edge goes through one of them.
    """
    across, along = (direction + 1) % 3, (direction + 2) % 3
    part = triangles[begin : begin + CHUNK]
    a, b, c = (part[:, i, along] for i in range(3))
    first = np.searchsorted(axes[along], np.minimum(np.minimum(a, b), c))
    last = np.searchsorted(axes[along], np.maximum(np.maximum(a, b), c))
    reached = np.flatnonzero(last > first)
    order = np.argsort(part[reached, :, along], axis=1, kind="stable")
    corners = np.take_along_axis(part[reached], order[..., None], axis=1)
    even = (order[:, 1] - order[:, 0]) % 3 == 1
    for which, row in _spread(first[reached], last[reached]):
        level = axes[along][row]
        low, middle, high = (corners[which, i] for i in range(3))
        upper = (middle[:, along] <= level)[:, None]
        one = _cut(low, high, level, along)
        other = _cut(np.where(upper, middle, low), np.where(upper, high, middle), level, along)
        begins, ends = one[:, across], other[:, across]
        near = np.searchsorted(axes[across], np.minimum(begins, ends))
        far = np.searchsorted(axes[across], np.maximum(begins, ends))
        for cut, column in _spread(near, far):
            share = (axes[across][column] - begins[cut]) / (ends[cut] - begins[cut])
            at = one[cut, direction] + share * (other[cut, direction] - one[cut, direction])
            leaves = (ends[cut] > begins[cut]) == even[which[cut]]
            ray, facet = column * len(axes[along]) + row[cut], reached[which[cut]] + begin
            yield ray.astype(np.int32), at, ~leaves, facet.astype(np.int32)


def _cut(low: Floats, high: Floats, level: Floats, along: int) -> Floats:
    share = (level - low[:, along]) / (high[:, along] - low[:, along])  # low ≤ level < high, so never by 0
    return np.asarray(low + (high - low) * share[:, None])


def _spread(first: Indices, last: Indices) -> Iterator[tuple[Indices, Indices]]:
    """In chunks, every pair of an entry and a number from its `first` up to but without its `last`."""
    counts = np.maximum(last - first, 0)
    chosen = np.flatnonzero(counts)
    blocks = np.cumsum(counts[chosen]) // CHUNK
    for entries in np.split(chosen, np.flatnonzero(np.diff(blocks)) + 1):
        count = counts[entries]
        which = np.repeat(entries, count)
        if len(which):
            yield which, np.arange(len(which)) - np.repeat(np.cumsum(count) - count - first[entries], count)
