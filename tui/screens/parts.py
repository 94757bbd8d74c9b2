"""Every part with its warnings: finding one, opening it, taking a spare of it, planning."""

import threading
from dataclasses import dataclass
from typing import ClassVar

from rich.text import Text
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal
from textual.widgets import DataTable, Input, Static

from register.actions import parts, planning, shop
from register.domain.part_views import PartLine
from register.domain.plans import KeptPlan, Plan
from register.domain.texts import shown
from register.opening import Register
from register.reports.plan import ready_or_not
from register.reports.wording import line
from tui.screens.part import PartScreen
from tui.screens.register_screen import COMMON_KEYS, RegisterScreen
from tui.screens.taking import take_spare
from tui.widgets.part_detail import PartDetail
from tui.widgets.part_table import PartTable
from tui.widgets.wear_line import WearLine

NO_PART = """No part is in this register yet.

Add the first:              pitwright part add NUMBER NAME
one that wears out:         pitwright part add NUMBER NAME --wear
then its first revision:    pitwright revision add NUMBER FILE

It shows here as soon as it is written. To look around in a made-up shop: pitwright demo"""


@dataclass(frozen=True)
class PartsView:
    """What the screen shows: every part, those found, and the plan last taken with the zone of its times."""

    every: tuple[PartLine, ...]
    find: str
    found: tuple[PartLine, ...]
    plan: KeptPlan | None
    zone: str


class FindLine(Input):
    """Where one types what to find."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("down,tab", "screen.to_table", "To what was found", key_display="↓"),
        Binding("escape", "screen.back", "Every part"),
    ]


class PartsScreen(RegisterScreen[PartsView]):
    """The first screen: every part with its warnings."""

    CSS_PATH = "parts.tcss"
    AUTO_FOCUS = "PartTable"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("slash", "find", "Find", key_display="/"),
        Binding("t", "take", "Take spare"),
        Binding("p", "plan", "Plan"),
        Binding("escape", "back", "Back", show=False),
        *COMMON_KEYS,
    ]
    place = "Parts"

    def __init__(self, register: Register) -> None:
        super().__init__(register)
        self._find = ""
        self._planning: threading.Event | None = None

    def compose_body(self) -> ComposeResult:
        """The line of NO SPARE, what to find, the table, the part under the cursor, the plan."""
        yield WearLine()
        with Horizontal(id="find"):
            yield Static("Find:", markup=False)
            yield FindLine(placeholder="part number or name", compact=True)
        yield PartTable(self._show_detail)
        yield Static("", id="nothing", markup=False)
        yield PartDetail()
        yield Static("", id="plan", markup=False)

    def read_view(self) -> PartsView:
        """Read the parts and the plan last taken."""
        find = self._find
        every = parts.list_parts(self.register)
        found = parts.list_parts(self.register, find) if find else every
        zone = shop.shop_settings(self.register).shop.zone
        return PartsView(every, find, found, planning.kept_plan(self.register), zone)

    def show_view(self, view: PartsView) -> None:
        """Show them."""
        with self.app.batch_update():
            self.query_one(WearLine).show(view.every)
            table, nothing = self.query_one(PartTable), self.query_one("#nothing", Static)
            table.display = bool(view.found)
            nothing.display = not view.found
            nothing.update(_nothing(view))
            table.show(view.found)
            if table.display and self.focused is None:
                table.focus()
            if self._planning is None:
                self._show_plan_line(_plan_words(view.plan, view.zone))

    def action_find(self) -> None:
        """Type what to find."""
        self.query_one("#find").display = True
        self.query_one(FindLine).focus()

    def action_to_table(self) -> None:
        """Go on from finding to what was found."""
        self.query_one(PartTable).focus()

    def action_back(self) -> None:
        """Stop the plan that is being made, else end finding."""
        if self._planning is not None:
            self._planning.set()
        elif self.query_one("#find").display:
            self.query_one(FindLine).clear()
            self.query_one("#find").display = False
            self.action_to_table()

    def action_take(self) -> None:
        """Take a usable spare of the part under the cursor."""
        part = self.query_one(PartTable).part
        if part is not None:
            take_spare(self, part.number)

    def action_plan(self) -> None:
        """Plan every open job in a process of its own."""
        if self._planning is None:
            self._planning = threading.Event()
            self.run_worker(self._plan(self._planning), group="plan")

    def on_input_changed(self, event: Input.Changed) -> None:
        self._find = event.value.strip()
        self.read()

    def on_input_submitted(self) -> None:
        self.action_to_table()

    def on_data_table_row_selected(self, event: DataTable.RowSelected) -> None:
        part = self.query_one(PartTable).part
        if part is not None:
            self.app.push_screen(PartScreen(self.register, part.number))

    def _show_detail(self, part: PartLine | None) -> None:
        for detail in self.query(PartDetail):
            detail.show(part)

    async def _plan(self, stop: threading.Event) -> None:
        self._show_plan_line(Text("Planning … esc stops it."))
        try:
            await self.attempt(
                lambda: planning.plan_jobs(self.register, apart=True, stopped=stop.is_set), self._say_planned
            )
        finally:
            # Also when the screen is left: the process at work ends with it.
            stop.set()
            self._planning = None
            self.read()

    def _say_planned(self, plan: Plan) -> None:
        self.say(f"Planned: {plan.status}. `pitwright plan --last` lists every job.")

    def _show_plan_line(self, text: Text) -> None:
        self.query_one("#plan", Static).update(text)


def _plan_words(kept: KeptPlan | None, zone: str) -> Text:
    if kept is None:
        return Text("No plan yet: p plans every open job.")
    since = line("  Changed since: p plans again.", "bold") if kept.outdated else line("")
    return Text.assemble(ready_or_not(kept.plan, zone), since)


def _nothing(view: PartsView) -> str:
    return f"No part holds “{shown(view.find)}” in its number or name. esc shows every part." if view.find else NO_PART
