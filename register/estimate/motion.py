"""How long a move takes: trapezoids of speed and a planner of corners, shared by all that moves."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from register.errors import BadSettings

Floats = NDArray[np.float64]

# Shorter moves carry no direction that could be trusted; they are joined to their neighbour.
SHORTEST_MM = 1e-9


def straight_s(length_mm: ArrayLike, speed_mm_s: ArrayLike, acceleration_mm_s2: ArrayLike) -> Floats:
    """Time of straight moves from rest to rest.

    Parameters
    ----------
    length_mm, speed_mm_s, acceleration_mm_s2
        Numbers or arrays that broadcast together; lengths at least 0.

    Returns
    -------
    Seconds, in the broadcast shape.

    Raises
    ------
    BadSettings
        If a speed or an acceleration is not above 0.

    Notes
    -----
    L/v + v/a where the speed is reached (L ≥ v²/a), else 2·√(L/a). Source: uniform acceleration.
    """
    length = np.asarray(length_mm, dtype=np.float64)
    speed = _above_zero(speed_mm_s, "speed")
    acceleration = _above_zero(acceleration_mm_s2, "acceleration")
    reached = length >= speed**2 / acceleration
    return np.where(reached, length / speed + speed / acceleration, 2.0 * np.sqrt(length / acceleration))


def path_s(
    points_mm: ArrayLike,
    speed_mm_s: ArrayLike,
    acceleration_mm_s2: float,
    junction_deviation_mm: float,
    closed: bool = False,
) -> float:
    """Time of one run along a polyline, from rest to rest.

    Parameters
    ----------
    points_mm : (n, 2) or (n, 3)
        Corners in order.
    speed_mm_s
        One number, or one for each segment: (n − 1,), and (n,) where `closed`.
    acceleration_mm_s2, junction_deviation_mm
        Along the path; the deviation of 0 stops at every corner that is not straight.
    closed
        Whether a last segment leads back to the first corner.

    Returns
    -------
    Seconds; 0 for fewer than two points.

    Raises
    ------
    BadSettings
        If a speed or the acceleration is not above 0, or the deviation is below 0.

    Notes
    -----
    See `paths_s`.
    """
    points = np.asarray(points_mm, dtype=np.float64)
    if closed and len(points) > 0:
        points = np.concatenate([points, points[:1]])
    if len(points) < 2:
        return 0.0
    times = paths_s(points, np.array([0, len(points)]), speed_mm_s, acceleration_mm_s2, junction_deviation_mm)
    return float(times[0])


def paths_s(
    points_mm: Floats,
    bounds: NDArray[np.int64],
    speed_mm_s: ArrayLike,
    acceleration_mm_s2: float,
    junction_deviation_mm: float,
) -> Floats:
    """Time of many polylines at once, each from rest to rest.

    Parameters
    ----------
    points_mm : (n, 2) or (n, 3)
        The corners of all paths, one path after the other.
    bounds : (m + 1,)
        Path i is `points_mm[bounds[i]:bounds[i + 1]]`; the first is 0, the last is n.
    speed_mm_s
        One number, or (n − 1,) for the segment after each point (those between two paths are not used).

    Returns
    -------
    (m,)
        Seconds.

    Raises
    ------
    BadSettings
        If a speed or the acceleration is not above 0, or the deviation is below 0.

    Notes
    -----
    A corner is passed at v² = a·δ·s/(1 − s), s = sin(θ/2), θ the angle between its arms: the speed at which a circle
    that touches both arms and stays within δ of the corner needs a centripetal acceleration of a. Speeds are then
    lowered until no segment needs more than a, and each segment is a trapezoid. Source: geometry of the inscribed
    circle; uniform acceleration.
    """
    acceleration = float(_above_zero(acceleration_mm_s2, "acceleration"))
    if not junction_deviation_mm >= 0.0:
        raise BadSettings(f"The junction deviation is {junction_deviation_mm:g} mm.", "Give 0 or more.")
    steps = np.diff(points_mm, axis=0)
    speed = np.broadcast_to(_above_zero(speed_mm_s, "speed"), (len(steps),))
    length = np.sqrt(np.einsum("ij,ij->i", steps, steps))
    owner = np.repeat(np.arange(len(bounds) - 1), np.diff(bounds))
    keep = (owner[1:] == owner[:-1]) & (length > SHORTEST_MM)
    steps, length, speed, owner = steps[keep], length[keep], speed[keep], owner[:-1][keep]
    if len(length) == 0:
        return np.zeros(len(bounds) - 1)
    corner = _corner_limits(steps / length[:, None], speed, owner, acceleration * junction_deviation_mm)
    # Squared speed rises by at most 2·a·L over a segment: in the frame that rises with it, a running minimum.
    climbed = np.concatenate([[0.0], np.cumsum(2.0 * acceleration * length)])
    forward = np.minimum.accumulate(corner - climbed) + climbed
    squared = np.minimum.accumulate((forward + climbed)[::-1])[::-1] - climbed
    squared = np.minimum(np.maximum(squared, 0.0), corner)
    times = _segments_s(length, speed, squared[:-1], squared[1:], acceleration)
    return np.bincount(owner, weights=times, minlength=len(bounds) - 1).astype(np.float64)


def _corner_limits(directions: Floats, speed: Floats, owner: NDArray[np.int64], a_delta: float) -> Floats:
    """Highest squared speed at the start of each segment, and at the end of the last: (n + 1,)."""
    # |u + w| / 2 and not √((1 + u·w) / 2): the root turns the rounding of a full reversal into a speed.
    half_sine = np.minimum(np.linalg.norm(directions[:-1] + directions[1:], axis=1) / 2.0, 1.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        passed = np.where(half_sine >= 1.0 - 1e-12, np.inf, a_delta * half_sine / (1.0 - half_sine))
    passed = np.minimum(passed, np.minimum(speed[:-1], speed[1:]) ** 2)
    passed[owner[1:] != owner[:-1]] = 0.0
    return np.concatenate([[0.0], passed, [0.0]])


def _segments_s(length: Floats, speed: Floats, enter: Floats, leave: Floats, acceleration: float) -> Floats:
    """Time of each segment between squared speeds `enter` and `leave`."""
    peak_squared = np.minimum(speed**2, (enter + leave) / 2.0 + acceleration * length)
    peak_squared = np.maximum(peak_squared, np.maximum(enter, leave))
    peak = np.sqrt(peak_squared)
    level = np.maximum(length - (2.0 * peak_squared - enter - leave) / (2.0 * acceleration), 0.0)
    return (2.0 * peak - np.sqrt(enter) - np.sqrt(leave)) / acceleration + level / peak


def _above_zero(figure: ArrayLike, name: str) -> Floats:
    value = np.asarray(figure, dtype=np.float64)
    if not bool(np.all(value > 0.0)):
        raise BadSettings(f"A {name} is {float(np.min(value)):g}.", "Give a figure above 0.")
    return value
