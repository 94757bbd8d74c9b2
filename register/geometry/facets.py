"""The convex hull of a mesh and the facets that a part can be laid on."""

from itertools import product

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# Points of a mesh from which its hull is made; of more, these many and the farthest each way.
MOST_POINTS = 50_000
# Facets of a hull whose normals are this close are one.
SAME_FACET_DEG = 0.2
# A facet is offered if no larger one lies as close as this: a small one is one of many of a rounding.
APART_DEG, SMALL_APART_DEG = 1.0, 20.0
SMALL_SHARE = 0.02
MOST_FACETS = 24
# Bundles of like normals of a hull that are looked at.
MOST_BUNDLES = 300


def outer_points(triangles_mm: Floats) -> Floats:
    """Corners (k, 3) of the convex hull of triangles (n, 3, 3).

    Notes
    -----
    Of a mesh with very many corners the hull is that of a part of them: a round body of such a mesh is then cut
    short by less than a thousandth of its size.
    """
    corners = triangles_mm.reshape(-1, 3)
    if len(corners) > MOST_POINTS:
        even = corners[:: len(corners) // MOST_POINTS + 1]
        corners = np.concatenate([even, corners[farthest(corners)]])
    # manifold3d loads where it is first needed.
    from manifold3d import Manifold

    hull = Manifold.hull_points(np.ascontiguousarray(corners, dtype=np.float64)).to_mesh64()
    found = np.asarray(hull.vert_properties, dtype=np.float64)[:, :3]
    return found if len(found) else corners


def farthest(points: Floats) -> NDArray[np.int64]:
    """Which of points (n, 3) lie farthest along the axes, and along the diagonals of faces and cubes, both ways."""
    x, y, z = np.ascontiguousarray(points.T)
    ways = [a * x + b * y + c * z for a, b, c in product((0, 1), (-1, 0, 1), (-1, 0, 1)) if (a, b, c) > (0, 0, 0)]
    return np.unique([pick(way) for way in ways for pick in (np.argmin, np.argmax)])


def hull_facets(points_mm: Floats) -> tuple[Floats, Floats]:
    """The facets of the convex hull of points (k, 3), triangles of one plane taken together.

    Returns
    -------
    normals, areas_mm2 : (m, 3), (m,)
        Outward unit normals, largest facet first; at most `MOST_BUNDLES`.
    """
    from manifold3d import Manifold  # loads where it is first needed

    hull = Manifold.hull_points(np.ascontiguousarray(points_mm, dtype=np.float64)).to_mesh64()
    corners = np.asarray(hull.vert_properties, dtype=np.float64)[:, :3][np.asarray(hull.tri_verts)]
    crosses = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    areas = np.sqrt(np.einsum("ij,ij->i", crosses, crosses)) / 2.0
    real = areas > 0.0
    normals, areas = crosses[real] / (2.0 * areas[real, None]), areas[real]
    near = np.cos(np.radians(SAME_FACET_DEG))
    left = np.ones(len(areas), dtype=bool)
    found: list[tuple[Floats, float]] = []
    for first in _leaders(normals, areas):
        if left[first]:
            own = left & (normals @ normals[first] > near)
            left &= ~own
            found.append((normals[first], float(areas[own].sum())))
    found.sort(key=lambda each: -each[1])
    return np.array([each for each, _ in found]).reshape(-1, 3), np.array([area for _, area in found])


def facets_of(points_mm: Floats) -> list[Floats]:
    """Outward normals (3,) of the facets of the hull of points (k, 3) that are worth lying on, largest first."""
    normals, areas = hull_facets(points_mm)
    chosen: list[Floats] = []
    for normal, area in zip(normals, areas, strict=True):
        apart = SMALL_APART_DEG if area < SMALL_SHARE * areas.sum() else APART_DEG
        if all(float(normal @ other) < np.cos(np.radians(apart)) for other in chosen):
            chosen.append(normal)
        if len(chosen) == MOST_FACETS:
            break
    return chosen


def _leaders(normals: Floats, areas: Floats) -> list[int]:
    """The largest triangle of each bundle of like normals, for the bundles of largest area."""
    cells = np.round((normals + 1.0) * 128.0).astype(np.int64)
    _, bundle = np.unique((cells[:, 0] * 512 + cells[:, 1]) * 512 + cells[:, 2], return_inverse=True)
    order = np.argsort(-areas, kind="stable")
    _, first = np.unique(bundle[order], return_index=True)
    bundles = np.argsort(-np.bincount(bundle, weights=areas), kind="stable")
    return [int(i) for i in order[first[bundles[:MOST_BUNDLES]]]]
