"""The pages that people read: whole at 80 columns, and with a next step where there is nothing yet."""

from pathlib import Path
from typing import Any

import pytest

from tests.cli.command_line import DEMO_PARTS, command
from tests.cli.test_estimate_command import plate_drawing

# Each page, and the keys of its JSON whose words stand on it.
PAGES = {
    ("part", "list"): {"number", "name", "material", "warnings"},
    ("part", "show", "QS-103"): {"number", "name", "file_name", "changed", "interchange_why", "place"},
    ("part", "show", "QS-302"): {"number", "name", "place"},
    ("spare", "list"): {"part", "name", "signal", "robots"},
    ("robot", "list"): {"note"},
    ("robot", "show", "Marl"): {"part", "required"},
    ("job", "list"): {"number", "part", "state", "machine", "note"},
    ("job", "show", "A-6"): {"part_name", "machine", "tool", "signal", "what", "against"},
    ("stock", "list"): {"label", "material", "note"},
    ("competition", "list"): {"robot"},
    ("replacement", "list"): {"robot", "position", "part", "cause", "by"},
    ("machine", "list"): {"given_by", "conditions"},
    ("plan",): {"job", "part", "why", "why_late"},
    ("history",): {"who", "why"},
}


def words_under(view: Any, keys: set[str]) -> set[str]:
    """Every word of the texts that stand under one of `keys`."""
    if isinstance(view, list):
        return set().union(*(words_under(each, keys) for each in view))
    if not isinstance(view, dict):
        return set()
    found: set[str] = set()
    for key, value in view.items():
        texts = value if isinstance(value, list) and all(isinstance(each, str) for each in value) else [value]
        if key in keys:
            found |= {word for text in texts if isinstance(text, str) for word in text.split()}
        found |= words_under(value, keys)
    return found


@pytest.mark.parametrize("path", PAGES, ids=" ".join)
def test_page_holds_every_word_whole_at_eighty_columns(
    demo: Path, monkeypatch: pytest.MonkeyPatch, path: tuple[str, ...]
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    view = command(*path, "--json", register=demo).json
    said = command(*path, register=demo)
    assert said.code == 0
    assert max(map(len, said.out.splitlines())) <= 80
    wanted = words_under(view, PAGES[path])
    assert wanted
    shown = set(said.out.replace(";", " ").replace(",", " ").split())
    assert {word.strip(";,") for word in wanted} - {each.strip(";,") for each in shown} == set()


@pytest.mark.parametrize(
    ("words", "next_step"),
    [
        (("part", "list"), "`pitwright part add NUMBER NAME`"),
        (("robot", "list"), "`pitwright robot add NAME`"),
        (("spare", "list"), "`pitwright part add NUMBER NAME --wear`"),
        (("job", "list"), "`pitwright job add PART QUANTITY`"),
        (("plan",), "`pitwright job add PART QUANTITY`"),
        (("stock", "list"), "`pitwright stock add LABEL MATERIAL AMOUNT`"),
        (("competition", "list"), "`pitwright competition add NAME STARTS`"),
        (("replacement", "list"), "No replacement is logged yet."),
    ],
)
def test_empty_page_says_what_to_do_next(tmp_path: Path, words: tuple[str, ...], next_step: str) -> None:
    assert command("init", str(tmp_path / "new")).code == 0
    said = command(*words, register=tmp_path / "new")
    assert said.code == 0 and next_step in said.out
    made = command(*words, "--json", register=tmp_path / "new").json
    assert made == [] or made["jobs"] == []


def test_new_revision_is_set_against_the_one_before(demo: Path) -> None:
    words = ("revision", "add", "QS-103", str(DEMO_PARTS / "scoop-lip-b.stl"), "--material", "PETG")
    said = command(*words, "--changed", "again", register=demo)
    assert said.out.startswith("Logged: QS-103 revision C, a draft\n")
    assert "B before it: " in said.out
    # The same file in the same material weighs and takes as much.
    assert "mass +0.0 %, time +0.0 %" in said.out
    assert "! the file is the same as that of revision B" in said.out
    assert said.out.endswith("Release it with `pitwright revision release QS-103 C`.\n")
    released = command("revision", "release", "QS-103", "C", "--who", "Ragna Kvarts", register=demo)
    assert released.out == "QS-103 revision C is released by Ragna Kvarts.\n"


def test_plate_is_told_with_its_openings_and_its_cut(tmp_path: Path) -> None:
    (tmp_path / "plate.dxf").write_bytes(plate_drawing())
    page = command("estimate", str(tmp_path / "plate.dxf"), "--material", "6061 3.175 mm").out
    assert "size         200 mm × 120 mm\n" in page
    assert "holes 2 × 5.2 mm, 1 × 8 mm, 1 × 40 mm; 0 slots" in page
    # (24000 mm² − π/4 · (40² + 8² + 2 · 5.2²)) · 3.175 mm · 2.70 mg/mm³ = 194 g.
    assert "mass of one  194 g\n" in page


def test_stock_is_told_in_its_own_unit(demo: Path) -> None:
    page = command("stock", "list", register=demo).out
    lines = {line.split()[0]: " ".join(line.split()) for line in page.splitlines()}
    # demo_parts/stock.csv
    assert lines["PETG-1"].startswith("PETG-1 PETG – 780 g on hand")
    assert lines["PETG-2"].startswith("PETG-2 PETG – 1 kg comes Mon 10 Mar 16:00 ordered on 3 March")
    assert lines["AL3-1"].startswith("AL3-1 6061 3.175 mm, 610 × 305 mm 2 sheets on hand")
    assert lines["AL3-R1"].startswith("AL3-R1 6061 3.175 mm, 260 × 190 mm 1 offcut on hand")


def test_what_was_undone_is_marked_in_the_history(demo: Path) -> None:
    assert command("spare", "take", "QS-106", register=demo).code == 0
    assert command("undo", register=demo).code == 0
    newest, taken = command("history", "--most", "2", register=demo).out.splitlines()[2:]
    assert "undo" in newest
    number = newest.split()[0]
    assert taken.endswith(f"take a spare QS-106 (undone by {number})")


def test_plan_last_taken_says_when_it_is_outdated(demo: Path) -> None:
    assert command("plan", register=demo).code == 0
    assert command("plan", "--last", register=demo).err == ""
    assert command("job", "add", "QS-105", register=demo).code == 0
    said = command("plan", "--last", register=demo)
    assert said.code == 0
    assert said.err == "The register has changed since; `pitwright plan` makes a new one.\n"
