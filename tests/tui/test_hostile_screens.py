"""Screens on a register that someone wrote into with SQL: nothing on them drives the terminal."""

from pathlib import Path

import pytest
from rich.text import Text
from textual.pilot import Pilot
from textual.widgets import Static

from register.errors import NotFound
from tests.hostile_rows import SIGNS, make_hostile
from tests.shops import again, wear_register
from tests.tui.screen_text import screen_text, until, until_shown
from tests.tui.test_parts_screen import at_the_screen
from tui.screens.opening import RefusedScreen
from tui.screens.register_screen import RegisterScreen
from tui.widgets.disarmed import Disarmed
from tui.widgets.lines import MessageLine

HIDDEN = set(SIGNS) - set("[]2J0;owned8;http://x\\31mgnp")
SIZE = (160, 45)


def harmless(pilot: Pilot[None]) -> bool:
    return not HIDDEN & set(screen_text(pilot.app).replace("\n", ""))


@pytest.mark.parametrize("gate", ["with the last gate", "without it"])
def test_screens_write_hidden_signs_out(tmp_path: Path, gate: str, monkeypatch: pytest.MonkeyPatch) -> None:
    if gate == "without it":
        # Each widget writes hidden signs out by itself; the gate behind them is for one that forgets it.
        monkeypatch.setattr(Disarmed, "apply", lambda self, segments, background: segments)
    register = wear_register(tmp_path / "register")
    register.store.close()
    assert make_hostile(register.folder) > 10

    async def steps(pilot: Pilot[None]) -> None:
        await until_shown(pilot, r"Claw\x1b[2J")
        assert harmless(pilot)
        await pilot.press("t")
        await until_shown(pilot, r"shelf\x1b[2J")
        assert harmless(pilot)
        await pilot.press("u")
        await until_shown(pilot, "Undone")
        assert harmless(pilot)
        await pilot.press("enter")
        await until_shown(pilot, r"as drawn\x1b[2J")
        assert harmless(pilot)
        screen = pilot.app.screen
        assert isinstance(screen, RegisterScreen)
        screen.refuse(NotFound(f"There is no {SIGNS}.", f"Give {SIGNS}."))
        await until_shown(pilot, r"There is no \x1b[2J")
        assert harmless(pilot)

    at_the_screen(again(register), steps, SIZE)


def test_last_gate_takes_what_a_widget_forgot_and_moves_nothing(tmp_path: Path) -> None:
    async def steps(pilot: Pilot[None]) -> None:
        await until_shown(pilot, "Claw")
        line = pilot.app.screen.query_one(MessageLine)
        line.update(Text(f"took{SIGNS}one", style="bold"))
        await until(pilot, lambda: "took[2J" in screen_text(pilot.app))
        assert harmless(pilot)
        await pilot.app.screen.mount(Static(Text(f"and{SIGNS}this")))
        await until(pilot, lambda: "and[2J" in screen_text(pilot.app))
        assert harmless(pilot)

    at_the_screen(wear_register(tmp_path / "register"), steps, SIZE)


def test_refusal_to_open_a_folder_of_a_hostile_name_drives_no_terminal(tmp_path: Path) -> None:
    async def steps(pilot: Pilot[None]) -> None:
        await pilot.app.push_screen(RefusedScreen(NotFound(f"There is none in {SIGNS}.", "Name another.")))
        await until_shown(pilot, r"There is none in \x1b[2J")
        assert harmless(pilot)

    at_the_screen(wear_register(tmp_path / "register"), steps, SIZE)
