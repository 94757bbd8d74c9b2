"""`pitwright estimate`: one file, with the built-in settings, a shop.toml, or the shop of a register that is named."""

from collections.abc import Sequence
from dataclasses import fields
from pathlib import Path
from typing import Annotated

import typer

from register.actions import estimating, posing
from register.actions.shop import shop_settings
from register.actions.stock import spools_on_hand
from register.cli.here import Here, Nouns, here, read_file
from register.cli.saying import say_note
from register.cli.share_progress import share_told
from register.domain.estimates import Estimate, EstimateRequest
from register.domain.parts import Process
from register.domain.shop import ShopSettings
from register.domain.stock import SpoolAdvice
from register.errors import NotAllowed
from register.reports import estimates as reports
from register.reports import poses as pose_reports
from register.units.quantities import length_mm
from register.units.sheets import split_material

PROGRAMS = {".gcode", ".nc", ".ngc", ".tap"}


def add_single_verbs(app: Nouns) -> None:
    """Add the verb."""
    app.verb("estimate")(estimate)


def estimate(
    context: typer.Context,
    file: Annotated[Path, typer.Argument(help="STL, 3MF, OBJ, PLY or DXF; or a program: .gcode, .nc, .ngc, .tap.")],
    process: Annotated[Process | None, typer.Option(help="How it is made; told from the file if left out.")] = None,
    material: Annotated[str | None, typer.Option(help='"PLA", or for sheet "6061 3.175 mm".')] = None,
    thickness: Annotated[str | None, typer.Option(help="Sheet thickness: 3.175 mm, 1/8 in.")] = None,
    unit: Annotated[str | None, typer.Option(help="Unit of the file: mm, cm, m, in. mm if left out.")] = None,
    machine: Annotated[str | None, typer.Option(help="Machine; the first that can if left out.")] = None,
    shop_file: Annotated[Path | None, typer.Option("--shop", help="shop.toml with your machines.")] = None,
    settings: Annotated[
        list[str] | None, typer.Option("--settings", help="A print setting to change: infill_share=0.4. Repeat it.")
    ] = None,
    poses: Annotated[bool, typer.Option("--poses", help="Compare the poses in which it may be printed.")] = False,
    turned: Annotated[
        str | None, typer.Option(help='Estimate in this pose, by number or name: 2, "on its back".')
    ] = None,
    exact: Annotated[bool, typer.Option("--exact", help="Draw every line of a print and plan it.")] = False,
) -> None:
    """Estimate volume, mass, time and cost of one piece. It needs no register and keeps nothing."""
    place = here(context)
    if process is Process.BOUGHT:
        raise NotAllowed("A bought part has no file to estimate.", "Log it with `pitwright revision add PART --cost`.")
    content = read_file(file)
    known = _shop_of(place, shop_file, settings or ())
    if file.suffix.casefold() in PROGRAMS:
        if exact or poses or turned is not None:
            raise NotAllowed("A machine program is timed as it stands.", "Leave --exact, --poses and --turned out.")
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
        exact=exact,
        turned=turned,
    )
    _check_words(request, poses)
    keep_pose = posing.kept_pose(place.register, content) if place.folder is not None else ""
    if poses:
        advice = posing.pose_advice(content, file.name, request, known, keep_pose)
        place.show(advice, lambda: pose_reports.pose_report(advice))
        return
    with share_told("drawing every line") as tell:
        made = estimating.estimate_file(content, file.name, request, known, tell)
    spools = spools_on_hand(place.register, made) if place.folder is not None else None
    place.show(_view(made, spools), lambda: reports.estimate_report(made, known.shop.currency, spools))
    if keep_pose:
        say_note(pose_reports.kept(keep_pose))
    elif not place.json:
        saving = posing.pose_beside(content, file.name, made, request, known)
        if saving is not None:
            say_note(pose_reports.said_beside(saving))


def _shop_of(place: Here, shop_file: Path | None, changes: Sequence[str]) -> ShopSettings:
    """The settings to reckon with: of the shop.toml named, of the register named, or the built-in ones; and changed."""
    if place.folder is not None and shop_file is None:
        known = shop_settings(place.register)
    else:
        known = estimating.settings_of(read_file(shop_file) if shop_file else None, shop_file.name if shop_file else "")
    return estimating.with_print_settings(known, tuple(changes))


def _check_words(request: EstimateRequest, poses: bool) -> None:
    if request.exact and poses:
        raise NotAllowed("Poses are compared without --exact.", "Pick one and name it: --turned 2 --exact.")
    if request.process is Process.PRINTED:
        return
    if request.exact:
        raise NotAllowed("Only a print has an exact form.", "Leave --exact out, or say --process printed.")
    if poses or request.turned is not None:
        raise NotAllowed("Only a printed part has poses.", "Leave --poses and --turned out, or say --process printed.")


def _view(made: Estimate, spools: SpoolAdvice | None) -> object:
    """The estimate as JSON shows it: where a register is named, with what of its stock suffices."""
    if spools is None:
        return made
    return {each.name: getattr(made, each.name) for each in fields(made)} | {"spools": spools}
