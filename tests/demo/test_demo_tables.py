"""The demo shop's tables: they agree with one another, with the files beside them, and tell the story they are for."""

import csv
import tomllib
from datetime import datetime, time
from functools import cache
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from register.domain.machines import PrintSettings, RouterLimits
from register.domain.parts import Process
from register.domain.revisions import Interchange, Revision, RevisionState, Stage, ordinal
from register.domain.robots import Position
from register.domain.spares import OnHand, Signal, Unusable, signal_for, usability
from register.settings.shop_file import read_shop

DEMO = Path(__file__).parents[2] / "demo_parts"


def rows(name: str) -> list[dict[str, str]]:
    with (DEMO / f"{name}.csv").open(encoding="utf-8", newline="") as table:
        return list(csv.DictReader(table, strict=True))


@cache
def shop() -> dict[str, Any]:
    return tomllib.loads((DEMO / "shop.toml").read_text(encoding="utf-8"))


@cache
def histories() -> dict[str, tuple[Revision, ...]]:
    found: dict[str, list[Revision]] = {}
    for row in rows("revisions"):
        revision = Revision(
            part=row["part"],
            letter=row["letter"],
            process=Process(row["process"]),
            state=RevisionState(row["state"]),
            stage=Stage(row["stage"]),
            interchange=Interchange(row["interchange"]),
            material=row["material"] or None,
            thickness_mm=float(row["thickness_mm"]) if row["thickness_mm"] else None,
            unit_cost_cents=int(row["unit_cost_cents"]) if row["unit_cost_cents"] else None,
            lead_days=int(row["lead_days"]) if row["lead_days"] else None,
        )
        found.setdefault(row["part"], []).append(revision)
    return {part: tuple(history) for part, history in found.items()}


@cache
def positions() -> tuple[Position, ...]:
    found = []
    for row in rows("positions"):
        marks = [None if mark in {"?", "-"} else mark for mark in row["fitted"].split(";")]
        found.append(
            Position(
                row["robot"],
                row["assembly"],
                row["position"],
                row["part"],
                int(row["quantity"]),
                row["required"],
                tuple(marks),
            )
        )
    return tuple(found)


def test_revisions_name_every_file_and_no_file_lies_about() -> None:
    named = [row["file"] for row in rows("revisions") if row["file"]]
    assert len(set(named)) == len(named)
    assert sorted(named) == sorted(path.name for path in DEMO.iterdir() if path.suffix in {".stl", ".dxf"})


def test_every_revision_has_what_its_process_needs_and_letters_run_in_order() -> None:
    materials = {each["name"]: each for each in shop()["material"]}
    assert set(histories()) == {row["number"] for row in rows("parts")}
    for history in histories().values():
        assert [ordinal(revision.letter) for revision in history] == list(range(1, len(history) + 1))
        for revision in history:
            bought = revision.process is Process.BOUGHT
            assert bought == (revision.material is None)
            assert bought == (revision.lead_days is not None and revision.unit_cost_cents is not None)
            assert (revision.process is Process.ROUTED) == (revision.thickness_mm is not None)
            if revision.material:
                form = {"printed": "filament", "routed": "sheet"}[revision.process.value]
                assert materials[revision.material]["form"] == form
    for row in rows("revisions"):
        assert row["changed"]
        assert row["interchange_why"]
        assert bool(row["file"]) == (row["process"] != "bought")
    counts = [history[0].process for history in histories().values()]
    assert [counts.count(process) for process in (Process.PRINTED, Process.ROUTED, Process.BOUGHT)] == [6, 5, 3]


def test_positions_hold_known_parts_at_released_revisions_in_known_assemblies() -> None:
    assemblies = {(row["robot"], row["assembly"]) for row in rows("assemblies")}
    assert {robot for robot, _ in assemblies} == {row["robot"] for row in rows("robots")}
    parents = {(row["robot"], row["parent"]) for row in rows("assemblies") if row["parent"]}
    assert parents <= assemblies
    assert any(row["module"] == "yes" for row in rows("assemblies"))
    assert len({(each.robot, each.name) for each in positions()}) == len(positions())
    for each in positions():
        assert (each.robot, each.assembly) in assemblies
        assert len(each.fitted) == each.quantity
        released = {r.letter for r in histories()[each.part] if r.state is RevisionState.RELEASED}
        assert each.required in released
        assert {letter for letter in each.fitted if letter} <= released
    assert {each.part for each in positions()} == set(histories())


def test_every_other_table_speaks_of_things_that_exist() -> None:
    letters = {(part, revision.letter) for part, history in histories().items() for revision in history}
    machines = {each["name"]: each for each in shop()["machine"]}
    materials = {each["name"] for each in shop()["material"]}
    places = {(each.robot, each.name): each.part for each in positions()}
    for row in rows("spares"):
        assert row["revision"] == "?" or (row["part"], row["revision"]) in letters
        assert int(row["quantity"]) > 0
    for row in rows("jobs"):
        assert (row["part"], row["revision"]) in letters
        process = histories()[row["part"]][0].process.value
        assert not row["machine"] or machines[row["machine"]]["process"] == process
        assert (row["state"] == "running") <= bool(row["machine"])
        assert datetime.fromisoformat(row["due"]) == datetime(2031, 3, 20, 18)
    assert {row["state"] for row in rows("jobs")} == {"queued", "running", "on hold"}
    for row in rows("replacements"):
        assert places[row["robot"], row["position"]] == row["part"]
        assert {(row["part"], row["revision_out"]), (row["part"], row["revision_in"])} <= letters
        assert datetime.fromisoformat(row["at"]).date() == datetime(2030, 11, 16).date()
    assert {row["material"] for row in rows("stock")} <= materials
    assert len({row["label"] for row in rows("stock")}) == len(rows("stock"))
    assert {row["form"] for row in rows("stock")} == {"spool", "sheet", "offcut"}
    named = {row["competition"] for row in rows("competitions")}
    assert {row["competition"] for row in rows("entries")} == named
    assert [row["machine"] for row in rows("permissions")] == ["Lark"]


def test_the_register_reads_the_shop_file() -> None:
    settings = read_shop((DEMO / "shop.toml").read_bytes(), "shop.toml")
    assert (settings.shop.zone, settings.shop.chance_target) == ("Europe/Oslo", 0.9)
    assert [machine.name for machine in settings.machines] == ["Lark", "Wren", "Heron"]
    assert [material.name for material in settings.materials] == [each["name"] for each in shop()["material"]]
    closed, extra = settings.shop.exceptions
    assert (closed.day.strftime("%A"), closed.opens) == ("Wednesday", None)
    assert (extra.day.strftime("%A"), extra.opens, extra.closes) == ("Sunday", time(16), time(20))


def test_shop_file_uses_only_settings_that_the_domain_has() -> None:
    ZoneInfo(shop()["shop"]["zone"])
    PrintSettings().overridden(shop()["print_settings"])
    tools = {each["name"] for each in shop()["tool"]}
    materials = {each["name"] for each in shop()["material"]}
    for machine in shop()["machine"]:
        PrintSettings().overridden(machine.get("print_settings", {}))
        RouterLimits(**machine.get("router", {}))
        assert set(machine["materials"]) <= materials
        assert set(machine.get("tools", [])) <= tools
    assert sorted(each["process"] for each in shop()["machine"]) == ["printed", "printed", "routed"]


def test_densities_are_the_published_ones() -> None:
    density = {each["name"]: each["density_g_cm3"] for each in shop()["material"]}
    assert all(each["source"] for each in shop()["material"])
    assert density["PLA"] == 1.24  # Source: NatureWorks Ingeo 4043D technical data sheet, ASTM D792
    assert 1.25 <= density["PETG"] <= 1.29  # Source: supplier data sheets
    assert density["6061"] == 2.70  # Source: amesweb.info material tables
    assert density["polycarbonate"] == 1.20  # Source: SABIC Lexan 9034 data sheet, ASTM D792
    assert 0.65 <= density["birch plywood"] <= 0.71  # Source: supplier data sheet


# --- the story that the scenario is to tell --------------------------------------------------------------------------


def advised(part: str) -> int:
    """Fewest spares that are enough with a chance of 0.9.

    Demand is negative binomial with a = ½ + r, q = H/(T + H): P(0) = (1 − q)^a, P(k) = P(k − 1) · q · (a + k − 1)/k.
    """
    matches = {(row["competition"], row["robot"]): int(row["matches"]) for row in rows("entries")}
    past_name, ahead_name = "Autumn Gravel Trials", "Quarry Sampling Trials"
    fitted = [each for each in positions() if each.part == part]
    past = sum(each.quantity * matches[past_name, each.robot] for each in fitted)
    ahead = sum(each.quantity * matches[ahead_name, each.robot] for each in fitted)
    worn = [row for row in rows("replacements") if row["part"] == part and row["cause"] in {"worn", "broken"}]
    a, q = 0.5 + len(worn), ahead / (past + ahead)
    chance = enough = (1 - q) ** a
    count = 0
    while enough < 0.9:
        count += 1
        chance *= q * (a + count - 1) / count
        enough += chance
    return count


def standing(part: str, taken: tuple[str, int] | None = None) -> tuple[Signal, int, tuple[Unusable, ...]]:
    """Signal, usable pieces and unusable ones, after `taken` (a letter and how many) has left the shelf."""
    pieces = []
    for row in rows("spares"):
        if row["part"] != part:
            continue
        left = int(row["quantity"])
        if taken and row["revision"] == taken[0]:
            left -= taken[1]
        pieces.append(OnHand(part, None if row["revision"] == "?" else row["revision"], row["place"], left))
    fitted = [each for each in positions() if each.part == part]
    found = usability(histories()[part], fitted, pieces)
    return signal_for(sum(each.quantity for each in fitted), found, advised(part)), found.now, found.unusable


def test_wear_parts_stand_as_the_scenario_wants_them() -> None:
    # By hand, T : H = 22 : 12 where both robots carry the part (q = 6/17), 12 : 6 on Shale alone (q = 1/3):
    # treads r = 0: P(0) = .804, P(≤1) = .946 -> 1.  bearings r = 1: .520 .796 .918 -> 2.
    # lips r = 2: .337 .634 .818 .915 -> 3.           auger tips r = 3: .242 .524 .736 .865 .935 -> 4.
    wear = [row["number"] for row in rows("parts") if row["wear"] == "yes"]
    assert wear == ["QS-102", "QS-103", "QS-106", "QS-302", "QS-303"]
    assert [advised(part) for part in wear[1:]] == [3, 1, 2, 4]
    assert [standing(part)[0] for part in wear] == [
        Signal.NO_SPARE,
        Signal.OK,
        Signal.OK,
        Signal.OK,
        Signal.SHORT,
    ]


def test_no_pulley_is_usable_though_an_unmarked_one_lies_in_a_drawer_and_a_job_is_queued() -> None:
    signal, usable, unusable = standing("QS-102")
    assert (signal, usable) == (Signal.NO_SPARE, 0)
    assert [(each.revision, each.quantity) for each in unusable] == [(None, 1)]
    assert [row["state"] for row in rows("jobs") if row["part"] == "QS-102"] == ["queued"]


def test_two_old_scoop_lips_in_the_box_fit_no_robot() -> None:
    signal, usable, unusable = standing("QS-103")
    assert (signal, usable) == (Signal.OK, 3)
    assert [(each.revision, each.quantity) for each in unusable] == [("A", 2)]


def test_the_last_tread_is_enough_until_it_is_taken() -> None:
    assert standing("QS-106")[:2] == (Signal.OK, 1)
    assert standing("QS-106", taken=("A", 1))[:2] == (Signal.NO_SPARE, 0)


def test_one_robot_still_carries_older_revisions_than_it_should() -> None:
    behind = {
        (each.robot, each.part)
        for each in positions()
        if any(letter and ordinal(letter) < ordinal(each.required) for letter in each.fitted)
    }
    assert behind == {("Marl", "QS-105"), ("Marl", "QS-201")}


def test_the_queue_holds_a_late_delivery_a_late_sheet_and_a_job_without_material() -> None:
    now = datetime(2031, 3, 4, 16, 40)
    due = datetime(2031, 3, 20, 18)
    assert now.strftime("%A") == "Tuesday"
    queued = {row["part"]: row for row in rows("jobs") if row["state"] == "queued"}
    leads = {part: history[0].lead_days for part, history in histories().items() if history[0].lead_days}
    assert [part for part in queued if part in leads and leads[part] > (due - now).days] == ["QS-301"]
    lots = {(row["material"], row["thickness_mm"]): row for row in rows("stock")}
    assert datetime.fromisoformat(lots["6061", "6.35"]["arrives"]) > due  # the gussets' sheet
    assert ("birch plywood", "6") not in lots  # the tray's
    assert {"QS-202", "QS-204"} <= set(queued)
