"""Spares: how each wear part stands."""

from collections.abc import Iterable

from rich.console import Group, RenderableType
from rich.text import Text

from register.domain.pieces import Replacement
from register.domain.spares import Signal, SpareLine, Taken
from register.reports.wording import counted, grid, joined, line, local, signal, table

_WORST_FIRST = list((Signal.NO_SPARE, Signal.SHORT, Signal.OK))


def spare_list(lines: Iterable[SpareLine]) -> RenderableType:
    """Every wear part, the worst first, and below what is to be said of some."""
    order = sorted(lines, key=lambda each: _WORST_FIRST.index(each.signal))
    if not order:
        return line("No wear part is there yet. Mark one with `pitwright part add NUMBER NAME --wear`.")
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
        )
        for each in order
    ]
    headings = ("", "part", "name", "robots", "fitted", "usable now", "after change", "advised", "chance")
    said = [(line(each.part, "bold"), each.name, remarks(each)) for each in order if remarks(each)]
    return Group(table(headings, rows, headings[4:]), *((Text(), grid(said)) if said else ()))


def spares_in_brief(lines: Iterable[SpareLine]) -> RenderableType:
    """The wear parts that something is to be said of; the others are only counted."""
    every = tuple(lines)
    if not every:
        return spare_list(())
    fine = [each for each in every if each.signal is Signal.OK and not remarks(each)]
    rest = [each for each in every if each not in fine]
    shown: list[RenderableType] = [spare_list(rest)] if rest else []
    if fine:
        listed = ", ".join(each.part for each in fine[:8]) + (", …" if len(fine) > 8 else "")
        what = counted(len(fine), "other wear part" if rest else "wear part")
        shown.append(Text.assemble(signal(Signal.OK), line(f"  {what}: {listed}")))
    return Group(*shown)


def remarks(spare: SpareLine) -> str:
    """What else is to be said of a wear part."""
    said = [f"none for {joined(spare.without)}"] if spare.without else []
    for each in spare.unusable:
        which = f"of revision {each.revision}" if each.revision else "unmarked"
        said.append(f"{each.quantity} {which} not counted: {each.why.removeprefix('unmarked: ')}")
    return "; ".join(said)


def taken(done: Taken) -> RenderableType:
    """What was taken, what is left, and what now has none."""
    shown = [line(f"Took one {done.part} revision {done.revision} from {done.place}; {done.left_there} left there.")]
    if done.line is not None:
        said = f"  {done.part}: {done.line.usable_now} usable now"
        if done.line.without:
            said += f", none for {joined(done.line.without)}"
        elif done.line.advised is not None:
            said += f", {done.line.advised} advised"
        shown.append(Text.assemble(signal(done.line.signal), line(said)))
    shown.append(line("`pitwright undo` brings it back."))
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
