"""One part as a page that fits eighty columns: the newest revision first."""

from collections.abc import Iterator

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from register.domain.estimates import Estimate
from register.domain.part_views import PartSheet
from register.domain.revisions import Revision
from register.reports.estimates import figures
from register.reports.wording import line, signal, table


def part_page(sheet: PartSheet, currency: str) -> RenderableType:
    """Everything that is known of one part.

    Parameters
    ----------
    currency
        The shop's, three capitals of ISO 4217.
    """
    shown: list[RenderableType] = [_heading(sheet)]
    shown += [line(f"! {warning}", "bold") for warning in sheet.warnings]
    shown += _headed("REVISIONS", *(_revisions(sheet, currency) if sheet.revisions else [line("None yet.")]))
    shown += _headed("ON ROBOTS", _positions(sheet) if sheet.positions else line("On no robot."))
    shown += _headed("ON HAND", _on_hand(sheet) if sheet.on_hand else line("Nothing."))
    return Group(*shown)


def _heading(sheet: PartSheet) -> Text:
    heading = line(f"{sheet.part.number}  {sheet.part.name}", "bold")
    if sheet.spare is not None:
        usable = f"{sheet.spare.usable_now} usable now, {sheet.spare.usable_after_change} after the change"
        heading = Text.assemble(heading, "\n", signal(sheet.spare.signal), f"  wear part: {usable}")
    return heading


def _headed(heading: str, *below: RenderableType) -> list[RenderableType]:
    return [Text(), Text(heading, style="bold"), *below]


def _revisions(sheet: PartSheet, currency: str) -> Iterator[RenderableType]:
    for revision in reversed(sheet.revisions):
        estimate = sheet.estimates[revision.letter]
        yield line(f"{revision.letter}  {revision.state.value}, {_made(revision)}: {figures(estimate, currency)}")
        for said in _details(revision, estimate):
            yield Padding(line(said), (0, 0, 0, 3))


def _made(revision: Revision) -> str:
    stage = f"{revision.stage.value}, " if revision.stage.value != "production" else ""
    return stage + revision.process.value + (f" in {revision.material}" if revision.material else "")


def _details(revision: Revision, estimate: Estimate) -> Iterator[str]:
    if revision.changed:
        yield f"changed: {revision.changed}"
    if revision.letter != "A":
        why = f" ({revision.interchange_why})" if revision.interchange_why else ""
        yield f"works in place of the one before: {revision.interchange.value}{why}"
    if revision.file_name:
        yield f"file: {revision.file_name}"
    yield from (f"! {warning}" for warning in estimate.warnings)


def _positions(sheet: PartSheet) -> RenderableType:
    rows = [
        (each.robot, each.name, str(each.quantity), each.required, " ".join(letter or "?" for letter in each.fitted))
        for each in sheet.positions
    ]
    return table(("robot", "position", "pieces", "required", "fitted"), rows, ("pieces",))


def _on_hand(sheet: PartSheet) -> RenderableType:
    rows = [(each.place, each.revision or "unmarked", str(each.quantity)) for each in sheet.on_hand]
    return table(("place", "revision", "pieces"), rows, ("pieces",))
