"""What cannot be trusted is refused in two sentences, and nothing of it is kept."""

import io
import struct
from pathlib import Path

import ezdxf
import pytest

from tests.cli.command_line import DEMO_PARTS, command, program, stored, two_sentences
from tests.geometry.stl_bytes import binary, cube

CUBE = binary(cube(20.0))


def nan_corner() -> bytes:
    """The cube with NaN in the first coordinate of its third triangle."""
    at = 84 + 2 * 50 + 12
    return CUBE[:at] + struct.pack("<f", float("nan")) + CUBE[at + 4 :]


def empty_drawing() -> bytes:
    text = io.StringIO()
    ezdxf.new(units=4).write(text)
    return text.getvalue().encode()


BAD_FILES = {
    "truncated.stl": CUBE[:-37],
    "claims-4-billion.stl": CUBE[:80] + struct.pack("<I", 4_000_000_000) + CUBE[84:],
    "page.stl": b"<!DOCTYPE html><html><body><h1>404 Not Found</h1></body></html>\n",
    "nan.stl": nan_corner(),
    "nothing.stl": b"",
    "flat.stl": binary(cube(20.0) * (1.0, 1.0, 0.0)),
    "empty.dxf": empty_drawing(),
    "page.dxf": b"<!DOCTYPE html><html></html>",
}


def material_for(name: str) -> str:
    return "6061 3.175 mm" if name.endswith(".dxf") else "PLA"


@pytest.mark.parametrize("name", BAD_FILES)
def test_file_that_cannot_be_trusted_is_refused_and_nothing_is_stored(demo: Path, tmp_path: Path, name: str) -> None:
    file = tmp_path / name
    file.write_bytes(BAD_FILES[name])
    before = stored(demo)
    part = "QS-202" if name.endswith(".dxf") else "QS-101"
    words = (str(file), "--material", material_for(name))
    for said in (
        command("revision", "add", part, *words, register=demo),
        command("revision", "add", part, *words, "--dry-run", register=demo),
        command("estimate", *words),
        command("estimate", *words, "--json"),
    ):
        assert said.code == 3, said
        assert said.out == "" and two_sentences(said.err), said.err
        assert name in said.err
    assert stored(demo) == before


def test_open_mesh_is_taken_but_never_in_silence(tmp_path: Path) -> None:
    # The cube without its upper face.
    (tmp_path / "open.stl").write_bytes(binary(cube(20.0)[:-1]))
    made = command("estimate", str(tmp_path / "open.stl"), "--material", "PLA", "--json").json
    assert made["closed"] is False
    assert any("open" in warning for warning in made["warnings"])


def test_program_itself_refuses_with_nothing_on_its_output(tmp_path: Path) -> None:
    (tmp_path / "page.stl").write_bytes(BAD_FILES["page.stl"])
    said = program("estimate", str(tmp_path / "page.stl"), "--material", "PLA")
    assert (said.code, said.out) == (3, "") and two_sentences(said.err)


def test_unknown_material_is_refused_with_those_there_are(demo: Path, tmp_path: Path) -> None:
    (tmp_path / "cube.stl").write_bytes(CUBE)
    before = stored(demo)
    for said in (
        command("revision", "add", "QS-101", str(tmp_path / "cube.stl"), "--material", "PETGG", register=demo),
        command("estimate", str(tmp_path / "cube.stl"), "--material", "PETGG"),
    ):
        assert said.code == 3 and "PETGG" in said.err and "Did you mean PETG?" in said.err
    none = command("estimate", str(tmp_path / "cube.stl"))
    assert none.code == 3 and two_sentences(none.err)
    said = command("stock", "add", "X-1", "unobtainium", "1 kg", register=demo)
    assert said.code == 3
    assert stored(demo) == before


BAD_SHOPS = {
    "a wrong unit": ("layer_height_mm = 0.2", "layer_height_in = 0.008", "layer_height"),
    "a unit as text": ("set_up_s = 600", 'set_up_s = "10 min"', "set_up_s"),
    "a limit overstepped": ("layer_height_mm = 0.2", "layer_height_mm = 20.0", "layer_height_mm"),
    "a word that is no key": ("contours = 3", "countours = 3", "countours"),
    "no number": ("density_g_cm3 = 1.24", "density_g_cm3 = nan", "density_g_cm3"),
    "no zone": ('zone = "Europe/Oslo"', 'zone = "Middle/Earth"', "Middle/Earth"),
    "no closing quote": ('name = "Lark"', 'name = "Lark', "shop.toml"),
}


@pytest.mark.parametrize("what", BAD_SHOPS)
def test_shop_file_that_is_not_in_order_is_refused_and_nothing_is_stored(demo: Path, tmp_path: Path, what: str) -> None:
    good, bad, named = BAD_SHOPS[what]
    text = (DEMO_PARTS / "shop.toml").read_text(encoding="utf-8")
    assert good in text
    file = tmp_path / "shop.toml"
    file.write_text(text.replace(good, bad, 1), encoding="utf-8")
    (tmp_path / "cube.stl").write_bytes(CUBE)
    before = stored(demo)
    for said in (
        command("shop", "read", str(file), register=demo),
        command("estimate", str(tmp_path / "cube.stl"), "--material", "PLA", "--shop", str(file)),
        command("init", str(tmp_path / "new"), "--shop", str(file)),
    ):
        assert said.code == 3 and said.out == "" and two_sentences(said.err), said.err
        assert named in said.err
    assert stored(demo) == before
    assert not (tmp_path / "new").exists()


@pytest.mark.parametrize(
    "words",
    [
        ("part", "add", "QS-101", "Another hub"),
        ("part", "add", "has blanks", "Hub"),
        ("revision", "release", "QS-101", "A"),
        ("revision", "add", "QS-301", "--cost", "12.505", "--lead-days", "3"),
        ("revision", "add", "QS-301", "--cost", "12", "--lead-days", "-3"),
        ("job", "add", "QS-101", "0"),
        ("job", "add", "QS-101", "--revision", "A", "--weight", "nan"),
        ("job", "add", "QS-101", "--revision", "A", "--due", "2031-13-45 10:00"),
        ("job", "accept", "A-2"),
        ("job", "start", "A-4"),
        ("stock", "use", "PLA-1", "500 g"),
        ("stock", "use", "PLA-1", "120 mm"),
        ("stock", "add", "PLA-9", "PLA", "nan kg"),
        ("competition", "add", "Late Trials", "2031-04-01 09:00", "--parts-due", "2031-04-02 09:00"),
        ("competition", "add", "Odd Trials", "2031-04-01 09:00", "--enter", "Shale"),
        ("machine", "allow-unattended", "Heron", "--by", "Ragna Kvarts", "--conditions", "x", "--longest", "2 h"),
        ("machine", "allow-unattended", "Wren", "--by", "Tuva Skifer", "--conditions", "x", "--longest", "2 h"),
        ("machine", "allow-unattended", "Wren", "--by", "Ragna Kvarts", "--conditions", "x", "--longest", "2 weeks"),
        ("machine", "forbid-unattended", "Wren"),
        ("robot", "fitted", "Marl", "winch pulleys", "B"),
        ("spare", "add", "QS-102", "0"),
        ("shop", "read", "no-such-file.toml"),
        ("undo", "1"),
    ],
)
def test_what_the_rules_forbid_is_refused_and_nothing_is_stored(demo: Path, words: tuple[str, ...]) -> None:
    before = stored(demo)
    said = command(*words, register=demo)
    assert said.code == 3 and said.out == "" and two_sentences(said.err), said
    assert stored(demo) == before


@pytest.mark.parametrize(
    "words",
    [
        ("part", "show", "QS-999"),
        ("revision", "release", "QS-101", "F"),
        ("revision", "add", "QS-999", "--cost", "1", "--lead-days", "1"),
        ("robot", "show", "Obsidian"),
        ("robot", "require", "Marl", "no such place", "A"),
        ("robot", "require", "Marl", "scoop lip", "F"),
        ("assembly", "position", "Marl", "more", "QS-101", "--in", "no such assembly"),
        ("job", "show", "A-99"),
        ("job", "start", "Z-1"),
        ("job", "add", "QS-101", "--machine", "Robin"),
        ("spare", "take", "QS-999"),
        ("spare", "take", "QS-303", "--robot", "Marl"),
        ("stock", "use", "PLA-9", "1 g"),
        ("replacement", "add", "Obsidian", "scoop lip"),
        ("replacement", "add", "Marl", "no such place"),
        ("competition", "add", "New Trials", "2031-04-01 09:00", "--enter", "Obsidian=3"),
        ("machine", "forbid-unattended", "Robin"),
        ("undo", "99999"),
    ],
)
def test_what_is_not_in_the_register_is_said_so(demo: Path, words: tuple[str, ...]) -> None:
    before = stored(demo)
    said = command(*words, register=demo)
    assert said.code == 4 and said.out == "" and two_sentences(said.err), said
    assert stored(demo) == before
