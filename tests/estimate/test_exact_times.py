"""The exact form of a printed estimate against times, lengths and volumes worked out by hand."""

import math
from dataclasses import asdict, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from register.domain.estimates import PrintedEstimate
from register.domain.machines import Machine, PrintSettings
from register.domain.materials import Form, Material
from register.domain.parts import Process
from register.errors import BadMesh, BadSettings, Cancelled, DoesNotFit
from register.estimate.printed import estimate_printed
from register.geometry.meshes import read_mesh
from tests.geometry.stl_bytes import Triangles, binary, box, cone, cube, cylinder, moved, sphere

MATERIAL = Material("PLA", Form.FILAMENT, 1.24, "data sheet")
PRINTER = Machine("printer", Process.PRINTED, (200.0, 150.0, 180.0))
BASE = PrintSettings()
# Nothing but lines and travel.
BARE = replace(
    BASE,
    contours=0,
    solid_top_layers=0,
    solid_bottom_layers=0,
    infill_share=0.0,
    first_layer_speed_mm_s=200.0,
    flow_limit_mm3_s=1000.0,
    least_layer_s=0.0,
    layer_change_s=0.0,
    heating_s=0.0,
)


def exact(solid: Triangles, base: PrintSettings = BASE, machine: Machine = PRINTER) -> PrintedEstimate:
    return estimate_printed(read_mesh(binary(solid), "part"), MATERIAL, machine, base, exact=True)


def fast(solid: Triangles, base: PrintSettings = BASE) -> PrintedEstimate:
    return estimate_printed(read_mesh(binary(solid), "part"), MATERIAL, PRINTER, base)


def test_a_loop_and_its_travel_are_timed_by_hand() -> None:
    # From the corner at (0, 0) to the loop's at (0.225, 0.225), round, and back for the next layer. A corner of 90° is
    # passed at v² = a·δ·s/(1−s), s = sin 45°.
    a, v, side = 1500.0, 45.0, 40.0 - 0.45
    corner = a * 0.02 * math.sqrt(0.5) / (1 - math.sqrt(0.5))
    ramp_stop = v / a + (side - v**2 / (2 * a)) / v
    ramp_corner = (v - math.sqrt(corner)) / a - (v**2 - corner) / (2 * a) / v
    loop = 2 * (ramp_stop + ramp_corner) + 2 * (side / v + 2 * ramp_corner)
    hop = 2 * math.sqrt(0.225 * math.sqrt(2) / a)
    found = exact(box(40.0, 40.0, 10.0), replace(BARE, contours=1))
    assert found.duration_s == pytest.approx(50 * (loop + hop) + 49 * hop, rel=1e-6)


def test_a_single_straight_line_is_timed_by_hand() -> None:
    # Lines 20 mm apart, half of that off the origin: of a square round (0, 10·√2) one diagonal each way is drawn.
    # From the front left corner along one diagonal, √2·10; back over the other, which begins 10 mm off the corner.
    square = moved(box(10.0, 10.0, 2.0), -5.0, 10 * math.sqrt(2) - 5.0)
    found = exact(square, replace(BARE, infill_share=0.45 / 20.0))
    a = 1500.0
    line = 10 * math.sqrt(2) / 80 + 80 / a
    hop = 2 * math.sqrt(10.0 / a)  # 150 mm/s is reached after 15 mm only, from rest to rest
    long_hop = 2 * math.sqrt(10 * math.sqrt(2) / a)
    # Ten layers: each a line; in every other one 10 mm to it and 10 mm from its far end back, else a diagonal back.
    assert found.layers == 10
    assert found.duration_s == pytest.approx(10 * line + 5 * long_hop + 5 * hop + 4 * hop, rel=1e-5)
    assert found.volumes_mm3.infill == pytest.approx(10 * 10 * math.sqrt(2) * 0.45 * 0.2, rel=1e-5)


@pytest.mark.parametrize("side_mm", [10.0, 20.0, 31.7])
def test_a_full_cube_takes_its_volume(side_mm: float) -> None:
    found = exact(cube(side_mm), replace(BASE, infill_share=1.0))
    assert found.volumes_mm3.total == pytest.approx(found.layers * 0.2 * side_mm**2, rel=0.01)


def test_a_full_cylinder_and_a_ball_take_their_volumes() -> None:
    solid = replace(BASE, infill_share=1.0)
    base = 32 * 100 * math.sin(2 * math.pi / 64)
    assert exact(cylinder(10.0, 10.0, 64), solid).volumes_mm3.total == pytest.approx(base * 10, rel=0.015)
    ball = exact(sphere(10.0, 64), solid)
    assert ball.volumes_mm3.total == pytest.approx(ball.solid_volume_mm3, rel=0.015)


def test_infill_is_as_long_as_its_share_of_the_space_asks() -> None:
    # 60 mm less three contours of 0.45 on each side; 200 layers, 9 of them solid.
    found = exact(box(60.0, 60.0, 40.0), replace(BASE, infill_share=0.2))
    assert found.volumes_mm3.infill == pytest.approx(0.2 * 57.3**2 * 191 * 0.2, rel=0.01)
    assert found.volumes_mm3.contours == pytest.approx((3600 - 57.3**2) * 40, rel=1e-6)
    assert found.volumes_mm3.solid_layers == pytest.approx(57.3**2 * 9 * 0.2, rel=0.01)


def test_support_and_bed_edge_are_drawn() -> None:
    # A 30 × 20 top on two 5 mm walls, 10 mm over the bed: 20 × 20 × 10 of support, a seventh of it lines.
    table = np.concatenate(
        [box(5.0, 20.0, 10.0), moved(box(5.0, 20.0, 10.0), 25.0), moved(box(30.0, 20.0, 2.0), 0, 0, 10.0)]
    )
    base = replace(BASE, support_angle_deg=45.0, support_share=0.15, bed_edge_mm=3.15)
    spent = exact(table, base).volumes_mm3
    assert spent.support == pytest.approx(0.15 * 4000, rel=0.04)
    # Seven lines of 0.45 mm round two feet of 5 × 20: sides, and quarter circles at the corners.
    assert spent.bed_edge == pytest.approx(2 * (50 * 3.15 + math.pi * 3.15**2) * 0.2, rel=0.01)
    assert spent.total == pytest.approx(
        spent.contours + spent.solid_layers + spent.infill + spent.support + spent.bed_edge, rel=1e-12
    )


@pytest.mark.parametrize(
    "solid", [cube(20.0), cone(12.0, 20.0), sphere(12.0, 48), box(40.0, 1.0, 10.0), box(30.0, 2.5, 8.0)]
)
def test_what_is_drawn_agrees_with_areas_times_thicknesses(solid: Triangles) -> None:
    drawn, areas = exact(solid).volumes_mm3, fast(solid).volumes_mm3
    assert drawn.contours == pytest.approx(areas.contours, rel=0.01)
    assert drawn.solid_layers == pytest.approx(areas.solid_layers, rel=0.06)
    assert drawn.infill == pytest.approx(areas.infill, rel=0.04, abs=2.0)
    assert drawn.total == pytest.approx(areas.total, rel=0.01)


def test_least_time_change_heating_and_range_are_those_of_the_fast_form() -> None:
    # A pin of 3 mm: each of 50 layers takes less than 8 s, so 8 + 1 s; heating 240 s.
    pin = cube(3.0) * [1, 1, 10 / 3]
    one, other = asdict(exact(pin)), asdict(fast(pin))
    assert one["duration_s"] == pytest.approx(50 * 9 + 240, rel=1e-9)
    assert (one.pop("exact"), other.pop("exact")) == (True, False)
    own = {"volumes_mm3", "mass_g", "filament_mm", "cost_cents"}
    assert {key for key in one if one[key] != other[key]} <= own


def test_the_first_layer_and_the_flow_limit_slow_the_exact_form_too() -> None:
    # 0.45 × 0.2 mm at 0.9 mm³/s is 10 mm/s: 8000 mm³ take at least 8000/0.9 s.
    solid = replace(BASE, infill_share=1.0)
    assert exact(cube(20.0), replace(solid, flow_limit_mm3_s=0.9)).duration_s > 0.98 * 8000 / 0.9
    # One layer of 0.2 mm: 80 mm³ of 0.09 mm² are 889 mm, at 10 or at 40 mm/s.
    flat = box(20.0, 20.0, 0.2)
    slow, quick = (exact(flat, replace(solid, first_layer_speed_mm_s=speed)).duration_s for speed in (10.0, 40.0))
    assert slow - quick == pytest.approx(889 * (1 / 10 - 1 / 40), rel=0.1)


def test_progress_is_told_and_what_it_raises_stops_the_work() -> None:
    ball = read_mesh(binary(sphere(15.0, 48)), "ball")
    told: list[float] = []
    estimate_printed(ball, MATERIAL, PRINTER, BASE, True, told.append)
    assert told == sorted(told) and told[-1] == 1.0 and len(told) > 2

    def stop(share: float) -> None:
        told.append(share)
        raise Cancelled("The work was stopped.", "Nothing was written.")

    told.clear()
    with pytest.raises(Cancelled):
        estimate_printed(ball, MATERIAL, PRINTER, BASE, True, stop)
    assert len(told) == 1


def test_more_lines_than_anyone_prints_are_refused_with_their_number() -> None:
    # 400 mm of outline seen along the hatch, 283 mm over 0.00005 mm: 5.7 million crossings, two a line.
    with pytest.raises(BadSettings, match=r"about 2,8\d\d,\d\d\d lines"):
        exact(box(100.0, 100.0, 1.0), replace(BASE, line_width_mm=0.00005))


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 11), st.integers(0, 8), st.floats(-60.0, 60.0))
def test_a_moved_corner_gives_an_exact_estimate_or_a_refusal(facet: int, coordinate: int, figure: float) -> None:
    solid = cube(20.0).reshape(12, 9)
    solid[facet, coordinate] = figure
    try:
        found = exact(solid.reshape(12, 3, 3))
    except (BadMesh, DoesNotFit) as refused:
        assert refused.cure
    else:
        assert 0.0 < found.duration_low_s < found.duration_s < found.duration_high_s
        assert math.isfinite(found.mass_g)
