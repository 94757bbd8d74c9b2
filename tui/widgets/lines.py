"""Single lines of every screen: where one is, and what the program has to say."""

from rich.text import Text
from textual.content import Content
from textual.widgets import Static

from register.domain.texts import shown
from register.errors import RegisterError


class Heading(Static):
    """Where one is: the screen, the register, the person."""

    def __init__(self, place: str, register: str, who: str) -> None:
        super().__init__(Content(shown(f" {place}   {who} in {register}")), markup=False)


class TroubleLine(Static):
    """What stays wrong until somebody puts it right; takes no room while there is nothing."""

    def __init__(self) -> None:
        super().__init__("", markup=False)
        self.display = False

    def show(self, trouble: str) -> None:
        """Show it, or nothing if it is empty."""
        self.display = bool(trouble)
        self.update(Content(shown(f"! {trouble}" if trouble else "")))


class MessageLine(Static):
    """What the last key came to; empty until there is something to say."""

    def __init__(self) -> None:
        super().__init__("", markup=False)

    def say(self, text: str | Text) -> None:
        """Say what was done."""
        self.set_class(False, "-refused")
        self.update(Content(shown(text)) if isinstance(text, str) else text)

    def refuse(self, error: RegisterError) -> None:
        """Say what is wrong and what to do about it."""
        self.set_class(True, "-refused")
        self.update(Content(shown(f"! {error.what} {error.cure}")))
