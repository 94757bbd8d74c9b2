"""`pitwright revision`: logging, releasing and identifying revisions."""

from pathlib import Path
from typing import Annotated

import typer

from register.actions import revisions
from register.cli.here import Nouns, here, read_file
from register.domain.part_views import RevisionRequest
from register.domain.parts import Process
from register.domain.revisions import Interchange, Stage
from register.errors import NotAllowed
from register.reports import revisions as reports
from register.units.money import money_cents
from register.units.quantities import length_mm
from register.units.sheets import split_material

verbs = Nouns("Revisions of parts.")


@verbs.verb("add")
def add(  # one option for each thing that a person says of a revision
    context: typer.Context,
    part: Annotated[str, typer.Argument(help="Part number.")],
    file: Annotated[
        Path | None, typer.Argument(help="STL, 3MF, OBJ, PLY or DXF; none for a bought part.", show_default=False)
    ] = None,
    process: Annotated[Process | None, typer.Option(help="How it is made; told from the file if left out.")] = None,
    material: Annotated[str | None, typer.Option(help='"PLA", or for sheet "6061 3.175 mm".')] = None,
    thickness: Annotated[str | None, typer.Option(help="Sheet thickness: 3.175 mm, 1/8 in.")] = None,
    unit: Annotated[str | None, typer.Option(help="Unit of the file: mm, cm, m, in. mm if left out.")] = None,
    machine: Annotated[str | None, typer.Option(help="Machine to estimate for.")] = None,
    cost: Annotated[str | None, typer.Option(help="Price of a bought piece: 12.50.")] = None,
    lead_days: Annotated[int | None, typer.Option(help="Days from order to delivery of a bought part.")] = None,
    changed: Annotated[str, typer.Option(help="What changed and why.")] = "",
    interchange: Annotated[
        Interchange, typer.Option(help="Whether it and the revision before work in each other's place.")
    ] = Interchange.NONE,
    because: Annotated[str, typer.Option(help="Why it is interchangeable, or is not.")] = "",
    keep_pose: Annotated[
        str, typer.Option(help="Why it must be printed in the pose that its file has, such as its load.")
    ] = "",
    prototype: Annotated[bool, typer.Option("--prototype", help="Made to try out, not for competition.")] = False,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Show the estimate, write nothing.")] = False,
) -> None:
    """Log a new revision with its estimate, compared with the one before."""
    place = here(context)
    content = read_file(file) if file else None
    name, thickness_mm = split_material(material) if material else (None, None)
    request = RevisionRequest(
        part,
        process or _told_by(file),
        file.name if file else None,
        name,
        length_mm(thickness, "mm") if thickness else thickness_mm,
        machine,
        unit,
        money_cents(cost, place.shop.currency) if cost else None,
        lead_days,
        Stage.PROTOTYPE if prototype else Stage.PRODUCTION,
        interchange,
        because,
        changed,
        keep_pose,
    )
    prepared = revisions.prepare_revision(place.register, request, content)
    if not dry_run:
        revisions.log_revision(place.register, prepared, content)
    place.show(prepared, lambda: reports.prepared(prepared, place.shop, written=not dry_run))


@verbs.verb("release")
def release(
    context: typer.Context,
    part: Annotated[str, typer.Argument(help="Part number.")],
    letter: Annotated[str, typer.Argument(help="Revision letter.")],
) -> None:
    """Release a draft; the revision released before is superseded."""
    place = here(context)
    revision = revisions.release_revision(place.register, part, letter)
    place.show(revision, lambda: reports.released(revision))


@verbs.verb("identify")
def identify(context: typer.Context, file: Annotated[Path, typer.Argument(help="Any file.")]) -> None:
    """Say which part and revision a file is, by its content."""
    place = here(context)
    found = revisions.identify_file(place.register, read_file(file))
    place.show(found, lambda: reports.identified(found, file.name))


_TOLD_BY = {**dict.fromkeys((".stl", ".3mf", ".obj", ".ply"), Process.PRINTED), ".dxf": Process.ROUTED}


def _told_by(file: Path | None) -> Process:
    if file is None:
        return Process.BOUGHT
    told = _TOLD_BY.get(file.suffix.casefold())
    if told is None:
        raise NotAllowed(f"Nothing tells how {file.name} is made.", "Say --process printed or --process routed.")
    return told
