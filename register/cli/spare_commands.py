"""`pitwright spare` and `pitwright replacement`: what is on hand, what is usable, what was replaced."""

from typing import Annotated

import typer

from register.actions import spares
from register.cli.here import Nouns, here
from register.domain.pieces import Cause
from register.reports import spares as reports

verbs = Nouns("Spares: what is on hand and usable.")
replacement_verbs = Nouns("The log of replacements.")

Part = Annotated[str, typer.Argument(help="Part number.")]
Letter = Annotated[str | None, typer.Option("--revision", help="Revision letter; left out for unmarked pieces.")]
Place = Annotated[str, typer.Option("--place", help="Where they are.")]


@verbs.verb("list")
def list_(context: typer.Context) -> None:
    """List every wear part with its usable spares: OK, SHORT or NO SPARE."""
    place = here(context)
    lines = spares.list_spares(place.register)
    place.show(lines, lambda: reports.spare_list(lines))


@verbs.verb("take")
def take(
    context: typer.Context,
    part: Part,
    robot: Annotated[str | None, typer.Option(help="The robot that it is for.")] = None,
    place_name: Annotated[str | None, typer.Option("--place", help="Where it is taken from.")] = None,
    revision: Annotated[str | None, typer.Option(help="Revision; the newest usable one if left out.")] = None,
) -> None:
    """Take one usable spare."""
    place = here(context)
    taken = spares.take_spare(place.register, part, robot, place_name, revision)
    place.show(taken, lambda: reports.taken(taken))


@verbs.verb("add")
def add(
    context: typer.Context,
    part: Part,
    quantity: Annotated[int, typer.Argument(help="Pieces.")] = 1,
    revision: Letter = None,
    place_name: Place = spares.SHELF,
    note: Annotated[str, typer.Option(help="Where they came from.")] = "",
) -> None:
    """Put pieces on hand."""
    place = here(context)
    left = spares.add_spares(place.register, part, revision, quantity, place_name, note)
    place.show({"part": part, "place": place_name, "quantity": left}, lambda: reports.at_place(part, place_name, left))


@verbs.verb("count")
def count(
    context: typer.Context,
    part: Part,
    quantity: Annotated[int, typer.Argument(help="Pieces counted.")],
    revision: Letter = None,
    place_name: Place = spares.SHELF,
    because: Annotated[str, typer.Option(help="Why the count differs.")] = "",
) -> None:
    """Set a place to what was counted there."""
    place = here(context)
    difference = spares.count_spares(place.register, part, revision, quantity, place_name, because)
    view = {"part": part, "place": place_name, "quantity": quantity, "difference": difference}
    place.show(view, lambda: reports.at_place(part, place_name, quantity))


@replacement_verbs.verb("add")
def add_replacement(
    context: typer.Context,
    robot: Annotated[str, typer.Argument(help="Robot.")],
    position: Annotated[str, typer.Argument(help="Position on the robot.")],
    cause: Annotated[Cause, typer.Option(help="Why it was replaced.")] = Cause.WORN,
    piece: Annotated[int, typer.Option(help="Which of the like pieces there, from 1.")] = 1,
    unmarked: Annotated[bool, typer.Option("--unmarked", help="The new piece is none of the spares.")] = False,
    note: Annotated[str, typer.Option(help="Details.")] = "",
) -> None:
    """Log a replacement: a usable spare is taken and fitted."""
    place = here(context)
    done = spares.log_replacement(place.register, robot, position, cause, piece, not unmarked, note)
    place.show(done, lambda: reports.replaced((done,), place.shop.zone))


@replacement_verbs.verb("list")
def list_replacements(context: typer.Context) -> None:
    """List every replacement."""
    place = here(context)
    found = spares.list_replacements(place.register)
    place.show(found, lambda: reports.replaced(found, place.shop.zone))
