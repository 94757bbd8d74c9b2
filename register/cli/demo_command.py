"""`pitwright demo`: the demo shop, built afresh or opened as it was left."""

import tempfile
from pathlib import Path
from typing import Annotated

import typer

from register.actions import competitions, planning, spares
from register.cli.demo_shop import open_demo
from register.cli.here import Nouns, console, here
from register.cli.json_form import as_json
from register.opening import Register
from register.reports.today import state_of_the_shop


def add_single_verbs(app: Nouns) -> None:
    """Add the verb."""
    app.verb("demo")(demo)


def demo(
    context: typer.Context,
    folder: Annotated[Path | None, typer.Argument(help="Where; a passing folder if left out.")] = None,
    report: Annotated[bool, typer.Option("--report", help="Print the state of the shop, open nothing.")] = False,
) -> None:
    """Build the demo shop and open it; a second run on the same folder opens it as it is."""
    place = here(context)
    if folder is not None:
        _show(open_demo(folder, place.person), report, place.json)
        return
    with tempfile.TemporaryDirectory(prefix="pitwright-demo-", ignore_cleanup_errors=True) as passing:
        _show(open_demo(Path(passing) / "register", place.person), report, place.json)


def _show(register: Register, report: bool, json: bool) -> None:
    if not report and not json:
        from tui.app import open_register_screens

        open_register_screens(register)
        return
    plan = planning.plan_jobs(register)
    lines = spares.list_spares(register)
    now = register.clock()
    event = next((each for each in competitions.list_competitions(register) if each.starts > now), None)
    if json:
        typer.echo(as_json({"as_of": now, "event": event, "plan": plan, "spares": lines}))
        return
    from register.actions.shop import shop_settings

    zone = shop_settings(register).shop.zone
    console().print(state_of_the_shop(plan, lines, event, now, zone))
