"""PLY files: real bytes of solids whose volume is known, and bytes that are none."""

import io
import struct
from collections.abc import Callable

import numpy as np
import pytest
import trimesh

from register.errors import BadMesh
from register.geometry.meshes import read_mesh
from register.geometry.ply import ply_triangles
from tests.geometry.point_files import (
    CORNERS,
    SQUARES,
    TRIANGLES,
    ply_binary,
    ply_header,
    ply_text,
    points_and_faces,
)
from tests.geometry.stl_bytes import binary, cone, extruded, inside_out, sphere

FORMS: dict[str, Callable[..., bytes]] = {
    "text": ply_text,
    "little-endian": ply_binary,
    "big-endian": lambda points, faces: ply_binary(points, faces, ">"),
}
# The cube with one of its squares as two triangles: faces of unlike numbers of corners.
MIXED = [*SQUARES[:-1], TRIANGLES[-2], TRIANGLES[-1]]
TEXT, BINARY = ply_text(CORNERS, TRIANGLES), ply_binary(CORNERS, TRIANGLES)


@pytest.mark.parametrize("form", FORMS)
def test_a_cube_of_triangles_of_squares_or_of_both_has_its_volume(form: str) -> None:
    for faces in (TRIANGLES, SQUARES, MIXED):
        mesh = read_mesh(FORMS[form](CORNERS, faces), "cube.ply")
        assert (mesh.volume_mm3, mesh.area_mm2) == (pytest.approx(8000.0), pytest.approx(2400.0))
        assert (mesh.closed, mesh.bodies, mesh.warnings, mesh.facets) == (True, 1, (), 12)


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("solid", [cone(7.0, 9.0), sphere(10.0, 24), extruded([[(0, 0), (9, 0), (0, 7)]], 3.0)])
def test_a_solid_is_the_same_as_from_stl_and_as_another_reader_has_it(form: str, solid: np.ndarray) -> None:
    content = FORMS[form](*points_and_faces(np.float32(solid).astype(np.float64)))
    mesh = read_mesh(content, "solid.ply")
    assert mesh.volume_mm3 == pytest.approx(read_mesh(binary(solid), "solid.stl").volume_mm3, rel=1e-9)
    other = trimesh.load_mesh(io.BytesIO(content), file_type="ply")
    # The other reader keeps 32 bits of each coordinate.
    assert mesh.volume_mm3 == pytest.approx(other.volume, rel=1e-6)


def test_lines_of_the_header_may_end_in_any_of_the_three_ways() -> None:
    end = BINARY.index(b"end_header\n") + len(b"end_header\n")
    for line_end in (b"\r\n", b"\r"):
        content = BINARY[:end].replace(b"\n", line_end) + BINARY[end:]
        assert read_mesh(content, "cube.ply").volume_mm3 == pytest.approx(8000.0)
    # Here the first byte of the figures is a line feed: 0 becomes 1.4e-44.
    points = np.array(CORNERS, dtype="<f4")
    points.view(np.uint8)[0, 0] = 10
    faces = b"".join(b"\3" + struct.pack("<3i", *face) for face in TRIANGLES)
    header = ply_header("binary_little_endian", 8, 12).replace(b"\n", b"\r")
    assert read_mesh(header + points.tobytes() + faces, "cube.ply").volume_mm3 == pytest.approx(8000.0)


def test_colours_normals_edges_and_other_lists_are_passed_over() -> None:
    colour = "property uchar red\nproperty double alpha\n"
    more = "property uchar flag\nproperty list uchar float texcoord\n"
    edges = "element edge 2\nproperty int vertex1\nproperty int vertex2\nelement strip 1\nproperty list int int all\n"
    header = ply_header("binary_little_endian", 8, 7, colour, more + edges)
    body = b"".join(struct.pack("<3fBd", *corner, 7, 0.5) for corner in CORNERS)
    for number, face in enumerate(MIXED):
        body += bytes([len(face)]) + struct.pack(f"<{len(face)}i", *face) + b"\1"
        body += bytes([number]) + struct.pack(f"<{number}f", *range(number))
    body += struct.pack("<4i", 0, 1, 1, 2) + struct.pack("<4i", 3, 5, 6, 7)
    assert read_mesh(header + body, "cube.ply").volume_mm3 == pytest.approx(8000.0)
    rows = [f"{x} {y} {z} 7 0.5" for x, y, z in CORNERS]
    rows += [" ".join(map(str, (len(f), *f, 1, k, *range(k)))) for k, f in enumerate(MIXED)]
    text = header.replace(b"binary_little_endian", b"ascii") + "\n".join([*rows, "0 1", "1 2", "3 5 6 7"]).encode()
    assert read_mesh(text, "cube.ply").volume_mm3 == pytest.approx(8000.0)


def test_text_is_read_the_same_in_pieces_of_any_size(monkeypatch: pytest.MonkeyPatch) -> None:
    content = ply_text(*points_and_faces(sphere(10.0, 12)))
    whole = ply_triangles(content, "ball.ply")
    monkeypatch.setattr("register.geometry.ply_bodies.BLOCK_WORDS", 7)
    monkeypatch.setattr("register.geometry.ply_bodies.BLOCK_FACES", 3)
    for size in range(1, 60):
        monkeypatch.setattr("register.geometry.mesh_bytes.PIECE_BYTES", size)
        assert np.array_equal(ply_triangles(content, "ball.ply"), whole)


def test_the_same_gate_follows_as_for_stl() -> None:
    mesh = read_mesh(ply_binary(*points_and_faces(inside_out(sphere(10.0, 24)))), "ball.ply")
    assert "inside out" in mesh.warnings[0]
    assert read_mesh(TEXT, "cube.ply", "cm").volume_mm3 == pytest.approx(8e6)


BAD = {
    "no end of the header": (b"ply\nformat ascii 1.0\nelement vertex 8\n", "has no end"),
    "no form": (TEXT.replace(b"format ascii 1.0\n", b""), "three forms"),
    "another form": (TEXT.replace(b"ascii", b"packed"), "three forms"),
    "a strange line": (TEXT.replace(b"comment made", b"common made"), "not understood: 'common made for a test'"),
    "a strange kind": (TEXT.replace(b"float z", b"half z"), "'property half z'"),
    "a property of nothing": (TEXT.replace(b"element vertex 8\n", b""), "not understood"),
    "a negative count": (TEXT.replace(b"vertex 8", b"vertex -8"), "not understood"),
    "a count in letters": (TEXT.replace(b"vertex 8", b"vertex eight"), "not understood"),
    "an endless count": (TEXT.replace(b"vertex 8", b"vertex " + b"9" * 5000), "not understood"),
    "an element twice": (ply_header("ascii", 8, 6, "", "element face 1\nproperty int a\n"), "element face twice"),
    "a property twice": (TEXT.replace(b"float z", b"float y"), "property y twice"),
    "an element of nothing": (ply_header("ascii", 0, 0, "", "element edge 9\n"), "what the element edge is made of"),
    "a list counted in fractions": (TEXT.replace(b"uchar int", b"float int"), "not understood"),
    "no z": (TEXT.replace(b"property float z\n", b""), "without plain points"),
    "no faces": (TEXT.replace(b"element face", b"element side"), "without faces"),
    "no corners": (TEXT.replace(b"vertex_indices", b"vertex_colours"), "without faces"),
    "corners in fractions": (TEXT.replace(b"uchar int", b"uchar float"), "without faces"),
    "an empty mesh": (ply_header("ascii", 0, 0), "no facets"),
    "points alone": (ply_text(CORNERS, []), "no facets"),
    "a count of four billion": (BINARY.replace(b"vertex 8", b"vertex 4294967295"), "more than its bytes can be"),
    "as many in text": (TEXT.replace(b"face 12", b"face 4294967295"), "more than its bytes can be"),
    "a count that is too high": (BINARY.replace(b"face 12", b"face 13"), "cut short"),
    "a count that is too low": (BINARY.replace(b"face 12", b"face 11"), "13 bytes after its end"),
    "a count that is too high in text": (TEXT.replace(b"face 12", b"face 13"), "cut short"),
    "a count that is too low in text": (TEXT.replace(b"face 12", b"face 11"), "text after its end"),
    "cut short": (BINARY[:-1], "cut short"),
    "cut short in text": (TEXT[:-8], "cut short"),
    "bytes after the end": (BINARY + b"\0", "1 bytes after its end"),
    "text after the end": (TEXT + b"thank you", "text after its end"),
    "a point too far": (ply_text(CORNERS, [*SQUARES, (1, 2, 8)]), "point 8 of its 8"),
    "a point too far in binary": (ply_binary(CORNERS, [*TRIANGLES, (1, 2, 8)]), "point 8 of its 8"),
    "a point below the first": (ply_binary(CORNERS, [*TRIANGLES, (1, 2, -1)]), "point -1 of its 8"),
    "a point below the first in text": (ply_text(CORNERS, [*SQUARES, (1, 2, -1)]), "'-1'"),
    "half a point": (TEXT.replace(b"3 0 2 3\n", b"3 0 2.5 3\n"), "'2.5'"),
    "two corners": (ply_text(CORNERS, [*SQUARES, (1, 2)]), "fewer than 3 corners"),
    "no corner": (ply_binary(CORNERS, [*SQUARES, ()]), "fewer than 3 corners"),
    "no corner in text": (ply_text(CORNERS, [*SQUARES, ()]), "fewer than 3 corners"),
    "a face of a million corners": (
        ply_header("ascii", 8, 1) + b"0 0 0\n" * 8 + b"1000000 " + b"1 " * 1_000_000,
        "face of 1000000 corners",
    ),
    "as many in binary": (
        BINARY.replace(b"list uchar", b"list int").replace(b"face 12", b"face 3"),
        "corners",
    ),
    "fewer than no corners": (
        ply_header("binary_little_endian", 8, 1).replace(b"list uchar", b"list char") + bytes(96) + b"\xff" + bytes(9),
        "face of -1 corners",
    ),
    "NaN": (ply_binary([(float("nan"), 0, 0), *CORNERS[1:]], TRIANGLES), "corner that is not a number"),
    "NaN in text": (ply_text([(float("nan"), 0, 0), *CORNERS[1:]], TRIANGLES), "corner that is not a number"),
    "infinite": (ply_binary([(float("inf"), 0, 0), *CORNERS[1:]], TRIANGLES), "corner that is not a number"),
    "a decimal comma": (TEXT.replace(b"20 0 0\n", b"20,0 0 0\n", 1), "'20,0'"),
    "colours of a terminal": (TEXT.replace(b"comment made", b"\x1b[2J made"), "\\x1b[2J"),
}


@pytest.mark.parametrize("case", BAD)
def test_bytes_that_are_no_sound_ply_are_refused_with_a_reason_and_a_cure(case: str) -> None:
    content, reason = BAD[case]
    with pytest.raises(BadMesh) as refused:
        read_mesh(content, "part.ply")
    assert reason in refused.value.what
    assert refused.value.cure.endswith(".")


def test_more_facets_than_are_worked_with_are_refused_before_they_are_made() -> None:
    # One point, and 260 faces of 10,000 corners each at it: 2.6 million triangles in 2.6 MB.
    header = ply_header("binary_little_endian", 1, 260).replace(b"uchar int", b"ushort uchar")
    with pytest.raises(BadMesh, match="2599480 facets; at most"):
        read_mesh(header + bytes(12) + (struct.pack("<H", 10_000) + bytes(10_000)) * 260, "fan.ply")
    with pytest.raises(BadMesh, match="coarser"):
        read_mesh(BINARY + bytes(60_000_084), "huge.ply")
