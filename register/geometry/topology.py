"""How the triangles of a mesh hang together: shared corners, open edges, bodies, winding."""

from dataclasses import dataclass
from functools import reduce

import numpy as np
from numpy.typing import NDArray

from register.geometry.matching import same_spots
from register.geometry.vectors import corner_columns, cross, dot, parts

Floats = NDArray[np.float64]
Indices = NDArray[np.int32]

# Bounds are looked for in rows of so many triangles: long rows are gone through much faster than single corners.
WIDE = 64


@dataclass(frozen=True)
class Edges:
    """The edges of a mesh with shared corners, one entry a side of a face.

    `key` numbers undirected edges (3n,), `order` is the sides by their edges (3n,), `forward` says which way round
    a side is walked, `balance` (edges,) is the surplus of one way over the other (0 everywhere: closed), `uses`
    (edges,) counts the faces at it.
    """

    start: Indices
    end: Indices
    key: Indices
    order: Indices
    forward: NDArray[np.bool_]
    balance: Indices
    uses: Indices


def merged_corners(triangles: Floats) -> tuple[Floats, Indices]:
    """Corners that lie on the same spot, bit for bit, made one.

    Parameters
    ----------
    triangles : (n, 3, 3)

    Returns
    -------
    The points (v, 3) and the faces (n, 3) as indices into them.
    """
    return joined_points(np.ascontiguousarray(triangles).reshape(-1, 3), None)


def joined_points(points: Floats, faces: Indices | None) -> tuple[Floats, Indices]:
    """Points (v, 3) on the same spot made one, and the faces (n, 3) over them; None for three new points each."""
    same = same_spots(points)
    own = same == np.arange(len(same), dtype=np.int32)
    number = np.cumsum(own, dtype=np.int32)
    number -= 1
    number = number.take(same)
    spots = points[own]
    spots += 0.0  # turns −0 into 0
    return spots, number.reshape(-1, 3) if faces is None else number.take(faces)


def closed_and_doubled(faces: Indices) -> tuple[bool, bool]:
    """Whether every edge of faces (n, 3) is walked as often one way as the other, and whether one is more than once."""
    across = int(faces.max()) + 1
    walked = np.empty((2, len(faces) * 3 // 2), dtype=np.int64)
    counts = [0, 0]
    for part in parts(len(faces)):
        corners = faces[part].T.astype(np.int64)
        for start, end in zip(corners, corners[[1, 2, 0]], strict=True):
            for way, low, high in ((0, start, end), (1, end, start)):
                keys = (low * across + high)[low < high]
                before, counts[way] = counts[way], counts[way] + len(keys)
                if counts[way] > walked.shape[1]:
                    return False, False
                walked[way, before : counts[way]] = keys
    forward, backward = (row[:count] for row, count in zip(walked, counts, strict=True))
    if len(forward) != len(backward):
        return False, False
    forward.sort()
    backward.sort()
    return np.array_equal(forward, backward), bool((forward[1:] == forward[:-1]).any())


def is_closed(faces: Indices) -> bool:
    """Whether every edge of faces (n, 3) is walked as often one way as the other."""
    return closed_and_doubled(faces)[0]


def edges_of(faces: Indices) -> Edges:
    """The edges of faces (n, 3); sides whose two corners are one do not count."""
    start, end = faces.reshape(-1), np.roll(faces, -1, axis=1).reshape(-1)
    undirected = np.minimum(start, end).astype(np.int64) * (int(faces.max()) + 1)
    undirected += np.maximum(start, end)
    order = np.argsort(undirected).astype(np.int32)
    undirected = undirected[order]
    new = np.ones(len(order), dtype=bool)
    np.not_equal(undirected[1:], undirected[:-1], out=new[1:])
    del undirected
    numbers = np.cumsum(new, dtype=np.int32)
    numbers -= 1
    key = np.empty(len(order), dtype=np.int32)
    key[order] = numbers
    count = int(numbers[-1]) + 1
    forward = start < end
    balance = np.bincount(key[forward], minlength=count) - np.bincount(key[start > end], minlength=count)
    uses = np.bincount(key[start != end], minlength=count)
    return Edges(start, end, key, order, forward, balance.astype(np.int32), uses.astype(np.int32))


def components(count: int, first: Indices, second: Indices) -> Indices:
    """The smallest member of each node's component, for `count` nodes joined in pairs."""
    return _joined_components(count, np.column_stack([first, second]))


def _joined_components(count: int, groups: Indices) -> Indices:
    """The smallest member of each node's component, for `count` nodes of which each row of groups (n, k) is joined.

    Notes
    -----
    Roots hook onto the smallest root of a row and paths are halved until nothing moves. Source: Shiloach and
    Vishkin, "An O(log n) parallel connectivity algorithm", 1982 (from memory).
    """
    label = np.arange(count, dtype=np.int32)
    while len(groups):
        left = [groups[:0]]
        for part in parts(len(groups)):
            roots = label.take(groups[part].T)
            low = reduce(np.minimum, roots)
            apart = reduce(np.logical_or, roots != low)
            if apart.any():
                for column in roots:
                    np.minimum.at(label, column[apart], low[apart])
                left.append(groups[part][apart])
        groups = np.concatenate(left)
        while True:
            shorter = label.take(label)
            if np.array_equal(shorter, label):
                break
            label = shorter
    return label


def bodies_of(faces: Indices, points: int) -> Indices:
    """A number from 0 for the body of each face (n,); faces that share a corner are one body."""
    label = _joined_components(points, faces)
    if not label.any():
        return np.zeros(len(faces), dtype=np.int32)
    _, body = np.unique(label[faces[:, 0]], return_inverse=True)
    return body.astype(np.int32)


def agreed_winding(faces: Indices, edges: Edges) -> Indices:
    """`faces` with neighbours wound the same way, as the first face of each patch has it.

    Notes
    -----
    Each face is two nodes, as it is and turned over; a shared edge joins nodes that agree. A face is turned where
    its other node lies in the first face's component. Where a surface has one side only, nothing is turned.
    """
    proper = edges.start != edges.end
    paired = edges.order[((edges.uses[edges.key] == 2) & proper)[edges.order]].reshape(-1, 2)
    one, other = paired[:, 0] // 3, paired[:, 1] // 3
    same_way = edges.forward[paired[:, 0]] == edges.forward[paired[:, 1]]
    n = len(faces)
    first = np.concatenate([one, one + n])
    second = np.concatenate([np.where(same_way, other + n, other), np.where(same_way, other, other + n)])
    label = components(2 * n, first, second)
    turn = label[n:] < label[:n]
    return np.where(turn[:, None], faces[:, ::-1], faces)


def patches_over(points: Floats, edges: Edges) -> tuple[Floats, int]:
    """Triangles that close every hole: each a fan from the middle of the hole's rim.

    Returns
    -------
    The triangles (k, 3, 3), and the number of open edges.

    Notes
    -----
    A surplus of sides at an edge is answered by as many the other way, joined to the mean of their component; the
    boundary of such a cone is the rim itself, so the whole closes exactly.
    """
    surplus = np.where(edges.forward, np.int32(1), np.int32(-1)) * edges.balance[edges.key] > 0
    surplus &= edges.start != edges.end
    # Of the sides that walk an edge the surplus way, only as many as there is surplus stay unanswered.
    side = edges.order[surplus[edges.order]]
    key = edges.key[side]
    rank = np.arange(len(key)) - np.searchsorted(key, key)
    side = side[rank < np.abs(edges.balance[key])]
    start, end = edges.start[side], edges.end[side]
    label = components(len(points), start, end)[start]
    _, hole = np.unique(label, return_inverse=True)
    middles = (points[start] + points[end]) / 2.0
    centre = np.column_stack([np.bincount(hole, weights=middles[:, axis]) / np.bincount(hole) for axis in range(3)])
    return np.stack([points[end], points[start], centre[hole]], axis=1), len(side)


def bounds_of(triangles: Floats) -> tuple[Floats, Floats]:
    """Lowest and highest coordinates (3,), (3,) of triangles (n, 3, 3); not finite where one of them is not."""
    flat = np.ascontiguousarray(triangles).reshape(-1)
    whole = len(flat) // (9 * WIDE) * (9 * WIDE)
    blocks = [each.reshape(-1, 9 * WIDE) for each in (flat[:whole],) if whole] + [flat[whole:].reshape(-1, 3)]
    lows = [block.min(axis=0).reshape(-1, 3) for block in blocks if len(block)]
    highs = [block.max(axis=0).reshape(-1, 3) for block in blocks if len(block)]
    return np.concatenate(lows).min(axis=0), np.concatenate(highs).max(axis=0)


def middle_of(triangles: Floats) -> Floats:
    """The middle (3,) of the box round triangles (n, 3, 3)."""
    low, high = bounds_of(triangles)
    return np.asarray((low + high) / 2.0)


def volumes_and_area(triangles: Floats, body: Indices, patches: int = 0) -> tuple[Floats, float]:
    """Signed volume of each body (bodies,), and the surface of all triangles (n, 3, 3) but the last `patches`."""
    volumes, twice_area = np.zeros(int(body.max()) + 1), 0.0
    middle = middle_of(triangles)
    for part in parts(len(triangles)):
        corners = corner_columns(triangles[part], middle)
        normal = cross(corners[1] - corners[0], corners[2] - corners[0])
        sixths = dot(normal, corners[0])
        volumes += np.bincount(body[part], weights=sixths, minlength=len(volumes)) if len(volumes) > 1 else sixths.sum()
        owned = max(len(triangles) - patches - part.start, 0)
        twice_area += float(np.sqrt(dot(normal, normal)[:owned]).sum())
    return volumes / 6.0, twice_area / 2.0


def area_mm2(triangles: Floats) -> float:
    """Surface of triangles (n, 3, 3)."""
    return volumes_and_area(triangles, np.zeros(len(triangles), dtype=np.int32))[1] if len(triangles) else 0.0


def winding_number(point: Floats, triangles: Floats) -> float:
    """How often closed triangles (n, 3, 3) wind round a point (3,): 1 inside one body, 0 outside.

    Notes
    -----
    Sum of the solid angles over 4π. Source: Van Oosterom and Strackee, IEEE Trans. Biomed. Eng. 30, 1983 (from
    memory).
    """
    angle = 0.0
    for part in parts(len(triangles)):
        a, b, c = corner_columns(triangles[part], point)
        la, lb, lc = (np.sqrt(dot(arm, arm)) for arm in (a, b, c))
        below = la * lb * lc + dot(a, b) * lc + dot(b, c) * la + dot(c, a) * lb
        angle += float(np.arctan2(dot(a, cross(b, c)), below).sum())
    return angle / (2.0 * np.pi)
