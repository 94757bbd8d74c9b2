"""Poses: in which a part prints best, and whether a turn is worth it. Nothing is turned here."""

import hashlib
from collections.abc import Sequence

from register.domain.estimates import Estimate, EstimateRequest, PrintedEstimate
from register.domain.machines import Machine
from register.domain.materials import Form, Material
from register.domain.parts import Process
from register.domain.poses import AS_DRAWN, PoseAdvice, PoseSaving
from register.domain.shop import ShopSettings
from register.errors import NotAllowed
from register.estimate import whole
from register.opening import Register
from register.store import parts

# A pose beside an estimate must not make anyone wait, so a file beyond this is not even read for it.
QUICK_BYTES = 2_000_000


def pose_advice(
    content: bytes, name: str, request: EstimateRequest, settings: ShopSettings, keep_pose: str = ""
) -> PoseAdvice:
    """The best poses of a printed part, each with what it takes and the printers that hold it.

    Parameters
    ----------
    keep_pose
        Why the part is printed as drawn; "" if it may be turned.

    Raises
    ------
    Refused
        If the file or the material is not fit, or no printer holds the part in any pose.
    NotAllowed
        If it is printed in powder.
    """
    # With them comes numpy, which a list of spares does without.
    from register.estimate.poses import advised_poses
    from register.geometry.meshes import read_mesh

    material, printers = _printers(request, settings)
    mesh = read_mesh(content, name, request.unit)
    return advised_poses(mesh, material, printers, settings.shop.print_settings, keep_pose)


def pose_beside(
    content: bytes, name: str, made: Estimate, request: EstimateRequest, settings: ShopSettings
) -> PoseSaving | None:
    """What a turn may save against the estimate `made` of the same file, if a quick look at its shape promises any."""
    if not isinstance(made, PrintedEstimate) or made.pose != AS_DRAWN or len(content) > QUICK_BYTES:
        return None
    machine = next((each for each in settings.machines if each.name == made.machine), None)
    if machine is None or machine.powder is not None:
        return None
    from register.estimate.poses import quick_saving
    from register.geometry.meshes import read_mesh

    material = whole.material_named(made.material, Form.FILAMENT, settings)
    mesh = read_mesh(content, name, request.unit)
    return quick_saving(mesh, made, material, machine, settings.shop.print_settings)


def kept_pose(register: Register, content: bytes) -> str:
    """Why the register says that this file is printed in the pose that it has; "" if it says nothing of it."""
    with register.store.reading() as view:
        found = parts.revisions_of_file(view, hashlib.sha256(content).hexdigest())
    return next((each.keep_pose for each in reversed(found) if each.keep_pose), "")


def _printers(request: EstimateRequest, settings: ShopSettings) -> tuple[Material, Sequence[Machine]]:
    named = (request.material or "").strip().casefold()
    if any(each.form is Form.POWDER and each.name.casefold() == named for each in settings.materials):
        raise NotAllowed("Powder carries a part in every pose.", "Name a filament to compare poses.")
    material = whole.material_named(request.material, Form.FILAMENT, settings)
    return material, whole.machines_for(Process.PRINTED, material.name, settings, request.machine)
