"""`pitwright competition`: the dated events."""

from typing import Annotated

import typer

from register.actions import competitions
from register.cli.here import Nouns, here
from register.domain.competitions import Entry
from register.errors import NotAllowed
from register.reports import competitions as reports

verbs = Nouns("Competitions: the dated events that the shop works towards.")


@verbs.verb("add")
def add(
    context: typer.Context,
    name: Annotated[str, typer.Argument(help="Competition.")],
    starts: Annotated[str, typer.Argument(help="When: 2031-03-22 09:00.")],
    parts_due: Annotated[str | None, typer.Option(help="When parts must be on hand; the start if left out.")] = None,
    enter: Annotated[list[str] | None, typer.Option(help="A robot and its matches: Shale=6. Repeat it.")] = None,
) -> None:
    """Add a competition and enter robots."""
    place = here(context)
    due = place.moment(parts_due) if parts_due else None
    entries = tuple(_entry(text) for text in enter or ())
    event = competitions.add_competition(place.register, name, place.moment(starts), due, entries)
    place.show(event, lambda: reports.competition_list((event,), place.shop.zone))


@verbs.verb("list")
def list_(context: typer.Context) -> None:
    """List competitions."""
    place = here(context)
    found = competitions.list_competitions(place.register)
    place.show(found, lambda: reports.competition_list(found, place.shop.zone))


def _entry(text: str) -> Entry:
    robot, sign, matches = text.rpartition("=")
    if not sign or not (matches.isascii() and matches.isdigit()) or len(matches) > 4:
        raise NotAllowed(f"{text!r} is no entry.", "Write the robot, an equals sign and its matches: Shale=6.")
    return Entry(robot, int(matches))
