"""`pitwright part`: adding, listing and showing parts."""

from typing import Annotated

import typer

from register.actions import parts
from register.cli.here import Nouns, here
from register.reports import parts as reports

verbs = Nouns("Parts: what the shop has a number for.")


@verbs.verb("add")
def add(
    context: typer.Context,
    number: Annotated[str, typer.Argument(help="Part number, without blanks.")],
    name: Annotated[str, typer.Argument(help="What it is.")],
    wear: Annotated[bool, typer.Option("--wear", help="It is fitted to be replaced.")] = False,
) -> None:
    """Add a part."""
    place = here(context)
    part = parts.add_part(place.register, number, name, wear)
    place.show(part, lambda: reports.added(part))


@verbs.verb("list")
def list_(
    context: typer.Context,
    find: Annotated[str, typer.Argument(help="Only parts whose number or name holds this.")] = "",
) -> None:
    """List parts with their newest revision and their warnings."""
    place = here(context)
    lines = parts.list_parts(place.register, find)
    place.show(lines, lambda: reports.part_list(lines))


@verbs.verb("show")
def show(context: typer.Context, number: Annotated[str, typer.Argument(help="Part number.")]) -> None:
    """Show one part: revisions, estimates, where it sits, what is on hand."""
    place = here(context)
    sheet = parts.show_part(place.register, number)
    place.show(sheet, lambda: reports.part_sheet(sheet, place.shop))
