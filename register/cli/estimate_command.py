"""`pitwright estimate`: one file, with the built-in settings, a shop.toml, or the shop of a register that is named."""

from pathlib import Path
from typing import Annotated

import typer

from register.actions import estimating
from register.actions.shop import shop_settings
from register.cli.here import Nouns, here, read_file
from register.domain.estimates import EstimateRequest
from register.domain.parts import Process
from register.errors import NotAllowed
from register.reports import estimates as reports
from register.units.quantities import length_mm
from register.units.sheets import split_material

PROGRAMS = {".gcode", ".nc", ".ngc", ".tap"}


def add_single_verbs(app: Nouns) -> None:
    """Add the verb."""
    app.verb("estimate")(estimate)


def estimate(
    context: typer.Context,
    file: Annotated[Path, typer.Argument(help="STL, 3MF or DXF; or a machine program: .gcode, .nc, .ngc, .tap.")],
    process: Annotated[Process | None, typer.Option(help="How it is made; told from the file if left out.")] = None,
    material: Annotated[str | None, typer.Option(help='"PLA", or for sheet "6061 3.175 mm".')] = None,
    thickness: Annotated[str | None, typer.Option(help="Sheet thickness: 3.175 mm, 1/8 in.")] = None,
    unit: Annotated[str | None, typer.Option(help="Unit of the file: mm, cm, m, in. mm if left out.")] = None,
    machine: Annotated[str | None, typer.Option(help="Machine; the first that can if left out.")] = None,
    shop_file: Annotated[Path | None, typer.Option("--shop", help="shop.toml with your machines.")] = None,
    settings: Annotated[
        list[str] | None, typer.Option("--settings", help="A print setting to change: infill_share=0.4. Repeat it.")
    ] = None,
) -> None:
    """Estimate volume, mass, time and cost of one piece. It needs no register and keeps nothing."""
    place = here(context)
    if process is Process.BOUGHT:
        raise NotAllowed("A bought part has no file to estimate.", "Log it with `pitwright revision add PART --cost`.")
    content = read_file(file)
    if place.folder is not None and shop_file is None:
        known = shop_settings(place.register)
    else:
        known = estimating.settings_of(read_file(shop_file) if shop_file else None, shop_file.name if shop_file else "")
    known = estimating.with_print_settings(known, tuple(settings or ()))
    if file.suffix.casefold() in PROGRAMS:
        ran = estimating.estimate_program(content, file.name, machine, known)
        place.show(ran, lambda: reports.program_report(ran))
        return
    name, thickness_mm = split_material(material) if material else (None, None)
    request = EstimateRequest(
        process or (Process.ROUTED if file.suffix.casefold() == ".dxf" else Process.PRINTED),
        name,
        length_mm(thickness, "mm") if thickness else thickness_mm,
        machine,
        unit,
    )
    made = estimating.estimate_file(content, file.name, request, known)
    place.show(made, lambda: reports.estimate_report(made, known.shop.currency))
