"""`pitwright history` and `undo`."""

from typing import Annotated

import typer

from register.actions import history
from register.cli.here import Nouns, here
from register.reports import history as reports
from register.units.moments import calendar_day


def add_single_verbs(app: Nouns) -> None:
    """Add the verbs."""
    app.verb("history")(list_operations)
    app.verb("undo")(undo)


def list_operations(
    context: typer.Context,
    most: Annotated[int, typer.Option(min=1, max=100_000, help="How many.")] = 30,
    part: Annotated[str | None, typer.Option(help="Only what was done to this part and all that hangs on it.")] = None,
    person: Annotated[str | None, typer.Option(help="Only what this person did.")] = None,
    day: Annotated[str | None, typer.Option(help="Only that day in the shop's zone: 2031-03-04.")] = None,
) -> None:
    """Who did what, when and why, newest first; options can be joined."""
    place = here(context)
    on = calendar_day(day) if day is not None else None
    found = history.list_operations(place.register, most, part, person, on)
    is_whole = part is None and person is None and day is None
    place.show(found, lambda: reports.operation_list(found, place.zone, is_whole))


def undo(
    context: typer.Context,
    number: Annotated[int | None, typer.Argument(help="Operation; your newest if left out.")] = None,
) -> None:
    """Take an operation back; undoing an undo does it again."""
    place = here(context)
    done = history.undo(place.register, number)
    place.show(done, lambda: reports.undone(done))
