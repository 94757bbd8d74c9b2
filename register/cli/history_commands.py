"""`pitwright history`, `undo` and `check`."""

from typing import Annotated

import typer

from register.actions import checking, history
from register.cli.here import Nouns, here
from register.reports import history as reports


def add_single_verbs(app: Nouns) -> None:
    """Add the verbs."""
    app.verb("history")(list_operations)
    app.verb("undo")(undo)
    app.verb("check")(check)


def list_operations(
    context: typer.Context, most: Annotated[int, typer.Option(min=1, max=100_000, help="How many.")] = 30
) -> None:
    """Who did what, when and why, newest first."""
    place = here(context)
    found = history.list_operations(place.register, most)
    place.show(found, lambda: reports.operation_list(found, place.zone))


def undo(
    context: typer.Context,
    number: Annotated[int | None, typer.Argument(help="Operation; your newest if left out.")] = None,
) -> None:
    """Take an operation back; undoing an undo does it again."""
    place = here(context)
    done = history.undo(place.register, number)
    place.show(done, lambda: reports.undone(done))


def check(context: typer.Context) -> None:
    """Read the whole register and every file, and say what is wrong."""
    place = here(context)
    found = checking.check_register(place.register)
    place.show(found, lambda: reports.checked(found))
