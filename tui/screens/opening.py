"""What stands before a register is open: the first paint, or why there is none."""

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Footer, Static

from register.domain.texts import shown
from register.errors import NotFound, RegisterError


class OpeningScreen(Screen[object]):
    """Painted before anything heavy is loaded."""

    CSS_PATH = "opening.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [Binding("q", "app.quit", "Quit")]

    def compose(self) -> ComposeResult:
        yield Static("pitwright", id="name", markup=False)
        yield Static("Opening the register …", id="said", markup=False)


class RefusedScreen(Screen[object]):
    """The register could not be opened: what is wrong and what to do about it."""

    CSS_PATH = "opening.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("q", "app.quit", "Quit"),
        Binding("enter,escape", "app.quit", "Quit", show=False),
    ]

    def __init__(self, error: RegisterError) -> None:
        super().__init__()
        self._error = error

    def compose(self) -> ComposeResult:
        yield Static("pitwright", id="name", markup=False)
        yield Static(Content(shown(self._error.what)), id="said")
        yield Static(Content(shown(self._error.cure)), id="cure")
        if isinstance(self._error, NotFound):
            yield Static("To look around in a made-up shop: `pitwright demo`.", id="demo", markup=False)
        yield Footer()
