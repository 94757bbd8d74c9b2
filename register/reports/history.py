"""History as a table, and what undo and check say."""

from rich.console import RenderableType

from register.domain.history import Checked, Operation
from register.reports.wording import counted, line, local, table


def operation_list(found: tuple[Operation, ...], zone: str) -> RenderableType:
    """Who did what and when, newest first."""
    if not found:
        return line("Nothing has happened yet.")
    rows = [
        (
            str(each.number),
            local(each.at, zone),
            each.who,
            each.why,
            f"undone by {each.undone_by}" if each.undone_by else None,
        )
        for each in found
    ]
    return table(("", "when", "who", "what", ""), rows)


def undone(done: Operation) -> RenderableType:
    """What was taken back."""
    return line(f"Undone: operation {done.number}, {done.why}. `pitwright history` lists the rest.")


def checked(found: Checked) -> RenderableType:
    """A sound register."""
    return line(f"The register is sound: {counted(found.rows, 'row')} and {counted(found.files, 'file')} were read.")
