"""OBJ and PLY files on the command line: estimated and logged as an STL is."""

from pathlib import Path

import pytest

from tests.cli.command_line import command
from tests.geometry.point_files import CORNERS, SQUARES, obj, ply_binary, ply_text
from tests.geometry.stl_bytes import binary, cube

FILES = {
    "cube.obj": obj(CORNERS, SQUARES),
    "cube.ply": ply_binary(CORNERS, SQUARES),
    "text.PLY": ply_text(CORNERS, SQUARES),
}


@pytest.mark.parametrize("name", FILES)
def test_estimate_is_that_of_the_same_part_as_stl(name: str, tmp_path: Path) -> None:
    (tmp_path / name).write_bytes(FILES[name])
    (tmp_path / "cube.stl").write_bytes(binary(cube(20.0)))
    first, second = (
        command("estimate", str(tmp_path / each), "--material", "PLA", "--json").json for each in (name, "cube.stl")
    )
    for key in ("solid_volume_mm3", "mass_g", "duration_s"):
        assert first[key] == pytest.approx(second[key], rel=1e-9)
    assert first["solid_volume_mm3"] == pytest.approx(8000.0)


@pytest.mark.parametrize("name", FILES)
def test_revision_is_told_to_be_printed_and_is_found_by_its_file(name: str, demo: Path, tmp_path: Path) -> None:
    (tmp_path / name).write_bytes(FILES[name])
    added = command(
        *("revision", "add", "QS-101", str(tmp_path / name), "--material", "PLA", "--changed", "x", "--json"),
        register=demo,
    ).json
    assert (added["revision"]["process"], added["revision"]["file_name"]) == ("printed", name)
    found = command("revision", "identify", str(tmp_path / name), "--json", register=demo).json
    assert [each["part"] for each in found] == ["QS-101"]


@pytest.mark.parametrize("name", FILES)
def test_damaged_file_is_refused_in_two_sentences(name: str, tmp_path: Path) -> None:
    (tmp_path / name).write_bytes(FILES[name][:-5])
    refused = command("estimate", str(tmp_path / name), "--material", "PLA")
    assert (refused.code, refused.out) == (3, "")
    assert name in refused.err


def test_name_with_hidden_signs_is_said_once_and_written_out(tmp_path: Path) -> None:
    (tmp_path / "esc\x1b[31m.ply").write_bytes(b"ply\nformat ascii 1.0\nend_header\n")
    refused = command("estimate", str(tmp_path / "esc\x1b[31m.ply"), "--material", "PLA")
    assert refused.code == 3 and refused.err.count(r"esc\x1b[31m.ply") == 1 and "\x1b" not in refused.err
