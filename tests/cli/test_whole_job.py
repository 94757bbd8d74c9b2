"""The whole job once, by commands, from an empty folder to a sound register."""

import math
from pathlib import Path
from typing import Any

import pytest

from tests.cli.command_line import DEMO_PARTS, command, two_sentences
from tests.cli.test_estimate_command import plate_drawing
from tests.geometry.stl_bytes import binary, cube

# A Tuesday in an open hour of demo_parts/shop.toml.
NOW = ("--as-of", "2031-03-04 16:40")
PLAN_KEYS = {"as_of", "status", "weighted_lateness_h", "ready_by", "jobs", "unplaced"}
JOB_KEYS = {"job", "part", "revision", "machine", "start", "end", "unload", "due", "late_s", "why_late"}


class Shop:
    """A register that a test speaks to."""

    def __init__(self, register: Path) -> None:
        self.register = register

    def __call__(self, *words: str) -> Any:
        """Run a command that must do; gives back its JSON."""
        return command(*words, *NOW, "--json", register=self.register).json

    def spare(self, part: str) -> tuple[int, str]:
        (found,) = [each for each in self("spare", "list") if each["part"] == part]
        return found["usable_now"], found["signal"]


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    """A register that knows its shop and nothing else, and two files to log."""
    (tmp_path / "hub.stl").write_bytes(binary(cube(20.0)))
    (tmp_path / "plate.dxf").write_bytes(plate_drawing())
    register = tmp_path / "register"
    said = command("init", str(register), "--shop", str(DEMO_PARTS / "shop.toml"), *NOW)
    assert said.code == 0, said.err
    return Shop(register)


def log_three_parts(shop: Shop, tmp_path: Path) -> None:
    shop("part", "add", "RV-1", "Hub", "--wear")
    shop("part", "add", "RV-2", "Side plate")
    shop("part", "add", "RV-3", "Bearing")
    hub = ("RV-1", str(tmp_path / "hub.stl"), "--material", "PLA", "--changed", "first revision")
    printed = shop("revision", "add", *hub)
    assert printed["revision"]["letter"] == "A" and printed["revision"]["state"] == "draft"
    assert printed["estimate"]["solid_volume_mm3"] == pytest.approx(8000.0, rel=1e-5)
    routed = shop("revision", "add", "RV-2", str(tmp_path / "plate.dxf"), "--material", "6061 3.175 mm")
    holes_mm2 = sum(math.pi * diameter**2 / 4 for diameter in (40.0, 8.0, 5.2, 5.2))
    assert routed["estimate"]["outline_area_mm2"] == pytest.approx(200 * 120 - holes_mm2, rel=1e-5)
    bought = shop("revision", "add", "RV-3", "--cost", "35.00", "--lead-days", "4")
    assert (bought["estimate"]["cost_cents"], bought["estimate"]["lead_days"]) == (3500, 4)
    for part in ("RV-1", "RV-2", "RV-3"):
        assert shop("revision", "release", part, "A")["state"] == "released"


def build_a_robot(shop: Shop) -> None:
    shop("robot", "add", "Basalt")
    shop("assembly", "add", "Basalt", "chassis")
    shop("assembly", "add", "Basalt", "drive", "--in", "chassis", "--module")
    shop("assembly", "position", "Basalt", "hubs", "RV-1", "--quantity", "2", "--in", "drive")
    shop("assembly", "position", "Basalt", "side plate", "RV-2", "--in", "chassis")
    robot = shop("robot", "fitted", "Basalt", "hubs", "A", "A")
    hubs = next(each for each in robot["positions"] if each["name"] == "hubs")
    assert (hubs["required"], hubs["fitted"]) == ("A", ["A", "A"])


def test_the_whole_job_once(shop: Shop, tmp_path: Path) -> None:
    log_three_parts(shop, tmp_path)
    build_a_robot(shop)
    event = shop("competition", "add", "Basin Trials", "2031-03-22 09:00", "--enter", "Basalt=6")
    # 09:00 in Oslo in March is 08:00 UTC; without a date of their own, parts are due at the start.
    assert event["starts"] == event["parts_due"] == "2031-03-22T08:00:00Z"
    shop("stock", "add", "PLA-1", "PLA", "1 kg")
    sheet = shop("stock", "add", "AL-1", "6061 3.175 mm", "2", "--width", "610 mm", "--length", "48 in")
    assert sheet["length_mm"] == pytest.approx(1219.2)
    for part, quantity in (("RV-1", "3"), ("RV-2", "1"), ("RV-3", "2")):
        assert shop("job", "add", part, quantity)["due"] == "2031-03-22T08:00:00Z"

    plan = shop("plan")
    assert set(plan) >= PLAN_KEYS
    assert plan["as_of"] == "2031-03-04T15:40:00Z" and plan["status"] in ("proved best", "best found")
    assert {job["job"] for job in plan["jobs"]} == {"A-1", "A-2", "A-3"} and plan["unplaced"] == []
    for job in plan["jobs"]:
        assert set(job) >= JOB_KEYS
        assert job["start"] <= job["end"] <= job["unload"] and job["late_s"] == 0
    # Four days from now.
    assert next(job["end"] for job in plan["jobs"] if job["job"] == "A-3") == "2031-03-08T15:40:00Z"
    # Made as of another time than now, it was only looked at.
    assert command("plan", "--last", register=shop.register).code == 4

    for verb in ("start", "made", "finish", "accept"):
        state = shop("job", verb, "A-1")["state"]
    assert state == "accepted"
    used_g = 1000 - next(lot["amount"] for lot in shop("stock", "list") if lot["label"] == "PLA-1")
    # Three cubes of at most 8 cm³ each at 1.24 g/cm³.
    assert 0 < used_g <= 3 * 8 * 1.24 * 1.1
    assert shop.spare("RV-1")[0] == 3

    shop("spare", "add", "RV-1", "1", "--revision", "A", "--place", "pit box")
    shop("spare", "take", "RV-1", "--robot", "Basalt")
    done = shop("replacement", "add", "Basalt", "hubs", "--piece", "2", "--cause", "broken")
    assert (done["slot"], done["removed"], done["fitted"]) == (2, "A", "A")
    # 3 made + 1 added − 1 taken − 1 fitted.
    assert shop.spare("RV-1")[0] == 2
    assert shop("undo")["why"] == "replace hubs on Basalt: broken"
    assert shop.spare("RV-1")[0] == 3

    history = shop("history", "--most", "1000")
    assert [each["number"] for each in history] == list(range(len(history), 0, -1))
    assert history[0]["undoes"] == history[1]["number"] and history[1]["undone_by"] == history[0]["number"]
    checked = shop("check")
    # The files of two parts.
    assert checked["files"] == 2 and checked["rows"] > 0


def test_new_revision_does_not_touch_the_robot_that_carries_the_old_one(shop: Shop, tmp_path: Path) -> None:
    log_three_parts(shop, tmp_path)
    build_a_robot(shop)
    shop("spare", "add", "RV-1", "2", "--revision", "A")
    (tmp_path / "hub-b.stl").write_bytes(binary(cube(22.0)))
    added = shop("revision", "add", "RV-1", str(tmp_path / "hub-b.stl"), "--material", "PLA", "--changed", "larger")
    assert added["revision"]["letter"] == "B" and added["previous"]["letter"] == "A"
    shop("revision", "release", "RV-1", "B")
    robot = shop("robot", "show", "Basalt")
    hubs = next(each for each in robot["positions"] if each["name"] == "hubs")
    assert (hubs["required"], hubs["fitted"]) == ("A", ["A", "A"])
    assert shop.spare("RV-1")[0] == 2
    # B was not said to work in place of A, so the spares of A are stranded once B is required and fitted.
    shop("robot", "require", "Basalt", "hubs", "B")
    shop("robot", "fitted", "Basalt", "hubs", "B", "B")
    assert shop.spare("RV-1") == (0, "NO SPARE")
    old = command("revision", "identify", str(tmp_path / "hub.stl"), register=shop.register)
    assert "RV-1 revision A, superseded: do not make it" in old.out


def test_dry_run_shows_the_estimate_and_writes_nothing(shop: Shop, tmp_path: Path) -> None:
    shop("part", "add", "RV-1", "Hub")
    made = shop("revision", "add", "RV-1", str(tmp_path / "hub.stl"), "--material", "PLA", "--dry-run")
    assert made["estimate"]["mass_g"] > 0
    assert shop("part", "show", "RV-1")["revisions"] == []


def test_shop_that_is_written_reads_back_as_it_was(shop: Shop, tmp_path: Path) -> None:
    text = command("shop", "write", register=shop.register).out
    (tmp_path / "again.toml").write_text(text, encoding="utf-8")
    before = shop("shop", "show")
    assert shop("shop", "read", str(tmp_path / "again.toml")) == before
    assert shop("shop", "write") == before


def test_second_init_in_one_place_is_refused_and_changes_nothing(shop: Shop) -> None:
    shop("part", "add", "RV-1", "Hub")
    for words in (("init", str(shop.register)), ("--register", str(shop.register), "init")):
        said = command(*words)
        assert said.code == 3 and two_sentences(said.err)
    assert [each["number"] for each in shop("part", "list")] == ["RV-1"]


def test_init_without_a_shop_file_takes_a_usual_shop(tmp_path: Path) -> None:
    said = command("init", str(tmp_path / "new"), "--station", "b")
    assert said.code == 0 and f"Made a register in {tmp_path / 'new'}." in said.err
    shop = Shop(tmp_path / "new")
    shop("part", "add", "RV-1", "Bearing")
    shop("revision", "add", "RV-1", "--cost", "1", "--lead-days", "1")
    assert shop("job", "add", "RV-1", "1")["number"] == "B-1"


def test_the_plan_that_was_taken_is_shown_again_until_another_is(demo: Path) -> None:
    taken = command("plan", "--json", register=demo).json
    command("--as-of", "2031-03-10 16:40", "plan", register=demo)
    assert command("plan", "--last", "--json", register=demo).json == taken
