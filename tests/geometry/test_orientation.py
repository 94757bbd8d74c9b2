"""Poses, what overhangs in them and how they are turned, against closed forms and hand calculations."""

import math
from itertools import product

import manifold3d
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from register.domain.machines import PrintSettings
from register.domain.poses import AS_DRAWN, Pose
from register.geometry.columns import support_space_mm3
from register.geometry.facets import MOST_POINTS, facets_of, hull_facets, outer_points
from register.geometry.meshes import read_mesh
from register.geometry.orientation import poses, ways_up
from register.geometry.turning import ALONG_AXES, named_pose, turned, turned_mesh
from tests.geometry.stl_bytes import (
    Triangles,
    binary,
    box,
    cone,
    cube,
    cylinder,
    extruded,
    inside_out,
    moved,
    prism,
    sphere,
)

SETTINGS = PrintSettings()
FREE_MM = SETTINGS.first_layer_height_mm
RIGHT_TRIANGLE = [(0.0, 0.0), (40.0, 0.0), (0.0, 30.0)]


def t_bracket() -> Triangles:
    """A stem of 10 × 20 × 30 mm in the middle under a bar of 50 × 20 × 5 mm."""
    return np.concatenate([moved(box(10, 20, 30), 20.0), moved(box(50, 20, 5), 0.0, 0.0, 30.0)])


def table() -> Triangles:
    """A top of 100 × 60 × 5 mm on four legs of 5 × 5 × 40 mm."""
    legs = [moved(box(5, 5, 40), x, y) for x, y in product((0.0, 95.0), (0.0, 55.0))]
    return np.concatenate([*legs, moved(box(100, 60, 5), 0.0, 0.0, 40.0)])


def volume_mm3(triangles: Triangles) -> float:
    return float(np.einsum("ij,ij->i", triangles[:, 0], np.cross(triangles[:, 1], triangles[:, 2])).sum() / 6.0)


def named(triangles: Triangles) -> dict[str, Pose]:
    return {each.name: each for each in poses(triangles, SETTINGS, 8)}


@pytest.mark.parametrize("angle_deg", [30.0, 45.0, 60.0])
def test_support_under_a_ball_is_the_closed_form(angle_deg: float) -> None:
    # A ball on its pole overhangs by more than the angle a within θ = 90° − a of its lowest point, out to the radius
    # r = R sin θ. Under it lies ∫₀ʳ 2πρ (R − √(R² − ρ²)) dρ = R³[π sin²θ − (2π/3)(1 − cos³θ)];
    # at 45° that is R³[π/2 − (2π/3)(1 − 2^−1.5)]. Source: volume of revolution.
    theta = math.radians(90.0 - angle_deg)
    exact = 20.0**3 * (math.pi * math.sin(theta) ** 2 - 2.0 * math.pi / 3.0 * (1.0 - math.cos(theta) ** 3))
    assert support_space_mm3(sphere(20.0, 192), angle_deg, 0.0) == pytest.approx(exact, rel=0.03)


def test_support_of_a_ball_at_45_degrees_is_the_figure_of_the_formula() -> None:
    exact = 20.0**3 * (math.pi / 2.0 - 2.0 * math.pi / 3.0 * (1.0 - 2.0**-1.5))
    drawn = named(sphere(20.0, 192))[AS_DRAWN]
    assert drawn.support_mm3 == pytest.approx(exact, rel=0.03)


def test_a_flat_cone_needs_support_on_its_tip_and_none_on_its_base() -> None:
    # Its side leans by atan(40/20) = 63° from the vertical. Round the tip the cylinder less the cone is empty:
    # two thirds of base times height, the base a polygon of (n/2)·r²·sin(2π/n).
    found = cone(40.0, 20.0, 96)
    base = 48 * 40.0**2 * math.sin(2 * math.pi / 96)
    tip = turned(found, ALONG_AXES["upside down"])
    assert support_space_mm3(found, 45.0, FREE_MM) == 0.0
    assert support_space_mm3(tip, 45.0, FREE_MM) == pytest.approx(base * 20.0 * 2.0 / 3.0, rel=0.02)
    assert poses(found, SETTINGS)[0].name == AS_DRAWN


def test_a_steep_cone_needs_no_support_on_its_tip_but_does_not_stand_on_it() -> None:
    # atan(20/40) = 27° from the vertical.
    found = named(cone(20.0, 40.0))
    assert found["upside down"].support_mm3 == 0.0
    assert (found[AS_DRAWN].stands, found["upside down"].stands) == (True, False)
    assert found[AS_DRAWN].number == 1


def test_a_t_bracket_is_better_on_its_bar() -> None:
    # Under each end of the bar 20 × 20 mm lie 30 mm above the bed.
    found = named(t_bracket())
    assert found[AS_DRAWN].support_mm3 == pytest.approx(2 * 20 * 20 * 30, rel=0.02)
    assert found["upside down"].support_mm3 == 0.0
    assert found["upside down"].footprint_mm2 == pytest.approx(50 * 20, rel=1e-9)
    assert found["upside down"].number < found[AS_DRAWN].number


def test_a_table_lies_best_on_its_top() -> None:
    # On its legs all of the top but the four legs hangs 40 mm above the bed.
    found = named(table())
    assert found[AS_DRAWN].support_mm3 == pytest.approx((100 * 60 - 4 * 25) * 40, rel=0.02)
    assert found[AS_DRAWN].footprint_mm2 == pytest.approx(4 * 25, rel=1e-9)
    best = next(each for each in found.values() if each.number == 1)
    assert (best.name, best.support_mm3, best.height_mm) == ("upside down", 0.0, 45.0)


def test_an_overhang_exactly_at_the_angle_needs_no_support() -> None:
    # A roof of 45° on its ridge: a prism over a right triangle with two equal sides, its right angle down.
    wedge = turned(prism([(0.0, 0.0), (10.0, 10.0), (-10.0, 10.0)], 30.0), ALONG_AXES["on its front (y up)"])
    assert support_space_mm3(wedge, 45.0, FREE_MM) == 0.0
    # Beyond 44° the whole of it: two triangles of 10 × 10 mm, 30 mm long, lie under it.
    assert support_space_mm3(wedge, 44.0, 0.0) == pytest.approx(2 * 50 * 30, rel=0.02)


def test_support_stands_on_the_part_where_that_is_in_between() -> None:
    # A shelf 10 mm above a foot of the same size, on a back wall: 30 × 20 mm, not down to the bed.
    shelf = extruded([[(0, 0), (40, 0), (40, 5), (10, 5), (10, 15), (40, 15), (40, 20), (0, 20)]], 20.0)
    placed = turned(shelf, ALONG_AXES["on its front (y up)"])
    assert support_space_mm3(placed, 45.0, FREE_MM) == pytest.approx(30 * 10 * 20, rel=0.02)


def test_the_ceiling_of_a_cavity_is_held_from_its_floor() -> None:
    hollow = np.concatenate([cube(30.0), inside_out(moved(cube(10.0), 10.0, 10.0, 10.0))])
    assert support_space_mm3(hollow, 45.0, FREE_MM) == pytest.approx(1000.0, rel=0.03)


def test_what_overlaps_is_held_once() -> None:
    # Two bars, 20 mm up, that share half of their length, beside a foot: 30 × 10 mm hang in all.
    bars = np.concatenate(
        [box(10, 10, 30), moved(box(25, 10, 10), 5.0, 0.0, 20.0), moved(box(20, 10, 10), 20.0, 0.0, 20.0)]
    )
    assert support_space_mm3(bars, 45.0, FREE_MM) == pytest.approx(30 * 10 * 20, rel=0.02)


def test_rows_and_crossings_are_bounded_however_many_slivers_there_are() -> None:
    # A tall cylinder of 20 000 facets on a tilt. Without support beyond 80° nothing of it needs any but its foot.
    up = np.array([0.0, math.sin(math.radians(40.0)), math.cos(math.radians(40.0))])
    placed = turned(cylinder(10.0, 150.0, 20_000), named_pose(up, outer_points(box(1, 1, 1)))[1])
    assert support_space_mm3(placed, 80.0, FREE_MM) == 0.0
    # Beyond 30° its foot hangs too, and half of its side: at least the side's shadow is held.
    assert support_space_mm3(placed, 30.0, FREE_MM) > 0.0


def test_the_hull_of_a_box_has_six_facets() -> None:
    normals, areas = hull_facets(outer_points(box(10, 20, 30)))
    assert sorted(areas.tolist()) == pytest.approx([200, 200, 300, 300, 600, 600])
    assert {tuple(each) for each in np.round(normals).astype(int).tolist()} == {
        *((1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0), (0, 0, 1), (0, 0, -1))
    }
    assert len(facets_of(outer_points(box(10, 20, 30)))) == 6


def test_a_box_lies_in_three_ways_lowest_first() -> None:
    found = poses(box(10, 20, 30), SETTINGS)
    assert [each.height_mm for each in found] == [10.0, 20.0, 30.0]
    assert [each.footprint_mm2 for each in found] == pytest.approx([600.0, 300.0, 200.0])
    assert all(each.stands and each.support_mm3 == 0.0 for each in found)
    assert [each.number for each in found] == [1, 2, 3]


def test_a_prism_of_many_facets_is_offered_on_its_ends_first() -> None:
    normals, areas = hull_facets(outer_points(cylinder(10.0, 5.0, 64)))
    assert len(areas) == 66
    assert areas[:2] == pytest.approx([32 * 100 * math.sin(2 * math.pi / 64)] * 2)
    assert np.abs(normals[:2, 2]) == pytest.approx([1.0, 1.0])


def test_a_facet_of_the_hull_gets_its_own_pose_and_its_name_says_the_turn() -> None:
    # On the long side of a prism over a 3-4-5 triangle, whose normal is (0.6, 0.8, 0): a right-handed quarter turn
    # about k = (−0.8, 0.6, 0) takes it to k × n = (0, 0, −0.8·0.8 − 0.6·0.6) = −z, and k lies atan2(0.6, −0.8) = 143.1°
    # from x. The box is then 50 × 20 mm on the bed and as high as the triangle, 30·40/50 = 24 mm; the
    # foot is taken in the middle of the first layer, 0.1 mm up, where the triangle is narrower by 0.1/24.
    found = named(prism(RIGHT_TRIANGLE, 20.0))
    pose = found["turned 90° about the line 143.1° from x"]
    assert pose.size_mm == pytest.approx((50.0, 20.0, 24.0))
    assert pose.footprint_mm2 == pytest.approx(50 * (1 - 0.1 / 24) * 20)
    assert np.array(pose.rotation) @ [0.6, 0.8, 0.0] == pytest.approx([0.0, 0.0, -1.0])


@pytest.mark.parametrize(
    ("name", "down"),
    [
        (AS_DRAWN, (0, 0, -1)),
        ("upside down", (0, 0, 1)),
        ("on its back (y down)", (0, 1, 0)),
        ("on its front (y up)", (0, -1, 0)),
        ("on its left side (x up)", (-1, 0, 0)),
        ("on its right side (x down)", (1, 0, 0)),
    ],
)
def test_a_pose_along_an_axis_has_the_side_down_that_its_name_says(name: str, down: tuple[int, int, int]) -> None:
    assert np.array(ALONG_AXES[name]) @ down == pytest.approx([0, 0, -1])


@pytest.mark.parametrize(
    ("up", "name"),
    [
        # The turn that brings a direction upright goes about the level line at right angles to it: from +y about +x.
        ((0.0, math.sin(math.radians(37.0)), math.cos(math.radians(37.0))), "turned 37° about x"),
        ((0.0, -0.6, 0.8), "turned -36.9° about x"),
        ((-0.6, 0.0, 0.8), "turned 36.9° about y"),
        ((0.6, 0.0, -0.8), "turned -143.1° about y"),
        ((math.sqrt(0.5), math.sqrt(0.5), 0.0), "turned 90° about the line -45° from x"),
    ],
)
def test_a_tilted_pose_is_named_by_its_turn(up: tuple[float, float, float], name: str) -> None:
    found, rotation = named_pose(np.array(up), outer_points(cube(10.0)))
    assert found == name
    assert np.array(rotation) @ up == pytest.approx([0.0, 0.0, 1.0])


def test_a_part_that_leans_out_does_not_stand() -> None:
    # A foot of 10 × 10 × 5 mm under an end of a bar of 60 × 10 × 5 mm: the centre of mass lies at
    # (500·5 + 3000·30)/3500 = 26.4 mm, beyond the foot's 10 mm. On the bar it stands.
    found = named(np.concatenate([box(10, 10, 5), moved(box(60, 10, 5), 0.0, 0.0, 5.0)]))
    assert not found[AS_DRAWN].stands
    assert found["upside down"].stands


def test_the_drawing_itself_is_among_the_poses_however_bad_it_is() -> None:
    for most in (1, 2, 8):
        found = poses(turned(cone(40.0, 20.0), ALONG_AXES["upside down"]), SETTINGS, most)
        assert len(found) <= most
        assert AS_DRAWN in {each.name for each in found}


def test_the_support_angle_of_the_settings_counts() -> None:
    # The cone's side leans by 63°: beyond 45° it hangs on its tip, beyond 70° it does not.
    tip = turned(cone(40.0, 20.0), ALONG_AXES["upside down"])
    drawn = {
        angle: next(
            each for each in poses(tip, PrintSettings(support_angle_deg=angle), 3) if each.name == AS_DRAWN
        ).support_mm3
        for angle in (0.0, 45.0, 70.0)
    }
    assert drawn[0.0] == drawn[45.0] > 0.0
    assert drawn[70.0] == 0.0


@st.composite
def solids(draw: st.DrawFn) -> Triangles:
    """The hull of a handful of points on a grid, drawn anywhere."""
    place = st.tuples(*[st.integers(-40, 40)] * 3)
    points = np.array(draw(st.lists(place, min_size=4, max_size=14, unique=True)), dtype=np.float64)
    hull = manifold3d.Manifold.hull_points(points).to_mesh64()
    return np.asarray(hull.vert_properties)[:, :3][np.asarray(hull.tri_verts)]


@settings(max_examples=40, deadline=None)
@given(solids())
def test_a_pose_keeps_the_shape_and_sets_it_down(solid: Triangles) -> None:
    if len(solid) == 0 or volume_mm3(solid) < 100.0:
        return
    for each in poses(solid, SETTINGS):
        matrix = np.array(each.rotation)
        assert matrix @ matrix.T == pytest.approx(np.eye(3), abs=1e-12)
        assert np.linalg.det(matrix) == pytest.approx(1.0, abs=1e-12)
        placed = turned(solid, each.rotation, 30.0)
        assert volume_mm3(placed) == pytest.approx(volume_mm3(solid), rel=1e-9)
        assert placed[..., 2].min() == 0.0
        assert placed[..., 2].max() == pytest.approx(each.height_mm, rel=1e-9)


@settings(max_examples=40, deadline=None)
@given(solids())
def test_every_facet_that_is_offered_lies_flat_on_the_bed(solid: Triangles) -> None:
    if len(solid) == 0 or volume_mm3(solid) < 100.0:
        return
    hull = outer_points(solid)
    for up in ways_up(hull)[len(ALONG_AXES) :]:
        placed = turned(solid, named_pose(up, hull)[1])
        assert (placed[..., 2].max(axis=1) < 1e-9).any()


def test_a_mesh_in_a_pose_stays_closed_to_the_last_bit() -> None:
    mesh = read_mesh(binary(moved(sphere(20.0, 48), 1234.5, -987.6, 3.3)), "ball")
    rotation = poses(mesh.triangles_mm, SETTINGS)[-1].rotation
    before = mesh.triangles_mm.copy()
    placed = turned_mesh(mesh, rotation, 17.0)
    assert len(np.unique(placed.triangles_mm.reshape(-1, 3), axis=0)) == len(
        np.unique(mesh.triangles_mm.reshape(-1, 3), axis=0)
    )
    assert np.array_equal(mesh.triangles_mm, before)
    assert (placed.sha256, placed.volume_mm3) == (mesh.sha256, mesh.volume_mm3)
    assert turned_mesh(mesh, ALONG_AXES[AS_DRAWN]) is mesh


def test_a_fine_mesh_has_the_hull_of_its_corners() -> None:
    # More corners than are looked at: the eight of the box are found all the same.
    grid = np.linspace(0.0, 50.0, 110)
    x, y = (each.ravel() for each in np.meshgrid(grid, grid))
    at = np.array([[0.0, 0.0, 0.0], [0.4, 0.0, 0.0], [0.0, 0.4, 0.0]])
    sheet = np.stack([x, y, np.zeros(len(x))], axis=1)[:, None] + at
    stack = np.concatenate([sheet, sheet + np.array([0.0, 0.0, 30.0])])
    assert stack.shape[0] * 3 > MOST_POINTS
    tilted = turned(stack, named_pose(np.array([0.6, 0.0, 0.8]), outer_points(cube(1.0)))[1])
    corners = stack.reshape(-1, 3)
    hull = outer_points(tilted)
    assert np.ptp(hull, axis=0) == pytest.approx(np.ptp(tilted.reshape(-1, 3), axis=0), rel=1e-3)
    assert np.ptp(outer_points(stack), axis=0) == pytest.approx(np.ptp(corners, axis=0))
