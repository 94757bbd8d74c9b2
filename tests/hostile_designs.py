"""Files that are built to be slow, large or misread: each with one idea."""

import io
import json
import math
import struct
import zipfile
from collections.abc import Callable
from random import Random
from typing import Any

import ezdxf
import numpy as np

from tests.geometry.packed_bytes import ROOT, components, mesh_object, model, package, packed, zipped
from tests.geometry.point_files import CORNERS, SQUARES, obj, ply_binary, ply_header, ply_text, points_and_faces
from tests.geometry.stl_bytes import ascii_stl, binary, box, cube, cylinder, moved, sphere
from tests.hostile_rows import SIGNS

Design = Callable[[], bytes]
CUBE = mesh_object(1, cube(20.0))


def _soup(count: int) -> bytes:
    """Triangles that have nothing to do with each other."""
    return binary(np.random.default_rng(1).uniform(0, 200, (count, 3, 3)))


def _crumbs(count: int, inward: bool) -> bytes:
    """Many separate tetrahedra, every second of them wound inward."""
    corners = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]], dtype=float)
    one = corners[[[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]]]
    places = np.random.default_rng(2).uniform(0, 300, (count, 1, 1, 3))
    every = one + places
    if inward:
        every[::2] = every[::2, :, ::-1]
    return binary(every.reshape(-1, 3, 3))


def _fan(count: int) -> bytes:
    """One corner and one edge that all triangles share."""
    apex, foot = np.zeros(3), np.array([0.0, 0.0, 50.0])
    turns = np.linspace(0, 2 * math.pi, count, endpoint=False)
    rim = np.stack([50 * np.cos(turns), 50 * np.sin(turns), np.full(count, 25.0)], axis=1)
    return binary(np.stack([np.broadcast_to(apex, rim.shape), np.broadcast_to(foot, rim.shape), rim], axis=1))


STL_BINARY: list[Design] = [
    lambda: binary(cube(20.0))[:80] + b"\xff\xff\xff\xff" + binary(cube(20.0))[84:],
    lambda: binary(cube(20.0), header=b"PK\x03\x04"),
    lambda: binary(cube(20.0), header=b"solid \x1b[2J"),
    lambda: _soup(20_000),
    lambda: _soup(200_000),
    lambda: _crumbs(50_000, False),
    lambda: _crumbs(50_000, True),
    lambda: _fan(100_000),
    lambda: binary(np.repeat(cube(20.0), 20_000, axis=0)),
    lambda: binary(box(0.01, 0.01, 9999.0)),
    lambda: binary(cylinder(100.0, 9000.0, 40_000)),
    lambda: binary(box(9999.0, 9999.0, 9999.0)),
    lambda: binary(sphere(4999.0, 500)),
    lambda: binary(np.concatenate([moved(box(300.0, 300.0, 0.002), 0.0, 0.0, 0.05 * k) for k in range(4000)])),
]
STL_ASCII: list[Design] = [
    lambda: b"solid " + b"a" * 20_000_000,
    lambda: b"solid a\n" + b"facet " * 4_000_000,
    lambda: b"solid a\nendsolid a\n" * 500_000,
    lambda: ascii_stl(cube(20.0)).replace(b" 20", b" " + b"2" * 5_000_000, 1),
    lambda: ascii_stl(cube(20.0)) * 2000,
    lambda: b" " * 50_000_000 + b"solid",
    lambda: ascii_stl(cube(20.0), SIGNS),
]


def _doubling(deep: int, first: str) -> list[str]:
    return [first, *(components(k, [(k - 1, ""), (k - 1, "1 0 0 0 1 0 0 0 1 0.5 0 0")]) for k in range(2, deep))]


LAUGHS = "".join(f'<!ENTITY {b} "{f"&{a};" * 10}">' for a, b in zip("abcdefgh", "bcdefghi", strict=True))
PACKED: list[Design] = [
    lambda: package(f'<?xml version="1.0"?><!DOCTYPE m [<!ENTITY a "ha">{LAUGHS}]><m>&i;</m>'),
    lambda: package('<!DOCTYPE m [<!ENTITY a SYSTEM "file:///dev/zero">]><m>&a;</m>'),
    lambda: package('<!DOCTYPE m SYSTEM "http://localhost:9/x.dtd"><m/>'),
    lambda: package(" " * 140_000_000),
    lambda: package(b"<!--" + Random(3).randbytes(10_000_000).hex().encode()),
    lambda: package(f'<model x="{"x" * 30_000_000}"/>'),
    lambda: package(model([f'<x:y{k} xmlns:x="urn:{k}"/>' for k in range(200_000)], [])),
    lambda: package(model(["<a>" * 1_000_000], [])),
    lambda: package(f'<a:b xmlns:a="{"u" * 200_000}">' + "<a:b/>" * 2_000_000),
    lambda: package(model(_doubling(40, CUBE), [(39, "")])),
    lambda: package(model(_doubling(12, CUBE), [(11, "")])),
    lambda: package(model(_doubling(40, '<object id="1"><mesh/></object>'), [(39, "")])),
    lambda: package(model([CUBE], [(1, f"1 0 0 0 1 0 0 0 1 {21 * k} 0 0") for k in range(400)])),
    lambda: package(model([CUBE], [(1, "")] * 9_000)),
    lambda: package(model([CUBE], [(1, "")] * 2_000_000)),
    lambda: package(model([f'<object id="{k}"/>' for k in range(1, 500_000)], [(1, "")])),
    lambda: package(model(['<object id="1"><mesh><vertices>' + '<vertex x="0" y="0" z="0"/>' * 2_000_000], [])),
    lambda: packed(sphere(50.0, 700)),
    lambda: zipped({f"{k}": "" for k in range(30_000)}),
    lambda: zipped({"[Content_Types].xml": "", "_rels/.rels": ROOT + " " * 200_000_000}),
]


def _overlapping() -> bytes:
    """A thousand names for the same ten million blanks."""
    content = bytearray(zipped({"a": " " * 10_000_000}))
    at = content.index(b"PK\x01\x02")
    entry, end = bytes(content[at : content.index(b"PK\x05\x06")]), content.index(b"PK\x05\x06")
    made = content[:at] + b"".join(entry[:46] + bytes([97 + k % 26]) for k in range(900))
    size = struct.pack("<HHHHIIH", 0, 0, 900, 900, 900 * 47, at, 0)
    assert end > at
    return bytes(made + b"PK\x05\x06" + size)


PACKED.append(_overlapping)


def _drawing(fill: Callable[[Any, Any], object]) -> bytes:
    drawing = ezdxf.new("R2010", units=4)
    fill(drawing, drawing.modelspace())
    text = io.StringIO()
    drawing.write(text)
    return text.getvalue().encode()


def _nested(drawing: Any, space: Any, wide: int = 10, deep: int = 12) -> None:
    drawing.blocks.new("B0").add_circle((0, 0), 1)
    for level in range(1, deep):
        block = drawing.blocks.new(f"B{level}")
        for k in range(wide):
            block.add_blockref(f"B{level - 1}", (k, 0))
    space.add_blockref(f"B{deep - 1}", (0, 0))


def _in_itself(drawing: Any, space: Any) -> None:
    drawing.blocks.new("B").add_blockref("B", (1, 1))
    space.add_blockref("B", (0, 0))


def _zigzag(count: int) -> Callable[[Any, Any], object]:
    """A closed line that crosses itself as often as it can."""
    chance = Random(4)
    points = [(chance.uniform(0, 500), chance.uniform(0, 500)) for _ in range(count)]
    return lambda drawing, space: space.add_lwpolyline(points, close=True)


def _plate_with(add: Callable[[Any], object]) -> Callable[[Any, Any], object]:
    def fill(drawing: Any, space: Any) -> None:
        space.add_lwpolyline([(0, 0), (500, 0), (500, 500), (0, 500)], close=True)
        add(space)

    return fill


def _circles(space: Any) -> None:
    for k in range(5_000):
        space.add_circle((250 + 100 * math.cos(k), 250 + 100 * math.sin(k)), 90)


def _rings(space: Any) -> None:
    for k in range(3_000):
        space.add_circle((250, 250), 10 + 0.07 * k)


def _star(space: Any) -> None:
    """Lines that all but meet in one point, and lines that do."""
    for k in range(10_000):
        space.add_line((100 + 1e-6 * k, 100), (300 + 0.01 * k, 200))
        space.add_line((100, 100), (300, 200 + 0.02 * k))


def _small_holes(space: Any) -> None:
    for k in range(4_000):
        space.add_circle((5 + 7 * (k % 70), 5 + 8 * (k // 70)), 1.5)


def _loose_lines(space: Any, count: int = 20_000) -> None:
    chance = Random(5)
    for _ in range(count):
        space.add_line((chance.uniform(1, 499), chance.uniform(1, 499)), (chance.uniform(1, 499), 1))


DXF: list[Design] = [
    lambda: _drawing(_nested),
    lambda: _drawing(_in_itself),
    lambda: _drawing(lambda drawing, space: (
        drawing.blocks.new("B").add_circle((0, 0), 1),
        space.add_blockref("B", (0, 0), {"row_count": 30_000, "column_count": 30_000, "row_spacing": 1}),
    )),
    lambda: _drawing(_zigzag(300)),
    lambda: _drawing(_zigzag(5_000)),
    lambda: _drawing(_plate_with(_circles)),
    lambda: _drawing(_plate_with(_small_holes)),
    lambda: _drawing(_plate_with(_rings)),
    lambda: _drawing(_plate_with(_star)),
    lambda: _drawing(_plate_with(_loose_lines)),
    lambda: _drawing(_plate_with(lambda space: _loose_lines(space, 70_000))),
    lambda: _drawing(_plate_with(lambda space: space.add_ellipse((250, 250), (100, 0), 1e-6))),
    lambda: _drawing(_plate_with(lambda space: space.add_circle((1e300, 1e300), 1e300))),
    lambda: _drawing(_plate_with(lambda space: space.add_spline([(k % 7, k % 11) for k in range(3_000)]))),
    lambda: _drawing(_plate_with(lambda space: space.add_text(SIGNS.replace("\n", " ").replace("\r", " ")))),
    lambda: b"  0\nSECTION\n" * 1_000_000 + b"  0\nEOF\n",
    lambda: b"  0\nSECTION\n  2\nHEADER\n" + b"  9\n$A\n 40\n1e999\n" * 300_000 + b"  0\nENDSEC\n  0\nEOF\n",
]  # fmt: skip
DXF_BINARY: list[Design] = [
    lambda: b"AutoCAD Binary DXF\r\n\x1a\0" + b"\0\0SECTION\0" * 300_000 + b"\0\0EOF\0",
    lambda: b"AutoCAD Binary DXF\r\n\x1a\0" + b"\x01\0" + b"a" * 20_000_000 + b"SECTION EOF",
]
PROGRAMS: list[Design] = [
    lambda: b"G1 X1 F600\n" + b"X2\nX1\n" * 400_000,
    lambda: b"G1 F600 X1\n" + b"G2 X1 Y0 I-10000 J0\n" * 200_000,
    lambda: b"G0 X1\n" + b"G83 X1 Z-9000 R1 Q.1 F600\n" * 1000,
    lambda: b"G83 X1 Z-999 R1 Q1 F600\n" + b"X2\n" * 100_000,
    lambda: b"X" * 50_000_000,
    lambda: b"(" * 50_000_000,
    lambda: b"G1" + b" X1" * 10_000_000 + b"F1",
    lambda: b"\n" * 50_000_000,
    lambda: b"G1 X1 F1\r" * 900_000,
    lambda: b"G1 X0.000000000000000000000000000001 F0.000000000000000000000001\n" * 1000,
    lambda: b"G93\n" + b"G1 X.000000001 F.000000001\nX0\n" * 1000,
    lambda: b"".join(b"G%d X1 F1\nM%d\n" % (k, k) for k in range(20_000)),
    lambda: b"#1=1\nO1 while [#1 lt 1e9]\nG1 X#1 F600\nO1 endwhile\n",
    lambda: b"G1 X1 F1 ;" + SIGNS.encode() + b"\nM117 " + SIGNS.encode() + b"\n",
    lambda: b"G1 X1 E1 F600\n" + b"E2\nE1\n" * 300_000,
    lambda: b"G4 P86400\n" * 1000 + b"G0 X1\n",
]
TOML: list[Design] = [
    lambda: b"a = " + b"[" * 500_000,
    lambda: b"a = " + b"{a=" * 300_000,
    lambda: b".".join([b"a"] * 400_000) + b" = 1",
    lambda: b"\n".join(b"[" + b".".join([b"a"] * 8) + b".x%d]" % k for k in range(30_000)),
    lambda: b"a = " + b"9" * 900_000,
    lambda: b"a = 1e" + b"9" * 900_000,
    lambda: b"a = '''" + b"x" * 900_000,
    lambda: b'a = "' + b"\\u001b" * 150_000 + b'"',
    lambda: b"[[machine]]\n" * 70_000,
    lambda: b"".join(b"k%d=%d\n" % (k, k) for k in range(60_000)),
    lambda: b"# " + b"\xe2\x80\xae" * 300_000,
    lambda: b"a" * 2_000_000,
]
CSV: list[Design] = [
    lambda: b"number,name,wear\n" + b'"' * 15_000_001,
    lambda: b"," * 19_000_000,
    lambda: b"\n" * 19_000_000,
    lambda: b"number,name,wear\n" + b"A,B,no\n" * 2_500_000,
    lambda: b"number,name,wear\n" + b"".join(b"P-%d,Hub,no\n" % k for k in range(150_000)),
    lambda: b"number,name,wear\n" + b"A" * 15_000_000 + b",B,no\n",
    lambda: b"number,name,wear\n" + SIGNS.encode() + b",B,no\n",
    lambda: b"number,name,wear\n=1+1,@SUM(A1),no\n",
    lambda: b"number,name,wear\n\0,\0,\0\n" * 100_000,
    lambda: b"a" * 21_000_000,
]
JSON: list[Design] = [
    lambda: b"[" * 10_000_000,
    lambda: b'[{"a":' * 2_000_000,
    lambda: b"[" + b"{}," * 6_000_000 + b"{}]",
    lambda: b'[{"number":' + b"9" * 10_000_000 + b"}]",
    lambda: b'[{"number":1e' + b"9" * 30 + b"}]",
    lambda: b'[{"number":"a","number":"b"}]',
    lambda: b'[{"number":"' + b"\\" * 10_000_000 + b'"}]',
    lambda: json.dumps([{"number": f"P-{k}", "name": "Hub", "wear": False} for k in range(120_000)]).encode(),
    lambda: json.dumps([{"number": SIGNS, "name": SIGNS, "wear": False}]).encode(),
    lambda: b'[{"number":NaN,"name":-Infinity,"wear":null}]',
    lambda: b" " * 19_000_000 + b"[",
]


def _linked() -> bytes:
    kept = io.BytesIO()
    with zipfile.ZipFile(kept, "w") as archive:
        entry = zipfile.ZipInfo("register.db")
        entry.external_attr = 0o120777 << 16
        archive.writestr(entry, "/etc/passwd")
        archive.writestr("manifest.json", "{}")
    return kept.getvalue()


ZIP: list[Design] = [
    _linked,
    _overlapping,
    lambda: zipped({"../../outside": "x", "manifest.json": "{}", "register.db": ""}),
    lambda: zipped({"/tmp/outside": "x", "manifest.json": "{}", "register.db": ""}),
    lambda: zipped({"C:\\outside": "x", "manifest.json": "{}", "register.db": ""}),
    lambda: zipped({SIGNS: "x", "manifest.json": "{}", "register.db": ""}),
    lambda: zipped({"manifest.json": "[" * 60_000, "register.db": ""}),
    lambda: zipped({"manifest.json": "{}", "register.db": " " * 150_000_000}),
    lambda: zipped({"manifest.json": " " * 50_000_000, "register.db": ""}),
    lambda: zipped({f"{k}": "" for k in range(100_000)}, zipfile.ZIP_STORED),
    lambda: b"PK\x05\x06" + b"\xff" * 18,
    lambda: b"PK\x05\x06" + bytes(18),
]

REGISTER: list[Design] = [
    lambda: b"",
    lambda: b"SQLite format 3\0",
    lambda: b"SQLite format 3\0" + b"\xff" * 200_000,
    lambda: b"SQLite format 3\0" + bytes(50_000_000),
]

OBJ: list[Design] = [
    lambda: obj(CORNERS, SQUARES) + b"f " + b"1 " * 20_000_000,
    lambda: obj(CORNERS, SQUARES) + b"f 1 2 3\n" * 8_000_000,
    lambda: b"v 0 0 0\n" * 10_000_000 + b"f 1 2 3\n",
    lambda: b"v 0 0 0\nf" + b" 1" * 400_000 + (b"\nf" + b" 1" * 400_000) * 10,
    lambda: b"v 0 0 0 \\\n" * 5_000_000,
    lambda: b"#" * 50_000_000 + b"\nv 0 0 0",
    lambda: b"v 0 0 0\n" + b"\n" * 50_000_000 + b"f 1 1 1",
    lambda: b"mtllib /dev/zero\nv " + b"1" * 50_000_000 + b" 0 0\nf 1 1 1",
    lambda: obj(*points_and_faces(np.random.default_rng(1).uniform(0, 200, (100_000, 3, 3)))),
    lambda: obj(CORNERS, SQUARES * 20_000),
]
PLY_TEXT: list[Design] = [
    lambda: ply_header("ascii", 4_294_967_295, 1),
    lambda: ply_header("ascii", 1, 1) + b"0 0 0\n30000000 " + b"0 " * 30_000_000,
    lambda: ply_header("ascii", 3_000_000, 1) + b"0 0 0\n" * 3_000_000 + b"3 0 1 2",
    lambda: ply_header("ascii", 1, 12_000) + b"0 0 0\n" + (b"1000 " + b"0 " * 1000) * 12_000,
    lambda: ply_header("ascii", 1, 1_000_000) + b"0 0 0\n" + b"0 " * 1_000_000,
    lambda: ply_header("ascii", 3, 1) + b"0 0 " + b"1" * 50_000_000,
    lambda: ply_header("ascii", 8, 6).replace(b"comment", b"comment " * 20_000_000),
    lambda: ply_header("ascii", 1, 0, "".join(f"property uchar p{k}\n" for k in range(3000))) + b"0 " * 3003,
    lambda: ply_text(*points_and_faces(np.random.default_rng(1).uniform(0, 200, (100_000, 3, 3)))),
]
PLY_BINARY: list[Design] = [
    lambda: ply_header("binary_big_endian", 1, 4_294_967_295) + bytes(100),
    lambda: ply_header("binary_little_endian", 1, 1_200_000) + bytes(12) + bytes(1_200_000),
    lambda: (
        ply_header("binary_little_endian", 1, 600).replace(b"uchar int", b"uint uchar")
        + bytes(12)
        + (b"\xa0\x86\1\0" + bytes(100_000)) * 600
    ),
    lambda: ply_header("binary_little_endian", 1, 1_000_000) + bytes(12) + (b"\0\1" + bytes(4)) * 500_000,
    lambda: (
        ply_header("binary_little_endian", 1, 1, "", "element s 1200000\nproperty list uchar uchar l\n")
        + bytes(12)
        + b"\3"
        + bytes(12)
        + b"\0\1\7" * 600_000
    ),
    lambda: (
        ply_header("binary_little_endian", 8, 1).replace(b"uchar int", b"int int") + bytes(96) + b"\xff\xff\xff\x7f"
    ),
    lambda: ply_header("binary_little_endian", 2, 1).replace(b"float", b"double") + b"\xff" * 61,
    lambda: ply_header("binary_little_endian", 0, 0, "", "element e 99999999\nproperty uchar x\n") + bytes(60_000_000),
    lambda: ply_binary(*points_and_faces(np.random.default_rng(1).uniform(0, 200, (100_000, 3, 3)))),
    lambda: ply_binary(CORNERS, SQUARES * 20_000),
]

DESIGNED: dict[str, list[Design]] = {
    "stl binary": STL_BINARY,
    "stl ascii": STL_ASCII,
    "obj": OBJ,
    "ply text": PLY_TEXT,
    "ply binary": PLY_BINARY,
    "3mf": PACKED,
    "dxf ascii": DXF,
    "dxf binary": DXF_BINARY,
    "g-code": PROGRAMS,
    "toml": TOML,
    "csv": CSV,
    "json": JSON,
    "register": REGISTER,
    "zip": ZIP,
}
