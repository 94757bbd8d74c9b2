"""Columns of rays through a mesh: what overhangs, and how much space lies under it."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]

# Columns over the box of a part; more only cost time, a ball's support is within 1 % with these.
COLUMNS = 16_384
# Rows of triangles, and crossings of columns, that one part may take; beyond, the columns stand farther apart.
MOST_ROWS = 500_000
MOST_CROSSINGS = 1_000_000
# Columns stand off the corner of the box by an odd share of their pitch, so that none runs along an edge drawn on a
# round figure.
SHIFT_X, SHIFT_Y = 0.3819660113, 0.7236067977
# A facet exactly at the angle is not beyond it.
ANGLE_SLACK = 1e-6


def support_space_mm3(triangles_mm: Floats, angle_deg: float, free_mm: float) -> float:
    """Space under what overhangs by more than an angle, down to the next surface or the bed.

    Parameters
    ----------
    triangles_mm : (n, 3, 3)
        A closed mesh that stands on z = 0, counter-clockwise seen from outside.
    angle_deg
        From the vertical.
    free_mm
        What begins lower than this rests on the bed.

    Returns
    -------
    Cubic millimetres.

    Notes
    -----
    Upright columns on a square grid; in each, a facet is an entry or an exit, and one that is entered from outside
    every body, faces down beyond the angle and is not on the bed needs support down to the last exit. Neighbouring
    triangles cut a row of columns at the same point to the last bit, so every column is entered as often as it is
    left. Source: common practice.
    """
    column, height, upward, steep, pitch_mm = _crossings(triangles_mm, angle_deg)
    if len(column) == 0:
        return 0.0
    order = np.lexsort((height, column))
    column, height, upward, steep = column[order], height[order], upward[order], steep[order]
    depth = np.cumsum(np.where(upward, 1, -1))
    entry = upward & (depth == 1)
    bare = entry | (~upward & (depth == 0))
    column, height, entry, steep = column[bare], height[bare], entry[bare], steep[bare]
    floor = np.zeros(len(height))
    same = column[1:] == column[:-1]
    floor[1:] = np.where(same, height[:-1], 0.0)
    held = entry & steep & (height > free_mm)
    return float(np.maximum(height[held] - floor[held], 0.0).sum()) * pitch_mm**2


def _crossings(
    triangles: Floats, angle_deg: float
) -> tuple[Indices, Floats, NDArray[np.bool_], NDArray[np.bool_], float]:
    """Where columns meet facets: column, height, whether it is an entry, whether that is beyond the angle."""
    x, y = low_and_high(triangles[..., 0]), low_and_high(triangles[..., 1])
    # Rows run along the axis that makes fewer of them: slivers lie along them, not across.
    across = [0, 1, 2] if float((y[1] - y[0]).sum()) <= float((x[1] - x[0]).sum()) else [1, 0, 2]
    if across[0]:
        x, y = y, x
    pitch = float(np.sqrt((x[1].max() - x[0].min()) * (y[1].max() - y[0].min()) / COLUMNS))
    met = _met(x, y, pitch)
    wider = _pitch_for(triangles[met], float((y[1] - y[0])[met].sum()))
    if wider > pitch:
        pitch = wider
        met = _met(x, y, pitch)
    met_by = triangles[met]
    corners = met_by[:, :, across]
    corners[..., 0] = _placed(corners[..., 0], x[0].min(), pitch, SHIFT_X)
    corners[..., 1] = _placed(corners[..., 1], y[0].min(), pitch, SHIFT_Y)
    normals = np.cross(met_by[:, 1] - met_by[:, 0], met_by[:, 2] - met_by[:, 0])
    beyond = np.sin(np.radians(angle_deg)) + ANGLE_SLACK
    steep = -normals[:, 2] > beyond * np.sqrt(np.einsum("ij,ij->i", normals, normals))
    which, column, height = _filled(corners)
    return column, height, (normals[:, 2] < 0.0)[which], steep[which], pitch


def low_and_high(values: Floats) -> tuple[Floats, Floats]:
    """The lowest and the highest of each row (n, 3): (n,), (n,)."""
    a, b, c = values[:, 0], values[:, 1], values[:, 2]
    return np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)


def _placed(values: Floats, low_mm: float, pitch_mm: float, shift: float) -> Floats:
    """Coordinates on the grid, where columns stand at whole numbers."""
    return np.asarray((values - low_mm) / pitch_mm - shift)


def _met(x: tuple[Floats, Floats], y: tuple[Floats, Floats], pitch_mm: float) -> NDArray[np.bool_]:
    """Whether a column may go through each box."""
    met = np.ones(len(x[0]), dtype=bool)
    for (low, high), shift in ((x, SHIFT_X), (y, SHIFT_Y)):
        least = float(low.min())
        met &= np.ceil(_placed(low, least, pitch_mm, shift)) < _placed(high, least, pitch_mm, shift)
    return met


def _pitch_for(triangles: Floats, across_mm: float) -> float:
    """The pitch at which these triangles make no more rows and crossings than there may be."""
    one, two = triangles[:, 1, :2] - triangles[:, 0, :2], triangles[:, 2, :2] - triangles[:, 0, :2]
    seen_mm2 = float(np.abs(one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0]).sum()) / 2.0
    return max(float(np.sqrt(seen_mm2 / MOST_CROSSINGS)), across_mm / MOST_ROWS)


def _filled(corners: Floats) -> tuple[Indices, Indices, Floats]:
    """The triangle, the column and the height of every meeting; columns stand at whole numbers of x and y."""
    order = np.argsort(corners[..., 1], axis=1, kind="stable")
    v0, v1, v2 = (np.take_along_axis(corners, order[:, i : i + 1, None], axis=1)[:, 0] for i in range(3))
    which, row = _counted_up(np.ceil(v0[:, 1]), np.ceil(v2[:, 1]))
    v0, v1, v2 = v0[which], v1[which], v2[which]
    upper = (v1[:, 1] <= row)[:, None]
    one = _point_on(v0, v2, row)
    two = _point_on(np.where(upper, v1, v0), np.where(upper, v2, v1), row)
    left = np.where((one[:, 0] <= two[:, 0])[:, None], one, two)
    right = np.where((one[:, 0] <= two[:, 0])[:, None], two, one)
    pick, place = _counted_up(np.ceil(left[:, 0]), np.ceil(right[:, 0]))
    left, right = left[pick], right[pick]
    share = (place - left[:, 0]) / (right[:, 0] - left[:, 0])
    height = left[:, 1] + (right[:, 1] - left[:, 1]) * share
    stride = int(place.max()) + 2 if len(place) else 1
    return which[pick], row[pick] * stride + place, height


def _counted_up(first: Floats, last: Floats) -> tuple[Indices, Indices]:
    """For each i the whole numbers from first[i] up to, not with, last[i]: i and the number."""
    begin = first.astype(np.int64)
    count = np.maximum(last.astype(np.int64) - begin, 0)
    which = np.repeat(np.arange(len(count)), count)
    return which, np.arange(len(which)) - np.repeat(np.cumsum(count) - count - begin, count)


def _point_on(low: Floats, high: Floats, row: Indices) -> Floats:
    """x and z (k, 2) at which the line from `low` to `high` is at y = row; low ≤ row < high, so never over 0."""
    share = ((row - low[:, 1]) / (high[:, 1] - low[:, 1]))[:, None]
    return np.asarray(low[:, ::2] + (high[:, ::2] - low[:, ::2]) * share)
