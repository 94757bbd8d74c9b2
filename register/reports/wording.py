"""Words and shapes shared by every report; each mark is a word besides its colour."""

from collections.abc import Iterable, Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from rich.box import SIMPLE_HEAD
from rich.table import Table
from rich.text import Text

from register.domain.spares import Signal
from register.units.written import written_duration

SIGNAL_STYLES = {Signal.NO_SPARE: "bold white on red", Signal.SHORT: "bold yellow", Signal.OK: "green"}


def table(headings: Sequence[str], rows: Iterable[Sequence[str | Text | None]], right: Sequence[str] = ()) -> Table:
    """A table of plain texts; nothing in them is read as markup.

    Parameters
    ----------
    right
        Headings whose columns hold figures.
    """
    made = Table(box=SIMPLE_HEAD, pad_edge=False, header_style="bold", show_edge=False)
    for heading in headings:
        made.add_column(Text(heading), justify="right" if heading in right else "left", overflow="fold")
    for row in rows:
        made.add_row(*(cell if isinstance(cell, Text) else Text(cell or "–") for cell in row))
    return made


def line(text: str, style: str = "") -> Text:
    """One line of plain text."""
    return Text(text, style=style)


def signal(value: Signal) -> Text:
    """A spare's signal word."""
    return Text(value.value, style=SIGNAL_STYLES[value])


def local(moment: datetime | None, zone: str) -> str:
    """A moment in the shop's zone: `Tue 2031-03-04 16:40`."""
    return "–" if moment is None else moment.astimezone(ZoneInfo(zone)).strftime("%a %Y-%m-%d %H:%M")


def late(late_s: float) -> Text:
    """`on time`, or `LATE 1 d 4 h`."""
    if late_s <= 0:
        return Text("on time", style="green")
    return Text(f"LATE {written_duration(late_s)}", style="bold red")


def counted(number: int, one: str, many: str | None = None) -> str:
    """`1 job`, `2 jobs`."""
    return f"{number} {one if number == 1 else many or one + 's'}"
