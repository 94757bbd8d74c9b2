"""Competitions as a table."""

from rich.console import RenderableType

from register.domain.competitions import Competition
from register.reports.wording import line, local, table


def competition_list(found: tuple[Competition, ...], zone: str) -> RenderableType:
    """Every competition with its robots and matches."""
    if not found:
        return line("No competition is there yet. Add one with `pitwright competition add NAME STARTS`.")
    rows = [
        (
            each.name,
            local(each.parts_due, zone),
            local(each.starts, zone),
            ", ".join(f"{entry.robot} ({entry.matches} matches)" for entry in each.entries),
        )
        for each in found
    ]
    return table(("competition", "parts due", "starts", "robots"), rows)
