"""The line that is always in sight: the wear parts of which no usable spare is on hand."""

from collections.abc import Sequence

from rich.text import Text
from textual.widgets import Static

from register.domain.part_views import PartLine
from register.domain.spares import Signal
from register.domain.texts import shown


class WearLine(Static):
    """Names the wear parts with NO SPARE, or says that there is none."""

    def __init__(self) -> None:
        super().__init__("", markup=False)

    def show(self, lines: Sequence[PartLine]) -> None:
        """Show how the wear parts among all parts stand."""
        without = [line for line in lines if line.signal == Signal.NO_SPARE]
        self.set_class(bool(without), "-none")
        self.display = any(line.wear for line in lines)
        if without:
            named = "  ·  ".join(f"{line.number} {line.name}" for line in without)
            self.update(Text.assemble(f"{Signal.NO_SPARE} ({len(without)})  ", shown(named)))
        else:
            self.update(Text("Every robot has a usable spare of each wear part."))
