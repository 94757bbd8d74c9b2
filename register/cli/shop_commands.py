"""`pitwright init`, `shop` and `machine`: setting the shop up, and the leave to run unattended."""

from pathlib import Path
from typing import Annotated

import typer

from register.actions import shop
from register.cli.here import Nouns, here, put, read_file
from register.cli.json_form import as_json
from register.cli.saying import say_note
from register.domain.clock import fixed_at, system_clock
from register.opening import make_register
from register.reports import shop as reports
from register.units.moments import moment
from register.units.quantities import duration_s

verbs = Nouns("The shop: hours, people, materials, tools.")
machine_verbs = Nouns("Machines, and the leave to run one unattended.")


def add_single_verbs(app: Nouns) -> None:
    """Add the verbs that stand alone."""
    app.verb("init")(init)


def init(
    context: typer.Context,
    folder: Annotated[Path | None, typer.Argument(help="Where; else as --register says.", show_default=False)] = None,
    shop_file: Annotated[Path | None, typer.Option("--shop", help="shop.toml; a usual shop if left out.")] = None,
    station: Annotated[str, typer.Option(help="Letter of this register's job numbers.")] = "A",
) -> None:
    """Make a new register."""
    place = here(context)
    content = read_file(shop_file) if shop_file else None
    name = shop_file.name if shop_file else ""
    shop.checked_settings(content, name)
    clock = fixed_at(moment(place.as_of, "UTC")) if place.as_of else system_clock
    made = make_register(folder or place.register_folder, place.person, clock, shop.checked_station(station))
    settings = shop.set_up_shop(made, content, name)
    say_note(f"Made a register in {made.folder}.")
    place.show(settings, lambda: reports.shop_sheet(settings))


@verbs.verb("read")
def read(context: typer.Context, file: Annotated[Path, typer.Argument(help="shop.toml.")]) -> None:
    """Take over a shop.toml, as one operation that can be undone."""
    place = here(context)
    settings = shop.set_up_shop(place.register, read_file(file), file.name)
    place.show(settings, lambda: reports.shop_sheet(settings))


@verbs.verb("show")
def show(context: typer.Context) -> None:
    """Show the shop."""
    place = here(context)
    settings = shop.shop_settings(place.register)
    place.show(settings, lambda: reports.shop_sheet(settings))


@verbs.verb("write")
def write(context: typer.Context) -> None:
    """Print the shop as a shop.toml."""
    place = here(context)
    put(as_json(shop.shop_settings(place.register)) + "\n" if place.json else shop.shop_as_written(place.register))


@machine_verbs.verb("list")
def list_(context: typer.Context) -> None:
    """List machines and whether each may run unattended."""
    place = here(context)
    settings = shop.shop_settings(place.register)
    place.show(settings.machines, lambda: reports.machine_list(settings.machines, settings.shop.zone))


@machine_verbs.verb("allow-unattended")
def allow_unattended(
    context: typer.Context,
    machine: Annotated[str, typer.Argument(help="Machine.")],
    by: Annotated[str, typer.Option(help="The responsible adult who gives the leave.")],
    conditions: Annotated[str, typer.Option(help="What must hold, in their words.")],
    longest: Annotated[str, typer.Option(help="Longest run with nobody there: 14 h.")],
) -> None:
    """Record a responsible adult's leave to run a printer with nobody there."""
    place = here(context)
    changed = shop.give_leave(place.register, machine, by, conditions, duration_s(longest, "h") / 3600)
    place.show(changed, lambda: reports.machine_list((changed,), place.shop.zone))


@machine_verbs.verb("forbid-unattended")
def forbid_unattended(context: typer.Context, machine: Annotated[str, typer.Argument(help="Machine.")]) -> None:
    """Take the leave back."""
    place = here(context)
    changed = shop.withdraw_leave(place.register, machine)
    place.show(changed, lambda: reports.machine_list((changed,), place.shop.zone))
