"""Names and texts from anywhere: shown as they are, or refused, and never obeyed by the terminal or the page."""

import re
from pathlib import Path

import pytest

from tests.cli.command_line import DEMO_PARTS, Said, command, program, stored, two_sentences
from tests.cli.test_estimate_command import plate_drawing
from tests.geometry.stl_bytes import binary, cube

CUBE = binary(cube(20.0))
PLAIN = [
    "P[rev B]",
    "[bold red]x[/bold red]",
    "[/x]",
    ":warning: {0} %s \\n",
    "Større Hjul ☃",
    "部品 ロボット",
    "🤖🦾 arm",
    "עברית",
    "=1+2|'x'!A1",
    "ß" * 200,
    "'; DROP TABLE part; --",
]
ESCAPES = ["\x1b[31mred\x07", "\x9b31m", "line\nbreak", "a\u202eb"]
# What may drive a terminal: the control signs, but for the line ends that a page is made of.
CONTROLS = re.compile(r"[\x00-\x09\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")


def harmless(said: Said) -> bool:
    return not CONTROLS.search(said.out + said.err)


def squeezed(page: str) -> str:
    """A page without its blanks and line ends, so that a text that was wrapped is found in it."""
    return re.sub(r"\s", "", page)


def test_any_plain_text_is_shown_as_it_is(demo: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "400")
    for number, text in enumerate(PLAIN):
        for words in (
            ("part", "add", f"RV-{number}", "--", text),
            ("robot", "add", "--note", text, "--", text),
            ("spare", "add", "QS-102", "1", f"--place={text}", f"--note={text}"),
            ("competition", "add", "--enter", f"{text}=3", "--", text, "2031-06-01 09:00"),
            ("job", "add", "QS-105", f"--note={text}"),
        ):
            assert command(*words, register=demo).code == 0
    pages = {
        ("part", "list"): 1,
        ("robot", "list"): 2,
        ("part", "show", "QS-102"): 1,
        ("competition", "list"): 2,
        ("job", "list"): 1,
        ("history", "--most", "100"): 3,
    }
    for words, times in pages.items():
        said = command(*words, register=demo)
        assert said.code == 0 and harmless(said)
        for text in PLAIN:
            if len(text) < 200:
                assert squeezed(said.out).count(squeezed(text)) >= times, (words, text)
        # A long name is broken into the lines of its column, and no sign of it is lost.
        assert said.out.count("ß") >= 200 * times, words
    names = [part["name"] for part in command("part", "list", "RV-", "--json", register=demo).json]
    assert sorted(names) == sorted(PLAIN)


@pytest.mark.parametrize("text", ESCAPES)
def test_text_that_could_drive_a_terminal_is_refused_everywhere(demo: Path, text: str) -> None:
    before = stored(demo)
    for words in (
        ("part", "add", "RV-1", text),
        ("part", "add", text, "Hub"),
        ("robot", "add", text),
        ("robot", "add", "Basalt", "--note", text),
        ("assembly", "add", "Marl", text),
        ("assembly", "add", text, "drive"),
        ("assembly", "position", "Marl", text, "QS-101"),
        ("competition", "add", text, "2031-06-01 09:00"),
        ("competition", "add", "Trials", text),
        ("competition", "add", "Trials", "2031-06-01 09:00", "--enter", f"{text}=3"),
        ("stock", "add", text, "PLA", "1 kg"),
        ("stock", "add", "PLA-9", text, "1 kg"),
        ("stock", "add", "PLA-9", "PLA", text),
        ("stock", "add", "PLA-9", "PLA", "1 kg", "--note", text),
        ("stock", "use", text, "1 g"),
        ("spare", "add", "QS-102", "1", "--place", text),
        ("spare", "add", "QS-102", "1", "--revision", text),
        ("spare", "take", "QS-103", "--place", text),
        ("spare", "take", "QS-103", "--robot", text),
        ("spare", "count", "QS-102", "5", "--because", text),
        ("replacement", "add", "Marl", "scoop lip", "--note", text),
        ("replacement", "add", "Marl", text),
        ("job", "add", "QS-101", "1", "--note", text),
        ("job", "add", "QS-101", "1", "--machine", text),
        ("job", "show", text),
        ("job", "hold", "A-5", "--because", text),
        ("machine", "allow-unattended", "Wren", "--by", "Odd Feltspat", "--conditions", text, "--longest", "1 h"),
        ("machine", "allow-unattended", "Wren", "--by", text, "--conditions", "x", "--longest", "1 h"),
        ("revision", "add", "QS-301", "--cost", "1", "--lead-days", "1", "--changed", text),
        ("revision", "add", "QS-301", "--cost", text, "--lead-days", "1"),
        ("revision", "release", "QS-101", text),
        ("part", "show", text),
        ("part", "list", "--as-of", text),
        ("part", "list", "--register", text),
        ("shop", "read", text),
        ("plan", "--who", text),
        ("undo", text),
        ("part", "list", f"--{text}"),
        (text,),
    ):
        said = command(*words, register=demo)
        assert said.code in (2, 3, 4), (words, said)
        assert said.out == "" and harmless(said), (words, said)
    assert stored(demo) == before


def test_file_names_are_written_out_in_messages_and_refused_in_the_register(demo: Path, tmp_path: Path) -> None:
    file = tmp_path / "\x1b[31mhub.stl"
    file.write_bytes(CUBE)
    before = stored(demo)
    added = command("revision", "add", "QS-101", str(file), "--material", "PLA", register=demo)
    assert added.code == 3 and harmless(added) and two_sentences(added.err)
    assert stored(demo) == before
    unknown = command("revision", "identify", str(file), register=demo)
    # The cube is not among the files of the demo.
    assert unknown.code == 0 and harmless(unknown) and r"\x1b[31mhub.stl is no file of the register." in unknown.out
    file.write_bytes(CUBE[:-5])
    cut_short = command("estimate", str(file), "--material", "PLA")
    assert cut_short.code == 3 and harmless(cut_short) and r"\x1b[31mhub.stl" in cut_short.err
    missing = command("estimate", str(tmp_path / "\x9b2Jgone.stl"))
    assert missing.code == 3 and harmless(missing) and r"\x9b2Jgone.stl does not exist." in missing.err


def test_name_that_is_no_unicode_is_told_without_a_fault(tmp_path: Path) -> None:
    said = program("estimate", f"{tmp_path}/\udcff\udcfe.stl", "--material", "PLA")
    assert said.code in (2, 3) and said.out == "" and two_sentences(said.err)
    # An argument of a name that the register keeps.
    said = program("--register", str(tmp_path / "r"), "part", "add", "RV-1", "\udcff")
    assert said.code in (2, 3, 4) and said.out == "" and two_sentences(said.err)


def test_texts_and_layers_of_a_drawing_are_never_obeyed(tmp_path: Path) -> None:
    for hidden in ("\x1b[31mred", "\x9b2J", "[bold]x[/bold]", "[/x]"):
        content = plate_drawing("note").replace(b"note", hidden.encode())
        (tmp_path / "plate.dxf").write_bytes(content)
        for form in ((), ("--json",)):
            said = command("estimate", str(tmp_path / "plate.dxf"), "--material", "6061 3 mm", *form)
            assert said.code in (0, 3) and harmless(said)


@pytest.mark.parametrize("text", ["\\u001b[31mLark", "\\u009b2JLark", "Lark\\u202e", "Lark\\n"])
def test_shop_file_whose_names_could_drive_a_terminal_is_refused(demo: Path, tmp_path: Path, text: str) -> None:
    whole = (DEMO_PARTS / "shop.toml").read_text(encoding="utf-8")
    before = stored(demo)
    for good in ('name = "Stone Shed"', 'name = "Wren"', 'name = "Tuva Skifer"', 'source = "published table'):
        assert good in whole
        field, _, value = good.partition(' = "')
        (tmp_path / "shop.toml").write_text(whole.replace(good, f'{field} = "{text}{value}', 1), encoding="utf-8")
        said = command("shop", "read", str(tmp_path / "shop.toml"), register=demo)
        assert said.code == 3 and said.out == "" and harmless(said) and two_sentences(said.err)
    assert stored(demo) == before


def test_markup_in_a_shop_file_is_shown_as_it_is(demo: Path, tmp_path: Path) -> None:
    whole = (DEMO_PARTS / "shop.toml").read_text(encoding="utf-8")
    (tmp_path / "shop.toml").write_text(whole.replace('"Stone Shed"', '"[red]Shed[/x] 🛠"', 1), encoding="utf-8")
    assert command("shop", "read", str(tmp_path / "shop.toml"), register=demo).code == 0
    assert command("shop", "show", register=demo).out.startswith("[red]Shed[/x] 🛠  Europe/Oslo")
    assert command("demo", str(demo), "--report").out.startswith("[red]Shed[/x] 🛠, Tue")


def test_name_that_is_too_long_is_refused_with_the_longest(demo: Path) -> None:
    said = command("part", "add", "RV-1", "n" * 201, register=demo)
    assert said.code == 3 and two_sentences(said.err) and "200" in said.err
