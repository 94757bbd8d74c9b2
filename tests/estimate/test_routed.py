"""Routed parts: published feeds and densities, closed forms of paths, and what is refused or warned of."""

import math
import re
from dataclasses import replace

import numpy as np
import pytest
from shapely.geometry import Polygon, box

from register.domain.estimates import Hole, Pocket, RoutedEstimate
from register.domain.machines import Machine, RouterLimits, Tool
from register.domain.materials import Cutting, Form, Material
from register.domain.parts import Process
from register.errors import BadQuantity, BadSettings, DoesNotFit, UnknownMaterial
from register.estimate.cutting import SKIN_MM, conditions_for, hole, loop_s
from register.estimate.routed import estimate_routed
from register.geometry.plates import Plate

CUTTING = Cutting(surface_speed_m_min=180, chip_loads_mm=((3.0, 0.08), (6.0, 0.12)), depth_per_pass_d=0.5)
# 6061: 2.70 g/cm³. Source: amesweb.info material tables.
ALUMINIUM = Material("demo aluminium", Form.SHEET, 2.70, "table", cost_per_m2_mm_cents=2000, cutting=CUTTING)
LIMITS = RouterLimits()
MACHINE = Machine("demo router", Process.ROUTED, (600.0, 400.0, 80.0), cost_per_h_cents=1200, router=LIMITS)
SMALL, LARGE = Tool("3 mm", 3.0, 1), Tool("6 mm", 6.0, 2)


def unit_circle() -> np.ndarray:
    angles = 2 * np.pi * np.arange(512) / 512
    return np.column_stack([np.cos(angles), np.sin(angles)])


def plate_with(
    outline: Polygon,
    thickness_mm: float | None = 4.0,
    holes: tuple[Hole, ...] = (),
    slots: tuple[Polygon, ...] = (),
    pockets: tuple[tuple[Polygon, float], ...] = (),
) -> Plate:
    """A plate as the geometry room hands it over."""
    cut = outline
    for each in holes:
        ring = unit_circle() * each.diameter_mm / 2 + (each.x_mm, each.y_mm)
        cut = cut.difference(Polygon(ring))
    for slot in slots:
        cut = cut.difference(slot)
    left, low, right, high = outline.bounds
    return Plate(
        thickness_mm, cut, holes, len(slots), slots, tuple(Pocket(floor.area, depth) for floor, depth in pockets),
        tuple(floor for floor, _ in pockets), (right - left, high - low, thickness_mm or 0.0), "0" * 64, (),
    )  # fmt: skip


def estimated(
    plate: Plate, thickness_mm: float | None = None, tools: tuple[Tool, ...] = (SMALL, LARGE)
) -> RoutedEstimate:
    return estimate_routed(plate, thickness_mm, ALUMINIUM, MACHINE, tools)


def with_cutting(v_c: float, chip_load_mm: float, depth_d: float = 1.0) -> Cutting:
    return Cutting(v_c, ((1.0, chip_load_mm), (20.0, chip_load_mm)), depth_d)


@pytest.mark.parametrize(
    ("diameter_mm", "flutes", "chip_load_mm", "rpm", "feed_mm_min"),
    [
        # Source: cncshop.eu, 2 × 0.1 × 18000 = 3600 mm/min.
        (6.0, 2, 0.1, 18000, 3600),
        # Source: phantom.eu, 0.065 × 2 × 663 = 86 mm/min.
        (12.0, 2, 0.065, 663, 86),
    ],
)
def test_feed_is_speed_times_flutes_times_chip_load(
    diameter_mm: float, flutes: int, chip_load_mm: float, rpm: float, feed_mm_min: float
) -> None:
    v_c = math.pi * diameter_mm * rpm / 1000
    limits = RouterLimits(spindle_low_rpm=100, feed_limit_mm_s=100)
    found = conditions_for(Tool("t", diameter_mm, flutes), with_cutting(v_c, chip_load_mm), limits, 3.0)

    assert found.spindle_rpm == pytest.approx(rpm, rel=1e-9)
    assert found.feed_mm_s * 60 == pytest.approx(feed_mm_min, abs=0.5)


def test_spindle_speed_is_that_of_the_handbook_formula() -> None:
    # N = 12V/(πD), V = 300 ft/min (HSS in aluminium), D = 1/4 in: 4584 rpm.
    # Source: SME, chapters.sme.org/s118; the speed from the Grizzly G0619 manual, p. 24.
    limits = RouterLimits(spindle_low_rpm=100)
    found = conditions_for(Tool("t", 6.35, 2), with_cutting(300 * 0.3048, 0.05), limits, 3.0)
    assert found.spindle_rpm == pytest.approx(12 * 300 / (math.pi * 0.25), rel=1e-9)


def test_spindle_stays_within_its_limits_and_says_so_when_too_fast() -> None:
    fast = conditions_for(SMALL, with_cutting(1000, 0.05), LIMITS, 3.0)
    assert fast.spindle_rpm == 24000
    assert fast.warnings == ()
    slow = conditions_for(SMALL, with_cutting(30, 0.05), LIMITS, 3.0)
    assert slow.spindle_rpm == 8000
    assert "3183 rpm" in slow.warnings[0]  # 1000·30/(π·3)


def test_chip_load_lies_between_those_of_the_listed_diameters() -> None:
    # 4.5 mm is half-way from 3 to 6 mm: (0.08 + 0.12)/2 = 0.10 mm.
    found = conditions_for(Tool("t", 4.5, 1), CUTTING, LIMITS, 2.0)
    assert found.feed_mm_s == pytest.approx(found.spindle_rpm * 0.10 / 60)
    outside = conditions_for(Tool("t", 8.0, 1), CUTTING, LIMITS, 2.0)
    assert any("nearest diameter" in warning for warning in outside.warnings)


@pytest.mark.parametrize(("depth_d", "factor"), [(1.0, 1.0), (2.0, 0.75), (3.0, 0.5)])
def test_chip_load_falls_with_the_depth_of_a_pass(depth_d: float, factor: float) -> None:
    # Source: asttooling.com, chip load × 1, 0.75 and 0.5 at depths of 1, 2 and 3 diameters.
    thickness = depth_d * 3.0 - SKIN_MM
    found = conditions_for(SMALL, with_cutting(180, 0.05, depth_d), LIMITS, thickness)
    assert found.passes == 1
    assert found.feed_mm_s == pytest.approx(found.spindle_rpm * 0.05 / 60 * factor)


@pytest.mark.parametrize(("thickness_mm", "passes"), [(1.3, 1), (1.31, 2), (4.0, 3), (12.5, 9)])
def test_passes_reach_through_the_sheet(thickness_mm: float, passes: int) -> None:
    # A 3 mm tool cuts 1.5 mm a pass: ⌈(t + 0.2)/1.5⌉.
    assert estimated(plate_with(box(0, 0, 100, 60), thickness_mm), tools=(SMALL,)).passes == passes


@pytest.mark.parametrize(
    "outline",
    [
        box(0, 0, 100, 60),
        Polygon([(0, 0), (120, 0), (60, 90)]),
        Polygon([(10, 0), (90, 5), (100, 40), (40, 80), (0, 50)]),
    ],
)
def test_a_convex_outline_is_cut_on_its_perimeter_plus_pi_d(outline: Polygon) -> None:
    found = estimated(plate_with(outline), tools=(SMALL,))

    assert found.outer_perimeter_mm == pytest.approx(outline.length)
    assert found.cut_length_mm == pytest.approx(3 * (outline.length + math.pi * 3), rel=1e-4)


def test_a_bored_hole_adds_the_length_of_its_helix() -> None:
    bare = estimated(plate_with(box(0, 0, 100, 60)), tools=(SMALL,))
    holed = estimated(plate_with(box(0, 0, 100, 60), holes=(Hole(10.0, 50.0, 30.0),)), tools=(SMALL,))

    # R = (10 − 3)/2, pitch = min(1.5, 2π·3.5·tan 3°) = 1.1525 mm, H = 4.2 mm, and one turn at the bottom.
    turn = 2 * math.pi * 3.5
    pitch = turn * math.tan(math.radians(3))
    assert pitch == pytest.approx(1.1525, abs=1e-4)
    helix = 4.2 / pitch * math.sqrt(turn**2 + pitch**2) + turn
    assert holed.cut_length_mm - bare.cut_length_mm == pytest.approx(helix, rel=1e-9)
    assert holed.duration_s > bare.duration_s


def test_a_bored_hole_takes_the_time_of_its_helix_at_the_speed_that_its_radius_allows() -> None:
    conditions = conditions_for(SMALL, with_cutting(180, 0.3, 0.5), LIMITS, 4.0)
    cut = hole(Hole(6.0, 0.0, 0.0), conditions)

    # √(400·1.5) = 24.5 mm/s is below the feed; its vertical part at 3°, 1.28 mm/s, below the plunge limit.
    assert conditions.feed_mm_s > math.sqrt(600)
    speed = math.sqrt(600)
    assert cut.duration_s == pytest.approx(cut.length_mm / speed + speed / 400, rel=1e-9)


def test_a_hole_that_the_tool_just_fits_is_drilled_at_the_plunge_limit() -> None:
    conditions = conditions_for(SMALL, CUTTING, LIMITS, 4.0)
    cut = hole(Hole(3.1, 0.0, 0.0), conditions)

    # 4.2 mm at 10 mm/s and 400 mm/s²: 4.2/10 + 10/400.
    assert cut.duration_s == pytest.approx(0.445)
    assert cut.length_mm == 0.0


def test_a_round_path_is_run_at_the_speed_that_its_radius_allows() -> None:
    conditions = conditions_for(SMALL, with_cutting(180, 0.3), LIMITS, 2.0)
    loop = 5 * unit_circle()

    # v = √(400·5) = 44.7 mm/s, below the feed: 2πR/v + v/a.
    assert conditions.feed_mm_s > math.sqrt(2000)
    assert loop_s(loop, conditions) == pytest.approx(10 * math.pi / math.sqrt(2000) + math.sqrt(2000) / 400, rel=2e-3)


def test_a_square_pocket_is_cleared_by_nested_loops() -> None:
    floor = box(40, 20, 60, 40)
    tool = Tool("4 mm", 4.0, 1)
    bare = estimated(plate_with(box(0, 0, 100, 60)), tools=(tool,))
    pocketed = estimated(plate_with(box(0, 0, 100, 60), pockets=((floor, 3.0),)), tools=(tool,))

    # Squares of 16, 12, 8 and 4 mm, half a diameter apart, in ⌈3/2⌉ passes: 2·4·40 mm.
    assert pocketed.cut_length_mm - bare.cut_length_mm == pytest.approx(320, rel=5e-3)
    assert bare.mass_g - pocketed.mass_g == pytest.approx(400 * 3 * 2.70 / 1000)


def test_a_counterbore_narrower_than_the_tool_is_cleared_over_its_hole() -> None:
    annulus = Polygon(box(45, 25, 55, 35).exterior, [box(47, 27, 53, 33).exterior.coords])
    plate = plate_with(box(0, 0, 100, 60), slots=(box(47, 27, 53, 33),), pockets=((annulus, 2.0),))

    found = estimated(plate, tools=(SMALL,))

    assert not any("not in the time" in warning for warning in found.warnings)


@pytest.mark.parametrize(
    ("density_g_cm3", "mass_g"),
    [
        # 100 × 60 × 4 mm = 24 cm³, less a hole of 10 mm: π·25·4 = 0.31416 cm³.
        (2.70, 23.68584 * 2.70),  # aluminium 6061. Source: amesweb.info
        (1.20, 23.68584 * 1.20),  # PC. Source: SABIC Lexan 9034 data sheet, ASTM D792
        (8.50, 23.68584 * 8.50),  # brass C36000, 0.307 lb/in³. Source: anchorbronze.com
    ],
)
def test_mass_is_area_times_thickness_times_density(density_g_cm3: float, mass_g: float) -> None:
    material = replace(ALUMINIUM, density_g_cm3=density_g_cm3)
    plate = plate_with(box(0, 0, 100, 60), holes=(Hole(10.0, 50.0, 30.0),))
    assert estimate_routed(plate, None, material, MACHINE, (SMALL,)).mass_g == pytest.approx(mass_g, rel=1e-4)


def test_cost_is_the_sheet_under_the_cut_and_the_machines_hours() -> None:
    plate = plate_with(box(0, 0, 100, 60))
    found = estimated(plate, tools=(SMALL,))

    # (100 + 2·3)·(60 + 2·3) mm² · 4 mm at 20.00 for 1 m² of 1 mm: 55.97 cents, and 12.00 an hour.
    sheet = 106 * 66 * 4 * 2000 / 1e6
    assert sheet == pytest.approx(55.968)
    assert found.cost_cents == pytest.approx(sheet + found.duration_s / 3600 * 1200, abs=0.5)


def test_spin_up_and_tool_change_count_once() -> None:
    plate = plate_with(box(0, 0, 100, 60), holes=(Hole(10.0, 50.0, 30.0), Hole(8.0, 20.0, 30.0)))
    quick = replace(MACHINE, router=replace(LIMITS, spin_up_s=0.0, tool_change_s=0.0))
    assert estimated(plate).duration_s - estimate_routed(plate, None, ALUMINIUM, quick, (SMALL, LARGE)).duration_s == (
        pytest.approx(LIMITS.spin_up_s + LIMITS.tool_change_s)
    )


def test_the_machine_takes_longer_than_length_by_feed_and_the_range_holds_the_estimate() -> None:
    quick = replace(MACHINE, router=replace(LIMITS, spin_up_s=0.0, tool_change_s=0.0))
    plate = plate_with(box(0, 0, 100, 60), holes=(Hole(10.0, 50.0, 30.0),))
    found = estimate_routed(plate, None, ALUMINIUM, quick, (SMALL,))

    assert found.duration_s > found.cut_length_mm / found.feed_mm_s
    assert found.duration_low_s * found.duration_high_s == pytest.approx(found.duration_s**2)
    assert found.duration_low_s < found.duration_s


def test_the_time_of_a_disc_is_the_sum_worked_out_by_hand() -> None:
    found = estimated(plate_with(Polygon(30 * unit_circle())), tools=(SMALL,))

    # 1000·180/(π·3) = 19099 rpm; · 0.08 mm / 60 = 25.46 mm/s, below √(400·31.5) = 112 mm/s.
    feed = 1000 * 180 / (math.pi * 3) * 0.08 / 60
    loop = 2 * math.pi * 31.5 / feed + feed / 400
    # 4.2 mm in 3 passes of 1.4 mm, each with a ramp of 3°: 26.7 mm long.
    ramp = 1.4 / math.tan(math.radians(3)) / feed + feed / 400
    # 3 tabs, 1.5 mm high, met by the two passes that end below 2.5 mm: up at 2·√(1.5/400), down at 10 mm/s, two stops.
    tabs = 3 * 2 * (2 * math.sqrt(1.5 / 400) + 1.5 / 10 + 10 / 400 + 2 * feed / 400)
    # Down 5 mm and up 9.2 mm from rest to rest, too short to reach 80 mm/s.
    lifts = 2 * math.sqrt(5 / 400) + 2 * math.sqrt(9.2 / 400)
    known = 3 * (loop + ramp) + tabs + lifts + LIMITS.spin_up_s + LIMITS.tool_change_s
    # From the corner (−30, −30) to a point of the path: 42.4 ± 31.5 mm, at 80 mm/s and 400 mm/s².
    nearest, farthest = 2 * math.sqrt(10.9 / 400), 74.0 / 80 + 80 / 400
    assert known + nearest <= found.duration_s * 1.0005
    assert found.duration_s <= (known + farthest) * 1.0005


def test_the_largest_tool_that_enters_every_opening_is_taken() -> None:
    outline = box(0, 0, 100, 60)
    assert estimated(plate_with(outline)).tool == "6 mm"
    assert estimated(plate_with(outline, holes=(Hole(6.0, 50, 30), Hole(20.0, 20, 30)))).tool == "6 mm"
    assert estimated(plate_with(outline, holes=(Hole(5.9, 50, 30), Hole(20.0, 20, 30)))).tool == "3 mm"
    assert estimated(plate_with(outline, slots=(box(20, 20, 60, 25),))).tool == "3 mm"
    assert estimated(plate_with(outline, slots=(box(20, 20, 60, 26),))).tool == "6 mm"
    only_small = replace(MACHINE, tools=("3 mm",))
    assert estimate_routed(plate_with(outline), None, ALUMINIUM, only_small, (SMALL, LARGE)).tool == "3 mm"


def test_what_no_tool_enters_is_left_out_and_said() -> None:
    plate = plate_with(box(0, 0, 100, 60), holes=(Hole(2.0, 50, 30), Hole(2.5, 70, 30)), slots=(box(20, 20, 30, 22),))
    found = estimated(plate)

    assert found.tool == "3 mm"
    assert any("smaller than 3 mm, 3 mm: 2, the least 2.00 mm" in warning for warning in found.warnings)
    assert any(warning.startswith("1 slot(s) narrower") for warning in found.warnings)
    assert found.cut_length_mm == pytest.approx(3 * (320 + math.pi * 3), rel=1e-4)


def test_each_square_inside_corner_keeps_its_share_of_the_tools_square() -> None:
    # r²(1 − π/4) a corner, with r less than half the tool by the 0.01 mm of play: 4 corners of a slot.
    found = estimated(plate_with(box(0, 0, 100, 60), slots=(box(20, 20, 60, 40),)), tools=(LARGE,))
    expected = 4 * 2.99**2 * (1 - math.pi / 4)
    said = next(re.search(r"leaves ([\d.]+) mm² standing in 4 inside", each) for each in found.warnings)
    assert said is not None
    assert float(said[1]) == pytest.approx(expected, rel=2e-3)
    assert not any("standing" in warning for warning in estimated(plate_with(box(0, 0, 100, 60))).warnings)


def test_a_hole_near_an_edge_is_warned_of() -> None:
    # Two diameters from the centre to the edge. Common practice, no source.
    def warned(*holes: Hole) -> bool:
        return any("two diameters" in each for each in estimated(plate_with(box(0, 0, 100, 60), holes=holes)).warnings)

    assert warned(Hole(6.0, 11.9, 30.0))
    assert not warned(Hole(6.0, 12.1, 30.0))
    assert warned(Hole(6.0, 40.0, 30.0), Hole(6.0, 54.9, 30.0))
    assert not warned(Hole(6.0, 40.0, 30.0), Hole(6.0, 55.1, 30.0))


def test_a_drawing_needs_a_thickness_and_a_solid_keeps_its_own() -> None:
    drawing = plate_with(box(0, 0, 100, 60), thickness_mm=None)
    with pytest.raises(BadQuantity, match="how thick"):
        estimated(drawing)
    assert estimated(drawing, 5.0).thickness_mm == 5.0
    with pytest.raises(BadQuantity):
        estimated(drawing, 0.0)
    with pytest.raises(BadQuantity):
        estimated(drawing, math.nan)

    solid = plate_with(box(0, 0, 100, 60), thickness_mm=4.0)
    assert estimated(solid, 4.05).warnings == ()
    other = estimated(solid, 5.0)
    assert other.thickness_mm == 4.0
    assert any("5.00 mm" in warning for warning in other.warnings)


def test_a_plate_larger_than_the_travel_does_not_fit_and_one_that_turns_does() -> None:
    # With a 6 mm tool the centre runs over the side + 6 mm: 394 mm is the most for 400 mm.
    assert estimated(plate_with(box(0, 0, 390, 590))).size_mm[:2] == (390, 590)
    with pytest.raises(DoesNotFit, match="demo router"):
        estimated(plate_with(box(0, 0, 398, 590)), tools=(LARGE,))
    with pytest.raises(DoesNotFit, match="lift"):
        estimated(plate_with(box(0, 0, 100, 60), thickness_mm=78.0))


def test_what_cannot_be_routed_is_refused() -> None:
    plate = plate_with(box(0, 0, 100, 60))
    for material in (replace(ALUMINIUM, form=Form.FILAMENT), replace(ALUMINIUM, cutting=None)):
        with pytest.raises(UnknownMaterial):
            estimate_routed(plate, None, material, MACHINE, (SMALL,))
    with pytest.raises(BadSettings, match="no cutting tool"):
        estimate_routed(plate, None, ALUMINIUM, MACHINE, ())
    with pytest.raises(BadSettings, match="no router"):
        estimate_routed(plate, None, ALUMINIUM, replace(MACHINE, process=Process.PRINTED), (SMALL,))
