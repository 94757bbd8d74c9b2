"""Robots as tables."""

from rich.console import Group, RenderableType
from rich.text import Text

from register.domain.robots import Position, Robot
from register.reports.wording import counted, line, table


def robot_list(robots: tuple[Robot, ...]) -> RenderableType:
    """Every robot with what differs from what is required."""
    if not robots:
        return line("No robot is there yet. Add one with `pitwright robot add NAME`.")
    rows = [
        (
            each.name,
            "active" if each.active else "not in use",
            str(len(each.positions)),
            str(sum(_differs(position) for position in each.positions)),
            each.note,
        )
        for each in robots
    ]
    return table(("robot", "state", "positions", "not as required", "note"), rows, ("positions", "not as required"))


def robot_sheet(robot: Robot) -> RenderableType:
    """One robot: its assemblies and every position, as required beside as fitted."""
    shown: list[RenderableType] = [line(robot.name, "bold")]
    modules = [each.name for each in robot.assemblies if each.module]
    if modules:
        shown.append(line(f"{counted(len(modules), 'module')}, swapped whole: {', '.join(modules)}"))
    if not robot.positions:
        shown.append(line("No position yet. Add one with `pitwright assembly position`."))
        return Group(*shown)
    rows = [
        (
            each.assembly,
            each.name,
            each.part,
            f"{each.quantity} × {each.required}",
            fitted_words(each),
            Text("NOT AS REQUIRED", style="bold yellow") if _differs(each) else Text("as required"),
        )
        for each in sorted(robot.positions, key=lambda each: (each.assembly or "", each.name))
    ]
    shown.append(table(("assembly", "position", "part", "required", "fitted", ""), rows))
    return Group(*shown)


def fitted_words(position: Position) -> str | None:
    """What is fitted, like pieces together: `8 × A`, `1 × A, 1 × ?`; None where nothing is."""
    letters = [letter or "?" for letter in position.fitted]
    return ", ".join(f"{letters.count(letter)} × {letter}" for letter in dict.fromkeys(letters)) or None


def _differs(position: Position) -> bool:
    return len(position.fitted) != position.quantity or any(each != position.required for each in position.fitted)
