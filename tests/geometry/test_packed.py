"""3MF files: real packages of solids whose volume is known, and packages that are damaged, swollen or hostile."""

import struct
import time
import tracemalloc
import zipfile

import pytest

from register.errors import BadMesh
from register.geometry import packed as packed_room
from register.geometry.meshes import read_mesh
from tests.geometry.packed_bytes import (
    CONTENT_TYPES,
    CORE,
    MODEL,
    MODEL_TYPE,
    ROOT,
    components,
    mesh_object,
    model,
    package,
    packed,
    zipped,
)
from tests.geometry.stl_bytes import binary, box, cube, moved, sphere

CUBE = packed(cube(20.0))
CUBE_OBJECT = mesh_object(1, cube(20.0))


def refused(content: bytes) -> str:
    with pytest.raises(BadMesh) as caught:
        read_mesh(content, "part.3mf")
    assert caught.value.what.endswith(".") and caught.value.cure.endswith(".")
    return caught.value.what


def test_a_cube_has_its_volume_area_and_size_whatever_the_file_is_called() -> None:
    for name in ("cube.3mf", "cube.stl", "cube"):
        mesh = read_mesh(CUBE, name)
        assert mesh.volume_mm3 == pytest.approx(8000.0, rel=1e-9)
        assert mesh.area_mm2 == pytest.approx(2400.0, rel=1e-9)
        assert mesh.size_mm == pytest.approx((20.0, 20.0, 20.0))
        assert (mesh.closed, mesh.bodies, mesh.warnings) == (True, 1, ())


# Source: the format's own units; an inch is 25.4 mm and a foot 12 inches by definition.
@pytest.mark.parametrize(
    ("unit", "mm"),
    [("micron", 0.001), ("millimeter", 1.0), ("centimeter", 10.0), ("inch", 25.4), ("foot", 304.8), ("meter", 1000.0)],
)
def test_the_unit_of_the_file_is_believed(unit: str, mm: float) -> None:
    mesh = read_mesh(packed(cube(24.0 / mm), f'unit="{unit}"'), "cube.3mf")
    assert mesh.size_mm == pytest.approx((24.0, 24.0, 24.0), rel=1e-6)
    assert mesh.volume_mm3 == pytest.approx(13824.0, rel=1e-6)


def test_a_file_without_a_unit_is_in_millimetres() -> None:
    # Source: 3MF core specification, the default of `unit`.
    assert read_mesh(packed(cube(20.0), ""), "cube.3mf").size_mm[0] == pytest.approx(20.0)


def test_another_unit_that_a_person_says_is_not_used_and_that_is_said() -> None:
    mesh = read_mesh(packed(cube(2.0), 'unit="inch"'), "cube.3mf", "mm")
    assert mesh.size_mm[0] == pytest.approx(50.8)
    assert mesh.warnings == ("cube.3mf states its own unit, inch; mm was not used.",)
    assert read_mesh(packed(cube(2.0), 'unit="inch"'), "cube.3mf", "in").warnings == ()


def test_a_transform_turns_and_moves_a_part_by_its_rows() -> None:
    # (x, y, z) → (y + 5, −x + 6, z + 7): a quarter turn about z. The box 10 × 20 × 30 becomes 20 × 10 × 30.
    mesh = read_mesh(packed(box(10.0, 20.0, 30.0), transform="0 -1 0 1 0 0 0 0 1 5 6 7"), "b")
    assert mesh.size_mm == pytest.approx((20.0, 10.0, 30.0))
    low = mesh.triangles_mm.reshape(-1, 3).min(axis=0)
    assert tuple(low) == pytest.approx((5.0, -4.0, 7.0))
    assert mesh.volume_mm3 == pytest.approx(6000.0) and mesh.warnings == ()


def test_a_mirrored_part_is_not_inside_out() -> None:
    mesh = read_mesh(packed(box(10.0, 20.0, 30.0), transform="-1 0 0 0 1 0 0 0 1 0 0 0"), "b")
    assert mesh.volume_mm3 == pytest.approx(6000.0) and mesh.warnings == ()


def test_components_stand_where_all_their_transforms_put_them() -> None:
    # Two cubes of 10 side by side make one object; it is doubled in size by the item: 2 × 1000 × 8.
    objects = [mesh_object(1, cube(10.0)), components(2, [(1, ""), (1, "1 0 0 0 1 0 0 0 1 30 0 0")])]
    mesh = read_mesh(package(model(objects, [(2, "2 0 0 0 2 0 0 0 2 100 0 0")])), "two")
    assert mesh.volume_mm3 == pytest.approx(16000.0)
    assert mesh.size_mm == pytest.approx((80.0, 20.0, 20.0))
    assert tuple(mesh.triangles_mm.reshape(-1, 3).min(axis=0)) == pytest.approx((100.0, 0.0, 0.0))
    assert mesh.bodies == 2 and "2 separate bodies" in mesh.warnings[0]


def test_every_item_of_the_build_counts_and_supports_do_not() -> None:
    objects = [mesh_object(1, cube(10.0)), mesh_object(2, cube(5.0), "support"), mesh_object(3, cube(7.0))]
    mesh = read_mesh(package(model(objects, [(1, ""), (1, "1 0 0 0 1 0 0 0 1 50 0 0"), (2, "")])), "build")
    assert mesh.volume_mm3 == pytest.approx(2000.0)
    assert mesh.warnings[0] == "Left out: supports and loose surfaces in the file (1)."


def test_plain_and_deflated_packages_and_both_encodings_of_the_text_are_read() -> None:
    text = model([CUBE_OBJECT], [(1, "")])
    stored = zipped({"[Content_Types].xml": CONTENT_TYPES, "_rels/.rels": ROOT, MODEL: text}, zipfile.ZIP_STORED)
    wide = package(text.replace("UTF-8", "UTF-16").encode("utf-16"))
    marked = package(b"\xef\xbb\xbf" + text.encode())
    for content in (stored, wide, marked):
        assert read_mesh(content, "cube").volume_mm3 == pytest.approx(8000.0)


def test_names_in_the_package_are_told_apart_without_regard_to_case() -> None:
    # Source: ISO/IEC 29500-2, equivalence of part names (from memory).
    content = zipped(
        {"[content_types].xml": CONTENT_TYPES, "_RELS/.rels": ROOT, MODEL.upper(): model([CUBE_OBJECT], [(1, "")])}
    )
    assert read_mesh(content, "cube").volume_mm3 == pytest.approx(8000.0)


def test_what_extensions_add_is_left_out_and_said() -> None:
    added = '<x:beams xmlns:x="urn:invented"><x:beam v="1"/></x:beams></mesh>'
    mesh = read_mesh(package(model([CUBE_OBJECT.replace("</mesh>", added)], [(1, "")])), "c")
    assert mesh.volume_mm3 == pytest.approx(8000.0)
    assert mesh.warnings == ("Left out: what extensions of the format add to the part (1).",)


DOCTYPE = '<?xml version="1.0"?><!DOCTYPE model [{}]>'
LAUGHS = '<!ENTITY a "ha">' + "".join(
    f'<!ENTITY {b} "{f"&{a};" * 10}">' for a, b in zip("abcdefgh", "bcdefghi", strict=True)
)


def with_head(head: str) -> str:
    return head + model([CUBE_OBJECT], [(1, "")]).partition("?>")[2]


@pytest.mark.parametrize(
    "head",
    [
        DOCTYPE.format(""),
        DOCTYPE.format(LAUGHS),
        DOCTYPE.format('<!ENTITY x SYSTEM "file:///etc/passwd">'),
        '<!DOCTYPE model SYSTEM "http://localhost/x.dtd">',
        DOCTYPE.format('<!ENTITY % p SYSTEM "file:///etc/passwd"> %p;'),
    ],
)
def test_document_types_and_entities_are_refused_before_they_mean_anything(head: str) -> None:
    assert "a document type or an entity of its own" in refused(package(with_head(head)))
    relationships = head.replace("model", "Relationships") + ROOT.partition("?>")[2]
    assert "a document type or an entity of its own" in refused(package("", {"_rels/.rels": relationships}))


def test_an_entity_that_nobody_defined_is_damage() -> None:
    assert "damaged XML" in refused(package(model([CUBE_OBJECT.replace('x="0"', 'x="&zero;"', 1)], [(1, "")])))


def one_model(old: str, new: str) -> bytes:
    text = model([CUBE_OBJECT], [(1, "")])
    assert old in text
    return package(text.replace(old, new, 1))


SECOND_MODEL = f'<Relationship Target="/3D/b.model" Id="b" Type="{MODEL_TYPE}"/></R'
BOTH_AT_ONCE = CUBE_OBJECT.replace('id="1"', 'id="2"').replace(
    "<mesh>", '<components><component objectid="1"/></components><mesh>'
)
BAD = {
    "cut short": (CUBE[: len(CUBE) // 2], "damaged zip archive"),
    "only its beginning": (b"PK\x03\x04" + bytes(200), "damaged zip archive"),
    "another archive": (zipped({"notes.txt": "hello"}), "without the parts of a 3MF file"),
    "no model": (zipped({"[Content_Types].xml": CONTENT_TYPES, "_rels/.rels": ROOT}), "a model that is not in it"),
    "no model named": (package("", {"_rels/.rels": ROOT.replace("2013/01/3dmodel", "thumbnail")}), "names 0 models"),
    "two models named": (package("", {"_rels/.rels": ROOT.replace("</R", SECOND_MODEL)}), "names 2 models"),
    "a model elsewhere": (
        package("", {"_rels/.rels": ROOT.replace('Id="rel0"', 'Id="rel0" TargetMode="External"')}),
        "in another place",
    ),
    "a path out of the package": (package("", {"_rels/.rels": ROOT.replace(MODEL, "../../etc/passwd")}), "not in it"),
    "no XML": (package("solid cube"), "damaged XML"),
    "empty model": (package(""), "damaged XML"),
    "another XML": (package("<svg/>"), "holds no 3MF model"),
    "another namespace": (one_model(CORE, "urn:x"), "holds no 3MF model"),
    "unit of another world": (one_model("millimeter", "cubit"), "a unit that the format does not have"),
    "extension needed": (one_model("unit=", 'requiredextensions="b" unit='), "needs an extension of the format (b)"),
    "objects in other files": (one_model("<item ", '<item xmlns:p="urn:p" p:path="/3D/o.model" '), "several models"),
    "corner not there": (one_model('v1="0"', 'v1="8"'), "a corner that is not there"),
    "corner below nought": (one_model('v1="0"', 'v1="-1"'), "a number that is none: '-1'"),
    "corner of many figures": (one_model('v1="0"', f'v1="{"9" * 5000}"'), "a number that is none"),
    "NaN": (one_model('x="0"', 'x="nan"'), "a corner that is not a number"),
    "infinite": (one_model('x="0"', 'x="1e999"'), "a corner that is not a number"),
    "no coordinate": (one_model('x="0"', ""), "a figure that is no number: ''"),
    "comma": (one_model('x="0"', 'x="0,5"'), "a figure that is no number: '0,5'"),
    "underscore": (one_model('x="0"', 'x="1_0"'), "a figure that is no number"),
    "escape in a figure": (one_model('x="0"', 'x="&#x9b;2J"'), r"a figure that is no number: '\\x9b2J'"),
    "eleven figures": (one_model("<item ", '<item transform="1 0 0 0 1 0 0 0 1 0 0" '), "not twelve figures"),
    "thirteen figures": (one_model("<item ", f'<item transform="{"1 " * 13}" '), "not twelve figures"),
    "flattened": (one_model("<item ", '<item transform="1 0 0 0 1 0 0 0 0 0 0 0" '), "flattens or scatters"),
    "NaN in a transform": (one_model("<item ", '<item transform="nan 0 0 0 1 0 0 0 1 0 0 0" '), "flattens or scatters"),
    "object unknown": (one_model('<item objectid="1"', '<item objectid="7"'), "object 7 before it is defined"),
    "object twice": (package(model([CUBE_OBJECT, CUBE_OBJECT], [(1, "")])), "two objects of one number"),
    "object that holds itself": (package(model([components(2, [(2, "")])], [(2, "")])), "object 2 before it is"),
    "nothing built": (package(model([CUBE_OBJECT], [])), "no part into its build"),
    "empty mesh": (package(model(['<object id="1"><mesh/></object>'], [(1, "")])), "no part into its build"),
    "triangle out of place": (one_model("<build>", '<build><triangle v1="0" v2="1" v3="2"/>'), "where none may stand"),
    "mesh and components": (package(model([CUBE_OBJECT, BOTH_AT_ONCE], [(2, "")])), "mesh and components at once"),
    "name twice": (package(model([CUBE_OBJECT], [(1, "")]), {MODEL.upper(): "x"}), "holds one name twice"),
    "flat": (packed(box(9.0, 9.0, 0.0)), "is flat"),
    "20 m": (packed(cube(20.0), 'unit="meter"'), "20 m long"),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD)
def test_what_is_no_sound_3mf_file_is_refused_by_name(case: str) -> None:
    content, said = BAD[case]
    assert said in refused(content) and "part.3mf " in refused(content)


def test_a_locked_or_oddly_packed_model_is_refused() -> None:
    # The flags and the way of packing stand 8 and 10 bytes into each entry of the archive's directory.
    # Source: zip file format, central directory header (APPNOTE 4.3.12).
    for offset, value in ((8, 1), (10, 14)):
        content = bytearray(CUBE)
        at = content.rindex(b"PK\x01\x02")
        content[at + offset] = value
        assert "locked, or packed in a way" in refused(bytes(content))


def peak_mb_and_seconds(content: bytes) -> tuple[float, float, str]:
    tracemalloc.start()
    began = time.perf_counter()
    said = refused(content)
    seconds = time.perf_counter() - began
    peak = tracemalloc.get_traced_memory()[1] / 1e6
    tracemalloc.stop()
    return peak, seconds, said


def test_packages_that_swell_are_refused_in_little_memory_and_time() -> None:
    doubling = [CUBE_OBJECT, *(components(k, [(k - 1, ""), (k - 1, "")]) for k in range(2, 40))]
    nothing = ['<object id="1"><mesh/></object>', *doubling[1:]]
    chain = [CUBE_OBJECT, *(components(k, [(k - 1, "")]) for k in range(2, 400))]
    bombs = {
        "blanks": (package(" " * 40_000_000), "more than 200 times its size"),
        "blanks in a list": (package("", {"_rels/.rels": " " * 3_000_000}), "at most 1 MB"),
        "one endless attribute": (package(f'<model x="{"ab" * 300_000}"'), "an element without end"),
        "one endless comment": (package(f"<!-- {'ab' * 300_000}"), "an element without end"),
        "deep": (package(model(["<metadata>" * 50_000], [])), "nests too deep"),
        "names": (package(model([f"<n{k}/>" for k in range(20_000)], [])), "too many names"),
        "long names": (package(model([f"<{'n' * 9000}/>"], [])), "too long ones"),
        "doubling": (package(model(doubling, [(39, "")])), "unfolds into more"),
        "doubling of nothing": (package(model(nothing, [(39, "")])), "unfolds into more"),
        "chain": (package(model(chain, [(399, "")])), "nests too deep"),
        "items": (package(model([CUBE_OBJECT], [(1, "")] * 10_001)), "unfolds into more"),
        "entries": (zipped({f"{k}": "" for k in range(1100)}), "more than 1000 entries"),
    }
    for what, (content, said) in bombs.items():
        peak_mb, seconds, refusal = peak_mb_and_seconds(content)
        assert said in refusal, (what, refusal)
        # The file itself is not counted; a refusal needs a few chunks of it. Tracing makes it several times slower.
        assert peak_mb < 60.0 and seconds < 5.0, (what, peak_mb, seconds)


def test_a_size_that_lies_is_never_passed() -> None:
    # The unpacked size stands 24 bytes into each entry of the directory. Source: APPNOTE 4.3.12.
    content = bytearray(package(" " * 40_000_000))
    at = content.rindex(b"PK\x01\x02")
    content[at + 24 : at + 28] = struct.pack("<I", 100)
    peak_mb, _, said = peak_mb_and_seconds(bytes(content))
    assert peak_mb < 10.0 and ("damaged" in said)


def test_nothing_of_a_package_reaches_the_disk(tmp_path_factory: pytest.TempPathFactory) -> None:
    assert "extract" not in vars(packed_room)
    content = package(model([CUBE_OBJECT], [(1, "")]), {"../../outside": "x", "/etc/outside": "x", "C:\\outside": "x"})
    before = sorted(tmp_path_factory.getbasetemp().rglob("*"))
    assert read_mesh(content, "cube").volume_mm3 == pytest.approx(8000.0)
    assert sorted(tmp_path_factory.getbasetemp().rglob("*")) == before


def test_a_sphere_is_the_same_from_both_kinds_of_file() -> None:
    ball = moved(sphere(10.0, 48), 40.0)
    ours, other = read_mesh(packed(ball), "ball"), read_mesh(binary(ball), "ball")
    assert ours.volume_mm3 == pytest.approx(other.volume_mm3, rel=1e-6)
    assert len(ours.triangles_mm) == len(other.triangles_mm)
