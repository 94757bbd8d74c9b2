"""Parts as tables."""

from rich.console import Group, RenderableType
from rich.text import Text

from register.domain.part_views import PartLine, PartSheet
from register.domain.parts import Part
from register.domain.robots import Position
from register.domain.shop import Shop
from register.domain.spares import Signal
from register.reports.estimates import figures
from register.reports.wording import line, signal, table


def added(part: Part) -> RenderableType:
    """What was added and what comes next."""
    return line(f"Added {part.number}, {part.name}. Log its revision A with `pitwright revision add {part.number}`.")


def part_list(lines: tuple[PartLine, ...]) -> RenderableType:
    """Every part with its newest revision and its warnings."""
    if not lines:
        return line("No part is there yet. Add one with `pitwright part add NUMBER NAME`.")
    rows = [
        (
            each.number,
            each.name,
            f"{each.revision} {each.state}" if each.revision else None,
            each.process.value if each.process else None,
            each.material,
            str(each.on_hand),
            signal(Signal(each.signal)) if each.signal else None,
            "; ".join(each.warnings) or None,
        )
        for each in lines
    ]
    return table(
        ("part", "name", "revision", "process", "material", "on hand", "spare", "warnings"), rows, ("on hand",)
    )


def part_sheet(sheet: PartSheet, shop: Shop) -> RenderableType:
    """One part whole."""
    part = sheet.part
    heading = Text(f"{part.number}  {part.name}", style="bold")
    if part.wear:
        heading.append("  wear part")
    revisions = table(
        (
            "revision",
            "state",
            "process",
            "material",
            "file",
            "one piece",
            "in place of the one before",
            "changed",
        ),
        [
            (
                each.letter,
                each.state.value,
                each.process.value,
                each.material,
                each.file_name,
                figures(sheet.estimates[each.letter], shop.currency),
                each.interchange.value,
                each.changed,
            )
            for each in sheet.revisions
        ],
    )
    places = table(
        ("robot", "position", "pieces", "required", "fitted"),
        [
            (
                each.robot,
                each.name,
                str(each.quantity),
                each.required,
                " ".join(letter or "?" for letter in each.fitted),
            )
            for each in sheet.positions
        ],
        ("pieces",),
    )
    on_hand = table(
        ("place", "revision", "pieces"),
        [(each.place, each.revision or "unmarked", str(each.quantity)) for each in sheet.on_hand],
        ("pieces",),
    )
    shown: list[RenderableType] = [heading]
    shown += [line(f"! {warning}", "bold") for warning in sheet.warnings]
    shown.append(revisions if sheet.revisions else line("No revision yet."))
    shown.append(places if sheet.positions else line("On no robot."))
    shown.append(on_hand if sheet.on_hand else line("Nothing on hand."))
    return Group(*shown)


def _fitted(position: Position) -> str:
    return " ".join(letter or "?" for letter in position.fitted)
