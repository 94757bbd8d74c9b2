"""`pitwright upgrade`: an old register brought up to this version, after a backup and a question."""

import sys
from typing import Annotated

import typer

from register.cli.here import Nouns, here
from register.cli.saying import say_note
from register.domain.clock import fixed_at
from register.domain.upgrades import Upgrade
from register.errors import Cancelled, NotAllowed
from register.opening import planned_upgrade, upgrade_register
from register.reports import upgrades as reports
from register.units.moments import moment


def add_single_verbs(app: Nouns) -> None:
    """Add the verb."""
    app.verb("upgrade")(upgrade)


def upgrade(
    context: typer.Context,
    yes: Annotated[bool, typer.Option("--yes", "-y", help="Do it without asking.")] = False,
) -> None:
    """Bring an old register up to this version, after a backup; it is asked first."""
    place = here(context)
    clock = fixed_at(moment(place.as_of, "UTC")) if place.as_of else None
    planned = planned_upgrade(place.register_folder)
    if planned.changes and not yes:
        _ask(planned)
    done = upgrade_register(place.register_folder, clock) if planned.changes else planned
    place.show(done, lambda: reports.upgraded(done))


def _ask(planned: Upgrade) -> None:
    """Say what will happen and go on only if a person says yes.

    Raises
    ------
    NotAllowed
        If there is no terminal to ask at.
    Cancelled
        If the person does not say yes.
    """
    say_note("\n".join(reports.announced(planned)))
    if not (sys.stdin.isatty() and sys.stderr.isatty()):
        raise NotAllowed(
            "The register was not upgraded, because there is no terminal to ask at.",
            "Say yes beforehand with `pitwright upgrade --yes`.",
        )
    print("Upgrade it now? [y/N] ", end="", file=sys.stderr, flush=True)
    if sys.stdin.readline().strip().casefold() not in {"y", "yes"}:
        raise Cancelled("The register was not upgraded.", "Run `pitwright upgrade` again when you want it.")
