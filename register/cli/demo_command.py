"""`pitwright demo`: the demo shop, built afresh or opened as it was left."""

import tempfile
from pathlib import Path
from typing import Annotated

import typer

from register.actions import competitions, jobs, parts, planning, spares
from register.actions.shop import shop_settings
from register.cli.demo_shop import open_demo
from register.cli.here import Here, Nouns, here
from register.opening import Register
from register.reports.today import ShopToday, state_of_the_shop


def add_single_verbs(app: Nouns) -> None:
    """Add the verb."""
    app.verb("demo")(demo)


def demo(
    context: typer.Context,
    folder: Annotated[Path | None, typer.Argument(help="Where; a passing folder if left out.")] = None,
    report: Annotated[bool, typer.Option("--report", help="Print the state of the shop, open nothing.")] = False,
) -> None:
    """Build the demo shop and open it. A second run on the same folder opens it as it is."""
    place = here(context)
    wanted = folder or place.folder
    if wanted is not None:
        _show(open_demo(wanted, place.person), report, place)
        return
    with tempfile.TemporaryDirectory(prefix="pitwright-demo-", ignore_cleanup_errors=True) as passing:
        _show(open_demo(Path(passing) / "register", place.person), report, place)


def _show(opened: Register, report: bool, place: Here) -> None:
    register = place.seen(opened)
    if not report and not place.json:
        from tui.app import open_register_screens

        raise typer.Exit(open_register_screens(register))
    plan = planning.plan_jobs(register, keep=place.as_of is None)
    now = register.clock()
    events = competitions.list_competitions(register)
    today = ShopToday(
        now,
        shop_settings(register),
        next((each for each in events if each.starts > now), None),
        plan,
        jobs.list_jobs(register),
        {part.number: part.name for part in parts.list_parts(register)},
        spares.list_spares(register),
    )
    view = {"as_of": now, "event": today.event, "plan": plan, "spares": today.spares}
    place.show(view, lambda: state_of_the_shop(today))
