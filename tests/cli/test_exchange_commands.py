"""`pitwright export` and `import` of tables: what the shop's spreadsheet gets, and what comes back from it."""

import csv
import json
from pathlib import Path

import pytest

from tests.cli.command_line import DEMO_PARTS, command, program, stored, two_sentences

TABLES = (
    *("parts", "revisions", "robots", "assemblies", "positions"),
    *("spares", "replacements", "stock", "competitions", "entries"),
)
TAKEN_IN = tuple(table for table in TABLES if table not in {"revisions", "replacements"})


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file, strict=True))


@pytest.mark.parametrize("ending", ["csv", "json"])
def test_demo_goes_out_table_by_table_and_comes_in_without_a_change(demo: Path, tmp_path: Path, ending: str) -> None:
    before = stored(demo)
    for table in TABLES:
        path = tmp_path / f"{table}.{ending}"
        said = command("export", str(path), register=demo)
        assert (said.code, said.err) == (0, "")
        assert path.stat().st_size > 0
        if table in TAKEN_IN:
            report = command("import", str(path), "--json", register=demo).json
            assert (report["subject"], report["added"], report["changed"], report["operation"]) == (table, 0, 0, None)
            assert report["left"] == report["rows"] > 0
    assert stored(demo) == before


def test_table_out_of_the_demo_says_what_its_own_files_say(demo: Path, tmp_path: Path) -> None:
    path = tmp_path / "parts.csv"
    assert command("export", str(path), register=demo).code == 0
    assert rows_of(path) == rows_of(DEMO_PARTS / "parts.csv")
    path = tmp_path / "positions.csv"
    assert command("export", str(path), register=demo).code == 0

    def key(row: dict[str, str]) -> tuple[str, str]:
        return row["robot"], row["position"]

    # What is fitted has changed since by replacements; the rest is as it was built. A dash alone would be a formula.
    kept = ("robot", "assembly", "position", "part", "quantity", "required")
    ours, theirs = (sorted(rows_of(each), key=key) for each in (path, DEMO_PARTS / "positions.csv"))
    assert [[row[name] for name in kept] for row in ours] == [[row[name] for name in kept] for row in theirs]
    fitted = {key(row): row["fitted"] for row in ours}
    assert (fitted["Shale", "gussets"], fitted["Marl", "sample tray"]) == ("A;A;A;A", "'-")


def test_import_is_seen_before_it_is_done_and_taken_back_by_one_undo(demo: Path, tmp_path: Path) -> None:
    path = tmp_path / "from the office.csv"
    path.write_text('number;name;wear\nQS-101;Wheel hub;yes\nRV-1;"=Hub; new";no\n', encoding="utf-8")
    before = stored(demo)
    seen = command("import", str(path), "--table", "parts", "--dry-run", register=demo)
    assert seen.code == 0
    for words in ("2 rows read: 1 would be added, 1 changed", "QS-101", "wear no → yes", "=Hub; new"):
        assert words in " ".join(seen.out.split())
    assert stored(demo) == before
    done = command("import", str(path), "--table", "parts", "--json", register=demo).json
    assert (done["added"], done["changed"], done["dry_run"]) == (1, 1, False)
    assert done["changes"][0] == {
        "line": 2,
        "row": "QS-101",
        "change": "changed",
        "columns": [{"column": "wear", "old": "no", "new": "yes"}],
    }
    assert command("part", "show", "RV-1", "--json", register=demo).json["part"]["name"] == "=Hub; new"
    newest = command("history", "--most", "1", "--json", register=demo).json[0]
    assert (newest["number"], newest["why"]) == (done["operation"], "import parts: 1 added, 1 changed")
    assert command("undo", register=demo).code == 0
    names = [part["number"] for part in command("part", "list", "--json", register=demo).json]
    assert "RV-1" not in names and "QS-101" in names


def test_counted_stock_comes_back_as_a_move_of_the_ledger(demo: Path, tmp_path: Path) -> None:
    path = tmp_path / "stock.json"
    assert command("export", str(path), register=demo).code == 0
    lots = json.loads(path.read_text(encoding="utf-8"))
    next(lot for lot in lots if lot["label"] == "PLA-2")["amount"] = 612.5
    path.write_text(json.dumps(lots), encoding="utf-8")
    assert command("import", str(path), "--json", register=demo).json["changed"] == 1
    left = {lot["label"]: lot["amount"] for lot in command("stock", "list", "--json", register=demo).json}
    assert left["PLA-2"] == 612.5
    assert command("check", register=demo).code == 0


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        (
            "parts.csv",
            b"number,name,wear\nRV-1,Hub,maybe\nRV 2,Hub,no\n",
            "Line 2, wear: 'maybe' is neither yes nor no (1 more fault after it).",
        ),
        ("parts.csv", b"number,name,wear\nRV-1,\x1b[31mHub,no\n", "Line 2, name: the name holds a control character."),
        ("parts.csv", b"number,name,wear\n\x1b[31m,Hub,maybe\n", "Line 2, number: the part number holds a control"),
        ("parts.csv", b"\x1b]0;x\x07,name,wear\n", "Line 1: there is no column '\\x1b]0;x\\x07'."),
        ("parts.csv", b"number,name,wear\nRV-1,Hub,\x1b[2Jyes\n", "Line 2, wear: '\\x1b[2jyes'"),
        ("parts.json", b'[{"number": "RV-1", "number": "RV-2"}]', "Line 1: the key 'number' stands there twice."),
        ("parts.json", b"[" * 200_000, "Line 1 should begin an object"),
        ("spares.csv", b"part,revision,place,quantity\nXX-1,A,shelf,1\n", "Line 2: there is no part 'XX-1'."),
        ("revisions.csv", b"", "A table of revisions goes out but does not come in"),
        ("parts.txt", b"", "parts.txt ends neither in"),
        ("people.csv", b"", "people.csv names no table."),
    ],
    ids=range(11),
)
def test_table_that_cannot_be_taken_in_is_refused_in_two_sentences(
    demo: Path, tmp_path: Path, name: str, content: bytes, words: str
) -> None:
    path = tmp_path / name
    path.write_bytes(content)
    before = stored(demo)
    said = command("import", str(path), register=demo)
    assert said.code == 3
    assert words.casefold() in said.err.casefold()
    assert two_sentences(said.err) and "\x1b" not in said.err and "\x07" not in said.err
    assert stored(demo) == before


def test_export_never_writes_over_a_file(demo: Path, tmp_path: Path) -> None:
    path = tmp_path / "parts.csv"
    path.write_bytes(b"mine")
    said = command("export", str(path), register=demo)
    assert said.code == 3 and two_sentences(said.err)
    assert path.read_bytes() == b"mine"


def test_program_of_its_own_takes_a_table_in(demo: Path, tmp_path: Path) -> None:
    path = tmp_path / "robots.csv"
    path.write_text("robot,note,active\nBasalt 部品,,yes\n", encoding="utf-8")
    said = program("import", str(path), "--json", "--register", str(demo))
    assert said.json["added"] == 1
    assert said.json["not_named"] == 2
