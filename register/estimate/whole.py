"""From a file's bytes to an estimate, whatever the process: the one place that knows them all."""

import difflib
from collections.abc import Callable
from typing import TYPE_CHECKING, TypeVar

from register.domain.estimates import BoughtEstimate, Estimate, EstimateRequest, PrintedEstimate, RoutedEstimate
from register.domain.machines import Machine
from register.domain.materials import Form, Material
from register.domain.parts import Process
from register.domain.shop import ShopSettings
from register.domain.texts import shown
from register.errors import BadDrawing, BadFile, BadMesh, DoesNotFit, NotAllowed, NotFound, UnknownMaterial
from register.estimate.bought import estimate_bought

if TYPE_CHECKING:
    from register.geometry.plates import Plate

# The rooms that bring numpy load where a file is read: a list of spares needs the machines below and no numpy.

Made = TypeVar("Made", PrintedEstimate, RoutedEstimate)
Tell = Callable[[float], None]


def estimate(
    content: bytes | None, name: str, request: EstimateRequest, settings: ShopSettings, tell: Tell | None = None
) -> Estimate:
    """Estimate one piece.

    Parameters
    ----------
    content
        The file's bytes; None for a bought part.
    name
        The file's name, for its kind and for messages.
    settings
        The shop whose machines, materials and tools are used.
    tell
        Called with the share of a print's exact form that is done, 0 to 1; what it raises stops the work.

    Raises
    ------
    Refused
        One of its kinds, if the file, the material or the size is not fit for it.
    NotFound
        If the machine named is not the shop's.
    """
    try:
        return _PROCESSES[request.process](content, name, request, settings, tell)
    except (BadMesh, BadDrawing) as error:
        if not name or shown(name) in error.what:
            raise
        raise type(error)(f"{shown(name)}: {error.what[0].lower()}{error.what[1:]}", error.cure) from error


def material_named(name: str | None, form: Form, settings: ShopSettings) -> Material:
    """The shop's material of that name and form, whatever the case.

    Raises
    ------
    UnknownMaterial
        If there is none; the message offers what there is.
    """
    choices = {each.name.casefold(): each for each in settings.materials if each.form is form}
    found = choices.get((name or "").strip().casefold())
    if found is not None:
        return found
    names = sorted(each.name for each in choices.values())
    near = difflib.get_close_matches(name or "", names, 1)
    offered = f"Did you mean {near[0]}? " if near else ""
    listed = ", ".join(names) or "none yet"
    what = f"There is no {form.value} called {name!r}." if name else f"No {form.value} was named."
    raise UnknownMaterial(what, f"{offered}The shop has: {listed}.")


def machines_for(
    process: Process, material: str, settings: ShopSettings, named: str | None = None
) -> tuple[Machine, ...]:
    """The machines that can do a process in a material, in the shop's order; only `named` if one is named.

    Raises
    ------
    NotFound
        If `named` is not a machine of the shop.
    NotAllowed
        If it cannot do this, or no machine can.
    """
    if named is not None and all(each.name != named for each in settings.machines):
        known = ", ".join(each.name for each in settings.machines) or "none yet"
        raise NotFound(f"There is no machine {named!r}.", f"The shop has: {known}.")
    is_powder = _is_powder(material, settings)
    fit = tuple(
        each
        for each in settings.machines
        if each.process is process
        and (each.powder is not None) is is_powder
        and named in (None, each.name)
        and (not each.materials or material.casefold() in {known.casefold() for known in each.materials})
    )
    if not fit:
        which = f"{named} does not take" if named else "No machine of the shop takes"
        raise NotAllowed(
            f"{which} {material} for a {process.value} part.",
            "Name another machine or material, or add it in shop.toml."
            if not is_powder
            else "Name a filament, or a machine that has [machine.powder] in shop.toml.",
        )
    return fit


def _is_powder(material: str, settings: ShopSettings) -> bool:
    wanted = material.strip().casefold()
    forms = {each.form for each in settings.materials}
    if not wanted and Form.FILAMENT not in forms:
        return Form.POWDER in forms
    return any(each.form is Form.POWDER and each.name.casefold() == wanted for each in settings.materials)


def _printed(
    content: bytes | None, name: str, request: EstimateRequest, settings: ShopSettings, tell: Tell | None
) -> PrintedEstimate:
    from register.estimate.pose_fits import no_printer
    from register.estimate.poses import estimate_turned, pose_named
    from register.estimate.printed import estimate_printed
    from register.geometry.meshes import read_mesh

    if _is_powder(request.material or "", settings):
        return _powder_printed(content, name, request, settings)
    material = material_named(request.material, Form.FILAMENT, settings)
    machines = machines_for(Process.PRINTED, material.name, settings, request.machine)
    mesh = read_mesh(_needed(content, name), name, request.unit)
    base = settings.shop.print_settings
    if request.turned is not None:
        pose = pose_named(mesh, request.turned, material, machines[0], base)
        return _on_first_that_fits(
            machines, lambda machine: estimate_turned(mesh, pose, material, machine, base, request.exact, tell)
        )
    try:
        return _on_first_that_fits(
            machines, lambda machine: estimate_printed(mesh, material, machine, base, request.exact, tell)
        )
    except DoesNotFit as error:
        raise no_printer(mesh, material, machines, base, error) from error


def _powder_printed(
    content: bytes | None, name: str, request: EstimateRequest, settings: ShopSettings
) -> PrintedEstimate:
    from register.estimate.powder import estimate_powder
    from register.geometry.meshes import read_mesh

    if request.turned is not None or request.exact:
        raise NotAllowed("Powder has neither poses nor lines to draw.", "Leave --turned and --exact out.")
    material = material_named(request.material, Form.POWDER, settings)
    machines = machines_for(Process.PRINTED, material.name, settings, request.machine)
    mesh = read_mesh(_needed(content, name), name, request.unit)
    return _on_first_that_fits(machines, lambda machine: estimate_powder(mesh, material, machine))


def _routed(
    content: bytes | None, name: str, request: EstimateRequest, settings: ShopSettings, _: Tell | None
) -> RoutedEstimate:
    from register.estimate.routed import estimate_routed

    material = material_named(request.material, Form.SHEET, settings)
    machines = machines_for(Process.ROUTED, material.name, settings, request.machine)
    plate = _plate(_needed(content, name), name, request.unit)
    return _on_first_that_fits(
        machines, lambda machine: estimate_routed(plate, request.thickness_mm, material, machine, settings.tools)
    )


def _bought(
    content: bytes | None, name: str, request: EstimateRequest, settings: ShopSettings, _: Tell | None
) -> BoughtEstimate:
    if request.unit_cost_cents is None or request.lead_days is None:
        raise NotAllowed(
            "A bought part needs its price and its lead time.", "Give what a piece costs and the days to delivery."
        )
    return estimate_bought(request.unit_cost_cents, request.lead_days, request.needed_on)


def _plate(content: bytes, name: str, unit: str | None) -> "Plate":
    from register.geometry.drawings import read_drawing
    from register.geometry.meshes import read_mesh
    from register.geometry.plates import plate_from_mesh

    if name.casefold().endswith(".dxf"):
        return read_drawing(content, name, unit)
    return plate_from_mesh(read_mesh(content, name, unit))


def _needed(content: bytes | None, name: str) -> bytes:
    if content is None:
        raise BadFile("A made part needs its file.", "Give an STL, 3MF, OBJ or PLY, or for a routed part a DXF too.")
    if not content:
        raise BadFile(f"{name} is empty.", "Save it again from the drawing program.")
    return content


def _on_first_that_fits(machines: tuple[Machine, ...], make: Callable[[Machine], Made]) -> Made:
    refused: DoesNotFit | None = None
    for machine in machines:
        try:
            return make(machine)
        except DoesNotFit as error:
            refused = refused or error
    raise refused or DoesNotFit("No machine can hold it.", "Add one in shop.toml.")


_Estimator = Callable[[bytes | None, str, EstimateRequest, ShopSettings, Tell | None], Estimate]
_PROCESSES: dict[Process, _Estimator] = {
    Process.PRINTED: _printed,
    Process.ROUTED: _routed,
    Process.BOUGHT: _bought,
}
