"""Words and shapes shared by every report; each mark is a word besides its colour."""

from collections.abc import Iterable, Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from rich.box import SIMPLE_HEAD
from rich.table import Table
from rich.text import Text

from register.domain.spares import Signal
from register.domain.texts import shown
from register.units.written import written_duration

SIGNAL_STYLES = {Signal.NO_SPARE: "bold white on red", Signal.SHORT: "bold yellow", Signal.OK: "green"}

Row = Sequence[str | Text | None]


def table(headings: Sequence[str], rows: Iterable[Row], right: Sequence[str] = ()) -> Table:
    """A table of plain texts; nothing in them is read as markup, and hidden signs are written out.

    Parameters
    ----------
    right
        Headings whose columns hold figures.
    """
    made = Table(box=SIMPLE_HEAD, padding=(0, 1, 0, 0), pad_edge=False, header_style="bold", show_edge=False)
    for heading in headings:
        made.add_column(Text(heading), justify="right" if heading in right else "left", overflow="fold")
    for row in rows:
        made.add_row(*(_cell(cell, "–") for cell in row))
    return made


def grid(rows: Iterable[Row]) -> Table:
    """Rows of plain texts under each other, without headings; a long last text wraps under itself."""
    made = Table.grid(padding=(0, 2, 0, 0))
    for row in rows:
        made.add_row(*(_cell(cell, "") for cell in row))
    return made


def line(text: str, style: str = "") -> Text:
    """One line of plain text."""
    return Text(shown(text), style=style)


def signal(value: Signal) -> Text:
    """A spare's signal word."""
    return Text(value.value, style=SIGNAL_STYLES[value])


def local(moment: datetime | None, zone: str) -> str:
    """A moment in the shop's zone: `Tue 2031-03-04 16:40`."""
    return "–" if moment is None else moment.astimezone(ZoneInfo(zone)).strftime("%a %Y-%m-%d %H:%M")


def near(moment: datetime | None, zone: str, now: datetime | None = None) -> str:
    """A moment of these weeks in the shop's zone: `Tue 4 Mar 16:40`, or `16:40` on the day of `now`."""
    if moment is None:
        return "–"
    there = moment.astimezone(ZoneInfo(zone))
    if now is not None and there.date() == now.astimezone(ZoneInfo(zone)).date():
        return f"{there:%H:%M}"
    return f"{there:%a} {there.day} {there:%b %H:%M}"


def late(late_s: float) -> Text:
    """`on time`, or `LATE 1 d 4 h`."""
    if late_s <= 0:
        return Text("on time", style="green")
    return Text(f"LATE {written_duration(late_s)}", style="bold red")


def counted(number: int, one: str, many: str | None = None) -> str:
    """`1 job`, `2 jobs`."""
    return f"{number} {one if number == 1 else many or one + 's'}"


def joined(names: Iterable[str]) -> str:
    """`A`, `A and B`, `A, B and C`."""
    listed = list(names)
    return " and ".join([", ".join(listed[:-1]), listed[-1]] if len(listed) > 1 else listed)


def _cell(cell: str | Text | None, empty: str) -> Text:
    return cell if isinstance(cell, Text) else Text(shown(cell or empty))
