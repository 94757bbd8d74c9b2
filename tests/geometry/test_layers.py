"""Layer areas, contour lengths and polygons against closed forms."""

import math
import time
import tracemalloc

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from register.errors import BadMesh
from register.geometry.layers import LayerFinder, crossings, layer_profile, same_as_below
from register.geometry.rings import sections, sections_work
from tests.geometry.stl_bytes import cone, cube, cylinder, extruded, inside_out, moved, prism, sphere


def middles(height_mm: float, layers: int) -> np.ndarray:
    return (np.arange(layers) + 0.5) * height_mm / layers


def test_every_layer_of_a_cube_is_its_square() -> None:
    areas, lengths = layer_profile(cube(20.0), middles(20.0, 100))
    assert areas == pytest.approx(np.full(100, 400.0), rel=1e-12)
    assert lengths == pytest.approx(np.full(100, 80.0), rel=1e-12)


def test_a_faceted_prism_has_the_area_and_girth_of_its_polygon() -> None:
    areas, lengths = layer_profile(cylinder(10.0, 30.0, 48), middles(30.0, 7))
    assert areas == pytest.approx(np.full(7, 24 * 100 * math.sin(2 * math.pi / 48)), rel=1e-12)
    assert lengths == pytest.approx(np.full(7, 48 * 20 * math.sin(math.pi / 48)), rel=1e-12)


@pytest.mark.parametrize("layers", [3, 8, 9, 40, 1000])
def test_a_cone_tapers_with_the_square_of_its_height(layers: int) -> None:
    heights = middles(30.0, layers)
    areas, lengths = layer_profile(cone(10.0, 30.0, 64), heights)
    taper = 1 - heights / 30.0
    assert areas == pytest.approx(32 * 100 * math.sin(2 * math.pi / 64) * taper**2, rel=1e-9, abs=1e-9)
    assert lengths == pytest.approx(64 * 20 * math.sin(math.pi / 64) * taper, rel=1e-9)


def test_a_sphere_has_circles() -> None:
    heights = middles(20.0, 50)
    areas, lengths = layer_profile(sphere(10.0, 400), heights)
    squared = 100 - (heights - 10.0) ** 2
    assert areas == pytest.approx(math.pi * squared, rel=2e-3)
    assert lengths == pytest.approx(2 * math.pi * np.sqrt(squared), rel=2e-3)


def test_a_hole_and_a_cavity_are_taken_off_and_their_walls_counted() -> None:
    square, hole = [(0, 0), (30, 0), (30, 20), (0, 20)], [(5, 5), (5, 15), (15, 15), (15, 5)]
    areas, lengths = layer_profile(extruded([square, hole], 4.0), middles(4.0, 5))
    assert areas == pytest.approx(np.full(5, 500.0), rel=1e-6)
    assert lengths == pytest.approx(np.full(5, 140.0), rel=1e-6)
    hollow = np.concatenate([cube(10.0), moved(inside_out(cube(6.0)), 2.0, 2.0, 2.0)])
    areas, _ = layer_profile(hollow, np.array([1.0, 5.0, 9.0]))
    assert areas == pytest.approx([100.0, 64.0, 100.0])


def test_a_plane_through_a_flat_face_takes_the_section_above_it() -> None:
    step = np.concatenate([cube(10.0), moved(cube(4.0), 0.0, 0.0, 10.0)])
    areas, lengths = layer_profile(step, np.array([0.0, 10.0, 14.0]))
    assert areas == pytest.approx([100.0, 16.0, 0.0])
    assert lengths == pytest.approx([40.0, 16.0, 0.0])


def test_planes_that_nearly_touch_corners_lose_no_digits() -> None:
    # A cone cut a hair above its foot and a hair below its tip, between many planes.
    heights = np.sort(np.concatenate([middles(30.0, 300), [1e-12, 30.0 - 1e-9]]))
    areas, _ = layer_profile(cone(10.0, 30.0, 64), heights)
    exact = 32 * 100 * math.sin(2 * math.pi / 64) * (1 - heights / 30.0) ** 2
    assert areas == pytest.approx(exact, rel=1e-9, abs=1e-9)


def test_nothing_lies_outside_the_part_and_no_heights_give_no_layers() -> None:
    areas, lengths = layer_profile(cube(20.0), np.array([-1.0, 21.0]))
    assert list(areas) == list(lengths) == [0.0, 0.0]
    assert len(layer_profile(cube(20.0), np.zeros(0))[0]) == 0


def test_a_tall_cylinder_of_100_000_facets_needs_little_memory() -> None:
    # Every side facet spans every layer: 66 million pairs if they were written out.
    solid = cylinder(20.0, 300.0, 25_000)
    areas, lengths = layer_profile(solid, middles(300.0, 1500))
    assert areas == pytest.approx(np.full(1500, 400 * math.pi), rel=1e-7)
    assert lengths == pytest.approx(np.full(1500, 40 * math.pi), rel=1e-7)


@settings(deadline=None)
@given(
    st.lists(st.floats(-1e4, 1e4), min_size=1, max_size=40), st.lists(st.floats(-2e4, 2e4), max_size=40), st.booleans()
)
def test_layers_are_found_as_by_counting_those_below(at: list[float], more: list[float], even: bool) -> None:
    heights = np.linspace(min(at), max(at), len(at)) if even else np.sort(np.array(at))
    # Also at the heights themselves, and a rounding above and below them.
    z = np.concatenate([more, heights, np.nextafter(heights, np.inf), np.nextafter(heights, -np.inf)])
    found = LayerFinder(heights).at_or_above(z)
    assert found.tolist() == [int((heights < each).sum()) for each in z]


def test_layers_that_crowd_in_one_place_have_their_areas() -> None:
    heights = np.sort(np.concatenate([middles(30.0, 5), 7.0 + np.linspace(0.0, 1e-3, 500), [29.0, 29.0]]))
    areas, lengths = layer_profile(cone(10.0, 30.0, 64), heights)
    taper = 1 - heights / 30.0
    assert areas == pytest.approx(32 * 100 * math.sin(2 * math.pi / 64) * taper**2, rel=1e-9)
    assert lengths == pytest.approx(64 * 20 * math.sin(math.pi / 64) * taper, rel=1e-9)


def test_a_profile_takes_less_than_a_hundred_megabytes_beside_its_mesh() -> None:
    # 100,000 facets over 1,500 layers, which is 75 million cuts; and 300,000 facets of a ball.
    for solid, layers in ((cylinder(20.0, 300.0, 25_000), 1500), (np.tile(sphere(10.0, 180), (10, 1, 1)), 500)):
        heights = solid[..., 2].max() * (np.arange(layers) + 0.5) / layers
        tracemalloc.start()
        layer_profile(solid, heights)
        taken = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        assert taken < 100e6


def test_a_cut_so_rough_that_its_polygon_would_take_minutes_is_refused_at_once() -> None:
    # A star of 20,000 rays on a foot of 20 mm radius, each 20 mm long: a line across it meets thousands of them.
    turn = np.arange(40_000) * 2 * math.pi / 40_000
    reach = np.where(np.arange(40_000) % 2, 20.0, 40.0)
    star = prism(np.column_stack([reach * np.cos(turn), reach * np.sin(turn)]).tolist(), 5.0)
    assert sections_work(star, np.array([1.0]))[0] > 1e7
    began = time.process_time()
    with pytest.raises(BadMesh, match="rough"):
        sections(star, middles(5.0, 50))
    assert time.process_time() - began < 5.0


def test_the_cost_of_a_smooth_cut_is_its_corners_times_the_edges_that_a_line_across_meets() -> None:
    # A prism of n sides: n cuts of two facets each, and at each of the 2n ends a line meets four of those cuts.
    work = sections_work(cylinder(10.0, 30.0, 400), np.array([10.1, 20.3]))
    assert work == pytest.approx([800 * (1 + 2)] * 2, rel=0.2)


def test_only_the_first_layer_of_a_prism_differs_from_the_one_below() -> None:
    step = np.concatenate([cube(10.0), moved(cube(4.0), 0.0, 0.0, 10.0)])
    assert same_as_below(step, middles(14.0, 7)).tolist() == [False, True, True, True, True, False, True]
    assert not same_as_below(cone(10.0, 30.0), middles(30.0, 9)).any()


def test_crossings_count_the_triangles_that_a_plane_cuts() -> None:
    # A cube has two triangles on each of its four sides.
    assert crossings(cube(20.0), np.array([-1.0, 10.0, 30.0])).tolist() == [0, 8, 0]


def test_polygons_have_the_areas_of_the_closed_forms() -> None:
    heights = middles(30.0, 40)
    cuts = sections(cone(10.0, 30.0, 64), heights)
    exact = 32 * 100 * math.sin(2 * math.pi / 64) * (1 - heights / 30.0) ** 2
    assert [cut.united_mm2 for cut in cuts] == pytest.approx(exact, rel=1e-6, abs=1e-6)
    assert [cut.signed_mm2 for cut in cuts] == pytest.approx(exact, rel=1e-9)


def test_overlapping_bodies_are_united_and_touching_ones_keep_their_areas() -> None:
    cut = sections(np.concatenate([cube(10.0), moved(cube(10.0), 5.0)]), np.array([5.0]))[0]
    assert (cut.united_mm2, cut.signed_mm2) == pytest.approx((150.0, 200.0))
    cut = sections(np.concatenate([cube(10.0), moved(cube(10.0), 10.0, 10.0)]), np.array([5.0]))[0]
    assert (cut.united_mm2, cut.signed_mm2) == pytest.approx((200.0, 200.0))


def test_a_cut_that_does_not_close_is_refused() -> None:
    with pytest.raises(BadMesh, match="does not close"):
        sections(cube(20.0)[1:], np.array([5.0, 10.0]))


def test_a_plane_through_corners_still_closes() -> None:
    # An octahedron cut exactly at its four middle corners, and above its foot.
    ring = [(10, 0, 0), (0, 10, 0), (-10, 0, 0), (0, -10, 0)]
    faces = [(ring[i], ring[(i + 1) % 4], (0, 0, 10)) for i in range(4)]
    faces += [(ring[(i + 1) % 4], ring[i], (0, 0, -10)) for i in range(4)]
    cuts = sections(np.array(faces, dtype=np.float64), np.array([-10.0, 0.0, 5.0]))
    assert [cut.united_mm2 for cut in cuts] == pytest.approx([0.0, 200.0, 50.0], abs=1e-6)


@settings(max_examples=30, deadline=None)
@given(
    st.floats(0, 2 * math.pi), st.floats(0, math.pi), st.integers(1, 60), st.sampled_from(["cone", "hollow", "ball"])
)
def test_areas_from_triangles_and_from_polygons_agree_in_any_pose(
    turn: float, tilt: float, layers: int, shape: str
) -> None:
    solid = {
        "cone": cone(10.0, 30.0, 16),
        "ball": sphere(10.0, 24),
        "hollow": np.concatenate([cube(10.0), moved(inside_out(cube(6.0)), 2.0, 2.0, 2.0)]),
    }[shape]
    around = np.array([[math.cos(turn), -math.sin(turn), 0], [math.sin(turn), math.cos(turn), 0], [0, 0, 1]])
    over = np.array([[1, 0, 0], [0, math.cos(tilt), -math.sin(tilt)], [0, math.sin(tilt), math.cos(tilt)]])
    posed = solid @ (over @ around).T
    low, high = posed[..., 2].min(), posed[..., 2].max()
    heights = low + middles(high - low, layers)
    areas, _ = layer_profile(posed, heights)
    assert [cut.united_mm2 for cut in sections(posed, heights)] == pytest.approx(areas, rel=1e-6, abs=1e-5)
