"""`pitwright estimate` with poses: the table, the estimate in one of them, and the sentence of advice."""

from pathlib import Path

import numpy as np
import pytest

from tests.cli.command_line import DEMO_PARTS, command, two_sentences
from tests.geometry.stl_bytes import Triangles, binary, box, cube, extruded

SUPPORT = ("--material", "PLA", "--settings", "support_angle_deg=45")
POSE_KEYS = {
    *("number", "name", "size_mm", "footprint_mm2", "support_space_mm3", "stands", "printers", "machine", "turn_deg"),
    *("rotation", "duration_s", "mass_g", "support_mm3", "cost_cents"),
}


def t_bracket() -> Triangles:
    """A stem of 10 × 60 × 30 mm under the middle of a bar of 50 × 60 × 5 mm."""
    flat = extruded([[(20, 0), (30, 0), (30, 30), (50, 30), (50, 35), (0, 35), (0, 30), (20, 30)]], 60.0)
    return np.stack([flat[..., 0], -flat[..., 2], flat[..., 1]], axis=-1)


@pytest.fixture
def bracket(tmp_path: Path) -> str:
    path = tmp_path / "bracket.stl"
    path.write_bytes(binary(t_bracket()))
    return str(path)


def stl(tmp_path: Path, solid: Triangles) -> str:
    path = tmp_path / "part.stl"
    path.write_bytes(binary(solid))
    return str(path)


def test_poses_as_json_hold_their_figures_and_the_better_one(bracket: str) -> None:
    found = command("estimate", bracket, *SUPPORT, "--poses", "--json").json
    assert all(set(each) == POSE_KEYS for each in found["poses"])
    assert sorted(each["number"] for each in found["poses"]) == list(range(1, len(found["poses"]) + 1))
    by_number = {each["number"]: each for each in found["poses"]}
    assert by_number[found["better"]]["name"] == "upside down"
    assert found["support_angle_deg"] == 45.0 and found["support_assumed"] is False


def test_the_table_says_in_one_sentence_what_a_turn_saves(bracket: str) -> None:
    said = command("estimate", bracket, *SUPPORT, "--poses")
    assert said.code == 0
    last = "Turned" + " ".join(said.out.split()).rpartition("Turned")[2]
    assert last.startswith("Turned upside down it would print in ")
    assert " instead of " in last and last.endswith(" cm³ less support; the file was not turned.")
    assert "as drawn" in said.out and "desktop printer" in said.out


@pytest.mark.parametrize("short", [True, False])
def test_an_estimate_in_a_pose_is_the_row_of_that_pose(bracket: str, short: bool) -> None:
    before = Path(bracket).read_bytes()
    found = command("estimate", bracket, *SUPPORT, "--poses", "--json").json
    row = next(each for each in found["poses"] if each["number"] == found["better"])
    made = command(
        "estimate", bracket, *SUPPORT, "--turned", str(row["number"]) if short else row["name"], "--json"
    ).json
    assert made["pose"] == row["name"]
    assert made["duration_s"] == pytest.approx(row["duration_s"], abs=1e-5)
    assert made["mass_g"] == pytest.approx(row["mass_g"], abs=1e-5)
    assert made["size_mm"] == pytest.approx(row["size_mm"], abs=1e-5)
    assert Path(bracket).read_bytes() == before


def test_an_estimate_in_a_pose_says_that_the_file_was_not_turned(bracket: str) -> None:
    said = command("estimate", bracket, *SUPPORT, "--turned", "upside down")
    assert "upside down; the file was not turned" in said.out
    assert said.err == ""
    assert command("estimate", bracket, *SUPPORT, "--json").json["pose"] == "as drawn"


def test_a_plain_estimate_gives_the_advice_beside_it(bracket: str) -> None:
    said = command("estimate", bracket, *SUPPORT)
    assert said.err.startswith("Turned upside down it would print in about ")
    assert said.err.endswith(" cm³ less support; the file was not turned (`--poses` compares).\n")
    assert len(said.err.splitlines()) == 1
    unsupported = command("estimate", bracket, "--material", "PLA")
    assert " less support with support beyond 45°; the file was not turned" in unsupported.err
    assert command("estimate", bracket, *SUPPORT, "--json").err == ""


def test_a_part_that_lies_well_gets_no_advice(tmp_path: Path) -> None:
    assert command("estimate", stl(tmp_path, cube(20.0)), *SUPPORT).err == ""
    table = command("estimate", stl(tmp_path, cube(20.0)), *SUPPORT, "--poses").out
    assert "No other pose that stands saves 5 % of the time or 10 minutes without more support." in table


def test_without_support_in_the_settings_the_table_says_how_it_reckons(bracket: str) -> None:
    said = command("estimate", bracket, "--material", "PLA", "--poses")
    assert "Reckoned with support beyond 45°; the settings themselves print none." in said.out


def test_an_unknown_pose_is_said_with_those_that_there_are(bracket: str) -> None:
    said = command("estimate", bracket, *SUPPORT, "--turned", "on its nose")
    assert said.code == 4
    assert two_sentences(said.err) and "upside down" in said.err


def test_a_part_that_fits_only_turned_names_the_pose_and_one_that_never_fits_the_measure(tmp_path: Path) -> None:
    # The built-in printer holds 220 × 220 × 250 mm.
    tower = stl(tmp_path, box(40, 30, 260))
    said = command("estimate", tower, *SUPPORT)
    assert said.code == 3 and two_sentences(said.err)
    assert "260 mm high" in said.err and "it fits desktop printer" in said.err
    table = command("estimate", tower, *SUPPORT, "--poses")
    assert table.code == 0
    assert "no printer" in table.out and "As drawn it fits no printer; " in table.out
    cubed = stl(tmp_path, cube(300.0))
    for more in ((), ("--poses",)):
        said = command("estimate", cubed, *SUPPORT, *more)
        assert said.code == 3 and two_sentences(said.err)
        assert "80 mm more than desktop printer holds (220 × 220 mm)" in said.err


@pytest.mark.parametrize("words", [("--poses",), ("--turned", "1")])
def test_only_prints_have_poses(words: tuple[str, ...]) -> None:
    plate = str(DEMO_PARTS / "deck-plate-a.stl")
    said = command("estimate", plate, "--process", "routed", "--material", "6061 3.175 mm", *words)
    assert said.code == 3 and two_sentences(said.err)


def test_a_kept_pose_of_the_register_is_respected(bracket: str, tmp_path: Path) -> None:
    register = tmp_path / "register"
    assert command("init", str(register)).code == 0
    assert command("shop", "read", str(DEMO_PARTS / "shop.toml"), register=register).code == 0
    assert command("part", "add", "RV-9", "Bracket", register=register).code == 0
    plain = command("estimate", bracket, *SUPPORT, register=register)
    assert "upside down it would print" in plain.err
    why = "it is pulled along x"
    logged = command("revision", "add", "RV-9", bracket, "--material", "PLA", "--keep-pose", why, register=register)
    assert logged.code == 0, logged.err
    assert command("estimate", bracket, *SUPPORT, register=register).err == f"Printed as drawn: {why}\n"
    table = command("estimate", bracket, *SUPPORT, "--poses", register=register)
    assert table.out.strip().endswith(f"Printed as drawn: {why}")
    found = command("estimate", bracket, *SUPPORT, "--poses", "--json", register=register).json
    assert (found["keep_pose"], found["better"]) == (why, None)
