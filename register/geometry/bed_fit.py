"""Outlines seen from above: their hull, their smallest box, and whether they fit a bed, turned by any angle."""

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from manifold3d import CrossSection

Floats = NDArray[np.float64]

# Corners of an outline that are looked at; of more, the farthest in as many directions.
MOST_CORNERS = 180
ROUNDING_MM = 1e-9


def turn_on_bed(points_mm: Floats, room_mm: tuple[float, float], slack_mm: float = 0.0) -> tuple[float, float]:
    """The turn about z at which points fit a rectangle best: none or a quarter if that will do.

    Parameters
    ----------
    points_mm : (k, 2)
        Seen from above.
    room_mm
        Of the rectangle, along x and y.
    slack_mm
        By how much it may be passed.

    Returns
    -------
    turn_deg, excess_mm
        How far to turn, and by how much the box round the points then passes the rectangle on its worse side: 0 or
        less where they fit.

    Notes
    -----
    Between two angles at which an edge of the hull lies along an axis, width and depth are each the cosine of one
    diagonal, and so is their difference. The worse side is then least at such an angle, or where both sides are
    equally bad: a cosine has no least value inside its span. Source: elementary geometry.
    """
    corners = _few(outline_of(points_mm))
    for turn_deg in (0.0, 90.0):
        excess = float(_excess(corners, np.array([np.radians(turn_deg)]), room_mm)[0])
        if excess <= slack_mm + ROUNDING_MM:
            return turn_deg, excess
    flat = _flat_angles(corners)
    breaks = np.unique(np.concatenate([flat, flat + np.pi / 2.0, [0.0]]) % np.pi)
    middles = (breaks + np.append(breaks[1:], np.pi)) / 2.0
    width, depth = _widest(corners, middles), _widest(corners, middles - np.pi / 2.0) * -1j
    both = width - depth
    even = np.abs(both) > abs(room_mm[0] - room_mm[1])
    swing = np.arccos((room_mm[0] - room_mm[1]) / np.abs(both[even]))
    level = np.concatenate([swing, -swing]) - np.tile(np.angle(both[even]), 2)
    angles = np.concatenate([breaks, level % np.pi])
    excesses = _excess(corners, angles, room_mm)
    best = int(np.argmin(excesses))
    return float(np.degrees(angles[best])), float(excesses[best])


def narrowest_turn_deg(points_mm: Floats) -> float:
    """How far points (k, 2) must turn for the box round them to be smallest, with its long side along x.

    Notes
    -----
    The smallest box has a side along an edge of the convex hull. Source: Freeman and Shapira, Comm. ACM 18, 1975
    (from memory).
    """
    corners = _few(outline_of(points_mm))
    angles = np.unique(np.round(_flat_angles(corners) % (np.pi / 2.0), 9))
    x, y = _turned(corners, angles)
    widths, depths = np.ptp(x, axis=0), np.ptp(y, axis=0)
    best = int(np.argmin(widths * depths))
    quarter = 0.0 if widths[best] >= depths[best] else 90.0
    return quarter + float(np.degrees(angles[best]))


def outline_of(points_mm: Floats) -> Floats:
    """Corners (m, 2) of the convex hull of points (k, 2), counter-clockwise; the points if it has no area."""
    corners = hull_of(points_mm).to_polygons()
    return np.asarray(corners[0] if corners and len(corners[0]) else points_mm, dtype=np.float64)


def hull_of(points_mm: Floats) -> "CrossSection":
    """The convex hull of points (k, 2)."""
    # manifold3d loads where polygons are first needed.
    from manifold3d import CrossSection

    return CrossSection.hull_points(np.ascontiguousarray(points_mm))


def _flat_angles(corners: Floats) -> Floats:
    """The turns (m,) at which each edge of an outline (m, 2) lies along x."""
    edges = np.roll(corners, -1, axis=0) - corners
    return -np.arctan2(edges[:, 1], edges[:, 0])


def _widest(corners: Floats, angles: Floats) -> NDArray[np.complex128]:
    """For each angle the diagonal d (k,) that is widest along x when turned by it: the width is then Re(d·e^iθ)."""
    x, _ = _turned(corners, angles)
    arms = corners[x.argmax(axis=0)] - corners[x.argmin(axis=0)]
    return np.asarray(arms[:, 0] + 1j * arms[:, 1], dtype=np.complex128)


def _excess(corners: Floats, angles: Floats, room_mm: tuple[float, float]) -> Floats:
    """By how much the box round corners turned by each angle passes the rectangle on its worse side."""
    x, y = _turned(corners, angles)
    return np.asarray(np.maximum(np.ptp(x, axis=0) - room_mm[0], np.ptp(y, axis=0) - room_mm[1]))


def _turned(corners: Floats, angles: Floats) -> tuple[Floats, Floats]:
    """x and y (m, k) of corners (m, 2) turned by k angles about z."""
    c, s = np.cos(angles), np.sin(angles)
    return corners @ np.stack([c, -s]), corners @ np.stack([s, c])


def _few(corners: Floats) -> Floats:
    if len(corners) <= MOST_CORNERS:
        return corners
    ways = np.arange(MOST_CORNERS) / MOST_CORNERS * 2.0 * np.pi
    return np.asarray(corners[np.unique((corners @ np.stack([np.cos(ways), np.sin(ways)])).argmax(axis=0))])
