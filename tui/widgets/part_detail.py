"""The part under the cursor: its whole name and its warnings."""

from textual.app import ComposeResult
from textual.containers import Vertical
from textual.content import Content
from textual.widgets import Static

from register.domain.part_views import PartLine
from register.domain.texts import shown


class PartDetail(Vertical):
    """What the table has no room for."""

    def compose(self) -> ComposeResult:
        yield Static("", id="which", markup=False)
        yield Static("", id="warnings", markup=False)

    def show(self, part: PartLine | None) -> None:
        """Show a part, or nothing."""
        which = f"{part.number}  {part.name}" if part else ""
        warnings = "\n".join(f"! {shown(warning)}" for warning in part.warnings) or "No warning." if part else ""
        self.query_one("#which", Static).update(Content(shown(which)))
        self.query_one("#warnings", Static).update(Content(warnings))
