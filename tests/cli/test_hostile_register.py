"""A register that someone else has written into with SQL: what is shown of it drives no terminal."""

import io
import json
import sqlite3
from contextlib import redirect_stdout
from pathlib import Path

import pytest
from rich.text import Text

from register.cli import here
from register.cli.here import rendered
from register.cli.json_form import as_json
from register.domain.texts import shown
from tests.cli.command_line import command, two_sentences
from tests.cli.test_hostile_texts import CONTROLS, harmless
from tests.hostile_rows import SIGNS, make_hostile

PAGES = [
    ("part", "list"),
    ("part", "show", "QS-102"),
    ("robot", "list"),
    ("job", "list"),
    ("job", "show", "A-1"),
    ("spare", "list"),
    ("replacement", "list"),
    ("competition", "list"),
    ("stock", "list"),
    ("shop", "show"),
    ("shop", "write"),
    ("machine", "list"),
    ("plan",),
    ("plan", "--last"),
    ("history", "--most", "100"),
    ("check",),
]
HIDDEN = set("\x1b\x07\x7f\x85\x9b\r\t\u202e\u2066\u2028\U000e0041")


@pytest.fixture
def hostile(demo: Path) -> Path:
    assert command("plan", register=demo).code == 0
    assert make_hostile(demo) > 500
    return demo


def test_no_page_of_a_hostile_register_drives_a_terminal_even_without_the_last_gate(
    hostile: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Each report writes hidden signs out by itself; the gate behind them is for one that forgets it.
    monkeypatch.setattr(here, "visible_alone", lambda text: text)
    written_out = 0
    for words in (*PAGES, ("demo", str(hostile), "--report")):
        said = command(*words, register=hostile)
        assert said.code == 0, (words, said.err)
        assert harmless(said) and not HIDDEN & set(said.out + said.err), words
        written_out += said.out.count(r"\x1b")
    assert written_out > 100


def test_no_json_of_a_hostile_register_drives_a_terminal(hostile: Path) -> None:
    for words in PAGES:
        said = command(*words, "--json", register=hostile)
        assert said.code == 0 and harmless(said) and not HIDDEN & set(said.out + said.err), words


def test_json_gives_back_every_hidden_sign_as_it_stands(hostile: Path) -> None:
    robots = command("robot", "list", "--json", register=hostile).json
    assert robots and all(json.dumps(SIGNS)[1:-1] in json.dumps(each) for each in robots)
    every = "".join(map(chr, [*range(0x20), *range(0x7F, 0xA1), 0x202E, 0x2028, 0xFEFF, 0xE0041, 0xD800, 0x1F916]))
    assert json.loads(as_json({"text": every})) == {"text": every}
    assert not CONTROLS.search(as_json({"text": every})) and "🤖" in as_json({"text": every})


def test_last_gate_takes_what_a_report_forgot_and_keeps_colour_and_lines() -> None:
    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    forgetful = Text.assemble((f"red{SIGNS}", "bold red"), "\nnext")
    with redirect_stdout(Terminal()):
        page = rendered(forgetful)
    # The only escapes are those of the style: bold, red, and back. Source: ECMA-48, SGR 1, 31 and 0.
    assert page.replace("\x1b[1;31m", "").replace("\x1b[0m", "").split("\n")[-2].rstrip() == "next"
    bare = page.replace("\x1b[1;31m", "").replace("\x1b[0m", "")
    assert "\x1b" not in bare and not HIDDEN & set(bare) and "red[2J" in bare


@pytest.mark.parametrize("sign", sorted(HIDDEN))
def test_every_hidden_sign_is_written_out_by_its_number(sign: str) -> None:
    assert shown(f"a{sign}b") == f"a\\x{ord(sign):02x}b"


def test_table_whose_name_is_no_text_any_more_is_a_damaged_register(demo: Path) -> None:
    database = demo / "register.db"
    whole = database.read_bytes()
    for word in (b"CREATE TABLE part", b"CREATE TABLE operation", b"CREATE TRIGGER"):
        at = whole.index(word)
        for offset in (0, 8, 14):
            database.write_bytes(whole[: at + offset] + b"\xff\x9b" + whole[at + offset + 2 :])
            said = command("part", "list", register=demo)
            assert said.code == 5 and said.out == "" and harmless(said) and two_sentences(said.err), (word, offset)


def test_row_that_breaks_a_check_is_refused_when_the_register_is_opened(demo: Path) -> None:
    with sqlite3.connect(demo / "register.db") as connection:
        connection.execute("DROP TRIGGER IF EXISTS job_updated")
        for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            connection.execute(f'DROP TRIGGER "{name}"')
        connection.execute("PRAGMA ignore_check_constraints = ON")
        connection.execute("UPDATE job SET state = ?", (SIGNS,))
    connection.close()
    said = command("job", "list", register=demo)
    assert said.code == 5 and said.out == "" and harmless(said) and two_sentences(said.err)
