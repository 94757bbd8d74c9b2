"""The table of parts: as wide as the terminal, and the cursor stays on its part."""

from collections.abc import Callable, Sequence
from typing import ClassVar

from rich.cells import cell_len
from rich.text import Text
from textual import events
from textual.binding import Binding, BindingType
from textual.coordinate import Coordinate
from textual.widgets import DataTable

from register.domain.part_views import PartLine
from register.domain.spares import Signal
from register.domain.texts import shown
from register.reports.wording import signal

HEADINGS = ("part", "name", "revision", "process", "material", "on hand", "spare")
WARNINGS = "warnings"
NAME, ON_HAND = HEADINGS.index("name"), HEADINGS.index("on hand")
_LEAST_NAME, _MOST_NAME, _MOST_OTHER = 12, 40, 20
# From this width on there is room for the warnings beside the part, and for wider gaps.
WIDE = 120


class PartTable(DataTable[Text]):
    """Parts in a table.

    Parameters
    ----------
    on_part
        Called with the part under the cursor, or None, whenever that changes: at once, not by message.
    """

    BINDINGS: ClassVar[list[BindingType]] = [Binding("enter", "select_cursor", "Open")]

    def __init__(self, on_part: Callable[[PartLine | None], None]) -> None:
        super().__init__(cursor_type="row", cell_padding=0, header_height=1)
        self._on_part = on_part
        self._lines: tuple[PartLine, ...] = ()
        self._widths: tuple[int, ...] = ()
        # Where the person put the cursor: it goes back there when a search that does not hold that part has ended.
        self._at: str | None = None
        self._building = False

    @property
    def part(self) -> PartLine | None:
        """The part under the cursor."""
        row = self.cursor_row
        return self._lines[row] if 0 <= row < len(self._lines) else None

    def show(self, lines: Sequence[PartLine]) -> None:
        """Show parts; the cursor stays on its part, or on its row where the part is gone."""
        row, top = self.cursor_row, self.scroll_y
        self._lines = tuple(lines)
        widths = self._fitting_widths()
        if widths != self._widths or [key.value for key in self.rows] != [line.number for line in lines]:
            self._build(widths, self._row_of(self._at, row), top)
        else:
            self._refill()
        self._on_part(self.part)

    def watch_cursor_coordinate(self, old_coordinate: Coordinate, new_coordinate: Coordinate) -> None:
        super().watch_cursor_coordinate(old_coordinate, new_coordinate)
        if self._building:
            return
        self._at = self.part.number if self.part else None
        # Here and not by message: the line below then paints with the cursor, not a blink after it.
        self._on_part(self.part)

    def on_resize(self, event: events.Resize) -> None:
        if self._lines:
            self.show(self._lines)

    def _row_of(self, number: str | None, otherwise: int) -> int:
        numbers = [line.number for line in self._lines]
        if number in numbers:
            return numbers.index(number)
        return max(0, min(otherwise, len(numbers) - 1))

    def _build(self, widths: tuple[int, ...], row: int, top: float) -> None:
        self._widths = widths
        self._building = True
        self.clear(columns=True)
        gap = self._gap()
        for heading, width in zip((*HEADINGS, WARNINGS), widths, strict=False):
            self.add_column(_fitted(Text(heading), width, heading == HEADINGS[ON_HAND]), width=width + gap, key=heading)
        for line in self._lines:
            self.add_row(*self._cells(line), key=line.number)
        self.move_cursor(row=row, scroll=False)
        self._building = False
        self.scroll_to(y=top, animate=False)

    def _refill(self) -> None:
        for row, line in enumerate(self._lines):
            for column, cell in enumerate(self._cells(line)):
                if self.get_cell_at(Coordinate(row, column)) != cell:
                    self.update_cell_at(Coordinate(row, column), cell)

    def _cells(self, line: PartLine) -> list[Text]:
        return [
            _fitted(cell, width, column == ON_HAND)
            for column, (cell, width) in enumerate(zip(_row(line), self._widths, strict=False))
        ]

    def _gap(self) -> int:
        return 2 if self.size.width >= WIDE else 1

    def _fitting_widths(self) -> tuple[int, ...]:
        """What each column needs; the name, and where there is room the warnings, take what is left."""
        rows = [[cell_len(cell.plain) for cell in _row(line)] for line in self._lines]
        widths = [max([len(heading), *(row[at] for row in rows)]) for at, heading in enumerate(HEADINGS)]
        widths = [min(width, _MOST_OTHER) if at != NAME else width for at, width in enumerate(widths)]
        gap, room = self._gap(), self.scrollable_content_region.width or self.size.width
        others = sum(widths) - widths[NAME] + gap * len(HEADINGS)
        widths[NAME] = max(_LEAST_NAME, min(widths[NAME], room - others, _MOST_NAME))
        left = room - others - widths[NAME] - gap
        return (*widths, left) if self.size.width >= WIDE and left >= len(WARNINGS) else tuple(widths)


def _row(line: PartLine) -> tuple[Text, ...]:
    return (
        Text(shown(line.number)),
        Text(shown(line.name)),
        Text(shown(f"{line.revision} {line.state}") if line.revision else "–"),
        Text(line.process.value if line.process else "–"),
        Text(shown(line.material or "–")),
        Text(str(line.on_hand)),
        signal(Signal(line.signal)) if line.signal else Text("–"),
        Text(shown("; ".join(line.warnings))),
    )


def _fitted(cell: Text, width: int, right: bool) -> Text:
    """A copy of `cell` that is no wider than `width`; what does not fit ends in an ellipsis."""
    fitted = cell.copy()
    fitted.no_wrap = True
    fitted.truncate(width, overflow="ellipsis")
    if right:
        fitted.align("right", width)
    return fitted
