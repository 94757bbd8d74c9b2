"""Taking a spare, on whichever screen the part stands."""

from rich.text import Text

from register.actions import spares
from register.domain.spares import Taken
from register.reports.wording import joined, line, signal
from tui.screens.register_screen import AnyRegisterScreen


def take_spare(screen: AnyRegisterScreen, number: str) -> None:
    """Take one usable spare of a part, and say what is left."""
    screen.perform(lambda: spares.take_spare(screen.register, number), lambda taken: screen.say(_words(taken)))


def _words(taken: Taken) -> Text:
    said = line(f"Took one {taken.part} revision {taken.revision} from {taken.place}; {taken.left_there} left there. ")
    if taken.line is not None:
        without = f" for {joined(taken.line.without)}" if taken.line.without else ""
        said = Text.assemble(said, signal(taken.line.signal), line(f"{without}; {taken.line.usable_now} usable now. "))
    return Text.assemble(said, "u brings it back.")
