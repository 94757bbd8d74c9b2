"""Parts as tables."""

from rich.console import Group, RenderableType
from rich.text import Text

from register.domain.part_views import PartLine, PartSheet
from register.domain.parts import Part, Process
from register.domain.revisions import Interchange, Revision
from register.domain.shop import Shop
from register.domain.stock import SpoolAdvice
from register.reports.estimates import figures
from register.reports.robots import fitted_words
from register.reports.stock import spool_words
from register.reports.wording import Row, grid, line, table
from register.units.written import written_length

_IN_PLACE = {
    Interchange.BOTH_WAYS: "yes, and the other way round",
    Interchange.ONE_WAY: "yes, but not the other way round",
    Interchange.NONE: "no",
}


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
            each.material or (each.process.value if each.process else None),
            str(each.on_hand),
            "; ".join(each.warnings) or None,
        )
        for each in lines
    ]
    return table(("part", "name", "revision", "material", "on hand", "warnings"), rows, ("on hand",))


def part_sheet(sheet: PartSheet, shop: Shop) -> RenderableType:
    """One part whole."""
    part = sheet.part
    shown: list[RenderableType] = [line(f"{part.number}  {part.name}{', a wear part' if part.wear else ''}", "bold")]
    shown += [line(f"! {warning}", "bold") for warning in sheet.warnings]
    before: Revision | None = None
    for each in sheet.revisions:
        one_piece = figures(sheet.estimates[each.letter], shop.currency)
        shown += [Text(), *_revision(each, before, one_piece, sheet.spools.get(each.letter))]
        shown += [line(f"! {warning}") for warning in sheet.estimates[each.letter].warnings]
        before = each
    shown += [Text(), _places(sheet), Text(), _on_hand(sheet)]
    return Group(*shown)


def _revision(
    revision: Revision, before: Revision | None, one_piece: str, spools: SpoolAdvice | None
) -> tuple[RenderableType, ...]:
    rows: list[Row] = [("made", _made(revision)), ("one piece", one_piece)]
    if spools is not None:
        rows.append(("stock for it", " ".join(spool_words(spools))))
    if revision.changed:
        rows.append(("changed", revision.changed))
    if revision.keep_pose:
        rows.append(("kept pose", revision.keep_pose))
    if before is not None:
        why = f": {revision.interchange_why}" if revision.interchange_why else ""
        rows.append((f"in place of {before.letter}", f"{_IN_PLACE[revision.interchange]}{why}"))
    return line(f"{revision.letter}  {revision.state.value}, {revision.stage.value}", "bold"), grid(rows)


def _made(revision: Revision) -> str:
    if revision.process is Process.BOUGHT:
        return "bought"
    sheet = f" {written_length(revision.thickness_mm)}" if revision.thickness_mm is not None else ""
    return f"{revision.process.value} in {revision.material or '?'}{sheet}, {revision.file_name or 'no file'}"


def _places(sheet: PartSheet) -> RenderableType:
    if not sheet.positions:
        return line("On no robot.")
    rows = [
        (each.robot, " › ".join(around), each.name, f"{each.quantity} × {each.required}", fitted_words(each))
        for each, around in zip(sheet.positions, sheet.within, strict=True)
    ]
    return table(("robot", "within", "position", "required", "fitted"), rows)


def _on_hand(sheet: PartSheet) -> RenderableType:
    if not sheet.on_hand:
        return line("Nothing on hand.")
    rows = [(each.place, each.revision or "unmarked", str(each.quantity)) for each in sheet.on_hand]
    return table(("on hand at", "revision", "pieces"), rows, ("pieces",))
