"""Advice on poses: what each takes, which printers hold it, when a turn is worth it and when nothing fits."""

import math
from dataclasses import replace
from itertools import product

import numpy as np
import pytest

from register.domain.estimates import EstimateRequest
from register.domain.machines import Machine, PrintSettings
from register.domain.materials import Form, Material
from register.domain.parts import Process
from register.domain.poses import AS_DRAWN, PoseAdvice, PoseEstimate, PoseSaving
from register.domain.shop import Shop, ShopSettings
from register.errors import DoesNotFit, NotFound
from register.estimate import whole
from register.estimate.poses import advised_poses, estimate_turned, pose_named, quick_saving
from register.estimate.printed import estimate_printed
from register.geometry.meshes import Mesh, read_mesh
from tests.geometry.stl_bytes import Triangles, binary, box, cube, extruded, moved, sphere

PLA = Material("PLA", Form.FILAMENT, 1.24, "data sheet", cost_per_kg_cents=2000)
PRINTER = Machine("Lark", Process.PRINTED, (220.0, 220.0, 250.0), cost_per_h_cents=60)
SMALL = Machine("Wren", Process.PRINTED, (100.0, 80.0, 90.0))
SUPPORTED = PrintSettings(support_angle_deg=45.0, support_share=0.2)


def mesh_of(solid: Triangles) -> Mesh:
    return read_mesh(binary(solid), "part.stl")


def t_bracket() -> Triangles:
    """A stem of 10 × 60 × 30 mm under the middle of a bar of 50 × 60 × 5 mm, one body."""
    outline = [(20, 0), (30, 0), (30, 30), (50, 30), (50, 35), (0, 35), (0, 30), (20, 30)]
    flat = extruded([outline], 60.0)
    # Upright: x stays, the outline's y becomes z and its z −y.
    return np.stack([flat[..., 0], -flat[..., 2], flat[..., 1]], axis=-1)


def upside_down(solid: Triangles) -> Triangles:
    return solid * np.array([1.0, -1.0, -1.0])


def advice_on(solid: Triangles, base: PrintSettings = SUPPORTED, *printers: Machine, keep: str = "") -> PoseAdvice:
    return advised_poses(mesh_of(solid), PLA, printers or (PRINTER,), base, keep)


def pose_of(advice: PoseAdvice, name: str) -> PoseEstimate:
    return next(each for each in advice.poses if each.name == name)


def shop_with(*machines: Machine) -> ShopSettings:
    return ShopSettings(Shop("Stone Shed", print_settings=SUPPORTED), machines, (PLA,))


def printed(solid: Triangles, *machines: Machine, turned: str | None = None) -> object:
    request = EstimateRequest(Process.PRINTED, "PLA", turned=turned)
    return whole.estimate(binary(solid), "part.stl", request, shop_with(*machines))


def test_each_pose_is_estimated_as_the_part_turned_by_hand_is() -> None:
    advice = advice_on(t_bracket())
    for name, by_hand in ((AS_DRAWN, t_bracket()), ("upside down", upside_down(t_bracket()))):
        found, alone = pose_of(advice, name), estimate_printed(mesh_of(by_hand), PLA, PRINTER, SUPPORTED)
        assert found.duration_s == pytest.approx(alone.duration_s, rel=1e-6)
        assert found.mass_g == pytest.approx(alone.mass_g, rel=1e-6)
        assert found.support_mm3 == pytest.approx(alone.volumes_mm3.support, rel=1e-6, abs=1e-6)
        assert found.cost_cents == alone.cost_cents
        assert found.machine == "Lark"


def test_the_turn_that_saves_support_is_advised() -> None:
    # Support under both ends of the bar: 2 · 20 · 60 · 30 mm of columns, a fifth of it printed. Columns begin and end
    # with layers and lines, a few per cent. On its side the part needs none either, but is 60 mm high, not 35.
    advice = advice_on(t_bracket())
    assert advice.better is not None
    better = advice.pose(advice.better)
    assert (better.name, better.support_mm3) == ("upside down", 0.0)
    assert advice.as_drawn.support_space_mm3 == pytest.approx(72_000, rel=0.02)
    assert advice.as_drawn.support_mm3 == pytest.approx(0.2 * 72_000, rel=0.05)
    assert better.duration_s is not None and advice.as_drawn.duration_s is not None
    assert better.duration_s < 0.95 * advice.as_drawn.duration_s


def test_without_support_in_the_settings_poses_are_still_compared_with_it() -> None:
    with_support = advice_on(t_bracket())
    without = advice_on(t_bracket(), replace(SUPPORTED, support_angle_deg=0.0))
    assert (with_support.support_assumed, without.support_assumed) == (False, True)
    assert without.support_angle_deg == 45.0
    assert [each.duration_s for each in without.poses] == [each.duration_s for each in with_support.poses]


def test_settings_of_machine_and_material_hold_for_every_pose() -> None:
    slow = replace(PRINTER, print_overrides={"contour_speed_mm_s": 10.0})
    thick = replace(PLA, print_overrides={"layer_height_mm": 0.3, "support_angle_deg": 45.0})
    advice = advised_poses(mesh_of(t_bracket()), thick, (slow,), SUPPORTED)
    alone = estimate_printed(mesh_of(t_bracket()), thick, slow, SUPPORTED)
    assert advice.as_drawn.duration_s == pytest.approx(alone.duration_s, rel=1e-9)


def test_a_kept_pose_is_never_turned() -> None:
    advice = advice_on(t_bracket(), keep="the load runs along the layers")
    assert advice.better is None
    assert advice.keep_pose == "the load runs along the layers"


def test_nothing_is_said_of_a_part_that_lies_well() -> None:
    assert advice_on(cube(20.0)).better is None
    assert advice_on(upside_down(t_bracket())).better is None


def quick(solid: Triangles, base: PrintSettings = SUPPORTED, printer: Machine = PRINTER) -> PoseSaving | None:
    mesh = mesh_of(solid)
    return quick_saving(mesh, estimate_printed(mesh, PLA, printer, base), PLA, printer, base)


@pytest.mark.parametrize("base", [SUPPORTED, replace(SUPPORTED, support_angle_deg=0.0)])
def test_a_quick_look_says_about_what_the_estimates_say(base: PrintSettings) -> None:
    saving = quick(t_bracket(), base)
    advice = advice_on(t_bracket(), base)
    assert saving is not None and advice.better is not None
    better = advice.pose(advice.better)
    assert saving.name == better.name
    assert saving.support_assumed is (base.support_angle_deg == 0.0)
    assert saving.turned_s == pytest.approx(better.duration_s, rel=0.02)
    assert saving.drawn_s == pytest.approx(advice.as_drawn.duration_s, rel=0.1)
    # 2 · 20 · 60 · 30 mm of columns, a fifth of it printed.
    assert saving.less_support_mm3 == pytest.approx(0.2 * 72_000, rel=0.02)


def test_a_quick_look_says_nothing_where_a_turn_saves_little_or_is_not_held() -> None:
    assert quick(cube(20.0)) is None
    assert quick(upside_down(t_bracket())) is None
    # 10 × 10 × 200 mm lies best, but a bed of 120 × 120 mm holds it neither so, 200 mm long, nor aslant, 148.5 mm.
    assert quick(box(10, 10, 200)) is not None
    assert quick(box(10, 10, 200), printer=replace(PRINTER, size_mm=(120.0, 120.0, 250.0))) is None


def test_a_quick_look_leaves_a_fine_mesh_alone() -> None:
    fine = np.concatenate([sphere(5.0, 104), moved(box(10, 10, 200), 20.0)])
    assert len(fine) > 10_000
    assert quick(fine) is None


def test_a_tower_lies_down_where_that_saves_layers() -> None:
    # 10 × 10 × 200 mm: 1000 layers upright, 50 lying. Each takes 1 s to change, and the least time of a layer, 8 s,
    # is far more than a square of 10 mm needs; so 950 layers save at least 950 s.
    advice = advice_on(box(10, 10, 200))
    assert advice.better is not None
    better = advice.pose(advice.better)
    assert better.size_mm[2] == pytest.approx(10.0)
    assert advice.as_drawn.duration_s is not None and better.duration_s is not None
    assert advice.as_drawn.duration_s - better.duration_s > 950.0


def test_the_printers_that_hold_each_pose_are_named() -> None:
    # 95 mm is more than Wren's height of 90, less than its bed's 100; 30 and 20 mm fit any way.
    advice = advice_on(box(30, 20, 95), SUPPORTED, PRINTER, SMALL)
    assert advice.as_drawn.printers == ("Lark",)
    lying = [each for each in advice.poses if each.name != AS_DRAWN]
    assert lying and all(each.printers == ("Lark", "Wren") for each in lying)
    assert {each.machine for each in advice.poses} == {"Lark"}


def test_a_bed_edge_takes_its_room() -> None:
    edged = replace(SUPPORTED, bed_edge_mm=3.0)
    # 80 − 75 leaves 2.5 mm on each side.
    assert advice_on(box(95, 75, 30), SUPPORTED, SMALL).as_drawn.printers == ("Wren",)
    assert advice_on(box(90, 75, 30), edged, SMALL, PRINTER).as_drawn.printers == ("Lark",)


def test_a_long_rod_is_estimated_aslant_on_the_bed_and_nothing_else_fits() -> None:
    # (280 + 10)/√2 = 205.1 mm each way at 45°, and 220 mm are there.
    advice = advice_on(box(280, 10, 10))
    drawn = advice.as_drawn
    assert drawn.printers == ("Lark",)
    assert drawn.turn_deg % 90.0 == pytest.approx(45.0, abs=5.0)
    assert drawn.duration_s is not None
    made = printed(box(280, 10, 10), PRINTER, turned=AS_DRAWN)
    assert made.pose == f"as drawn, turned {drawn.turn_deg:.0f}° on the bed"  # type: ignore[attr-defined]
    c, s = abs(math.cos(math.radians(drawn.turn_deg))), abs(math.sin(math.radians(drawn.turn_deg)))
    size = made.size_mm  # type: ignore[attr-defined]
    assert size[:2] == pytest.approx((280 * c + 10 * s, 280 * s + 10 * c))
    assert max(size[:2]) <= 220.0


def test_a_part_that_fits_only_turned_is_refused_as_drawn_and_told_the_pose() -> None:
    tower = box(40, 30, 260)
    with pytest.raises(DoesNotFit) as refused:
        printed(tower, PRINTER)
    assert refused.value.what == "The part is 260 mm high, and Lark prints 250 mm."
    assert refused.value.cure.startswith("Turn it: on its ")
    assert ", it fits Lark (`pitwright estimate FILE --turned " in refused.value.cure
    name = refused.value.cure.removeprefix("Turn it: ").partition(", ")[0]
    # (260 + 40)/√2 = 212.1 mm each way aslant, and 220 mm are there.
    made = printed(tower, PRINTER, turned=name)
    assert made.pose.startswith(name) and made.size_mm[2] < 50.0  # type: ignore[attr-defined]


def test_advice_on_a_part_that_fits_only_turned_names_the_pose_that_fits() -> None:
    advice = advice_on(box(40, 30, 260))
    assert advice.as_drawn.printers == () and advice.as_drawn.duration_s is None
    assert advice.better is not None
    assert advice.pose(advice.better).printers == ("Lark",)


def test_a_part_that_fits_no_printer_is_refused_with_the_measure_that_fails() -> None:
    # A cube of 300 mm: 50 mm more than 250 mm whichever way it lies; aslant it would be wider still.
    big = replace(PRINTER, size_mm=(250.0, 250.0, 250.0))
    with pytest.raises(DoesNotFit) as refused:
        printed(cube(300.0), SMALL, big)
    assert refused.value.what.startswith("The part fits no printer in any pose: even as drawn it is 300 mm high, ")
    assert refused.value.what.endswith("50 mm more than Lark, the largest, prints (250 mm).")
    assert refused.value.cure == "Split it, or find a larger printer."
    with pytest.raises(DoesNotFit, match="no printer in any pose"):
        advice_on(cube(300.0), SUPPORTED, SMALL, big)


def test_a_bed_that_is_too_small_is_named_with_both_measures() -> None:
    # Flat on the bed a rod of 400 × 10 × 10 mm is at best (400 + 10)/√2 = 289.9 mm each way: 69.9 more than 220.
    with pytest.raises(DoesNotFit) as refused:
        printed(box(400, 10, 10), PRINTER)
    assert "289.9 × 289.9 mm on the bed, 69.9 mm more than Lark holds (220 × 220 mm)." in refused.value.what
    assert refused.value.what.startswith("The part fits Lark in no pose: even ")


def test_a_pose_is_named_by_number_name_or_short_name() -> None:
    mesh = mesh_of(t_bracket())
    advice = advised_poses(mesh, PLA, (PRINTER,), SUPPORTED)
    for each in advice.poses:
        for named in (str(each.number), each.name, each.name.upper(), each.name.partition(" (")[0]):
            assert pose_named(mesh, named, PLA, PRINTER, SUPPORTED).rotation == each.rotation
    # A cube is the same on each side, so one pose is listed; the others can still be named.
    assert pose_named(mesh_of(cube(20.0)), "on its back", PLA, PRINTER, SUPPORTED).name == "on its back (y down)"


@pytest.mark.parametrize("named", ["", "99", "0", "sideways", "on its", "\x1b[31m"])
def test_a_pose_that_there_is_not_is_not_found(named: str) -> None:
    with pytest.raises(NotFound) as refused:
        pose_named(mesh_of(cube(20.0)), named, PLA, PRINTER, SUPPORTED)
    assert "1 as drawn" in refused.value.cure
    assert "\x1b" not in refused.value.what


def test_an_estimate_in_a_pose_says_so_and_leaves_the_mesh_as_it_is() -> None:
    mesh = mesh_of(t_bracket())
    before = mesh.triangles_mm.copy()
    pose = pose_named(mesh, "upside down", PLA, PRINTER, SUPPORTED)
    made = estimate_turned(mesh, pose, PLA, PRINTER, SUPPORTED)
    alone = estimate_printed(mesh_of(upside_down(t_bracket())), PLA, PRINTER, SUPPORTED)
    assert made.pose == "upside down"
    assert (made.sha256, made.duration_s) == (mesh.sha256, pytest.approx(alone.duration_s, rel=1e-9))
    assert np.array_equal(mesh.triangles_mm, before)
    assert estimate_printed(mesh, PLA, PRINTER, SUPPORTED).pose == AS_DRAWN


def test_legs_and_bodies_apart_are_posed_together() -> None:
    legs = [moved(box(5, 5, 40), x, y) for x, y in product((0.0, 95.0), (0.0, 55.0))]
    table = np.concatenate([*legs, moved(box(100, 60, 5), 0.0, 0.0, 40.0)])
    advice = advice_on(table)
    assert advice.better is not None
    assert advice.pose(advice.better).name == "upside down"
