"""One part whole: revisions with their estimates, where it sits, what is on hand, what is wrong."""

from dataclasses import dataclass
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widgets import Static

from register.actions import parts, shop
from register.domain.part_views import PartSheet
from register.opening import Register
from tui.screens.register_screen import COMMON_KEYS, RegisterScreen
from tui.screens.taking import take_spare
from tui.widgets.part_page import part_page


@dataclass(frozen=True)
class PartView:
    """What the screen shows: the part, and the money that the shop counts in."""

    sheet: PartSheet
    currency: str


class PartScreen(RegisterScreen[PartView]):
    """One part whole."""

    CSS_PATH = "part.tcss"
    AUTO_FOCUS = "VerticalScroll"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "app.pop_screen", "Back"),
        Binding("t", "take", "Take spare"),
        *COMMON_KEYS,
    ]
    place = "Part"

    def __init__(self, register: Register, number: str) -> None:
        super().__init__(register)
        self._number = number

    def compose_body(self) -> ComposeResult:
        """The page, which scrolls."""
        with VerticalScroll():
            yield Static("", id="page", markup=False)

    def read_view(self) -> PartView:
        """Read the part."""
        return PartView(parts.show_part(self.register, self._number), shop.shop_settings(self.register).shop.currency)

    def show_view(self, view: PartView) -> None:
        """Show it."""
        self.query_one("#page", Static).update(part_page(view.sheet, view.currency))

    def action_take(self) -> None:
        """Take a usable spare of this part."""
        take_spare(self, self._number)
