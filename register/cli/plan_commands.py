"""`pitwright plan`: when everything will be ready, on which machine, and why something is late."""

from typing import Annotated

import typer

from register.actions import jobs, planning
from register.cli.here import Nouns, here
from register.cli.saying import say_note
from register.errors import NotFound
from register.reports import plan as reports


def add_single_verbs(app: Nouns) -> None:
    """Add the verb."""
    app.verb("plan")(plan)


def plan(
    context: typer.Context,
    last: Annotated[bool, typer.Option("--last", help="Show the plan last taken instead of making one.")] = False,
) -> None:
    """Plan every open job to its due date and keep the plan; one with --as-of is only shown."""
    place = here(context)
    if last:
        kept = planning.kept_plan(place.register)
        if kept is None:
            raise NotFound("No plan was taken yet.", "Make one with `pitwright plan`.")
        if kept.outdated:
            say_note("The register has changed since; `pitwright plan` makes a new one.")
        made = kept.plan
    else:
        made = planning.plan_jobs(place.register, keep=place.as_of is None)
    place.show(made, lambda: reports.plan_report(made, jobs.list_jobs(place.register, closed=True), place.shop.zone))
