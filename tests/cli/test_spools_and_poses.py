"""What of the stock on hand suffices for a print, wherever it is asked; and a pose that must be kept."""

from pathlib import Path

import pytest

from tests.cli.command_line import DEMO_PARTS, command, two_sentences
from tests.geometry.stl_bytes import binary, box, cube

ADD = ("stock", "add")


@pytest.fixture
def block(tmp_path: Path) -> str:
    path = tmp_path / "block.stl"
    path.write_bytes(binary(cube(30.0)))
    return str(path)


@pytest.fixture
def shelf(tmp_path: Path) -> Path:
    """A register whose PLA lies on three spools, one of them on its way."""
    folder = tmp_path / "register"
    assert command("init", "--shop", str(DEMO_PARTS / "shop.toml"), register=folder).code == 0
    for label, grams, *more in (("P-1", "900 g"), ("P-2", "60 g"), ("P-3", "5 kg", "--arrives", "2199-01-01 12:00")):
        assert command(*ADD, label, "PLA", grams, *more, register=folder).code == 0
    return folder


def test_estimate_in_a_register_names_the_spool_that_suffices(shelf: Path, block: str) -> None:
    words = ("estimate", block, "--material", "PLA")
    made = command(*words, "--json", register=shelf).json
    mass_g = made["mass_g"]
    assert 5 < mass_g < 60
    advice = made["spools"]
    assert (advice["material"], advice["form"], advice["need_g"]) == ("PLA", "spool", mass_g)
    assert advice["uses"] == [
        {"lot": "P-2", "holds_g": 60.0, "takes_g": mass_g, "left_g": pytest.approx(60.0 - mass_g, abs=1e-6)}
    ]
    assert (advice["lots"], advice["on_hand_g"], advice["short_g"], advice["cautions"]) == (2, 960.0, 0.0, [])
    assert "P-2 suffices:" in command(*words, register=shelf).out
    # Without a register there is no stock to speak of.
    assert "spools" not in command(*words, "--json").json


def test_part_job_and_queue_say_which_spools_are_taken_and_what_is_short(shelf: Path, block: str) -> None:
    assert command("part", "add", "BL-1", "Block", register=shelf).code == 0
    assert command("revision", "add", "BL-1", block, "--material", "PLA", register=shelf).code == 0
    assert command("revision", "release", "BL-1", "A", register=shelf).code == 0
    sheet = command("part", "show", "BL-1", "--json", register=shelf).json
    mass_g = sheet["spools"]["A"]["need_g"]
    assert mass_g == sheet["estimates"]["A"]["mass_g"]
    assert "P-2 suffices:" in command("part", "show", "BL-1", register=shelf).out
    # JSON shows a piece's mass to a millionth of a gram.
    # So many pieces that 900 g do not hold them and 960 g do; then so many that both spools do not.
    both = int(960 / mass_g)
    assert both * mass_g > 900
    queued = command("job", "add", "BL-1", str(both), register=shelf)
    assert "P-2 and" in queued.err and "somebody has to be there" in queued.err
    shown = command("job", "show", "A-1", "--json", register=shelf).json["spools"]
    assert [(use["lot"], use["left_g"]) for use in shown["uses"]] == [
        ("P-2", 0.0),
        ("P-1", pytest.approx(960 - both * mass_g, abs=1e-3)),
    ]
    more = command("job", "add", "BL-1", str(2 * both), register=shelf)
    assert "short:" in more.err and "2 spools on hand hold 960 g" in more.err
    assert command("job", "show", "A-2", "--json", register=shelf).json["spools"]["short_g"] == pytest.approx(
        2 * both * mass_g - 960, abs=1e-3
    )


def test_what_is_made_already_takes_no_spool_any_more(shelf: Path, block: str) -> None:
    command("part", "add", "BL-1", "Block", register=shelf)
    command("revision", "add", "BL-1", block, "--material", "PLA", register=shelf)
    command("revision", "release", "BL-1", "A", register=shelf)
    command("job", "add", "BL-1", register=shelf)
    for verb in ("start", "made"):
        assert command("job", verb, "A-1", register=shelf).code == 0
    assert command("job", "show", "A-1", "--json", register=shelf).json["spools"] is None


def test_pose_that_must_be_kept_is_logged_shown_and_exported(shelf: Path, block: str, tmp_path: Path) -> None:
    why = "the hook pulls along the layers"
    command("part", "add", "BL-1", "Block", register=shelf)
    words = ("revision", "add", "BL-1", block, "--material", "PLA", "--keep-pose", why)
    logged = command(*words, register=shelf)
    assert logged.code == 0 and why in logged.out
    assert why in command("part", "show", "BL-1", register=shelf).out
    assert command("part", "show", "BL-1", "--json", register=shelf).json["revisions"][0]["keep_pose"] == why
    table = tmp_path / "revisions.csv"
    assert command("export", str(table), register=shelf).code == 0
    assert table.read_text(encoding="utf-8-sig").splitlines()[1].endswith(f",{why}")


def test_only_a_printed_revision_keeps_a_pose(shelf: Path) -> None:
    command("part", "add", "BR-1", "Bearing", register=shelf)
    words = ("revision", "add", "BR-1", "--cost", "4.50", "--lead-days", "3", "--keep-pose", "so")
    refused = command(*words, register=shelf)
    assert refused.code == 3 and two_sentences(refused.err)
    assert "has no pose to keep" in refused.err


def test_what_other_jobs_need_of_a_spool_is_said_and_not_promised_twice(shelf: Path, block: str) -> None:
    for words in (("part", "add", "BL-1", "Block"), ("revision", "add", "BL-1", block, "--material", "PLA")):
        assert command(*words, register=shelf).code == 0
    one = command("estimate", block, "--material", "PLA", "--json", register=shelf).json
    assert "Other jobs" not in command("job", "add", "BL-1", "2", register=shelf).err
    # Two pieces of the first job, none of the job itself.
    need = f"Other jobs not made yet need {2 * one['mass_g']:.0f} g of PLA too, which is not counted here."
    assert need in command("job", "add", "BL-1", "1", register=shelf).err
    all_three = f"need {3 * one['mass_g']:.0f} g of PLA too"
    asked = command("estimate", block, "--material", "PLA", "--json", register=shelf).json
    assert any(all_three in caution for caution in asked["spools"]["cautions"])
    # A job that is off takes nothing.
    assert command("job", "cancel", "A-1", register=shelf).code == 0
    asked = command("estimate", block, "--material", "PLA", "--json", register=shelf).json
    assert any(f"need {one['mass_g']:.0f} g" in caution for caution in asked["spools"]["cautions"])


def test_warnings_of_an_estimate_stand_under_its_revision(shelf: Path, tmp_path: Path) -> None:
    small = tmp_path / "small.stl"
    small.write_bytes(binary(cube(3.0)))
    for words in (("part", "add", "SM-1", "Small"), ("revision", "add", "SM-1", str(small), "--material", "PLA")):
        assert command(*words, register=shelf).code == 0
    assert "! small.stl is only 3 mm long read in mm" in command("part", "show", "SM-1", register=shelf).out


def test_settings_that_print_nothing_are_refused(block: str) -> None:
    none = [f"--settings={name}=0" for name in ("contours", "infill_share", "solid_top_layers", "solid_bottom_layers")]
    said = command("estimate", block, "--material", "PLA", *none)
    assert said.code == 3 and two_sentences(said.err) and "nothing is printed" in said.err


def test_a_pose_that_falls_over_is_named_with_that(tmp_path: Path) -> None:
    # 250 mm long and 3 mm thin, 200 mm wide: on a bed of 220 mm it fits on edge alone, on a foot of 250 mm × 3 mm
    # turned to the diagonal, with its middle 100 mm above: half the foot is 1.5 mm, so 0.9° tip it over.
    plate = tmp_path / "plate.stl"
    plate.write_bytes(binary(box(250, 200, 3)))
    said = command("estimate", str(plate), "--material", "PLA")
    assert said.code == 3 and "though it does not stand so by itself" in said.err
    turned = command("estimate", str(plate), "--material", "PLA", "--turned", "on its back", "--json").json
    assert any("does not stand so by itself" in warning for warning in turned["warnings"])
