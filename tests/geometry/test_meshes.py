"""The gate for mesh files: real STL bytes of solids whose volume is known, and bytes that are none."""

import hashlib
import math
import struct

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from register.errors import BadMesh, BadQuantity
from register.geometry.meshes import Mesh, read_mesh
from tests.geometry.point_files import CORNERS, SQUARES, TRIANGLES, obj, ply_binary, ply_text, points_and_faces
from tests.geometry.stl_bytes import ascii_stl, binary, box, cone, cube, cylinder, extruded, inside_out, moved, sphere

CUBE = binary(cube(20.0))


def test_a_cube_has_its_volume_area_and_size_from_binary_and_from_ascii() -> None:
    for content in (CUBE, ascii_stl(cube(20.0))):
        mesh = read_mesh(content, "cube.stl")
        assert mesh.volume_mm3 == pytest.approx(8000.0, rel=1e-9)
        assert mesh.area_mm2 == pytest.approx(2400.0, rel=1e-9)
        assert mesh.size_mm == pytest.approx((20.0, 20.0, 20.0))
        assert (mesh.closed, mesh.bodies, mesh.warnings, mesh.patches) == (True, 1, (), 0)
        assert mesh.sha256 == hashlib.sha256(content).hexdigest()


def test_faceted_round_solids_have_the_volume_of_their_facets() -> None:
    # A regular n-gon on a circle of radius r has the area (n/2)·r²·sin(2π/n): closed form.
    base = 32 * 10.0**2 * math.sin(2 * math.pi / 64)
    assert read_mesh(binary(cylinder(10.0, 30.0)), "c").volume_mm3 == pytest.approx(base * 30.0, rel=1e-6)
    assert read_mesh(binary(cone(10.0, 30.0)), "k").volume_mm3 == pytest.approx(base * 10.0, rel=1e-6)


def test_a_fine_sphere_comes_near_to_its_closed_form() -> None:
    mesh = read_mesh(binary(sphere(10.0, 256)), "ball")
    assert mesh.volume_mm3 == pytest.approx(4 / 3 * math.pi * 1000.0, rel=5e-4)
    assert mesh.area_mm2 == pytest.approx(4 * math.pi * 100.0, rel=5e-4)


def test_a_hole_is_not_counted_as_material() -> None:
    square, hole = [(0, 0), (30, 0), (30, 20), (0, 20)], [(5, 5), (5, 15), (15, 15), (15, 5)]
    assert read_mesh(binary(extruded([square, hole], 4.0)), "plate").volume_mm3 == pytest.approx(4 * (600 - 100))


@pytest.mark.parametrize(("unit", "factor"), [("mm", 1.0), ("cm", 10.0), ("m", 1000.0), ("in", 25.4)])
def test_every_unit_scales_the_part(unit: str, factor: float) -> None:
    mesh = read_mesh(binary(cube(2.0)), "cube", unit)
    assert mesh.size_mm[0] == pytest.approx(2.0 * factor)
    assert mesh.volume_mm3 == pytest.approx(8.0 * factor**3, rel=1e-9)


def test_an_unknown_unit_is_refused() -> None:
    with pytest.raises(BadQuantity, match="furlong"):
        read_mesh(CUBE, "cube", "furlong")


def test_a_size_that_looks_like_metres_or_inches_is_said() -> None:
    assert "metres or inches" in read_mesh(binary(cube(0.05)), "cube").warnings[0]
    assert "give its unit" in read_mesh(binary(cube(100.0)), "cube", "in").warnings[0]
    assert read_mesh(binary(cube(8.0)), "spacer").warnings == ()


def test_a_binary_file_whose_header_begins_with_solid_is_read_as_binary() -> None:
    assert read_mesh(binary(cube(20.0), header=b"solid cube"), "cube").volume_mm3 == pytest.approx(8000.0)


def test_an_ascii_file_may_have_several_solids_other_line_ends_and_capitals() -> None:
    both = ascii_stl(cube(10.0)) + ascii_stl(moved(cube(10.0), 20.0))
    for content in (
        both,
        both.replace(b"\n", b"\r\n"),
        both.replace(b"\n", b"\r"),
        both.upper(),
        b"\xef\xbb\xbf" + both,
    ):
        mesh = read_mesh(content, "two")
        assert (mesh.bodies, mesh.volume_mm3) == (2, pytest.approx(2000.0))


HEAD = b"made for a test".ljust(80, b"\0")
LOOSE = np.array([[[0, 0, 0], [9, 0, 0], [0, 9, 1]], [[50, 0, 9], [59, 0, 9], [50, 9, 2]]])
BAD = {
    "empty": (b"", "is empty"),
    "web page": (b"<!DOCTYPE html><html><body>Sign in</body></html>" * 9, "web page"),
    "archive": (b"PK\x03\x04" + bytes(200), "zip archive"),
    "a few bytes": (b"solid", "endsolid"),
    "short binary": (bytes(50), "50 bytes"),
    "a count that is one too high": (CUBE[:80] + struct.pack("<I", 13) + CUBE[84:], "13 facets but ends after 12"),
    "a count that is one too low": (CUBE[:80] + struct.pack("<I", 11) + CUBE[84:], "50 bytes after its 11 facets"),
    "a count of none": (CUBE[:80] + bytes(4) + CUBE[84:], "600 bytes after its 0 facets"),
    "cut short": (CUBE[:-70], "says that it holds 12 facets but ends after 10"),
    "count of four billion": (HEAD + struct.pack("<I", 0xFFFFFFFF) + CUBE[84:], "4294967295 facets"),
    "bytes after the end": (CUBE + b"\0\0\0", "3 bytes after its 12 facets"),
    "no facets": (HEAD + bytes(4), "no facets"),
    "ASCII without facets": (b"solid a\nendsolid a\n", "no facets"),
    "ASCII without its end": (ascii_stl(cube(9.0)).replace(b"endsolid made for a test", b""), "do not match"),
    "ASCII cut in a facet": (ascii_stl(cube(9.0)).replace(b"    endloop\n", b"", 1), "not complete"),
    "ASCII with a comma": (ascii_stl(cube(9.0)).replace(b"vertex 9 9 9", b"vertex 9,0 9 9"), "not a number: '9,0'"),
    "ASCII with text behind": (ascii_stl(cube(9.0)) + b"thank you\n", "outside its solids"),
    "ASCII with NaN": (ascii_stl(cube(9.0)).replace(b"vertex 9 9 9", b"vertex nan 9 9"), "not a number"),
    "NaN": (binary(np.where(np.arange(108).reshape(-1, 3, 3) == 40, np.nan, cube(9.0))), "Facet 5"),
    "infinite": (binary(np.where(np.arange(108).reshape(-1, 3, 3) == 9, np.inf, cube(9.0))), "Facet 2"),
    "flat": (binary(cube(20.0) * [1, 1, 0]), "flat"),
    "a single point": (binary(cube(0.0)), "flat"),
    "too large": (binary(cube(20_000.0)), "20 m long in mm"),
    "beyond all numbers": (ascii_stl(cube(9.0)).replace(b"vertex 9 9 9", b"vertex 9e999 9 9"), "not a number"),
    "far beyond": (ascii_stl(cube(9.0)).replace(b"vertex 9 9 9", b"vertex 1.7e308 9 -1.7e308"), "1 km away"),
    "far away": (binary(moved(cube(20.0), 2e6)), "1 km away from the origin"),
    "skin without inside": (binary(np.concatenate([cube(9.0)[:5], inside_out(cube(9.0)[:5])])), "no volume"),
    "loose facets": (binary(LOOSE), "not a body"),
}


@pytest.mark.parametrize("case", BAD)
def test_bytes_that_are_no_mesh_are_refused_with_a_reason_and_a_cure(case: str) -> None:
    content, reason = BAD[case]
    with pytest.raises(BadMesh) as refused:
        read_mesh(content, "part.stl")
    assert reason in refused.value.what
    assert refused.value.cure.endswith(".")


def test_more_bytes_than_are_worked_with_are_refused() -> None:
    # 84 + 50 · 1,200,001 bytes: a sound binary file of one facet too many.
    for content in (HEAD + struct.pack("<I", 1_200_001) + bytes(60_000_050), b"solid a" + b" " * 100_000_000):
        with pytest.raises(BadMesh, match="coarser"):
            read_mesh(content, "huge.stl")


def test_a_name_with_hidden_characters_is_written_out() -> None:
    with pytest.raises(BadMesh) as refused:
        read_mesh(b"", "a\x1b[2Jb.stl")
    assert "\x1b" not in str(refused.value)


def test_an_inside_out_mesh_is_turned_and_it_is_said() -> None:
    mesh = read_mesh(binary(inside_out(cube(20.0))), "cube")
    assert (mesh.closed, mesh.volume_mm3) == (True, pytest.approx(8000.0))
    assert "inside out" in mesh.warnings[0]


def test_single_facets_wound_the_wrong_way_are_turned() -> None:
    solid = cylinder(10.0, 30.0)
    right = read_mesh(binary(solid), "c").volume_mm3
    solid[[3, 40, 41, 90]] = solid[[3, 40, 41, 90]][:, ::-1]
    mesh = read_mesh(binary(solid), "c")
    assert (mesh.closed, mesh.volume_mm3) == (True, pytest.approx(right, rel=1e-9))
    assert "wound" in mesh.warnings[0]


def test_one_of_two_bodies_wound_inward_is_turned() -> None:
    both = np.concatenate([cube(10.0), moved(inside_out(cube(4.0)), 30.0)])
    mesh = read_mesh(binary(both), "two")
    assert (mesh.bodies, mesh.volume_mm3) == (2, pytest.approx(1064.0))


@pytest.mark.parametrize("turned", [False, True])
def test_a_cavity_is_taken_off_and_is_no_body_of_its_own(turned: bool) -> None:
    hollow = np.concatenate([cube(10.0), moved(inside_out(cube(6.0)), 2.0, 2.0, 2.0)])
    mesh = read_mesh(binary(inside_out(hollow) if turned else hollow), "hollow")
    assert (mesh.closed, mesh.bodies, mesh.volume_mm3) == (True, 1, pytest.approx(1000.0 - 216.0))


def test_a_body_inside_a_cavity_counts_again() -> None:
    parts = [cube(10.0), moved(inside_out(cube(6.0)), 2, 2, 2), moved(inside_out(cube(2.0)), 4, 4, 4)]
    mesh = read_mesh(binary(np.concatenate(parts)), "rattle")
    assert (mesh.bodies, mesh.volume_mm3) == (2, pytest.approx(1000.0 - 216.0 + 8.0))


def test_what_overlapping_bodies_share_counts_once_and_it_is_said() -> None:
    both = np.concatenate([cube(10.0), moved(cube(10.0), 5.0)])
    mesh = read_mesh(binary(both), "two")
    assert mesh.volume_mm3 == pytest.approx(1500.0, rel=1e-6)
    assert "overlap" in mesh.warnings[-1]


@pytest.mark.parametrize("solid", [cube(10.0), cone(10.0, 30.0), sphere(10.0, 48)])
def test_a_body_that_lies_in_the_file_twice_counts_once_and_it_is_said(solid: np.ndarray) -> None:
    once, twice = (read_mesh(binary(np.concatenate([solid] * times)), "part") for times in (1, 2))
    assert once.warnings == ()
    assert twice.volume_mm3 == pytest.approx(once.volume_mm3, rel=1e-6)
    assert "more than once" in twice.warnings[-1]


def test_copies_of_a_body_a_hair_apart_count_once_and_it_is_said() -> None:
    mesh = read_mesh(binary(np.concatenate([sphere(10.0, 48), moved(sphere(10.0, 48), 0.01)])), "part")
    # The balls' union is larger than one by its shadow's area, π·10², times 0.01.
    assert mesh.volume_mm3 == pytest.approx(read_mesh(binary(sphere(10.0, 48)), "part").volume_mm3 + math.pi, rel=2e-3)
    assert "overlap" in mesh.warnings[-1]


def test_an_inner_body_wound_outward_is_not_counted_twice_and_it_is_said() -> None:
    mesh = read_mesh(binary(np.concatenate([cube(10.0), moved(cube(6.0), 2.0, 2.0, 2.0)])), "hollow")
    # What overlaps is found at some heights: its 6 mm are known to a three-hundredth of the part's 10.
    assert mesh.volume_mm3 == pytest.approx(1000.0, abs=10 / 300 * 36)
    assert "A hollow whose facets point outward counts as solid" in mesh.warnings[-1]


def test_separate_bodies_are_counted_and_said() -> None:
    three = np.concatenate([moved(cube(5.0), 10.0 * i) for i in range(3)])
    mesh = read_mesh(binary(three), "three")
    assert (mesh.bodies, mesh.volume_mm3) == (3, pytest.approx(375.0))
    assert "3 separate bodies" in mesh.warnings[0]


def test_a_box_without_its_lid_is_accepted_with_a_flat_lid_and_a_warning() -> None:
    whole = box(40.0, 30.0, 20.0)
    lid = (whole[..., 2] == 20.0).all(axis=1)
    mesh = read_mesh(binary(whole[~lid]), "tray")
    assert (mesh.closed, mesh.patches) == (False, 4)
    assert mesh.volume_mm3 == pytest.approx(24_000.0, rel=1e-9)
    # 40·30 below and 2·(40 + 30)·20 around: the lid is not in the file.
    assert mesh.area_mm2 == pytest.approx(1200.0 + 2800.0, rel=1e-9)
    assert "open at 4 edges" in mesh.warnings[0]


def test_a_tube_open_at_both_ends_is_closed_at_both() -> None:
    whole = cylinder(10.0, 60.0)
    side = np.ptp(whole[..., 2], axis=1) > 0
    mesh = read_mesh(binary(whole[side]), "tube")
    assert not mesh.closed
    assert mesh.volume_mm3 == pytest.approx(32 * 100 * math.sin(2 * math.pi / 64) * 60, rel=1e-6)


@pytest.mark.parametrize("hair_mm", [1e-5, 5e-4])
def test_corners_that_miss_each_other_by_a_hair_are_joined(hair_mm: float) -> None:
    noise = np.random.default_rng(5).uniform(-hair_mm, hair_mm, (12, 3, 3))
    mesh = read_mesh(binary(cube(20.0) + 0.003 + noise), "cube")
    assert (mesh.closed, mesh.bodies, mesh.warnings) == (True, 1, ())
    assert mesh.volume_mm3 == pytest.approx(8000.0, rel=1e-3)


def test_facets_without_area_do_no_harm() -> None:
    extra = np.array([[[0.0, 0, 0], [0, 0, 0], [20, 0, 0]], [[20.0, 20, 20]] * 3])
    mesh = read_mesh(binary(np.concatenate([cube(20.0), extra])), "cube")
    assert (mesh.closed, mesh.volume_mm3) == (True, pytest.approx(8000.0))


def test_a_part_far_from_its_origin_keeps_its_volume() -> None:
    # Single precision has steps of 1/1024 mm at 10 m, and 10240 and 20 are exact in it.
    assert read_mesh(binary(moved(cube(20.0), 10240.0, -10240.0, 512.0)), "cube").volume_mm3 == pytest.approx(8000.0)


SHAPE = points_and_faces(cylinder(5.0, 9.0, 8))
SEEDS = [
    *(CUBE, ascii_stl(cube(20.0)), binary(cylinder(5.0, 9.0, 8)), ascii_stl(cone(5.0, 9.0, 6))),
    *(obj(CORNERS, SQUARES), obj(*SHAPE), ply_text(CORNERS, SQUARES), ply_text(*SHAPE)),
    *(ply_binary(CORNERS, SQUARES), ply_binary(CORNERS, [*SQUARES[:5], *TRIANGLES[10:]], ">"), ply_binary(*SHAPE)),
]


@st.composite
def mutated(draw: st.DrawFn) -> bytes:
    content = bytearray(draw(st.sampled_from(SEEDS)))
    for _ in range(draw(st.integers(1, 6))):
        place = draw(st.integers(0, max(len(content) - 1, 0)))
        act = draw(st.sampled_from(["set", "cut", "insert", "delete", "swap"]))
        if act == "set" and content:
            content[place] = draw(st.integers(0, 255))
        elif act == "cut":
            del content[place:]
        elif act == "insert":
            content[place:place] = draw(st.binary(max_size=60))
        elif act == "delete":
            del content[place : place + draw(st.integers(1, 60))]
        else:
            content[place : place + 4] = struct.pack("<f", draw(st.floats(width=32)))
    return bytes(content)


@settings(max_examples=600, deadline=None)
@given(mutated())
def test_damaged_files_give_a_mesh_or_a_refusal_and_nothing_else(content: bytes) -> None:
    try:
        mesh = read_mesh(content, "damaged")
    except BadMesh as refused:
        assert refused.what
        assert refused.cure
    else:
        assert isinstance(mesh, Mesh)
        assert 0.0 < mesh.volume_mm3 <= math.prod(mesh.size_mm) * 1.001
        assert np.isfinite(mesh.triangles_mm).all()
