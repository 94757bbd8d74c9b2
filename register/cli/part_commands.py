"""`pitwright part`: adding, listing and showing parts, and taking in a folder of them."""

from pathlib import Path
from typing import Annotated

import typer

from register.actions import parts
from register.cli.here import Nouns, here
from register.cli.saying import say_note
from register.domain.parts import Process
from register.errors import NotAllowed, Refused
from register.reports import parts as reports

# What the library makes of Ctrl-C, and the program of that.
_STOPPED = 130

verbs = Nouns("Parts: what the shop has a number for.")


@verbs.verb("add")
def add(
    context: typer.Context,
    number: Annotated[str, typer.Argument(help="Part number, without blanks.")],
    name: Annotated[str, typer.Argument(help="What it is.")],
    wear: Annotated[bool, typer.Option("--wear", help="It is fitted to be replaced.")] = False,
) -> None:
    """Add a part."""
    place = here(context)
    part = parts.add_part(place.register, number, name, wear)
    place.show(part, lambda: reports.added(part))


@verbs.verb("list")
def list_(
    context: typer.Context,
    find: Annotated[str, typer.Argument(help="Only parts whose number or name holds this.")] = "",
) -> None:
    """List parts with their newest revision and their warnings."""
    place = here(context)
    lines = parts.list_parts(place.register, find)
    place.show(lines, lambda: reports.part_list(lines))


@verbs.verb("show")
def show(context: typer.Context, number: Annotated[str, typer.Argument(help="Part number.")]) -> None:
    """Show one part: revisions, estimates, where it sits, what is on hand."""
    place = here(context)
    sheet = parts.show_part(place.register, number)
    place.show(sheet, lambda: reports.part_sheet(sheet, place.shop))


@verbs.verb("import")
def import_(
    context: typer.Context,
    folder: Annotated[Path, typer.Argument(help="Folder with mesh files; folders in it are looked through too.")],
    process: Annotated[Process, typer.Option(help="How they are made; with routed, DXF files too.")] = Process.PRINTED,
    material: Annotated[
        str | None,
        typer.Option(help='"PLA", or for sheet "6061 3.175 mm"; needless where the shop has only one.'),
    ] = None,
    unit: Annotated[str | None, typer.Option(help="Unit of the files: mm, cm, m, in. mm if left out.")] = None,
    machine: Annotated[str | None, typer.Option(help="Machine to estimate for; else the first that can.")] = None,
    new_revisions: Annotated[
        str | None,
        typer.Option(
            "--new-revisions", metavar="WHY", help="Log changed files of known parts as new revisions, and say why."
        ),
    ] = None,
    longest: Annotated[str, typer.Option(help="A file that takes longer to estimate is refused.")] = "2 min",
    workers: Annotated[
        int | None, typer.Option(min=1, max=256, help="Files estimated at a time; one for each core if left out.")
    ] = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Show what would happen, write nothing.")] = False,
) -> None:
    """Take in a folder of meshes: each file a part with a draft, estimated over all cores. Again, only what is new.

    A file's name says part number and name: "QS-101 wheel hub.stl" is part QS-101, wheel hub. If the first word has no
    figure in it, the whole name is both: "left bracket.stl" is part left-bracket. Hidden files are passed over and
    links not followed. Ctrl-C stops it and keeps what was estimated; up to 100 files are one operation and one undo.
    """
    # With them come processes and the arithmetic's front, which a list of parts does without.
    from register.actions.importing_meshes import import_meshes
    from register.cli.import_progress import bar, stops
    from register.domain.mesh_imports import MeshImport
    from register.reports.mesh_imports import folder_imported
    from register.units.quantities import duration_s
    from register.units.sheets import split_material

    place = here(context)
    name, thickness_mm = split_material(material) if material else (None, None)
    asked = MeshImport(process, name, thickness_mm, machine, unit, new_revisions, dry_run)
    longest_s = duration_s(longest, "s")
    if longest_s <= 0.0:
        raise NotAllowed(f"In --longest, {longest} is no time.", "Give a file some seconds at least: 2 min.")
    with stops() as stopped, bar(not place.json) as show:
        done = import_meshes(place.register, folder, asked, workers, longest_s, show, stopped)
    place.show(done, lambda: folder_imported(done, place.shop.currency))
    if done.not_reached or stopped():
        kept = done.added + done.new_revisions
        say_note(f"{kept} kept, {done.not_reached} not reached. Import the folder again for the others.")
        raise typer.Exit(_STOPPED)
    if done.refused:
        files = "1 file was" if done.refused == 1 else f"{done.refused} files were"
        raise Refused(f"{files} refused, as told above.", "Put right what is said there and import the folder again.")
