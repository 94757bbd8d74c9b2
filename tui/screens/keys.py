"""What the keys do and what the marks mean."""

from typing import ClassVar

from rich.console import Group
from rich.text import Text
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.screen import ModalScreen
from textual.widgets import Static

from register.domain.spares import Signal
from register.reports.wording import grid, signal

_KEYS = (
    ("↑ ↓", "move; page keys, home and end too"),
    ("enter", "open the part"),
    ("esc", "back; ends finding, and stops a plan that is being made"),
    ("/", "find: parts whose number or name holds what you type"),
    ("t", "take a usable spare of the part"),
    ("u", "undo your own last operation; asks nothing and says what it was"),
    ("p", "plan every open job"),
    ("r", "read the register again; what others write shows by itself"),
    ("?", "this page"),
    ("q", "leave"),
)
_MARKS = (
    (Signal.NO_SPARE, "a robot would stand without a piece that fits what is on it now"),
    (Signal.SHORT, "fewer are usable than the next competition is likely to take"),
    (Signal.OK, "as many as advised, or more"),
)


class KeysScreen(ModalScreen[None]):
    """The page behind the question mark."""

    CSS_PATH = "keys.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape,question_mark,q,enter", "app.pop_screen", "Back")]

    def compose(self) -> ComposeResult:
        keys = grid((Text(key, style="bold"), said) for key, said in _KEYS)
        marks = grid((signal(mark), said) for mark, said in _MARKS)
        with VerticalScroll():
            yield Static(
                Group(keys, Text(), marks, Text(), Text("Everything else: `pitwright --help`. esc goes back."))
            )
