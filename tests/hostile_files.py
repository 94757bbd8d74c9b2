"""Files that nobody means well with: sound ones of every kind that pitwright reads, damaged by chance or by design."""

import atexit
import io
import json
import re
import struct
import zipfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache, partial
from hashlib import sha256
from pathlib import Path
from random import Random
from shutil import rmtree
from tempfile import TemporaryDirectory, mkdtemp
from typing import Any

import ezdxf
import numpy as np

from register.actions import exchange
from register.domain.estimates import EstimateRequest
from register.domain.parts import Process
from register.domain.table_columns import COLUMNS, ONLY_OUT, Subject, TableForm
from register.estimate import whole
from register.estimate.gcode import estimate_program, machine_for
from register.geometry.drawings import read_drawing
from register.geometry.meshes import read_mesh
from register.opening import Register, open_register
from register.settings.shop_file import built_in, read_shop
from register.settings.tables_text import read_table
from register.store.archive import write_archive
from register.store.unpacking import read_archive
from tests.geometry.packed_bytes import MODEL, components, mesh_object, model, package, packed
from tests.geometry.point_files import CORNERS, SQUARES, TRIANGLES, obj, ply_binary, ply_text, points_and_faces
from tests.geometry.stl_bytes import ascii_stl, binary, box, cone, cube, extruded, inside_out, moved, sphere
from tests.hostile_designs import DESIGNED
from tests.hostile_rows import SIGNS
from tests.shops import DEMO, NOON, SHOP_TOML, wear_register

Change = Callable[[Random, bytes], bytes]
LARGEST_GROWN_BYTES, SMALL_BYTES = 2_000_000, 100_000

FIGURES = [
    *(b"nan", b"-inf", b"1e999", b"-1e-320", b"-0", b"9" * 400, b"1_0", b"0x7f", b"\xd9\xa1", b"1,5", b"+", b"--1"),
    *(b"4294967295", b"-2147483649", b"1e308", b"0.1.2", b"999999999", b"0", b"1e-9", b"65536"),
]
NASTY = [
    *FIGURES,
    *(b"", b"\0", b"\xff\xfe", b"\xef\xbb\xbf", b"\r", b"\n\n", b'"', b"'", b"''", b"\\"),
    *(b"[", b"]", b"{", b"}", b"<", b">"),
    *(b"../../etc/passwd", b"C:\\CON", b"/dev/zero"),
    *(b"<!DOCTYPE a [<!ENTITY b 'c'>]>", b"&b;", b"<![CDATA[", b"<!--", b"]]>", b"&#0;", b"%s%n", b"=cmd|'x'!A0"),
    *(b"solid", b"endsolid", b"facet", b"EOF", b"  0\nSECTION\n", b"  0\nENDSEC\n", b"  0\nINSERT\n", b"SPLINE"),
    b"[[machine]]\n",
    *(b"PK\x01\x02", b"PK\x05\x06", b"PK\x03\x04", b"true", b"null", b"[" * 200, b"{" * 200, b"a.b." * 50, b"=" * 99),
    SIGNS.encode(),
]  # fmt: skip
WORDS = [struct.pack(f"<{kind}", value) for kind, value in (
    ("I", 0), ("I", 1), ("I", 0x7FFFFFFF), ("I", 0x80000000), ("I", 0xFFFFFFFF), ("H", 0xFFFF), ("Q", 2**63),
    ("f", float("nan")), ("f", float("inf")), ("f", -3e38), ("f", 1e-40), ("d", float("nan")), ("d", 1e308),
    ("B", 0x80),
)]  # fmt: skip


@dataclass(frozen=True)
class Reader:
    """One kind of file. `weight` is its share of a run; `inner` damages what a package holds and packs it again."""

    seeds: Callable[[], Sequence[bytes]]
    read: Callable[[bytes], Any]
    weight: int
    inner: Change | None = None


def hostile_file(name: str, number: int, run: int = 0) -> bytes:
    """The file of that number, always the same: the first are built by design, the others damaged by chance."""
    reader, chance = READERS[name], Random(f"{run}:{name}:{number}")
    if number < len(DESIGNED[name]):
        return DESIGNED[name][number]()
    content = chance.choice(reader.seeds())
    if chance.random() < 0.03:
        return chance.randbytes(chance.choice((0, 1, 50, 84, 134, 3000)))
    if reader.inner is not None and chance.random() < 0.6:
        content = reader.inner(chance, content)
        if chance.random() < 0.7:
            return content
    return damaged(chance, content)


def damaged(chance: Random, content: bytes) -> bytes:
    """`content` with one to six things done to it."""
    for _ in range(chance.choice((1, 1, 1, 2, 3, 6))):
        content = chance.choice(CHANGES)(chance, content)[:LARGEST_GROWN_BYTES]
    return content


def _at(chance: Random, content: bytes) -> int:
    # The head of a file says how the rest is to be read.
    return chance.randrange((min(len(content), 300) if chance.random() < 0.3 else len(content)) + 1)


def _flipped(chance: Random, content: bytes) -> bytes:
    made = bytearray(content)
    for _ in range(chance.choice((1, 1, 4, 40)) if made else 0):
        made[chance.randrange(len(made))] ^= 1 << chance.randrange(8)
    return bytes(made)


def _put(chance: Random, content: bytes) -> bytes:
    at = _at(chance, content)
    return content[:at] + chance.choice(NASTY) + content[at + chance.choice((0, 0, 1, 8)) :]


def _word_put(chance: Random, content: bytes) -> bytes:
    at, word = _at(chance, content), chance.choice(WORDS)
    return content[:at] + word + content[at + len(word) :]


def _cut(chance: Random, content: bytes) -> bytes:
    return content[: _at(chance, content)]


def _taken_out(chance: Random, content: bytes) -> bytes:
    at = _at(chance, content)
    return content[:at] + content[at + chance.choice((1, 4, 50, 5000)) :]


def _repeated(chance: Random, content: bytes) -> bytes:
    at = _at(chance, content)
    piece = content[at : at + chance.choice((1, 10, 50, 500))]
    return content[:at] + piece * chance.choice((2, 3, 50, 2000)) + content[at:]


def _figure_changed(chance: Random, content: bytes) -> bytes:
    found = list(re.finditer(rb"-?\d[\d.]{0,18}(?:[eE][-+]?\d{1,3})?", content[:400_000]))
    for each in sorted(chance.sample(found, min(len(found), chance.choice((1, 1, 5)))), key=lambda one: -one.start()):
        old = each[0]
        new = chance.choice((*FIGURES, b"-" + old, old + b"0" * chance.choice((1, 3, 30)), old[:-1]))
        content = content[: each.start()] + new + content[each.end() :]
    return content


def _lines_mixed(chance: Random, content: bytes) -> bytes:
    lines = content.split(b"\n")
    first, second = chance.randrange(len(lines)), chance.randrange(len(lines))
    lines[first], lines[second] = lines[second], lines[first]
    del lines[chance.randrange(len(lines))]
    return b"\n".join(lines)


CHANGES: list[Change] = [_flipped, _put, _word_put, _cut, _taken_out, _repeated, _figure_changed, _lines_mixed]


def _inner(chance: Random, content: bytes) -> bytes:
    """A package with one of its entries damaged, its checksums right."""
    entries = _entries(content)
    name = chance.choice((MODEL, MODEL, MODEL, *entries))
    entries[name] = damaged(chance, entries.get(name, b""))
    return _zip(entries)


def _inner_register(chance: Random, content: bytes) -> bytes:
    """An archive with its note or its database damaged, and a note that vouches for it."""
    entries = _entries(content)
    name = chance.choice(("manifest.json", "register.db", "register.db", *entries))
    entries[name] = damaged(chance, entries[name])
    if name != "manifest.json":
        note = json.loads(entries["manifest.json"])
        note["database_bytes"] = len(entries["register.db"])
        note["database_sha256"] = sha256(entries["register.db"]).hexdigest()
        entries["manifest.json"] = json.dumps(note).encode()
    return _zip(entries)


def _entries(content: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def _zip(entries: dict[str, bytes]) -> bytes:
    kept = io.BytesIO()
    with zipfile.ZipFile(kept, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        for name, content in entries.items():
            archive.writestr(zipfile.ZipInfo(name), content, zipfile.ZIP_DEFLATED)
    return kept.getvalue()


def _demo(kind: str) -> list[bytes]:
    return [path.read_bytes() for path in sorted(DEMO.glob(f"*.{kind}"))]


def _solids() -> list[np.ndarray[Any, Any]]:
    frame = extruded([[(0, 0), (30, 0), (30, 20), (0, 20)], [(5, 5), (5, 15), (15, 15), (15, 5)]], 4.0)
    hollow = np.concatenate([cube(20.0), moved(inside_out(cube(8.0)), 6.0, 6.0, 6.0)])
    two = np.concatenate([cube(20.0), moved(cube(20.0), 10.0, 5.0, 5.0)])
    return [cube(20.0), box(9.0, 80.0, 3.0), cone(10.0, 30.0), sphere(10.0, 16), frame, hollow, two, cube(9.0)[:-1]]


@cache
def _stl_binary() -> list[bytes]:
    return [*(binary(each) for each in _solids()), *(each for each in _demo("stl") if len(each) < 200_000)]


@cache
def _stl_ascii() -> list[bytes]:
    return [ascii_stl(each) for each in _solids()]


@cache
def _obj() -> list[bytes]:
    return [obj(CORNERS, SQUARES), *(obj(*points_and_faces(each)) for each in _solids())]


@cache
def _ply_text() -> list[bytes]:
    return [ply_text(CORNERS, SQUARES), *(ply_text(*points_and_faces(each)) for each in _solids())]


@cache
def _ply_binary() -> list[bytes]:
    shapes = [(CORNERS, SQUARES), (CORNERS, [*SQUARES[:-1], *TRIANGLES[-2:]]), *map(points_and_faces, _solids())]
    return [ply_binary(*shape, order) for shape in shapes for order in "<>"]


@cache
def _packed() -> list[bytes]:
    pair = [mesh_object(1, cube(9.0)), components(2, [(1, ""), (1, "0 1 0 -1 0 0 0 0 1 30 0 0")])]
    return [*map(packed, _solids()), package(model(pair, [(2, ""), (1, "1 0 0 0 1 0 0 0 1 0 50 0")], 'unit="inch"'))]


@cache
def _dxf() -> list[bytes]:
    return [*_demo("dxf"), _drawn("asc")]


@cache
def _dxf_binary() -> list[bytes]:
    return [_drawn("bin")]


def _drawn(fmt: str) -> bytes:
    """A plate with every kind of curve, a block and a text."""
    drawing = ezdxf.new("R2010", units=4)
    space = drawing.modelspace()
    space.add_lwpolyline([(0, 0, 0, 0, 0.3), (100, 0), (100, 60), (0, 60)], close=True)
    space.add_circle((20, 20), 3)
    space.add_ellipse((50, 30), (8, 0), 0.5)
    space.add_spline([(70, 20), (80, 25), (75, 35), (65, 30), (70, 20)])
    block = drawing.blocks.new("HOLE")
    block.add_circle((0, 0), 2)
    space.add_blockref("HOLE", (90, 50))
    space.add_arc((30, 45), 4, 0, 180)
    space.add_line((26, 45), (34, 45))
    space.add_text("note")
    if fmt == "bin":
        kept = io.BytesIO()
        drawing.write(kept, fmt="bin")
        return kept.getvalue()
    text = io.StringIO()
    drawing.write(text)
    return text.getvalue().encode()


@cache
def _programs() -> list[bytes]:
    routed = [
        "%",
        "O0001",
        "G21 G90 G17",
        "T1 M6",
        "S18000 M3",
        "G0 Z5",
        "G98 G83 X10 Y10 Z-3 R2 Q1 F300",
        "Y90",
        "G80",
    ]
    for k in range(40):
        routed += [f"G0 X{k} Y0", "G1 Z-3 F200", f"Y90 F{600 + k}", f"G2 X{k} Y90 I-2 J0", f"G3 X{k + 1} Y80 R9"]
    printed = ["M104 S210", "G28", "G92 E0", "M83"]
    for k in range(200):
        printed += [
            f"G1 X{50 + 40 * (k % 2)} Y{k / 2:.3f} E{0.05 * k:.5f} F1800",
            "G1 E-0.8 F2400",
            f"G0 Z{k / 10:.2f}",
        ]
    inches = ["G20 G91 G95 S6000", "G1 X1 F.004", "G18 G2 X1 Z1 R1", "G93", "G1 Y2 F3", "G4 P0.5", "M30"]
    return ["\n".join(each).encode() for each in (routed, printed, inches)]


@cache
def _shops() -> list[bytes]:
    return [SHOP_TOML]


@cache
def _register() -> Register:
    """A register of this process alone, for what holds a table against one."""
    folder = Path(mkdtemp(prefix="hostile-"))
    atexit.register(rmtree, folder, ignore_errors=True)
    return wear_register(folder / "register")


@cache
def _tables(form: TableForm) -> list[bytes]:
    return [exchange.export_table(_register(), subject, form) for subject in Subject]


@cache
def _archives() -> list[bytes]:
    with TemporaryDirectory() as folder:
        register = wear_register(Path(folder) / "register")
        register.store.close()
        write_archive(register.folder, Path(folder) / "whole.zip", NOON)
        return [(Path(folder) / "whole.zip").read_bytes()]


def _read_archive(content: bytes) -> object:
    with TemporaryDirectory() as folder:
        source = Path(folder) / "whole.zip"
        source.write_bytes(content)
        try:
            return read_archive(source, Path(folder) / "register")
        finally:
            # Nothing may stand beside the two, whatever came of it.
            left = {path.name for path in Path(folder).iterdir()} - {"whole.zip", "register"}
            assert not left, left


@cache
def _databases() -> list[bytes]:
    return [(_register().folder / "register.db").read_bytes()]


def _open_database(content: bytes) -> object:
    """The opener, as the first step of every command."""
    with TemporaryDirectory() as folder:
        (Path(folder) / "register.db").write_bytes(content)
        return open_register(Path(folder), "Tuva Skifer")


def _estimated(process: Process, material: str, name: str, content: bytes) -> object:
    """What `pitwright estimate` does with the file."""
    return whole.estimate(content, name, EstimateRequest(process, material, 3.0), built_in())


def _table(form: TableForm, content: bytes) -> object:
    """The table that a file's columns fit best; every eighth is held against a register as an import would be."""
    head = content[:2000].decode(errors="replace")
    subject = max(
        Subject, key=lambda each: sum(column.name in head for column in COLUMNS[each]) - len(COLUMNS[each]) / 2
    )
    if len(content) % 8 == 0 and subject not in ONLY_OUT:
        return exchange.import_table(_register(), subject, content, form, dry_run=True)
    return read_table(subject, content, form, "Europe/Oslo")


def _mesh(content: bytes) -> object:
    # Small ones are estimated too, and every eighth of the others: an answer must not be a trap for what works with it.
    if len(content) < SMALL_BYTES or len(content) % 8 == 0:
        return _estimated(Process.PRINTED, "PLA", "part", content)
    return read_mesh(content, "part")


def _drawing(content: bytes) -> object:
    if len(content) % 8 == 0:
        return _estimated(Process.ROUTED, "6061", "part.dxf", content)
    return read_drawing(content, "part.dxf")


def _program(content: bytes) -> object:
    return estimate_program(content, "part.nc", machine_for(content, built_in()), built_in().shop.print_settings)


READERS: dict[str, Reader] = {
    "stl binary": Reader(_stl_binary, _mesh, 10),
    "stl ascii": Reader(_stl_ascii, _mesh, 8),
    "obj": Reader(_obj, _mesh, 6),
    "ply text": Reader(_ply_text, _mesh, 4),
    "ply binary": Reader(_ply_binary, _mesh, 6),
    "3mf": Reader(_packed, _mesh, 10, _inner),
    "dxf ascii": Reader(_dxf, _drawing, 6),
    "dxf binary": Reader(_dxf_binary, _drawing, 4),
    "g-code": Reader(_programs, _program, 6),
    "toml": Reader(_shops, lambda content: read_shop(content, "shop.toml"), 7),
    "csv": Reader(partial(_tables, TableForm.CSV), partial(_table, TableForm.CSV), 7),
    "json": Reader(partial(_tables, TableForm.JSON), partial(_table, TableForm.JSON), 5),
    "register": Reader(_databases, _open_database, 2),
    "zip": Reader(_archives, _read_archive, 2, _inner_register),
}
