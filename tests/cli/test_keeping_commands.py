"""`pitwright backup`, `restore`, `export`, `import` and `check` as a person gives them."""

import os
import re
import time
from pathlib import Path

import pytest

from tests.cli.command_line import command, program, stored, two_sentences

CLOCK = "2031-03-05 09:00"


def added(demo: Path, number: str) -> None:
    assert command("part", "add", number, "Hub", register=demo).code == 0


def numbers(register: Path) -> set[str]:
    return {part["number"] for part in command("part", "list", "--json", register=register).json}


def newest(demo: Path) -> str:
    return str(command("backup", "--list", "--json", register=demo).json[0]["name"])


def test_backup_says_its_name_and_lists_when_and_why_each_was_made(demo: Path) -> None:
    said = command("backup", "--as-of", CLOCK, register=demo)
    # Nine in Oslo in March is eight, UTC.
    assert (said.code, said.err) == (0, "")
    assert "Backed up to 20310305T080000Z-asked.db, and read whole" in said.out
    listed = command("backup", "--list", register=demo).out
    assert re.search(r"20310305T080000Z-asked\.db +Wed 2031-03-05 09:00 +asked for +\d+ kB", listed)


def test_restore_brings_the_register_back_and_names_the_way_there_and_back(demo: Path) -> None:
    made = command("backup", "--as-of", CLOCK, "--json", register=demo).json["made"]
    added(demo, "RV-1")
    said = command("restore", "20310305T08", "--as-of", "2031-03-05 10:00", register=demo)
    assert (said.code, said.err) == (0, "")
    assert "RV-1" not in numbers(demo)
    words = " ".join(said.out.split())
    assert f"{made} has it" in words
    before = re.search(r"before is \S+/(\S+\.db);", words)
    assert before is not None and before[1] == "20310305T090000Z-before-restore.db"
    assert f"restore the register from {made}" in command("history", "--json", register=demo).json[0]["why"]
    assert command("restore", before[1], register=demo).code == 0
    assert "RV-1" in numbers(demo)


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("restore", "yesterday"), 4),
        (("restore", "2031"), 3),
        (("restore", "README.md"), 3),
        (("restore",), 2),
        (("export", "nothing.txt"), 3),
        (("export", "recipes.csv"), 3),
        (("export", "no such folder/season.zip"), 3),
        (("import", "no such file.zip"), 3),
        (("import", "README.md"), 3),
        (("import", "parts.csv", "folder"), 3),
    ],
    ids=lambda each: str(each) if isinstance(each, int) else " ".join(each),
)
def test_what_cannot_be_done_is_two_sentences_and_changes_nothing(
    demo: Path, words: tuple[str, ...], code: int, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    for hour in (9, 10):
        command("backup", "--as-of", f"2031-03-05 {hour}:00", register=demo)
    monkeypatch.chdir(tmp_path)
    Path("README.md").write_text("# shopping list\n")
    before = stored(demo)
    said = command(*words, register=demo)
    assert (said.code, said.out) == (code, "") and two_sentences(said.err), said
    assert stored(demo) == before


def test_register_goes_out_as_one_file_and_in_as_another_register(demo: Path, tmp_path: Path) -> None:
    archive, copy = tmp_path / "season.zip", tmp_path / "shelf" / "copy"
    said = command("export", str(archive), register=demo)
    assert (said.code, said.err) == (0, "") and str(archive) in said.out
    said = command("import", str(archive), str(copy), "--json")
    assert said.json["path"] == str(copy) and said.json["files"] == 16
    assert numbers(copy) == numbers(demo)
    assert command("check", register=copy).code == 0
    again = command("import", str(archive), str(copy))
    assert (again.code, again.out) == (3, "") and two_sentences(again.err)
    # Where no folder is named, it goes where the register is looked for.
    assert command("import", str(archive), register=tmp_path / "other").code == 0
    assert command("check", register=tmp_path / "other").code == 0


def test_check_says_each_fault_with_its_cure_and_ends_with_five(demo: Path) -> None:
    command("backup", register=demo)
    files = [path for path in sorted((demo / "files").rglob("*")) if path.is_file()]
    files[0].unlink()
    files[1].write_bytes(files[1].read_bytes() + b" ")
    said = command("check", register=demo)
    assert said.code == 5 and two_sentences(said.err) and "and 1 more" in said.err
    told = said.out.replace("\n", "")
    assert said.out.count("WRONG") == 2
    for path in files[:2]:
        assert path.name in told
    assert len(re.findall(r"Copy it \(\S+ of QS-\d+ [A-Z]\) there", " ".join(said.out.split()))) == 2


def test_json_of_a_check_that_fails_is_whole_and_lists_the_faults(demo: Path) -> None:
    next(path for path in (demo / "files").rglob("*") if path.is_file()).unlink()
    said = program("check", "--json", "--register", str(demo))
    assert said.code == 5 and two_sentences(said.err)
    import json

    report = json.loads(said.out)
    (fault,) = report["faults"]
    assert set(fault) == {"what", "cure"} and report["files"] == 16


def test_damaged_register_is_checked_and_the_backup_that_is_offered_brings_it_back(demo: Path) -> None:
    command("backup", register=demo)
    name = newest(demo)
    database = demo / "register.db"
    whole = database.read_bytes()
    database.write_bytes(whole[:40960] + b"\xa5" * 8192 + whole[49152:])
    said = command("check", register=demo)
    assert said.code == 5 and two_sentences(said.err)
    assert f"`pitwright restore {name}`" in " ".join(said.out.split())
    assert command("backup", "--list", register=demo).code == 0
    restored = command("restore", name, register=demo)
    assert restored.code == 0 and "put aside" in restored.out
    assert command("check", register=demo).code == 0


def test_tidy_says_what_it_removed(demo: Path) -> None:
    left = demo / "files" / "ab" / ("ab" * 32)
    left.parent.mkdir(exist_ok=True)
    left.write_bytes(b"left behind")
    then = time.time() - 7200
    os.utime(left, (then, then))
    said = command("check", register=demo)
    assert said.code == 0 and "Nothing needs 1 file (1 kB) any more" in " ".join(said.out.split())
    assert left.exists()
    said = command("check", "--tidy", register=demo)
    assert said.code == 0 and f"Removed files/ab/{'ab' * 32}." in said.out.replace("\n", "")
    assert not left.exists()
    assert command("check", "--tidy", "--json", register=demo).json["removed"] == []


def test_daily_backup_that_cannot_be_made_is_said_and_the_write_is_done(demo: Path) -> None:
    for path in (demo / "backups").iterdir():
        path.unlink()
    (demo / "backups").rmdir()
    (demo / "backups").write_text("in the way")
    said = command("part", "add", "RV-1", "Hub", "--as-of", CLOCK, register=demo)
    assert said.code == 0 and "This day's backup was not made." in said.err
    assert "RV-1" in numbers(demo)


def test_reading_makes_no_backup_whatever_the_day(demo: Path) -> None:
    before = stored(demo)
    for words in (("part", "list"), ("spare", "list"), ("check",), ("history",), ("backup", "--list")):
        assert command(*words, "--as-of", "2031-06-01 09:00", register=demo).code == 0
    assert stored(demo) == before
    command("part", "add", "RV-1", "Hub", "--as-of", "2031-06-01 09:00", register=demo)
    assert newest(demo) == "20310601T070000Z-daily.db"
