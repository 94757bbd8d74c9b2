"""Fitting a bed turned by any angle, against closed forms and a plain search."""

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from register.geometry.bed_fit import narrowest_turn_deg, outline_of, turn_on_bed

Points = NDArray[np.float64]


def rectangle(x_mm: float, y_mm: float) -> Points:
    return np.array([(0.0, 0.0), (x_mm, 0.0), (x_mm, y_mm), (0.0, y_mm)])


def box_of(points: Points, turn_deg: float) -> tuple[float, float]:
    """The box round points turned about z: x′ = x cos − y sin, y′ = x sin + y cos."""
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    x, y = points[:, 0] * c - points[:, 1] * s, points[:, 0] * s + points[:, 1] * c
    return float(np.ptp(x)), float(np.ptp(y))


def test_a_long_rod_fits_a_square_bed_along_its_diagonal_alone() -> None:
    # At 45° a rod of L × w mm takes (L + w)/√2 each way: 220·√2 − 10 = 301.13 mm is the longest of 10 mm width.
    turn_deg, excess = turn_on_bed(rectangle(301.1, 10.0), (220.0, 220.0))
    assert excess <= 0.0
    assert turn_deg % 90.0 == pytest.approx(45.0, abs=0.5)
    assert max(box_of(rectangle(301.1, 10.0), turn_deg)) <= 220.0
    _, excess = turn_on_bed(rectangle(301.2, 10.0), (220.0, 220.0))
    assert excess == pytest.approx((301.2 + 10.0) / math.sqrt(2.0) - 220.0, abs=1e-6)


def test_what_fits_as_it_lies_is_not_turned_and_a_quarter_comes_next() -> None:
    assert turn_on_bed(rectangle(200.0, 100.0), (200.0, 100.0)) == (0.0, 0.0)
    assert turn_on_bed(rectangle(100.0, 200.0), (200.0, 100.0)) == pytest.approx((90.0, 0.0), abs=1e-9)


def test_a_hair_too_long_is_held_with_slack() -> None:
    assert turn_on_bed(rectangle(200.0005, 100.0), (200.0, 100.0), 0.001)[0] == 0.0


def test_a_rod_without_width_is_as_long_as_the_diagonal() -> None:
    # √(300² + 200²) = 360.56 mm.
    long = math.hypot(300.0, 200.0)
    for share, held in ((0.9999, True), (1.0001, False)):
        assert (turn_on_bed(rectangle(share * long, 1e-9), (300.0, 200.0))[1] <= 0.0) is held


def test_a_disc_passes_by_the_same_whichever_way_it_is_turned() -> None:
    turns = np.arange(720) * math.pi / 360.0
    disc = 60.0 * np.stack([np.cos(turns), np.sin(turns)], axis=1)
    assert turn_on_bed(disc, (110.0, 130.0))[1] == pytest.approx(10.0, abs=0.05)


def test_a_bed_without_room_holds_nothing() -> None:
    assert turn_on_bed(rectangle(10.0, 10.0), (-4.0, 20.0))[1] == pytest.approx(14.0)


points_lists = st.lists(st.tuples(st.integers(0, 100), st.integers(0, 100)), min_size=3, max_size=12, unique=True)


@settings(max_examples=80, deadline=None)
@given(points_lists, st.integers(20, 140), st.integers(20, 140))
def test_a_plain_search_over_all_angles_finds_no_better_fit(
    listed: list[tuple[int, int]], room_x: int, room_y: int
) -> None:
    points = np.array(listed, dtype=np.float64)
    turn_deg, excess = turn_on_bed(points, (room_x, room_y))
    x, y = box_of(points, turn_deg)
    assert max(x - room_x, y - room_y) == pytest.approx(excess, abs=1e-6)
    searched = min(max(x - room_x, y - room_y) for x, y in (box_of(points, 0.5 * step) for step in range(360)))
    assert excess <= 1e-9 or excess <= searched + 1e-9
    assert searched > 0.0 or excess <= 1e-9


@settings(max_examples=100, deadline=None)
@given(st.integers(1, 100), st.integers(1, 100), st.floats(0.0, 360.0))
def test_the_smallest_box_of_a_turned_rectangle_is_the_rectangle(x: int, y: int, turn_deg: float) -> None:
    assume(x >= y)
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    slanted = rectangle(x, y) @ np.array([[c, s], [-s, c]])
    assert box_of(slanted, narrowest_turn_deg(slanted)) == pytest.approx((x, y), abs=1e-6)


def test_an_outline_without_area_is_its_points() -> None:
    line = np.array([(0.0, 0.0), (5.0, 5.0), (10.0, 10.0)])
    assert turn_on_bed(outline_of(line), (11.0, 11.0))[1] <= 0.0
