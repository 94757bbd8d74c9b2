"""OBJ files: real bytes of solids whose volume is known, and bytes that are none."""

import io

import numpy as np
import pytest
import trimesh

from register.errors import BadMesh
from register.geometry.meshes import read_mesh
from register.geometry.obj import obj_triangles
from tests.geometry.point_files import CORNERS, SQUARES, TRIANGLES, obj, points_and_faces, solid_obj
from tests.geometry.stl_bytes import binary, cone, extruded, inside_out, sphere

CUBE = obj(CORNERS, TRIANGLES)


def test_a_cube_of_triangles_or_of_squares_has_its_volume() -> None:
    for faces in (TRIANGLES, SQUARES):
        mesh = read_mesh(obj(CORNERS, faces), "cube.obj")
        assert (mesh.volume_mm3, mesh.area_mm2) == (pytest.approx(8000.0), pytest.approx(2400.0))
        assert (mesh.closed, mesh.bodies, mesh.warnings, mesh.facets) == (True, 1, (), 12)


def test_a_face_that_is_not_convex_is_cut_into_a_fan_that_keeps_its_volume() -> None:
    # An L of three squares of 10 mm, its inner corner not seen from the fan's first corner: 300 mm² by 5 mm.
    outline = [(10, 10), (10, 20), (0, 20), (0, 0), (20, 0), (20, 10)]
    points = [(x, y, z) for z in (0.0, 5.0) for x, y in outline]
    outline_up, outline_down = (6, 7, 8, 9, 10, 11), (5, 4, 3, 2, 1, 0)
    sides = [(i, (i + 1) % 6, (i + 1) % 6 + 6, i + 6) for i in range(6)]
    for turn in range(6):
        top = outline_up[turn:] + outline_up[:turn]
        mesh = read_mesh(obj(points, [top, outline_down, *sides]), "corner.obj")
        assert (mesh.closed, mesh.volume_mm3) == (True, pytest.approx(1500.0))


def test_texture_and_normal_numbers_groups_and_comments_are_passed_over() -> None:
    lines = [b"\xef\xbb\xbf# drawn elsewhere", b"o cube", b"vt 0 0", b"vn 0 0 1", b"g sides", b"s off", b""]
    lines += [b"v %g %g %g 0.5 0.5 0.5" % corner for corner in CORNERS]
    lines += [b"f " + b" ".join(b"%d/1/1" % (corner + 1) for corner in face) for face in SQUARES[:3]]
    lines += [b"\tf  " + b" ".join(b"%d//1" % (corner + 1) for corner in face) for face in SQUARES[3:]]
    for line_end in (b"\n", b"\r\n", b"\r"):
        assert read_mesh(line_end.join(lines), "cube.obj").volume_mm3 == pytest.approx(8000.0)


def test_points_may_be_counted_backwards_and_a_line_may_go_on_after_a_backslash() -> None:
    lines = [b"v %g %g %g" % corner for corner in CORNERS]
    lines += [b"f " + b" \\\r\n".join(b"%d" % (corner - 8) for corner in face) for face in SQUARES]
    assert read_mesh(b"\r\n".join(lines), "cube.obj").volume_mm3 == pytest.approx(8000.0)


def test_a_file_is_read_the_same_in_pieces_of_any_size(monkeypatch: pytest.MonkeyPatch) -> None:
    content = solid_obj(sphere(10.0, 12)).replace(b"\n", b" \\\n\n").replace(b"f ", b"f \\\r\n")
    whole = obj_triangles(content, "ball.obj")
    for size in range(1, 60):
        monkeypatch.setattr("register.geometry.obj.PIECE_BYTES", size)
        assert np.array_equal(obj_triangles(content, "ball.obj"), whole)


def test_materials_and_textures_are_never_opened(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("a path of the file was followed")

    content = b"mtllib /dev/zero ../../secret.mtl\nusemtl stone\nmaplib //somewhere/else\nusemap x\n" + CUBE
    monkeypatch.setattr("builtins.open", refuse)
    monkeypatch.setattr("io.open", refuse)
    monkeypatch.setattr("os.open", refuse)
    mesh = read_mesh(content, "cube.obj")
    monkeypatch.undo()
    assert mesh.volume_mm3 == pytest.approx(8000.0)


@pytest.mark.parametrize("solid", [cone(7.0, 9.0), sphere(10.0, 24), extruded([[(0, 0), (9, 0), (0, 7)]], 3.0)])
def test_a_solid_is_the_same_as_from_stl_and_as_another_reader_has_it(solid: np.ndarray) -> None:
    content = solid_obj(np.float32(solid).astype(np.float64))
    mesh = read_mesh(content, "solid.obj")
    assert mesh.volume_mm3 == pytest.approx(read_mesh(binary(solid), "solid.stl").volume_mm3, rel=1e-9)
    other = trimesh.load_mesh(io.BytesIO(content), file_type="obj")
    assert mesh.volume_mm3 == pytest.approx(other.volume, rel=1e-9)


def test_the_same_gate_follows_as_for_stl() -> None:
    mesh = read_mesh(obj(*points_and_faces(inside_out(sphere(10.0, 24)))), "ball.obj")
    assert "inside out" in mesh.warnings[0]
    assert read_mesh(CUBE, "cube.obj", "in").volume_mm3 == pytest.approx(8000.0 * 25.4**3)
    assert "inches" in read_mesh(obj(np.array(CORNERS) * 0.001, SQUARES), "cube.obj").warnings[0]


BAD = {
    "no faces": (obj(CORNERS, []), "no facets"),
    "no points": (obj([], [(0, 1, 2)]), "point 2 of its 0"),
    "point zero": (CUBE + b"f 0 1 2\n", "point -1 of its 8"),
    "a point too far": (CUBE + b"f 1 2 9\n", "point 8 of its 8"),
    "a point too far back": (CUBE + b"f 1 2 -9\n", "'-9'"),
    "a broken number": (CUBE + b"f 1 2 3x\n", "'3x'"),
    "an underscore": (CUBE + b"f 1 2 1_0\n", "'1_0'"),
    "an endless number": (CUBE + b"f 1 2 " + b"9" * 5000 + b"\n", "'9999"),
    "nothing before the slash": (CUBE + b"f 1 2 /3\n", "''"),
    "two corners": (CUBE + b"f 1 2\n", "Line 22 of part.obj is a face of fewer than 3 corners"),
    "two figures": (b"v 1 2\n" + CUBE, "Line 1 of part.obj is a point of fewer than 3"),
    "a decimal comma": (CUBE.replace(b"v 20 0 0", b"v 20,0 0 0"), "'20,0'"),
    "NaN": (CUBE.replace(b"v 20 0 0", b"v nan 0 0"), "corner that is not a number"),
    "infinite": (CUBE.replace(b"v 20 0 0", b"v 20 0 1e999"), "corner that is not a number"),
    "a curved surface": (CUBE + b"cstype bezier\n", "curved surfaces"),
    "a command": (CUBE + b"csh -rm\n", "Line 22 of part.obj begins with 'csh'"),
    "another file": (CUBE + b"call other.obj\n", "begins with 'call'"),
    "bytes in between": (CUBE + b"\x1b[2J\n", "\\x1b"),
    "cut short in its faces": (CUBE[: CUBE.index(b"f ") + 20], "Line 12 of part.obj is a face of fewer than 3"),
    "a line without end": (CUBE + b"f " + b"1 " * 2_000_000, "a line of more than"),
}


@pytest.mark.parametrize("case", BAD)
def test_bytes_that_are_no_sound_obj_are_refused_with_a_reason_and_a_cure(case: str) -> None:
    content, reason = BAD[case]
    with pytest.raises(BadMesh) as refused:
        read_mesh(content, "part.obj")
    assert reason in refused.value.what
    assert refused.value.cure.endswith(".")


def test_more_facets_points_or_bytes_than_are_worked_with_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(BadMesh, match="coarser"):
        read_mesh(b"v 0 0 0\n" + b" " * 100_000_000, "huge.obj")
    monkeypatch.setattr("register.geometry.mesh_bytes.MOST_FACETS", 11)
    with pytest.raises(BadMesh, match="12 facets; at most 11"):
        read_mesh(CUBE, "cube.obj")
    monkeypatch.setattr("register.geometry.mesh_bytes.MOST_POINTS", 7)
    with pytest.raises(BadMesh, match="8 points; at most 7"):
        read_mesh(CUBE, "cube.obj")
