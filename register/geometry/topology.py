"""How the triangles of a mesh hang together: shared corners, open edges, bodies, winding."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]


@dataclass(frozen=True)
class Edges:
    """The edges of a mesh with shared corners, one entry a side of a face.

    `key` numbers undirected edges (3n,), `forward` says which way round it is walked, `balance` (edges,) is the
    surplus of one way over the other (0 everywhere: closed), `uses` (edges,) counts the faces at it.
    """

    start: Indices
    end: Indices
    key: Indices
    forward: NDArray[np.bool_]
    balance: Indices
    uses: Indices

    @property
    def closed(self) -> bool:
        """Whether every edge is walked as often one way as the other."""
        return not bool(self.balance.any())


def merged_corners(triangles: Floats) -> tuple[Floats, Indices]:
    """Corners that lie on the same spot, bit for bit, made one.

    Parameters
    ----------
    triangles : (n, 3, 3)

    Returns
    -------
    The points (v, 3) and the faces (n, 3) as indices into them.
    """
    corners = np.ascontiguousarray(triangles.reshape(-1, 3)) + 0.0  # turns −0 into 0
    bits = corners.view(np.uint64)
    mixed = bits[:, 0] * np.uint64(0x9E3779B97F4A7C15)
    for column in (1, 2):
        mixed ^= mixed >> np.uint64(29)
        mixed = (mixed + bits[:, column]) * np.uint64(0xBF58476D1CE4E5B9)
    _, first, inverse = np.unique(mixed, return_index=True, return_inverse=True)
    points = corners[first]
    if not np.array_equal(points[inverse], corners):  # two spots with one hash: sort the corners themselves
        points, inverse = np.unique(corners, axis=0, return_inverse=True)
    return points, inverse.reshape(-1, 3).astype(np.int64)


def edges_of(faces: Indices) -> Edges:
    """The edges of faces (n, 3); sides whose two corners are one do not count."""
    start, end = faces.reshape(-1), np.roll(faces, -1, axis=1).reshape(-1)
    low, high = np.minimum(start, end), np.maximum(start, end)
    _, key = np.unique(low * (int(faces.max()) + 1) + high, return_inverse=True)
    forward = start < end
    sign = forward.astype(np.int64) - (start > end)
    count = int(key.max()) + 1
    balance = np.bincount(key, weights=sign, minlength=count).astype(np.int64)
    uses = np.bincount(key[start != end], minlength=count)
    return Edges(start, end, key, forward, balance, uses)


def components(count: int, first: Indices, second: Indices) -> Indices:
    """The smallest member of each node's component, for `count` nodes joined in pairs.

    Notes
    -----
    Roots hook onto smaller roots and paths are halved until nothing moves. Source: Shiloach and Vishkin, "An
    O(log n) parallel connectivity algorithm", 1982 (from memory).
    """
    label = np.arange(count)
    while len(first):
        low = np.minimum(label[first], label[second])
        high = np.maximum(label[first], label[second])
        apart = low != high
        first, second, low, high = first[apart], second[apart], low[apart], high[apart]
        np.minimum.at(label, high, low)
        while True:
            shorter = label[label]
            if np.array_equal(shorter, label):
                break
            label = shorter
    return label


def bodies_of(faces: Indices, points: int) -> Indices:
    """A number from 0 for the body of each face (n,); faces that share a corner are one body."""
    label = components(points, np.concatenate([faces[:, 0], faces[:, 1]]), np.concatenate([faces[:, 1], faces[:, 2]]))
    _, body = np.unique(label[faces[:, 0]], return_inverse=True)
    return body.astype(np.int64)


def agreed_winding(faces: Indices, edges: Edges) -> Indices:
    """`faces` with neighbours wound the same way, as the first face of each patch has it.

    Notes
    -----
    Each face is two nodes, as it is and turned over; a shared edge joins nodes that agree. A face is turned where
    its other node lies in the first face's component. Where a surface has one side only, nothing is turned.
    """
    paired = np.flatnonzero((edges.uses[edges.key] == 2) & (edges.start != edges.end))
    order = paired[np.argsort(edges.key[paired], kind="stable")].reshape(-1, 2)
    one, other = order[:, 0] // 3, order[:, 1] // 3
    same_way = edges.forward[order[:, 0]] == edges.forward[order[:, 1]]
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
    side = np.flatnonzero((edges.balance[edges.key] != 0) & (edges.start != edges.end))
    surplus = np.where(edges.forward[side], 1, -1) * edges.balance[edges.key[side]] > 0
    side = side[surplus]
    # Of the sides that walk an edge the surplus way, only as many as there is surplus stay unanswered.
    side = side[np.argsort(edges.key[side], kind="stable")]
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
    """Lowest and highest coordinates (3,), (3,) of triangles (n, 3, 3)."""
    columns = triangles.reshape(-1, 3).T  # one column at a time is ten times as fast as both axes at once
    return np.array([each.min() for each in columns]), np.array([each.max() for each in columns])


def middle_of(triangles: Floats) -> Floats:
    """The middle (3,) of the box round triangles (n, 3, 3)."""
    low, high = bounds_of(triangles)
    return np.asarray((low + high) / 2.0)


def signed_volumes(triangles: Floats, body: Indices) -> Floats:
    """Signed volume of each body: (bodies,)."""
    parts = np.einsum("ij,ij->i", triangles[:, 0], np.cross(triangles[:, 1], triangles[:, 2])) / 6.0
    return np.bincount(body, weights=parts).astype(np.float64)


def winding_number(point: Floats, triangles: Floats) -> float:
    """How often closed triangles (n, 3, 3) wind round a point (3,): 1 inside one body, 0 outside.

    Notes
    -----
    Sum of the solid angles over 4π. Source: Van Oosterom and Strackee, IEEE Trans. Biomed. Eng. 30, 1983 (from
    memory).
    """
    arms = triangles - point
    a, b, c = arms[:, 0], arms[:, 1], arms[:, 2]
    la, lb, lc = (np.sqrt(np.einsum("ij,ij->i", arm, arm)) for arm in (a, b, c))
    triple = np.einsum("ij,ij->i", a, np.cross(b, c))
    below = (
        la * lb * lc
        + np.einsum("ij,ij->i", a, b) * lc
        + np.einsum("ij,ij->i", b, c) * la
        + np.einsum("ij,ij->i", c, a) * lb
    )
    return float(np.arctan2(triple, below).sum() / (2.0 * np.pi))
