"""What of the stock on hand suffices for a print, wherever it is asked; and a pose that must be kept."""

from pathlib import Path

import pytest

from tests.cli.command_line import DEMO_PARTS, command, two_sentences
from tests.geometry.stl_bytes import binary, cube

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
