"""Moves of a machine program as they come, and the time that they take together."""

import math
from array import array

import numpy as np
from numpy.typing import NDArray

from register.estimate.motion import paths_s, straight_s

Floats = NDArray[np.float64]
Point = tuple[float, float, float]

# So many points are planned at once; where a lot ends in the middle of a run, the stop there is one of thousands.
LOT = 50_000
# An arc is run in chords that leave it by no more.
SAGITTA_MM = 0.01
MOST_CHORDS = 720


class Paths:
    """Gathers moves and plans each run of them from rest to rest, many runs at once.

    Parameters
    ----------
    acceleration_mm_s2, junction_deviation_mm
        Of the machine.
    """

    def __init__(self, start: Point, acceleration_mm_s2: float, junction_deviation_mm: float) -> None:
        self.points = 0
        self._planned_s = self._waits_s = 0.0
        self._acceleration, self._deviation = acceleration_mm_s2, junction_deviation_mm
        self._begin(start)

    def duration_s(self) -> float:
        """The time of all moves and waits so far."""
        self._plan()
        return self._planned_s + self._waits_s

    def line(self, target: Point, speed_mm_s: float) -> None:
        """A straight move from where the last one ended."""
        self._at.extend(target)
        self._speeds.append(speed_mm_s)
        self.points += 1
        if len(self._speeds) >= LOT:
            self._plan()

    def arc(self, points: Floats, radius_mm: float, speed_mm_s: float) -> None:
        """An arc in chords (n, 3); corners so shallow would slow nothing, so that its radius does."""
        limited = min(speed_mm_s, math.sqrt(self._acceleration * radius_mm)) if radius_mm > 0.0 else speed_mm_s
        self._at.frombytes(np.ascontiguousarray(points, dtype=np.float64).tobytes())
        self._speeds.extend([limited] * len(points))
        self.points += len(points)
        if len(self._speeds) >= LOT:
            self._plan()

    def rest(self) -> None:
        """Come to rest."""
        last = len(self._at) // 3
        if last - self._bounds[-1] > 1:
            self._bounds.append(last)
            self._at.extend(self._at[-3:])
            # Between two runs nothing moves; the planner passes it over.
            self._speeds.append(1.0)

    def jump(self, position: Point) -> None:
        """Come to rest, and go on elsewhere without a move."""
        self.rest()
        self._at[-3:] = array("d", position)

    def wait(self, seconds: float) -> None:
        """Come to rest and stay there."""
        self.rest()
        self._waits_s += seconds

    def straight(self, length_mm: float, speed_mm_s: float) -> None:
        """A move of something else, such as filament, from rest to rest."""
        self.rest()
        self._lengths.append(length_mm)
        self._length_speeds.append(speed_mm_s)
        if len(self._lengths) >= LOT:
            self._plan()

    def _begin(self, start: Point) -> None:
        self._at: array[float] = array("d", start)
        self._speeds: array[float] = array("d")
        self._bounds = [0]
        self._lengths: array[float] = array("d")
        self._length_speeds: array[float] = array("d")

    def _plan(self) -> None:
        """Plan what was gathered and begin anew where it ended."""
        points = np.array(self._at, dtype=np.float64).reshape(-1, 3)
        if self._speeds:
            bounds = np.array([*self._bounds, len(points)], dtype=np.int64)
            runs = paths_s(points, bounds, np.array(self._speeds), self._acceleration, self._deviation)
            self._planned_s += float(runs.sum())
        if self._lengths:
            others = straight_s(np.array(self._lengths), np.array(self._length_speeds), self._acceleration)
            self._planned_s += float(others.sum())
        x, y, z = points[-1]
        self._begin((float(x), float(y), float(z)))


def arc_points(
    start: Point, end: Point, centre: tuple[float, float], plane: tuple[int, int, int], clockwise: bool
) -> tuple[Floats, float, float]:
    """An arc or helix as chords.

    Parameters
    ----------
    centre
        In the two axes of the plane.
    plane
        Indices of its first and second axis, and of the one across it.

    Returns
    -------
    The ends of the chords (n, 3), the last exactly `end`; the radius; the length along it.
    """
    first, second, across = plane
    radius = math.hypot(start[first] - centre[0], start[second] - centre[1])
    begin = math.atan2(start[second] - centre[1], start[first] - centre[0])
    stop = math.atan2(end[second] - centre[1], end[first] - centre[0])
    # Ends that fall together mean a full turn. Source: RS-274/NGC (NISTIR 6556), from memory.
    turn = (begin - stop if clockwise else stop - begin) % (2.0 * math.pi)
    if turn < 1e-9 or turn > 2.0 * math.pi - 1e-9:
        turn = 2.0 * math.pi
    step = 2.0 * math.acos(max(1.0 - SAGITTA_MM / radius, -1.0)) if radius > 0.0 else turn
    chords = min(max(math.ceil(turn / max(step, 1e-6)), 1), MOST_CHORDS)
    shares = np.arange(1, chords + 1) / chords
    angles = begin + (-shares if clockwise else shares) * turn
    points = np.empty((chords, 3))
    points[:, first] = centre[0] + radius * np.cos(angles)
    points[:, second] = centre[1] + radius * np.sin(angles)
    points[:, across] = start[across] + shares * (end[across] - start[across])
    points[-1] = end
    return points, radius, math.hypot(radius * turn, end[across] - start[across])
