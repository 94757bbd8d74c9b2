"""Quantities written for people."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from register.units.quantities import duration_s, length_mm, mass_g
from register.units.written import written_duration, written_length, written_mass


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0, "0 s"),
        (0.4, "0 s"),
        (45, "45 s"),
        (59.6, "1 min"),
        (330, "5 min 30 s"),
        (3599.6, "1 h"),
        (5400, "1 h 30 min"),
        (3600 + 29 * 60 + 30, "1 h 30 min"),
        (86399, "1 d"),
        (2 * 86400 + 4 * 3600, "2 d 4 h"),
        (2 * 86400 + 4 * 3600 + 1799, "2 d 4 h"),
        (400 * 86400, "400 d"),
        (-5400, "-1 h 30 min"),
    ],
)
def test_durations_are_written_in_their_two_largest_units(seconds: float, text: str) -> None:
    assert written_duration(seconds) == text


@pytest.mark.parametrize(
    ("length", "text"),
    [
        (3.175, "3.175 mm"),
        (0.45, "0.45 mm"),
        (1220.0, "1220 mm"),
        (0.0, "0 mm"),
        (335_240.0, "335.2 m"),
        (100, "100 mm"),
    ],
)
def test_lengths_are_written_in_mm_and_long_ones_in_m(length: float, text: str) -> None:
    assert written_length(length) == text


@pytest.mark.parametrize(
    ("mass", "text"),
    [
        (1240, "1.24 kg"),
        (35, "35 g"),
        (3.44, "3.4 g"),
        (0.351, "0.35 g"),
        (999.6, "1 kg"),
        (9.96, "10 g"),
        (100, "100 g"),
        (0.9951, "1 g"),
        (0, "0 g"),
        (1200, "1.2 kg"),
    ],
)
def test_masses_are_written_in_g_and_heavy_ones_in_kg(mass: float, text: str) -> None:
    assert written_mass(mass) == text


@given(st.floats(0, 1e8))
def test_a_written_duration_reads_back_within_half_its_smaller_unit(seconds: float) -> None:
    step = 1 if seconds < 3600 else 60 if seconds < 86400 else 3600
    assert abs(duration_s(written_duration(seconds)) - seconds) <= step / 2


@given(st.floats(0, 1e6))
def test_a_written_length_reads_back_within_half_its_last_figure(length: float) -> None:
    allowed = 0.0005 if length < 10_000 else 50.0
    assert abs(length_mm(written_length(length)) - length) <= allowed * (1 + 1e-9)


@given(st.floats(1, 1e6))
def test_a_written_mass_reads_back_within_one_part_in_twenty(mass: float) -> None:
    assert mass_g(written_mass(mass)) == pytest.approx(mass, rel=0.05)
