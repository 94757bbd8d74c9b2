"""3MF files on the command line: estimated and logged as an STL is, in their own unit."""

from pathlib import Path

import pytest

from tests.cli.command_line import command
from tests.geometry.packed_bytes import packed
from tests.geometry.stl_bytes import binary, cube


def test_estimate_of_a_3mf_is_that_of_the_same_part_as_stl(tmp_path: Path) -> None:
    (tmp_path / "cube.3mf").write_bytes(packed(cube(1.0), 'unit="inch"'))
    (tmp_path / "cube.stl").write_bytes(binary(cube(25.4)))
    first, second = (
        command("estimate", str(tmp_path / name), "--material", "PLA", "--json").json
        for name in ("cube.3mf", "cube.stl")
    )
    for key in ("solid_volume_mm3", "mass_g", "duration_s"):
        assert first[key] == pytest.approx(second[key], rel=1e-5)
    # One cubic inch is 25.4³ mm³.
    assert first["solid_volume_mm3"] == pytest.approx(25.4**3, rel=1e-5)


def test_unit_that_a_person_says_does_not_change_a_3mf_and_that_is_said(tmp_path: Path) -> None:
    (tmp_path / "cube.3mf").write_bytes(packed(cube(20.0)))
    said = command("estimate", str(tmp_path / "cube.3mf"), "--material", "PLA", "--unit", "in", "--json").json
    assert said["size_mm"] == [20.0, 20.0, 20.0]
    assert "cube.3mf states its own unit, millimeter; in was not used." in said["warnings"]


def test_revision_of_a_3mf_is_told_to_be_printed(demo: Path, tmp_path: Path) -> None:
    (tmp_path / "hub.3mf").write_bytes(packed(cube(20.0)))
    added = command(
        *("revision", "add", "QS-101", str(tmp_path / "hub.3mf"), "--material", "PLA", "--changed", "x", "--json"),
        register=demo,
    ).json
    assert (added["revision"]["process"], added["revision"]["file_name"]) == ("printed", "hub.3mf")
    found = command("revision", "identify", str(tmp_path / "hub.3mf"), "--json", register=demo).json
    assert [each["part"] for each in found] == ["QS-101"]
