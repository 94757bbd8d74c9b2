"""Estimates of printed parts against volumes, lengths and times worked out by hand."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from register.domain.estimates import PrintedEstimate
from register.domain.machines import Machine, PrintSettings
from register.domain.materials import Form, Material
from register.domain.parts import Process
from register.errors import BadMesh, BadSettings, DoesNotFit, UnknownMaterial
from register.estimate.motion import straight_s
from register.estimate.print_layers import shared_windows
from register.estimate.printed import estimate_printed, overhang_mm2
from register.geometry.meshes import read_mesh
from register.geometry.rings import sections
from tests.geometry.stl_bytes import Triangles, binary, box, cone, cube, cylinder, moved, sphere

# Source of the density: NatureWorks Ingeo 4043D technical data sheet, ASTM D792.
PLA = Material("PLA", Form.FILAMENT, 1.24, "data sheet", cost_per_kg_cents=2000)
PRINTER = Machine("printer", Process.PRINTED, (200.0, 150.0, 180.0), cost_per_h_cents=60)
BASE = PrintSettings()
SOLID = replace(BASE, infill_share=1.0)


def estimated(
    solid: Triangles, base: PrintSettings = BASE, machine: Machine = PRINTER, material: Material = PLA
) -> PrintedEstimate:
    return estimate_printed(read_mesh(binary(solid), "part"), material, machine, base)


def test_where_the_material_of_a_cube_goes() -> None:
    # 100 layers of 0.2 mm. Three contours of 0.45 mm leave a square of 20 − 2.7 = 17.3 mm inside;
    # 4 + 5 layers are solid, 91 take 20 % infill.
    volumes = estimated(cube(20.0)).volumes_mm3
    assert volumes.contours == pytest.approx((400 - 17.3**2) * 20, rel=1e-6)
    assert volumes.solid_layers == pytest.approx(17.3**2 * 9 * 0.2, rel=1e-6)
    assert volumes.infill == pytest.approx(17.3**2 * 91 * 0.2 * 0.2, rel=1e-6)
    assert (volumes.support, volumes.bed_edge) == (0.0, 0.0)
    assert volumes.total == pytest.approx(volumes.contours + volumes.solid_layers + volumes.infill, rel=1e-12)


def test_a_full_cube_weighs_and_costs_what_its_volume_does() -> None:
    found = estimated(cube(20.0), SOLID)
    assert found.volumes_mm3.total == pytest.approx(8000.0, rel=1e-6)
    assert found.mass_g == pytest.approx(9.92, rel=1e-6)
    # 8000 mm³ over π·1.75²/4 = 2.405282 mm²
    assert found.filament_mm == pytest.approx(3326.013, rel=1e-6)
    # 9.92 g at 20.00 a kilogram is 19.84 cents; the hours cost 60 cents each.
    assert found.cost_cents == round(19.84 + found.duration_s / 3600 * 60)
    assert found.layers == 100


def test_a_kilogram_of_filament_is_335_metres_long() -> None:
    # Source: geometry; 1 kg at 1.24 g/cm³ over π·1.75²/4.
    found = estimated(cube(20.0), SOLID)
    assert found.filament_mm / found.mass_g == pytest.approx(335.0, abs=0.5)


@pytest.mark.parametrize("height_mm", [0.2, 10.0, 30.0])
def test_a_full_prism_takes_exactly_its_volume(height_mm: float) -> None:
    # Faceted cylinder: base (n/2)·r²·sin(2π/n), closed form.
    found = estimated(cylinder(10.0, height_mm, 64), SOLID)
    assert found.volumes_mm3.total == pytest.approx(32 * 100 * math.sin(2 * math.pi / 64) * height_mm, rel=1e-5)
    assert found.volumes_mm3.total == pytest.approx(found.solid_volume_mm3, rel=1e-5)


def test_a_full_cone_takes_the_sum_of_its_layers() -> None:
    # Midpoint rule over (1 − z/h)²: with n layers the sum is 1/3 − 1/(12 n²), closed form.
    base, n = 32 * 100 * math.sin(2 * math.pi / 64), 150
    found = estimated(cone(10.0, 30.0, 64), SOLID)
    assert found.volumes_mm3.total == pytest.approx(base * 30 * (1 / 3 - 1 / (12 * n**2)), rel=1e-5)


def test_walls_of_a_faceted_prism_are_what_an_inner_polygon_leaves() -> None:
    # A regular n-gon of inradius ρ has the area n·ρ²·tan(π/n); three contours take 1.35 mm off ρ.
    inradius = 10.0 * math.cos(math.pi / 16)
    wall = 16 * (inradius**2 - (inradius - 1.35) ** 2) * math.tan(math.pi / 16)
    assert estimated(cylinder(10.0, 30.0, 16)).volumes_mm3.contours == pytest.approx(wall * 30, rel=1e-5)


def test_solid_layers_cover_every_step_of_a_stair() -> None:
    # 10 mm of 20 × 20, then 10 mm of 10 × 20: below the step the uncovered half, and at foot and top all, is solid.
    # Inside the contours: 17.3 × 17.3 below, 7.3 × 17.3 above; the step's part covered by neither is
    # (17.3 wide) × (18.65 − 10): from the upper body's face at x = 10 to the inner face at 18.65.
    stair = np.concatenate([cube(20.0) * [1, 1, 0.5], moved(box(10.0, 20.0, 10.0), 0, 0, 10.0)])
    foot = 17.3**2 * 4
    step = 17.3 * 8.65 * 5
    top = 7.3 * 17.3 * 5
    assert estimated(stair).volumes_mm3.solid_layers == pytest.approx((foot + step + top) * 0.2, rel=1e-4)


def test_a_part_thinner_than_its_contours_is_all_contour() -> None:
    volumes = estimated(box(40.0, 1.0, 10.0)).volumes_mm3
    assert volumes.contours == pytest.approx(400.0, rel=1e-6)
    assert volumes.total == pytest.approx(400.0, rel=1e-6)


def test_a_first_layer_of_its_own_height_is_counted_as_such() -> None:
    # 0.3 mm and then 0.2 mm: 19.7 / 0.2 = 98.5; the 99th middle would lie on the very top, so 98 follow.
    found = estimated(cube(20.0), replace(SOLID, first_layer_height_mm=0.3))
    assert found.layers == 99
    assert found.volumes_mm3.total == pytest.approx(400 * (0.3 + 98 * 0.2), rel=1e-6)


def test_support_under_a_sphere_fills_what_the_closed_form_says() -> None:
    # Source: volume of revolution; R³[π/2 − (2π/3)(1 − 2^−1.5)] lies under the part of a ball beyond 45°.
    # Layers of 0.1 mm and lines of 0.45 mm leave about 2 % open.
    base = replace(BASE, layer_height_mm=0.1, first_layer_height_mm=0.1, support_angle_deg=45.0, support_share=1.0)
    exact = 20.0**3 * (math.pi / 2 - 2 * math.pi / 3 * (1 - 2**-1.5))
    full = estimated(sphere(20.0, 128), base)
    assert full.volumes_mm3.support == pytest.approx(exact, rel=0.025)
    assert not any("overhang" in warning for warning in full.warnings)
    part = estimated(sphere(20.0, 128), replace(base, support_share=0.15))
    assert part.volumes_mm3.support == pytest.approx(0.15 * full.volumes_mm3.support, rel=1e-9)


def test_support_under_a_table_stands_between_its_legs_and_on_the_part_below() -> None:
    # A 30 × 20 top on two 5 mm walls, 10 mm over the bed; below half of the gap lies a 4 mm block.
    # Free columns: 10 × 20 × 10 beside the block and 10 × 20 × 6 over it.
    table = np.concatenate(
        [
            box(5.0, 20.0, 10.0),
            moved(box(5.0, 20.0, 10.0), 25.0),
            moved(box(30.0, 20.0, 2.0), 0, 0, 10.0),
            moved(box(10.0, 20.0, 4.0), 5.0),
        ]
    )
    base = replace(BASE, support_angle_deg=45.0, support_share=1.0)
    assert estimated(table, base).volumes_mm3.support == pytest.approx(2000 + 1200, rel=0.01)


def test_overhang_without_support_is_warned_of() -> None:
    tee = np.concatenate([box(10.0, 10.0, 20.0), moved(box(40.0, 10.0, 5.0), -15.0, 0, 20.0)])
    # Seen from below: 40 × 10, of which 10 × 10 stands on the post; both faces at z = 20 are in the file.
    assert any("400 mm² overhang" in warning for warning in estimated(tee).warnings)
    assert estimated(cube(20.0)).warnings == ()


def test_a_slope_of_45_degrees_is_no_overhang_and_a_flatter_one_is() -> None:
    # A cone on its tip: a half angle of 45° is printable; wider, its whole base is seen from below.
    upside_down = np.array([1.0, 1.0, -1.0])
    assert overhang_mm2((cone(10.0, 10.0, 256) * upside_down)[:, ::-1], 0.2) == 0.0
    wide = overhang_mm2((cone(10.0, 8.0, 256) * upside_down)[:, ::-1], 0.2)
    assert wide == pytest.approx(128 * 100 * math.sin(2 * math.pi / 256), rel=1e-9)


def test_a_bed_edge_is_the_ring_round_the_foot() -> None:
    # 5 mm round a 20 mm square: 4 sides of 20 × 5 and four quarter circles, one layer high.
    found = estimated(cube(20.0), replace(BASE, bed_edge_mm=5.0))
    assert found.volumes_mm3.bed_edge == pytest.approx((400 + 25 * math.pi) * 0.2, rel=0.005)
    assert "5 mm bed edge" in found.settings


def test_the_time_of_plain_contours_is_worked_out_by_hand() -> None:
    # One loop a layer, nothing inside, first layer at the same speed; no least time, no change, no heating.
    # A corner of 90° is passed at v² = a·δ·s/(1−s), s = sin 45°.
    bare = replace(
        BASE,
        contours=1,
        solid_top_layers=0,
        solid_bottom_layers=0,
        infill_share=0.0,
        first_layer_speed_mm_s=45.0,
        least_layer_s=0.0,
        layer_change_s=0.0,
        heating_s=0.0,
    )
    a, v, side = 1500.0, 45.0, 40.0 - 0.45
    corner = a * 0.02 * math.sqrt(0.5) / (1 - math.sqrt(0.5))
    ramp_stop = v / a + (side - v**2 / (2 * a)) / v  # from rest, without its end
    ramp_corner = (v - math.sqrt(corner)) / a - (v**2 - corner) / (2 * a) / v
    loop = 2 * (ramp_stop + ramp_corner) + 2 * (side / v + 2 * ramp_corner)
    # To the first loop: an eighth of the diagonal, as it is on average.
    travel = float(straight_s(0.12 * 40 * math.sqrt(2), 150.0, a))
    found = estimated(box(40.0, 40.0, 10.0), bare)
    assert found.duration_s == pytest.approx(50 * (loop + travel), rel=1e-6)


def hatched_s(side_mm: float, spacing_mm: float, speed: float, acceleration: float) -> float:
    """Every chord of a 45° hatch over a square, one by one, each with its link along the edge."""
    offsets = np.arange(-side_mm / math.sqrt(2) + spacing_mm / 2, side_mm / math.sqrt(2), spacing_mm)
    chords = 2 * (side_mm / math.sqrt(2) - np.abs(offsets))
    links = straight_s(np.full(len(chords), math.sqrt(2) * spacing_mm), speed, acceleration)
    return float(straight_s(chords, speed, acceleration).sum() + links.sum())


def test_the_time_of_infill_agrees_with_a_hatch_drawn_line_by_line() -> None:
    bare = replace(
        BASE,
        contours=0,
        solid_top_layers=0,
        solid_bottom_layers=0,
        first_layer_speed_mm_s=80.0,
        least_layer_s=0.0,
        layer_change_s=0.0,
        heating_s=0.0,
        travel_speed_mm_s=1e5,
        flow_limit_mm3_s=100.0,
    )
    found = estimated(box(60.0, 60.0, 10.0), bare)
    ways = np.array([0.12, 0.2, 0.55]) * 60 * math.sqrt(2)  # to the layer, to its hatch and on
    travel = float(straight_s(ways, 1e5, 1500.0).sum())
    assert found.duration_s == pytest.approx(50 * (hatched_s(60.0, 0.45 / 0.2, 80.0, 1500.0) + travel), rel=0.02)


def test_the_flow_limit_slows_what_is_too_fast_for_it() -> None:
    # 0.45 × 0.2 mm at 60 mm/s is 5.4 mm³/s; a limit of 0.9 allows 10 mm/s: 8000 mm³ take at least 8000/0.9 s.
    slow = estimated(cube(20.0), replace(SOLID, flow_limit_mm3_s=0.9))
    assert slow.duration_s > 8000 / 0.9
    assert slow.duration_s > 2 * estimated(cube(20.0), SOLID).duration_s


def test_small_layers_take_the_least_time_and_heating_stands_apart() -> None:
    # A pin of 3 mm: each of 50 layers takes less than 8 s, so 8 + 1 s; heating 240 s.
    found = estimated(cube(3.0) * [1, 1, 10 / 3])
    assert found.duration_s == pytest.approx(50 * 9 + 240, rel=1e-9)
    # 80 % of a normal distribution lies within 1.2816 standard deviations, here of 0.20.
    assert found.duration_low_s == pytest.approx(240 + 450 / math.exp(1.2816 * 0.2), rel=1e-9)
    assert found.duration_high_s == pytest.approx(240 + 450 * math.exp(1.2816 * 0.2), rel=1e-9)


def test_an_open_mesh_has_a_wider_range_and_says_so() -> None:
    whole = box(40.0, 30.0, 20.0)
    opened = estimated(whole[~(whole[..., 2] == 20.0).all(axis=1)])
    closed = estimated(whole)
    assert opened.volumes_mm3.total == pytest.approx(closed.volumes_mm3.total, rel=1e-6)
    assert opened.duration_high_s > closed.duration_high_s
    assert opened.duration_low_s < closed.duration_low_s
    assert not opened.closed
    assert "open" in opened.warnings[0]
    assert (opened.triangles, closed.triangles) == (10, 12)


def test_overlapping_bodies_take_their_shared_material_once() -> None:
    both = np.concatenate([cube(20.0), moved(cube(20.0), 10.0)])
    found = estimated(both, SOLID)
    assert found.volumes_mm3.total == pytest.approx(12_000.0, rel=1e-6)
    assert found.solid_volume_mm3 == pytest.approx(12_000.0, rel=1e-6)
    assert found.bodies == 2


def test_fins_thinner_than_a_line_are_warned_of() -> None:
    assert any("thinner than a line" in warning for warning in estimated(box(40.0, 0.3, 10.0)).warnings)
    assert estimated(box(40.0, 1.0, 10.0)).warnings == ()


def test_overrides_of_machine_and_material_replace_settings_and_the_material_wins() -> None:
    machine = replace(PRINTER, print_overrides={"contours": 2, "infill_share": 0.5})
    material = replace(PLA, print_overrides={"infill_share": 0.3})
    assert estimated(cube(20.0), BASE, machine, material).settings == "0.2 mm layers, 2 contours, 30 % infill"


def test_a_part_that_fits_only_when_turned_on_the_bed_is_accepted() -> None:
    assert estimated(box(140.0, 190.0, 1.0)).layers == 5


@pytest.mark.parametrize(
    ("size", "reason"),
    [
        ((10.0, 10.0, 181.0), "181 mm high"),
        ((201.0, 10.0, 1.0), "201 × 10 mm on the bed"),
        ((160.0, 160.0, 1.0), "holds 200 × 150 mm"),
    ],
)
def test_a_part_that_is_too_large_is_refused_with_the_measure(size: tuple[float, float, float], reason: str) -> None:
    with pytest.raises(DoesNotFit, match=reason):
        estimated(box(*size))


def test_a_bed_edge_needs_room_too() -> None:
    with pytest.raises(DoesNotFit, match="with its bed edge"):
        estimated(box(195.0, 100.0, 1.0), replace(BASE, bed_edge_mm=5.0))


def test_sheet_is_no_filament_and_a_router_no_printer() -> None:
    with pytest.raises(UnknownMaterial, match="is sheet, not filament"):
        estimated(cube(20.0), material=replace(PLA, form=Form.SHEET))
    with pytest.raises(BadSettings, match="not a printer"):
        estimated(cube(20.0), machine=replace(PRINTER, process=Process.ROUTED))


@pytest.mark.parametrize(
    ("name", "figure"),
    [
        ("layer_height_mm", 0.0),
        ("layer_height_mm", 0.0005),
        ("line_width_mm", -0.4),
        ("infill_share", 1.5),
        ("infill_share", math.nan),
        ("contours", -1),
        ("support_angle_deg", 90.0),
        ("acceleration_mm_s2", 0.0),
        ("flow_limit_mm3_s", math.inf),
    ],
)
def test_settings_out_of_range_are_refused_by_name(name: str, figure: float) -> None:
    with pytest.raises(BadSettings, match="layer" if name == "layer_height_mm" else name):
        estimated(cube(20.0), replace(BASE, **{name: figure}))


@settings(max_examples=15, deadline=None)
@given(
    st.lists(st.integers(1, 6), min_size=1, max_size=14),
    st.integers(0, 4),
    st.integers(0, 4),
)
def test_running_windows_agree_with_intersections_one_by_one(sides: list[int], below: int, above: int) -> None:
    cuts = {side: sections(cube(float(side)), np.array([0.5]))[0].region for side in set(sides)}
    windows = shared_windows([cuts[side] for side in sides], below, above)
    for k, window in enumerate(windows):
        inside = k >= below and k + above < len(sides)
        expected = min(sides[k - below : k + above + 1]) ** 2 if inside else 0  # nested squares at one corner
        assert window.area() == pytest.approx(expected, abs=1e-6)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 11), st.integers(0, 8), st.floats(-60.0, 60.0))
def test_a_moved_corner_or_a_missing_facet_gives_an_estimate_or_a_refusal(
    facet: int, coordinate: int, figure: float
) -> None:
    solid = cube(20.0).reshape(12, 9)
    solid[facet, coordinate] = figure
    try:
        found = estimated(solid.reshape(12, 3, 3))
    except (BadMesh, DoesNotFit) as refused:
        assert refused.cure
    else:
        assert 0.0 < found.duration_low_s < found.duration_s < found.duration_high_s
        assert 0.0 < found.mass_g < 1000.0
