"""Plates found in meshes: thickness, outline, openings and pockets, or a refusal that says why."""

import math

import manifold3d
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from register.errors import BadMesh
from register.geometry.meshes import read_mesh
from register.geometry.plates import Plate, plate_from_mesh
from tests.geometry.stl_bytes import Triangles, binary, box, circle_points, cylinder, extruded, moved, sphere


def plate_of(triangles: Triangles) -> Plate:
    return plate_from_mesh(read_mesh(binary(triangles), "plate.stl"))


def rectangle(x_mm: float, y_mm: float, width_mm: float, height_mm: float) -> list[tuple[float, float]]:
    return [(x_mm, y_mm), (x_mm + width_mm, y_mm), (x_mm + width_mm, y_mm + height_mm), (x_mm, y_mm + height_mm)]


def round_hole(diameter_mm: float, facets: int, x_mm: float, y_mm: float) -> list[tuple[float, float]]:
    return circle_points(diameter_mm / 2, facets, (x_mm, y_mm))[::-1]


def faceted_circle_mm2(diameter_mm: float, facets: int) -> float:
    # A regular polygon of n corners on a circle: (n/2)·r²·sin(2π/n).
    return facets / 2 * (diameter_mm / 2) ** 2 * math.sin(2 * math.pi / facets)


def solid(triangles: Triangles) -> manifold3d.Manifold:
    corners, faces = np.unique(np.round(triangles.reshape(-1, 3), 6), axis=0, return_inverse=True)
    return manifold3d.Manifold(manifold3d.Mesh(corners.astype(np.float32), faces.reshape(-1, 3).astype(np.uint32)))


def triangles_of(body: manifold3d.Manifold) -> Triangles:
    mesh = body.to_mesh()
    return np.asarray(mesh.vert_properties, dtype=np.float64)[:, :3][np.asarray(mesh.tri_verts)]


def block(width_mm: float = 100, height_mm: float = 60, thickness_mm: float = 6) -> manifold3d.Manifold:
    return manifold3d.Manifold.cube([width_mm, height_mm, thickness_mm])


def pin(radius_mm: float, x_mm: float, y_mm: float, low_mm: float, high_mm: float) -> manifold3d.Manifold:
    return manifold3d.Manifold.cylinder(high_mm - low_mm, radius_mm, radius_mm, 64).translate([x_mm, y_mm, low_mm])


def holed_plate() -> Triangles:
    contours = [
        rectangle(0, 0, 100, 60),
        round_hole(5, 48, 10, 10),
        round_hole(8, 64, 50, 30),
        rectangle(70, 20, 20, 6)[::-1],
    ]
    return extruded(contours, 3.175)


def turned(triangles: Triangles, about: int, degrees: float) -> Triangles:
    cosine, sine = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    matrix = np.eye(3)
    first, second = (about + 1) % 3, (about + 2) % 3
    matrix[first, first] = matrix[second, second] = cosine
    matrix[first, second], matrix[second, first] = -sine, sine
    return triangles @ matrix.T


def test_area_perimeter_and_holes_of_a_plate_are_those_drawn() -> None:
    plate = plate_of(holed_plate())

    assert plate.thickness_mm == pytest.approx(3.175, abs=1e-5)
    expected = 100 * 60 - 20 * 6 - faceted_circle_mm2(5, 48) - faceted_circle_mm2(8, 64)
    assert plate.outline.area == pytest.approx(expected, rel=1e-6)
    assert plate.outline.exterior.length == pytest.approx(320, rel=1e-6)
    found = sorted((hole.diameter_mm, hole.x_mm, hole.y_mm) for hole in plate.holes)
    assert found == [pytest.approx((5, 10, 10), abs=1e-4), pytest.approx((8, 50, 30), abs=1e-4)]
    assert plate.slots == 1
    assert plate.slot_polygons[0].area == pytest.approx(120, rel=1e-6)
    assert plate.pockets == ()
    assert plate.size_mm == pytest.approx((100, 60, 3.175), abs=1e-4)


@pytest.mark.parametrize(("about", "degrees"), [(0, 90), (1, 90), (2, 90), (0, 33), (1, -57), (2, 12)])
def test_a_plate_is_found_however_it_lies(about: int, degrees: float) -> None:
    plate = plate_of(turned(turned(holed_plate(), 2, 17.0 if degrees % 90 else 0.0), about, degrees))

    # Corners are stored in 24 bits: 100 mm to about 4e-6 mm.
    assert plate.thickness_mm == pytest.approx(3.175, abs=1e-4)
    assert sorted(hole.diameter_mm for hole in plate.holes) == pytest.approx([5, 8], abs=1e-3)
    expected = 100 * 60 - 20 * 6 - faceted_circle_mm2(5, 48) - faceted_circle_mm2(8, 64)
    assert plate.outline.area == pytest.approx(expected, rel=1e-5)


def test_a_polygon_of_six_sides_and_a_hole_with_a_flat_are_slots() -> None:
    with_flat = [point for point in circle_points(6, 64, (70, 30)) if point[0] < 74.5][::-1]
    plate = plate_of(extruded([rectangle(0, 0, 100, 60), round_hole(10, 6, 30, 30), with_flat], 5))

    assert plate.holes == ()
    assert plate.slots == 2


def test_a_counterbore_is_a_pocket_round_a_hole() -> None:
    plate = plate_of(triangles_of(block() - pin(2.5, 20, 20, -1, 7) - pin(5, 20, 20, 3, 7)))

    assert [hole.diameter_mm for hole in plate.holes] == pytest.approx([5], abs=1e-4)
    assert len(plate.pockets) == 1
    assert plate.pockets[0].depth_mm == pytest.approx(3, abs=1e-5)
    assert plate.pockets[0].area_mm2 == pytest.approx(faceted_circle_mm2(10, 64) - faceted_circle_mm2(5, 64), rel=1e-4)
    assert plate.outline.area == pytest.approx(6000 - faceted_circle_mm2(5, 64), rel=1e-6)


def test_pockets_on_both_faces_are_found_and_the_turning_is_said() -> None:
    recess = manifold3d.Manifold.cube([20, 20, 2])
    plate = plate_of(
        triangles_of(
            block() - recess.translate([10, 10, 4]) - manifold3d.Manifold.cube([30, 10, 1]).translate([50, 20, 0])
        )
    )

    assert sorted((p.area_mm2, p.depth_mm) for p in plate.pockets) == [
        pytest.approx((300, 1), rel=1e-4),
        pytest.approx((400, 2), rel=1e-4),
    ]
    assert any("both faces" in warning for warning in plate.warnings)


def test_a_step_at_the_edge_is_a_pocket() -> None:
    plate = plate_of(triangles_of(block() - manifold3d.Manifold.cube([10, 80, 3]).translate([95, -5, 3])))

    assert plate.outline.area == pytest.approx(6000, rel=1e-6)
    assert [(p.area_mm2, p.depth_mm) for p in plate.pockets] == [pytest.approx((300, 3), rel=1e-4)]


@pytest.mark.parametrize(
    ("triangles", "reason"),
    [
        (np.concatenate([box(50, 40, 3), moved(box(50, 40, 3), 60)]), "2 bodies"),
        (sphere(20), "bent or curved"),
        (cylinder(5, 100), "bent or curved"),
        (triangles_of(block() - pin(1.5, 0, 0, -100, 100).rotate([90, 0, 0]).translate([50, 0, 3])), "cross hole"),
        (triangles_of(block() - manifold3d.Manifold.cylinder(4, 1, 9, 64).translate([50, 30, 3])), "chamfers"),
        (triangles_of(manifold3d.Manifold.cube([40, 50, 3]) + manifold3d.Manifold.cube([40, 3, 50])), "bent sheet"),
        (
            triangles_of(
                manifold3d.Manifold.cube([40, 50, 3])
                + manifold3d.Manifold.cube([40, 3, 50])
                - pin(3, 20, 30, -1, 10)
            ),
            "bent sheet",
        ),
        (triangles_of(block() - manifold3d.Manifold.cube([20, 20, 2]).translate([40, 20, 2])), "cavity"),
        (
            triangles_of(
                block()
                - manifold3d.Manifold.cube([120, 12, 2]).translate([-10, 24, 2])
                - manifold3d.Manifold.cube([120, 4, 10]).translate([-10, 28, 2])
            ),
            "undercut",
        ),
    ],
    ids=["two", "ball", "bar", "cross hole", "countersink", "angle", "angle with hole", "cavity", "undercut"],
)  # fmt: skip
def test_what_is_no_plate_is_refused_with_the_reason(triangles: Triangles, reason: str) -> None:
    with pytest.raises(BadMesh, match=reason):
        plate_of(triangles)


def test_an_open_mesh_is_no_plate() -> None:
    with pytest.raises(BadMesh, match="open"):
        plate_of(holed_plate()[3:])


def test_a_small_cross_hole_in_a_large_plate_is_still_seen() -> None:
    # Walls of the cross hole: π·3·10 = 94 mm² of 2·300·300 + 4·300·10 = 192000 mm², less than the 0.5 % let pass.
    notch = pin(1.5, 0, 0, -10, 10).rotate([90, 0, 0]).translate([150, 0, 5])
    with pytest.raises(BadMesh, match="from the side"):
        plate_of(triangles_of(block(300, 300, 10) - notch))


@settings(max_examples=100, deadline=None)
@given(
    st.floats(30, 400),
    st.floats(30, 300),
    st.floats(1, 25),
    st.integers(0, 6),
    st.integers(12, 96),
    st.floats(0.2, 0.8),
)
def test_every_generated_plate_gives_back_its_thickness_and_holes(
    width: float, height: float, thickness: float, count: int, facets: int, share: float
) -> None:
    pitch = width / (count + 1)
    diameter = share * min(pitch, height)
    holes = [round_hole(diameter, facets, pitch * (index + 1), height / 2) for index in range(count)]
    plate = plate_of(extruded([rectangle(0, 0, width, height), *holes], thickness))

    # With 25 mm of thickness and 30 mm of width the plate is still thinnest through its thickness.
    assert plate.thickness_mm == pytest.approx(thickness, abs=1e-4)
    assert [hole.diameter_mm for hole in plate.holes] == pytest.approx([diameter] * count, abs=2e-3)
    expected = width * height - count * faceted_circle_mm2(diameter, facets)
    assert plate.outline.area == pytest.approx(expected, rel=1e-5)
