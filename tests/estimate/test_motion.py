"""Time of moves, held against uniform acceleration worked out by hand."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from register.errors import BadSettings
from register.estimate.motion import path_s, paths_s, straight_s

SPEED, ACCELERATION, DEVIATION = 100.0, 1000.0, 0.02


def test_a_long_move_reaches_its_speed() -> None:
    # v²/a = 10 mm are spent on speeding up and braking: 2 · 0.1 s; the other 90 mm take 0.9 s.
    assert straight_s(100.0, SPEED, ACCELERATION) == pytest.approx(1.1, rel=1e-12)


def test_a_short_move_never_reaches_its_speed() -> None:
    # 2·√(L/a) = 2·√(2.5/1000) = 0.1 s
    assert straight_s(2.5, SPEED, ACCELERATION) == pytest.approx(0.1, rel=1e-12)


def test_many_moves_are_timed_at_once_and_no_move_takes_no_time() -> None:
    assert straight_s([100.0, 2.5, 0.0], SPEED, ACCELERATION) == pytest.approx([1.1, 0.1, 0.0])


def test_a_straight_line_cut_into_pieces_takes_as_long_as_whole() -> None:
    points = [[0.0, 0.0], [1.0, 0.0], [40.0, 0.0], [40.0, 0.0], [100.0, 0.0]]
    assert path_s(points, SPEED, ACCELERATION, DEVIATION) == pytest.approx(1.1, rel=1e-9)


def test_a_right_angle_is_passed_at_the_speed_of_its_inscribed_circle() -> None:
    # s = sin 45°, v² = a·δ·s/(1−s) = 1000·0.02·2.414214 = 48.28427, v = 6.948688 mm/s.
    # Each 50 mm arm: speed up 0 → 100 in 0.1 s over 5 mm; brake 100 → v in (100−v)/1000 s over (100²−v²)/2000 mm.
    squared = 1000 * 0.02 * (math.sin(math.pi / 4) / (1 - math.sin(math.pi / 4)))
    corner = math.sqrt(squared)
    arm = 0.1 + (100 - corner) / 1000 + (50 - 5 - (10000 - squared) / 2000) / 100
    points = [[0.0, 0.0], [50.0, 0.0], [50.0, 50.0]]
    assert path_s(points, SPEED, ACCELERATION, DEVIATION) == pytest.approx(2 * arm, rel=1e-12)


def test_a_reversal_stops_at_the_turn() -> None:
    points = [[0.0, 0.0], [100.0, 0.0], [0.0, 0.0]]
    assert path_s(points, SPEED, ACCELERATION, DEVIATION) == pytest.approx(2.2, rel=1e-12)


def test_without_deviation_every_corner_is_a_stop() -> None:
    square = [[0.0, 0.0], [100.0, 0.0], [100.0, 100.0], [0.0, 100.0]]
    assert path_s(square, SPEED, ACCELERATION, 0.0, closed=True) == pytest.approx(4.4, rel=1e-12)


def test_a_circle_of_fine_chords_runs_at_its_speed_limit() -> None:
    # Chords of 0.1 mm at R = 50: v² = a·δ·s/(1−s) with 1−s = (0.002²)/8 far above 100²: only start and end brake.
    angles = np.linspace(0.0, 2 * math.pi, 3142)
    circle = 50.0 * np.column_stack([np.cos(angles), np.sin(angles)])
    length = 3141 * 100.0 * math.sin(math.pi / 3141)
    assert path_s(circle, SPEED, ACCELERATION, DEVIATION) == pytest.approx(length / 100 + 0.1, rel=1e-9)


def test_a_small_polygon_is_held_to_its_corner_speed() -> None:
    # Octagon, sides so short that the corner speed v² = a·δ·s/(1−s), s = cos 22.5°, bounds the middle:
    # from a corner at v back to a corner at v, side L: peak² = v² + a·L.
    squared = 1000 * 0.02 * math.cos(math.pi / 8) / (1 - math.cos(math.pi / 8))
    side = 2.0
    radius = side / (2 * math.sin(math.pi / 8))
    angles = np.arange(8) * math.pi / 4
    octagon = radius * np.column_stack([np.cos(angles), np.sin(angles)])
    peak = math.sqrt(squared + 1000 * side)
    inner = 2 * (peak - math.sqrt(squared)) / 1000
    first_peak = math.sqrt(squared / 2 + 1000 * side)
    outer = (2 * first_peak - math.sqrt(squared)) / 1000
    assert path_s(octagon, SPEED, ACCELERATION, DEVIATION, closed=True) == pytest.approx(
        6 * inner + 2 * outer, rel=1e-9
    )


def test_speed_may_differ_from_segment_to_segment() -> None:
    # 100 mm/s then 50 mm/s in a line: the join is passed at 50. First arm: 0.1 s, (100−50)/1000 s, and the
    # rest of 100 − 5 − 3.75 mm at 100; second: (100 − 1.25) mm at 50 and 0.05 s to stop.
    expected = 0.1 + 0.05 + (100 - 5 - 3.75) / 100 + (100 - 1.25) / 50 + 0.05
    points = [[0.0, 0.0], [100.0, 0.0], [200.0, 0.0]]
    assert path_s(points, [100.0, 50.0], ACCELERATION, DEVIATION) == pytest.approx(expected, rel=1e-12)


def test_three_dimensions_count_like_two() -> None:
    assert path_s([[0.0, 0.0, 0.0], [0.0, 60.0, 80.0]], SPEED, ACCELERATION, DEVIATION) == pytest.approx(1.1)


def test_a_point_or_nothing_takes_no_time() -> None:
    assert path_s(np.zeros((0, 2)), SPEED, ACCELERATION, DEVIATION, closed=True) == 0.0
    assert path_s([[1.0, 2.0]], SPEED, ACCELERATION, DEVIATION) == 0.0
    assert path_s([[1.0, 2.0], [1.0, 2.0]], SPEED, ACCELERATION, DEVIATION) == 0.0


@pytest.mark.parametrize(("speed", "acceleration", "deviation"), [(0, 1, 0), (-1, 1, 0), (1, 0, 0), (1, 1, -0.1)])
def test_figures_that_cannot_move_are_refused(speed: float, acceleration: float, deviation: float) -> None:
    with pytest.raises(BadSettings):
        path_s([[0.0, 0.0], [1.0, 0.0]], speed, acceleration, deviation)
    if deviation == 0:
        with pytest.raises(BadSettings):
            straight_s(1.0, speed, acceleration)


def reference_s(points: np.ndarray) -> float:
    """The same rules, one corner after the other in plain loops."""
    steps = np.diff(points, axis=0)
    lengths = [float(np.hypot(*step)) for step in steps]
    limits = [0.0]
    for before, after, first, second in zip(steps, steps[1:], lengths, lengths[1:], strict=False):
        sine = min(float(np.hypot(*(before / first + after / second))) / 2, 1.0)
        limits.append(min(SPEED**2, ACCELERATION * DEVIATION * sine / max(1 - sine, 1e-15)))
    limits.append(0.0)
    for i, length in enumerate(lengths):
        limits[i + 1] = min(limits[i + 1], limits[i] + 2 * ACCELERATION * length)
    for i in reversed(range(len(lengths))):
        limits[i] = min(limits[i], limits[i + 1] + 2 * ACCELERATION * lengths[i])
    total = 0.0
    for i, length in enumerate(lengths):
        peak = math.sqrt(min(SPEED**2, (limits[i] + limits[i + 1]) / 2 + ACCELERATION * length))
        ramps = (2 * peak**2 - limits[i] - limits[i + 1]) / (2 * ACCELERATION)
        total += (2 * peak - math.sqrt(limits[i]) - math.sqrt(limits[i + 1])) / ACCELERATION
        total += (length - ramps) / peak
    return total


walks = st.lists(st.tuples(st.integers(-40, 40), st.integers(-40, 40)), min_size=2, max_size=30, unique=True)


@given(st.lists(walks, min_size=1, max_size=4))
def test_the_planner_agrees_with_plain_loops_and_paths_do_not_touch_each_other(
    paths: list[list[tuple[int, int]]],
) -> None:
    arrays = [np.array(path, dtype=np.float64) for path in paths]
    bounds = np.cumsum([0] + [len(each) for each in arrays])
    together = paths_s(np.concatenate(arrays), bounds, SPEED, ACCELERATION, DEVIATION)
    assert together == pytest.approx([reference_s(each) for each in arrays], rel=1e-7)


@given(walks)
def test_no_path_beats_its_length_over_speed_nor_takes_as_long_as_with_stops(path: list[tuple[int, int]]) -> None:
    points = np.array(path, dtype=np.float64)
    lengths = np.linalg.norm(np.diff(points, axis=0), axis=1)
    took = path_s(points, SPEED, ACCELERATION, DEVIATION)
    assert lengths.sum() / SPEED < took <= straight_s(lengths, SPEED, ACCELERATION).sum() * (1 + 1e-9)
