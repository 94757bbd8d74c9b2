"""The last gate before the terminal: no sign that it would obey, whichever widget let it by."""

from rich.segment import Segment
from textual.color import Color
from textual.filter import LineFilter

from register.domain.texts import visible_alone


class Disarmed(LineFilter):
    """Takes hidden signs out of every line; they have no width, so that nothing moves.

    Widgets write them out by `register.domain.texts.shown` before; this is for what one of them forgets.
    """

    def apply(self, segments: list[Segment], background: Color) -> list[Segment]:
        """The segments of a line without hidden signs."""
        if all(segment.text.isprintable() for segment in segments):
            return segments
        return [Segment(visible_alone(text).replace("\n", ""), style, control) for text, style, control in segments]
