"""The screens in a real terminal: the first paint, the ways in that fail, how they end, and colour."""

import json
import re
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from tests.shops import wear_register
from tests.tui.real_terminal import AS_COMMAND, ROOT, Terminal

HEAVY = ["numpy", "pint", "shapely", "sqlalchemy", "sqlmodel", "trimesh"]
LEAVES_THE_SCREENS = b"\x1b[?1049l"

WATCHED_COMMAND = f"""
import json, os, sys
from pathlib import Path
import register.cli.__main__ as command
import tui.app
from tests.tui.screen_text import screen_text

painted = []

def after_painting(app):
    painted.append([screen_text(app), [name for name in {HEAVY!r} if name in sys.modules], "typer" in sys.modules])

tui.app.Screens.post_display_hook = after_painting
try:
    command.main()
finally:
    Path(os.environ["PAINTED"]).write_text(json.dumps(painted))
"""

FAILING_COMMAND = """
import register.actions.parts
from register.cli.__main__ import main

def list_parts(register, find=""):
    raise RuntimeError("the words of " + str(register.folder))

register.actions.parts.list_parts = list_parts
main()
"""


@pytest.fixture
def environment(tmp_path: Path) -> dict[str, str]:
    """Everything that the program writes outside its register goes below the test's folder."""
    return {
        "PITWRIGHT_REGISTER": str(tmp_path / "register"),
        "XDG_STATE_HOME": str(tmp_path / "state"),
        "HOME": str(tmp_path / "home"),
    }


def test_the_first_screen_is_painted_before_anything_heavy_is_loaded(
    tmp_path: Path, environment: dict[str, str]
) -> None:
    wear_register(tmp_path / "register").store.close()
    with Terminal(WATCHED_COMMAND, environment=environment | {"PAINTED": str(tmp_path / "painted.json")}) as terminal:
        terminal.wait_for("CL-1")
        terminal.type("q")
        assert terminal.left() == 0
    painted = json.loads((tmp_path / "painted.json").read_text())
    first = next(loaded for text, *loaded in painted if "Opening the register" in text)
    assert first == [[], False]
    # What is loaded afterwards: the store that the parts come from. So the test would see it, had it come earlier.
    assert {"sqlalchemy", "sqlmodel"} <= set(painted[-1][1])


@pytest.mark.parametrize(
    ("content", "code", "what"),
    [(None, 4, "There is no register in"), (b"no database", 5, "it is not a database")],
)
def test_a_register_that_cannot_be_opened_is_told_on_the_screen_and_after_it(
    content: bytes | None, code: int, what: str, environment: dict[str, str]
) -> None:
    folder = Path(environment["PITWRIGHT_REGISTER"])
    if content is not None:
        folder.mkdir()
        (folder / "register.db").write_bytes(content)
    with Terminal(AS_COMMAND, environment=environment, size=(200, 40)) as terminal:
        terminal.wait_for(what)
        terminal.wait_for("or name another folder." if content is None else "or bring back a copy of this one.")
        terminal.type("q")
        assert terminal.left() == code
    shown, after = terminal.written.split(LEAVES_THE_SCREENS, 1)
    assert what.encode() in shown
    assert what.encode() in after


def test_a_fault_of_ours_gives_the_terminal_back_and_says_one_sentence(
    tmp_path: Path, environment: dict[str, str]
) -> None:
    wear_register(tmp_path / "register").store.close()
    with Terminal(FAILING_COMMAND, environment=environment, size=(300, 40)) as terminal:
        assert terminal.left() == 1
    after = terminal.written.split(LEAVES_THE_SCREENS, 1)[1].decode()
    assert "pitwright failed (RuntimeError); this is a fault of the program, not of yours." in after
    assert "Traceback" not in terminal.written.decode()
    assert "the words of" not in terminal.written.decode()
    (log,) = (tmp_path / "state").rglob("fault-*.log")
    assert str(log) in after
    # Where it happened, and nothing of what the register holds.
    assert "in list_parts" in log.read_text()
    assert "the words of" not in log.read_text()


def test_demo_opens_the_screens_on_the_folder_that_it_is_given(tmp_path: Path, environment: dict[str, str]) -> None:
    wear_register(tmp_path / "shop").store.close()
    with Terminal(AS_COMMAND, "demo", str(tmp_path / "shop"), environment=environment) as terminal:
        terminal.wait_for("CL-1")
        terminal.type("q")
        assert terminal.left() == 0


# Select Graphic Rendition: 30–49 and 90–107 are colours, apart from 39 and 49, the terminal's own. Source: ECMA-48.
COLOUR = re.compile(rb"\x1b\[(?:\d+;)*(?:3[0-8]|4[0-8]|9[0-7]|10[0-7])(?:;\d+)*m")


@pytest.mark.parametrize("without_colour", [True, False])
def test_no_colour_means_none_and_the_words_stay(
    tmp_path: Path, environment: dict[str, str], without_colour: bool
) -> None:
    wear_register(tmp_path / "register", on_hand=0).store.close()
    told = {"NO_COLOR": "1"} if without_colour else {}
    with Terminal(AS_COMMAND, environment=environment | told) as terminal:
        terminal.wait_for("NO SPARE (1)  CL-1 Claw")
        terminal.type("q")
        assert terminal.left() == 0
    assert bool(COLOUR.search(terminal.written)) is not without_colour


@pytest.mark.parametrize("sign", [signal.SIGTERM, signal.SIGHUP])
def test_a_signal_ends_the_screens_and_gives_the_terminal_back(
    sign: signal.Signals, tmp_path: Path, environment: dict[str, str]
) -> None:
    wear_register(tmp_path / "register").store.close()
    with Terminal(AS_COMMAND, environment=environment) as terminal:
        terminal.wait_for("CL-1")
        terminal.end(sign)
        assert terminal.left() == 130
    assert "Traceback" not in terminal.written.split(LEAVES_THE_SCREENS, 1)[1].decode()


def test_without_a_terminal_the_screens_say_what_to_do_instead(environment: dict[str, str]) -> None:
    ran = subprocess.run(
        [sys.executable, "-c", AS_COMMAND],
        cwd=ROOT,
        env={"PATH": "", **environment},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
    )
    assert ran.returncode == 3
    assert ran.stderr.splitlines() == [
        "The screens need a terminal to type in and to show themselves on.",
        "Open one, or use the commands: `pitwright --help`, `pitwright demo --report`.",
    ]
