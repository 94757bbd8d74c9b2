"""`pitwright robot` and `pitwright assembly`: structure, what is required and what is fitted."""

from typing import Annotated

import typer

from register.actions import robots
from register.cli.here import Nouns, here
from register.reports import robots as reports

verbs = Nouns("Robots: what each is meant to carry and what is on it.")
assembly_verbs = Nouns("Assemblies, modules and positions of a robot.")

Robot = Annotated[str, typer.Argument(help="Robot.")]
Name = Annotated[str, typer.Argument(help="Position on the robot.")]


@verbs.verb("add")
def add(
    context: typer.Context, name: Robot, note: Annotated[str, typer.Option(help="Anything to know of it.")] = ""
) -> None:
    """Add a robot."""
    place = here(context)
    robot = robots.add_robot(place.register, name, note)
    place.show(robot, lambda: reports.robot_sheet(robot))


@verbs.verb("list")
def list_(context: typer.Context) -> None:
    """List robots."""
    place = here(context)
    found = robots.list_robots(place.register)
    place.show(found, lambda: reports.robot_list(found))


@verbs.verb("show")
def show(context: typer.Context, name: Robot) -> None:
    """Show a robot: each position with what it requires and what is fitted."""
    place = here(context)
    robot = robots.show_robot(place.register, name)
    place.show(robot, lambda: reports.robot_sheet(robot))


@verbs.verb("require")
def require(
    context: typer.Context,
    robot: Robot,
    position: Name,
    letter: Annotated[str, typer.Argument(help="Revision that it is meant to carry.")],
) -> None:
    """Change the revision that a position is meant to carry."""
    place = here(context)
    changed = robots.require_revision(place.register, robot, position, letter)
    place.show(changed, lambda: reports.robot_sheet(changed))


@verbs.verb("fitted")
def fitted(
    context: typer.Context,
    robot: Robot,
    position: Name,
    letters: Annotated[list[str], typer.Argument(help="One a piece: a letter, ? for unmarked, - for none.")],
) -> None:
    """Record what is fitted at a position now. Write `--` before a `-`."""
    place = here(context)
    told = {"?": "", "-": None}
    given = tuple(told.get(letter, letter) for letter in letters)
    changed = robots.record_fitted(place.register, robot, position, given)
    place.show(changed, lambda: reports.robot_sheet(changed))


@assembly_verbs.verb("add")
def add_assembly(
    context: typer.Context,
    robot: Robot,
    name: Annotated[str, typer.Argument(help="Assembly.")],
    inside: Annotated[str | None, typer.Option("--in", help="The assembly that holds it.")] = None,
    module: Annotated[bool, typer.Option("--module", help="The pit swaps it whole.")] = False,
) -> None:
    """Add an assembly to a robot."""
    place = here(context)
    changed = robots.add_assembly(place.register, robot, name, inside, module)
    place.show(changed, lambda: reports.robot_sheet(changed))


@assembly_verbs.verb("position")
def add_position(
    context: typer.Context,
    robot: Robot,
    name: Name,
    part: Annotated[str, typer.Argument(help="Part number.")],
    quantity: Annotated[int, typer.Option(help="Like pieces at this position.")] = 1,
    revision: Annotated[str | None, typer.Option(help="What it is meant to carry; else the released one.")] = None,
    inside: Annotated[str | None, typer.Option("--in", help="The assembly that holds it.")] = None,
) -> None:
    """Add a position for like pieces of a part."""
    place = here(context)
    changed = robots.add_position(place.register, robot, inside, name, part, quantity, revision)
    place.show(changed, lambda: reports.robot_sheet(changed))
