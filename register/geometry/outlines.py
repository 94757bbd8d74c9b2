"""Closed rings into a plate's outline, and its openings into round holes and slots."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from register.domain.estimates import Hole

if TYPE_CHECKING:
    from shapely.geometry import Polygon

Floats = NDArray[np.float64]

# A ring is a round hole where its corners lie this close to one circle. Source: common practice.
CIRCLE_TOLERANCE_MM = 0.02
LEAST_CIRCLE_CORNERS = 9
# A circle's corners follow each other evenly; a flat on it is a longer step.
LONGEST_STEP = 2.5
# Sine of the turn below which a corner only splits a straight edge.
STRAIGHT_TURN = 1e-3


def without_straight_corners(ring_mm: Floats) -> Floats:
    """A ring without the corners at which it does not turn; the first and the last are neighbours.

    Parameters
    ----------
    ring_mm : (n, 2)
        Corners in order, the first not repeated.

    Returns
    -------
    (m, 2)
        The ring as it was where fewer than three corners would be left.
    """
    into = ring_mm - np.roll(ring_mm, 1, axis=0)
    out = np.roll(ring_mm, -1, axis=0) - ring_mm
    cross = into[:, 0] * out[:, 1] - into[:, 1] * out[:, 0]
    lengths = np.hypot(into[:, 0], into[:, 1]) * np.hypot(out[:, 0], out[:, 1])
    turning = np.abs(cross) > STRAIGHT_TURN * lengths
    return ring_mm[turning] if np.count_nonzero(turning) >= 3 else ring_mm


def circle_of(ring_mm: Floats) -> Hole | None:
    """The circle through a ring's corners, or None if it is not one.

    Parameters
    ----------
    ring_mm : (n, 2)
        Corners in order, the first not repeated.

    Notes
    -----
    Least squares on x² + y² = 2ax + 2by + c, which is exact for corners on a circle. A ring with a flat has its
    corners on a circle too, so the steps between corners must be even. Source: linear least squares (Kåsa).
    """
    if len(ring_mm) < LEAST_CIRCLE_CORNERS:
        return None
    middle = ring_mm.mean(axis=0)
    local = ring_mm - middle
    system = np.column_stack([2.0 * local, np.ones(len(local))])
    solution, _, rank, _ = np.linalg.lstsq(system, (local**2).sum(axis=1), rcond=None)
    if rank < 3:
        return None
    centre, radius = solution[:2], float(np.sqrt(max(solution[2] + solution[:2] @ solution[:2], 0.0)))
    distances = np.hypot(*(local - centre).T)
    steps = np.hypot(*(np.roll(local, -1, axis=0) - local).T)
    if np.abs(distances - radius).max() > min(CIRCLE_TOLERANCE_MM, 0.02 * radius):
        return None
    if steps.max() > LONGEST_STEP * np.median(steps):
        return None
    return Hole(2.0 * radius, float(middle[0] + centre[0]), float(middle[1] + centre[1]))


def openings(outline: Polygon) -> tuple[tuple[Hole, ...], tuple[Polygon, ...]]:
    """The through openings of an outline: round holes, and all others as polygons."""
    from shapely.geometry import Polygon

    holes: list[Hole] = []
    slots: list[Polygon] = []
    for interior in outline.interiors:
        corners = np.asarray(interior.coords, dtype=np.float64)[:-1, :2]
        hole = circle_of(without_straight_corners(corners))
        if hole is None:
            slots.append(Polygon(corners))
        else:
            holes.append(hole)
    return tuple(holes), tuple(slots)


def nested(rings_mm: Sequence[Floats]) -> list[Polygon]:
    """Rings that neither cross nor touch, as polygons with holes, by even and odd.

    Parameters
    ----------
    rings_mm : sequence of (n, 2)
        Corners in order, the first not repeated.

    Returns
    -------
    One polygon for each ring that stands inside an even number of others, largest first.
    """
    import shapely
    from shapely.geometry import Polygon

    filled = sorted((Polygon(ring) for ring in rings_mm), key=lambda each: -each.area)
    corners = shapely.points(np.array([each.exterior.coords[0] for each in filled]))
    outer, inner = shapely.STRtree(corners).query(filled, predicate="contains")
    around: list[list[int]] = [[] for _ in filled]
    for one, other in sorted(zip(outer.tolist(), inner.tolist(), strict=True)):
        if one < other:
            around[other].append(one)
    cut: dict[int, list[Polygon]] = {index: [] for index, outer in enumerate(around) if len(outer) % 2 == 0}
    for index, outer in enumerate(around):
        if len(outer) % 2:
            # The smallest ring around it comes last, and is one of the even ones.
            cut[outer[-1]].append(filled[index])
    return [Polygon(filled[index].exterior, [inner.exterior for inner in inners]) for index, inners in cut.items()]
