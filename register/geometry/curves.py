"""Drawn curves as polylines, fine enough that areas are right to 1e-4."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from ezdxf.math import BSpline

Floats = NDArray[np.float64]

# A full turn in this many chords holds an area 2.5e-5 short: (2π/n)²/6.
CHORDS_A_TURN = 512
# Chords of a free curve stay this share of its extent from it.
SAGITTA_SHARE = 1e-5
MOST_POINTS = 200_000


def chords(turn_rad: float) -> int:
    """How many chords an arc of `turn_rad` is drawn with."""
    return max(1, int(np.ceil(CHORDS_A_TURN * abs(turn_rad) / (2.0 * np.pi) - 1e-9)))


def bulged(points: Floats, bulges: Floats) -> Floats:
    """A polyline with arcs as one with chords.

    Parameters
    ----------
    points : (n, 2)
    bulges : (n − 1,)
        Of the segment after each point: tan of a quarter of its arc's turn, positive counter-clockwise.

    Returns
    -------
    (m, 2)
    """
    flat = points[:, 0] + 1j * points[:, 1]
    line = [flat[:1]]
    for start, end, bulge in zip(flat, flat[1:], bulges, strict=False):
        if bulge == 0.0 or start == end:
            line.append(np.array([end]))
            continue
        turn = 4.0 * np.arctan(bulge)
        centre = (start + end) / 2.0 + 1j * (end - start) * (1.0 - bulge**2) / (4.0 * bulge)
        count = chords(turn)
        arc = centre + (start - centre) * np.exp(1j * turn * np.arange(1, count + 1) / count)
        arc[-1] = end
        line.append(arc)
    joined = np.concatenate(line)
    return np.column_stack([joined.real, joined.imag])


def sampled_spline(spline: BSpline) -> Floats:
    """A spline over the knots on which it is defined, as points (n, 3).

    Raises
    ------
    ValueError
        If its points are not finite or it does not settle to a curve.

    Notes
    -----
    Each knot span is halved until no middle is farther from its chord than a share of the whole extent. The curve
    runs from knot p to knot −p−1, which matters where the end knots are not repeated. Source: de Boor.
    """
    control = np.array([tuple(point) for point in spline.control_points], dtype=np.float64)
    if not np.isfinite(control).all():
        raise ValueError("control points are not finite")
    knots = np.array(spline.knots(), dtype=np.float64)
    degree = spline.order - 1
    stops = np.unique(knots[degree : len(knots) - degree])
    if len(stops) < 2 or not np.isfinite(stops).all():
        raise ValueError("knots do not ascend")
    limit = SAGITTA_SHARE * float(np.ptp(control, axis=0).max())
    count = 16
    while (len(stops) - 1) * count <= MOST_POINTS:
        shares = np.arange(count) / count
        parameters = np.append((stops[:-1, None] + np.diff(stops)[:, None] * shares).ravel(), stops[-1])
        line = np.array([tuple(point) for point in spline.points(parameters)], dtype=np.float64)
        if not np.isfinite(line).all():
            raise ValueError("points are not finite")
        if _sagitta(line) <= limit:
            return line
        count *= 2
    raise ValueError("the curve does not settle")


def _sagitta(line: Floats) -> float:
    """The farthest that an odd point lies from the chord of its neighbours; four times that of the whole line."""
    start, middle, end = line[:-2:2], line[1:-1:2], line[2::2]
    chord = end - start
    length = np.maximum(np.linalg.norm(chord, axis=1), 1e-300)
    return float((np.linalg.norm(np.cross(chord, middle - start), axis=1) / length).max())
