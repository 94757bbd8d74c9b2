"""A closed surface round the nodes of a lattice that lie inside a part."""

from dataclasses import dataclass

import numpy as np

from register.geometry.rays import Axes, Counts, Crossings, Flags, Floats, Indices
from register.geometry.topology import bounds_of

# How much a corner of the new surface is held to the middle of the crossings around it.
HELD = 0.1
# Corners that are worked out at once.
CHUNK = 100_000


@dataclass(frozen=True)
class Facets:
    """Triangles (n, 3, 3) and where the rays of each direction cross them."""

    triangles_mm: Floats
    crossings: tuple[Crossings, ...]


@dataclass(frozen=True)
class _Steps:
    """Steps of the lattice between a node inside and one outside, along one axis.

    `place` (3, k) is the lower node of each, `cell` (k, 4) are the cells around it, counter-clockwise seen from
    ahead; `out` (k,) says that it leads out; `point` and `normal` (k, 3) are where and how it is crossed.
    """

    place: Counts
    cell: Counts
    out: Flags
    point: Floats
    normal: Floats


def steps_between(solid: Flags) -> int:
    """How many four-sided patches a surface round the nodes (nx, ny, nz) has inside the lattice."""
    return sum(int(np.count_nonzero(np.diff(solid, axis=axis))) for axis in range(3))


def surface_round(solid: Flags, axes: Axes, sources: tuple[Facets, ...]) -> Floats:
    """A closed surface round the solid nodes of a lattice.

    Parameters
    ----------
    solid : (nx, ny, nz)
    axes
        The lattice's.
    sources
        Facets that the surface follows where they cross its steps, the most believed last; where none does it goes
        half-way, and round the lattice at the bounds of the last.

    Returns
    -------
    (m, 3, 3)
        Closed, counter-clockwise seen from outside.

    Notes
    -----
    One corner in each cell of the lattice that the surface runs through, where the planes of the facets crossed at
    the cell's edges come nearest to meeting, and one four-sided patch round each step from inside to outside.
    Source: Ju, Losasso, Schaefer and Warren, "Dual contouring of Hermite data", 2002 (from memory).
    """
    solid = np.pad(solid, 1)
    axes = _padded(axes, sources[-1].triangles_mm)
    steps = [_steps(solid, axes, direction) for direction in range(3)]
    for source in sources:
        for each, crossings in zip(steps, source.crossings, strict=True):
            _place_on_facets(each, crossings, source.triangles_mm, axes)
    cells, corner = np.unique(np.concatenate([each.cell for each in steps]), return_inverse=True)
    corner = corner.reshape(-1, 4)
    point, normal = (np.concatenate(each) for each in zip(*((step.point, step.normal) for step in steps), strict=True))
    corners = _corners(cells, corner, axes, point, normal)
    out = np.concatenate([each.out for each in steps])
    corner = np.where(out[:, None], corner, corner[:, ::-1])
    return np.asarray(corners[np.concatenate([corner[:, [0, 1, 2]], corner[:, [0, 2, 3]]])])


def _padded(axes: Axes, triangles: Floats) -> Axes:
    """The axes with one more node beyond each end, as far outside the part as the last one is inside."""
    low, high = bounds_of(triangles)
    x, y, z = (
        np.concatenate([[2.0 * low[i] - axis[0]], axis, [2.0 * high[i] - axis[-1]]]) for i, axis in enumerate(axes)
    )
    return x, y, z


def _steps(solid: Flags, axes: Axes, direction: int) -> _Steps:
    """The steps along one axis, each crossed half-way as long as nothing better is known."""
    size = solid.shape[direction]
    lower, upper = (np.take(solid, np.arange(size - 1) + ahead, axis=direction) for ahead in (0, 1))
    place = np.stack([each.astype(np.int32) for each in np.nonzero(lower != upper)])
    point = np.stack([axes[axis][place[axis]] for axis in range(3)], axis=1)
    point[:, direction] += axes[direction][place[direction] + 1]
    point[:, direction] /= 2.0
    return _Steps(place, _cells_around(place, solid.shape, direction), lower[tuple(place)], point, np.zeros_like(point))


def _place_on_facets(steps: _Steps, crossings: Crossings, facets: Floats, axes: Axes) -> None:
    """Move each step's point to where its ray goes through a facet, and take that facet's normal."""
    if not len(crossings.ray):
        return
    direction = crossings.direction
    across, along = (direction + 1) % 3, (direction + 2) % 3
    nodes = len(axes[direction])
    keys = crossings.nodes_after(nodes)
    # Rays and nodes are numbered without the nodes that were added around the lattice.
    rays = (steps.place[across] - 1) * (len(axes[along]) - 2) + steps.place[along] - 1
    wanted = rays.astype(np.int64) * nodes + steps.place[direction]
    last = np.searchsorted(keys, wanted, side="right") - 1
    found = np.where(steps.out, last, np.minimum(np.searchsorted(keys, wanted), len(keys) - 1))
    known = np.flatnonzero(keys[found] == wanted)
    found = found[known]
    steps.point[known, direction] = crossings.at_mm[found]
    crossed = facets[crossings.facet[found]]
    cross = np.cross(crossed[:, 1] - crossed[:, 0], crossed[:, 2] - crossed[:, 0])
    length = np.sqrt(np.einsum("ij,ij->i", cross, cross))[:, None]
    steps.normal[known] = np.divide(cross, length, out=np.zeros_like(cross), where=length > 0.0)


def _cells_around(place: Counts, shape: tuple[int, ...], direction: int) -> Counts:
    """Numbers of the four cells around each step; a cell has the number of its lowest node."""
    strides = (shape[1] * shape[2], shape[2], 1)
    own = place[0] * strides[0] + place[1] * strides[1] + place[2]
    u, v = strides[(direction + 1) % 3], strides[(direction + 2) % 3]
    return np.stack([own - u - v, own - v, own, own - u], axis=1)


def _corners(cells: Counts, corner: Indices, axes: Axes, point: Floats, normal: Floats) -> Floats:
    """The corner in each cell (m, 3), from the points and normals (k, 3) of the steps around which it lies."""
    which, count = corner.reshape(-1), len(cells)

    def summed(values: Floats) -> Floats:
        return np.asarray(np.bincount(which, np.repeat(values, 4), count), dtype=np.float64)

    reach = np.einsum("ij,ij->i", normal, point)
    middle: Floats = np.stack([summed(point[:, i]) for i in range(3)], axis=1)
    middle /= np.bincount(which, minlength=count)[:, None]
    pull = np.stack([summed(normal[:, i] * reach) for i in range(3)], axis=1)
    square = np.stack([summed(normal[:, i] * normal[:, j]) for i in range(3) for j in range(i, 3)], axis=1)
    lowest = np.unravel_index(cells, [len(axis) for axis in axes])
    for begin in range(0, count, CHUNK):
        part = slice(begin, begin + CHUNK)
        matrix = square[part][:, [0, 1, 2, 1, 3, 4, 2, 4, 5]].reshape(-1, 3, 3)
        rest = pull[part] - np.einsum("nij,nj->ni", matrix, middle[part])
        matrix[:, range(3), range(3)] += HELD
        middle[part] += np.linalg.solve(matrix, rest[..., None])[..., 0]
    for i, (axis, at) in enumerate(zip(axes, lowest, strict=True)):
        np.clip(middle[:, i], axis[at], axis[at + 1], out=middle[:, i])
    return middle
