"""History as a table, and what undo says."""

from rich.console import RenderableType

from register.domain.history import Operation
from register.reports.wording import line, local, table


def operation_list(found: tuple[Operation, ...], zone: str, is_whole: bool = True) -> RenderableType:
    """Who did what and when, newest first; `is_whole` if nothing was left out by a part, a person or a day."""
    if not found:
        return line("Nothing has happened yet." if is_whole else "Nothing of that has happened.")
    rows = [
        (
            str(each.number),
            local(each.at, zone),
            each.who,
            each.why + (f" (undone by {each.undone_by})" if each.undone_by else ""),
        )
        for each in found
    ]
    return table(("number", "when", "who", "what"), rows, ("number",))


def undone(done: Operation) -> RenderableType:
    """What was taken back."""
    return line(f"Undone: operation {done.number}, {done.why}. `pitwright history` lists the rest.")
