"""Spares: how each wear part stands."""

from rich.console import Group, RenderableType
from rich.text import Text

from register.domain.pieces import Replacement
from register.domain.spares import Signal, SpareLine, Taken
from register.reports.wording import line, local, signal, table


def spare_list(lines: tuple[SpareLine, ...]) -> RenderableType:
    """Every wear part, the worst first."""
    if not lines:
        return line("No wear part is there yet. Mark one with `pitwright part add NUMBER NAME --wear`.")
    order = list((Signal.NO_SPARE, Signal.SHORT, Signal.OK))
    rows = [
        (
            signal(each.signal),
            each.part,
            each.name,
            ", ".join(each.robots),
            str(each.fitted),
            str(each.usable_now),
            str(each.usable_after_change),
            None if each.advised is None else str(each.advised),
            None if each.chance_of_enough is None else f"{100 * each.chance_of_enough:.0f} %",
            remarks(each),
        )
        for each in sorted(lines, key=lambda each: order.index(each.signal))
    ]
    return table(
        ("", "part", "name", "robots", "fitted", "usable", "after", "advised", "enough", "remarks"),
        rows,
        ("fitted", "usable", "after", "advised", "enough"),
    )


def remarks(spare: SpareLine) -> str:
    """What else is to be said of a wear part."""
    said = [f"none for {' and '.join(spare.without)}"] if spare.without else []
    said += [f"{each.quantity} × {each.revision or 'unmarked'} not counted: {each.why}" for each in spare.unusable]
    return "; ".join(said)


def taken(done: Taken) -> RenderableType:
    """What was taken, what is left, and what now has none."""
    shown = [Text(f"Took one {done.part} revision {done.revision} from {done.place}; {done.left_there} left there.")]
    if done.line is not None:
        shown.append(Text.assemble(signal(done.line.signal), f"  {done.part}: {done.line.usable_now} usable now"))
    shown.append(Text("`pitwright undo` brings it back."))
    return Group(*shown)


def at_place(part: str, place: str, quantity: int) -> RenderableType:
    """How many are at a place now."""
    return line(f"{quantity} of {part} at {place} now.")


def replaced(log: tuple[Replacement, ...], zone: str) -> RenderableType:
    """The log of replacements."""
    if not log:
        return line("No replacement is logged yet.")
    rows = [
        (
            local(each.at, zone),
            each.robot,
            each.position,
            each.part,
            f"{each.removed or '?'} → {each.fitted or '?'}",
            each.cause.value,
            each.by,
            each.note,
        )
        for each in log
    ]
    return table(("when", "robot", "position", "part", "revision", "cause", "by", "note"), rows)
