"""What a print takes in each pose, which printers hold it so, and whether a turn is worth it."""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from register.domain.estimates import PrintedEstimate
from register.domain.machines import Machine, PrintSettings
from register.domain.materials import Material
from register.domain.poses import AS_DRAWN, Pose, PoseAdvice, PoseEstimate, PoseSaving
from register.domain.texts import shown
from register.errors import DoesNotFit, NotFound
from register.estimate.motion import straight_s
from register.estimate.pose_fits import Fit, fit_of, no_printer, settings_of, with_turn
from register.estimate.printed import estimate_printed
from register.geometry.facets import outer_points
from register.geometry.meshes import Mesh
from register.geometry.orientation import FINE, poses, support_angle_deg
from register.geometry.turning import ALONG_AXES, turned_mesh

MOST_POSES = 8
# Of a mesh with more triangles than FINE, only these many poses are estimated beside the drawing's.
ESTIMATED_IF_FINE = 2
# A turn that saves less than both of these is not spoken of. Source: common practice.
LEAST_SHARE, LEAST_S = 0.05, 600.0
# More support than the drawing's pose by this much is no better pose, however quick.
MORE_SUPPORT_MM3 = 100.0
# Length of a line of support, where only its space is known. Source: common practice.
CHORD_MM = 20.0
# Between two lines the tool goes along the outline: at 45° that is √2 spacings.
LINK_SPACINGS = 1.4
# A mesh of more triangles is not looked at beside an estimate.
QUICK_TRIANGLES = 10_000


def advised_poses(
    mesh: Mesh,
    material: Material,
    machines: Sequence[Machine],
    base: PrintSettings,
    keep_pose: str = "",
    most: int = MOST_POSES,
) -> PoseAdvice:
    """The best poses of a part, each estimated on a printer that holds it, and whether one is worth a turn.

    Parameters
    ----------
    mesh
        As `read_mesh` gave it; it is not turned.
    machines
        The printers that may make it, in the shop's order. Poses are compared on the one that holds the drawing's.
    keep_pose
        Why the part is printed as drawn; then no turn is advised. "" if it may be turned.

    Raises
    ------
    DoesNotFit
        If no printer holds any pose; it names the measure that fails.

    Notes
    -----
    A pose is better if it stands, needs no more support than the drawing's and saves 5 % of the time or 10 minutes.
    Where the settings print no support, all poses are reckoned with support beyond 45°. Source: common practice.
    """
    own = settings_of(machines[0], material, base)
    angle_deg = support_angle_deg(own)
    hull = outer_points(mesh.triangles_mm)
    found = poses(mesh.triangles_mm, own, most)
    fits = {
        each.number: [fit_of(each.rotation, hull, printer, material, base) for printer in machines] for each in found
    }
    if not any(fit.holds for each in fits.values() for fit in each):
        raise no_printer(mesh, material, machines, base)
    drawn = next(each for each in found if each.name == AS_DRAWN)
    usual = next((fit.machine.name for fit in fits[drawn.number] if fit.holds), None)
    left = len(found) if len(mesh.triangles_mm) <= FINE else ESTIMATED_IF_FINE
    made: list[PoseEstimate] = []
    for pose in found:
        holding = [fit for fit in fits[pose.number] if fit.holds]
        wanted = pose is drawn or (left > 0 and pose.stands)
        left -= wanted and pose is not drawn
        first = next((fit for fit in holding if fit.machine.name == usual), holding[0] if holding else None)
        made.append(_estimated(pose, mesh, material, base, first if wanted else None, holding, angle_deg))
    made.sort(key=lambda each: (not each.stands, each.duration_s is None, each.duration_s or 0.0, each.number))
    return PoseAdvice(
        mesh.sha256,
        material.name,
        angle_deg,
        own.support_angle_deg <= 0.0,
        keep_pose,
        None if keep_pose else _better(made),
        tuple(made),
    )


def quick_saving(
    mesh: Mesh, made: PrintedEstimate, material: Material, machine: Machine, base: PrintSettings
) -> PoseSaving | None:
    """What the best pose by shape saves against an estimate of the drawing's, or None if that is not worth a word.

    Parameters
    ----------
    made
        The estimate of the same mesh as drawn, on `machine`.

    Notes
    -----
    It is meant to stand beside an estimate without making anyone wait, so support, the slow part of an estimate, is
    reckoned from the space under what overhangs, and a mesh of more than 10 000 triangles gives None.
    """
    if len(mesh.triangles_mm) > QUICK_TRIANGLES:
        return None
    settings = settings_of(machine, material, base)
    found = poses(mesh.triangles_mm, settings, 2)
    drawn, best = next(each for each in found if each.name == AS_DRAWN), found[0]
    fit = fit_of(best.rotation, outer_points(mesh.triangles_mm), machine, material, base)
    allowed_mm3 = drawn.support_mm3 + MORE_SUPPORT_MM3 / settings.support_share
    if best is drawn or not (best.stands and fit.holds) or best.support_mm3 > allowed_mm3:
        return None
    bare = replace(settings, support_angle_deg=0.0)
    plain, printer = replace(material, print_overrides={}), replace(machine, print_overrides={})
    turned = estimate_printed(turned_mesh(mesh, best.rotation, fit.turn_deg), plain, printer, bare)
    drawn_s = made.duration_s + (_support_s(drawn, settings) if settings.support_angle_deg <= 0.0 else 0.0)
    turned_s = turned.duration_s + _support_s(best, settings)
    if not _worth_it(drawn_s, turned_s):
        return None
    less_mm3 = (drawn.support_mm3 - best.support_mm3) * settings.support_share
    return PoseSaving(
        best.name, drawn_s, turned_s, less_mm3, settings.support_angle_deg <= 0.0, support_angle_deg(settings)
    )


def _support_s(pose: Pose, settings: PrintSettings) -> float:
    """About how long the support of a pose takes: chords of a usual length, and the links between them."""
    line_mm2 = settings.line_width_mm * settings.layer_height_mm
    speed = min(settings.support_speed_mm_s, settings.flow_limit_mm3_s / line_mm2)
    link_mm = LINK_SPACINGS * settings.line_width_mm / settings.support_share
    lengths = np.array([CHORD_MM, link_mm])
    each_s = float(straight_s(lengths, speed, settings.acceleration_mm_s2).sum())
    return pose.support_mm3 * settings.support_share / line_mm2 / CHORD_MM * each_s


def _worth_it(drawn_s: float, turned_s: float) -> bool:
    saved_s = drawn_s - turned_s
    return saved_s >= LEAST_SHARE * drawn_s or saved_s >= LEAST_S


def estimate_turned(
    mesh: Mesh,
    pose: Pose,
    material: Material,
    machine: Machine,
    base: PrintSettings,
    exact: bool = False,
    tell: Callable[[float], None] | None = None,
) -> PrintedEstimate:
    """The estimate of a part in one of its poses, on one printer; the mesh itself stays as it is.

    Raises
    ------
    DoesNotFit
        If the printer does not hold it so.
    """
    fit = fit_of(pose.rotation, outer_points(mesh.triangles_mm), machine, material, base)
    made = estimate_printed(turned_mesh(mesh, pose.rotation, fit.turn_deg), material, machine, base, exact, tell)
    doubts = () if pose.stands else ("It does not stand so by itself: it needs support, or a bed edge that holds it.",)
    return replace(made, pose=with_turn(pose.name, fit.turn_deg), warnings=(*made.warnings, *doubts))


def pose_named(mesh: Mesh, named: str, material: Material, machine: Machine, base: PrintSettings) -> Pose:
    """The pose of that number or name: one of the best, or one of the six along the axes.

    Parameters
    ----------
    named
        A number is one of those that `advised_poses` gives for the same printer as its first.

    Raises
    ------
    NotFound
        If there is none; the message lists those that there are.
    """
    wanted = _plain(named)
    found = poses(mesh.triangles_mm, settings_of(machine, material, base), MOST_POSES)
    for each in found:
        if wanted in (str(each.number), *_names(each.name)):
            return each
    for name, rotation in ALONG_AXES.items():
        if wanted in _names(name):
            size = turned_mesh(mesh, rotation).size_mm
            return Pose(0, name, rotation, size, size[2], 0.0, 0.0, False)
    listed = ", ".join(f"{each.number} {each.name}" for each in found)
    raise NotFound(f"The part has no pose {shown(named)!r}.", f"Its best poses are: {listed}.")


def _estimated(
    pose: Pose,
    mesh: Mesh,
    material: Material,
    base: PrintSettings,
    fit: Fit | None,
    holding: Sequence[Fit],
    angle_deg: float,
) -> PoseEstimate:
    """A pose with what it takes on the printer of `fit`; without figures if that is None."""
    row = PoseEstimate(
        pose.number,
        pose.name,
        pose.size_mm,
        pose.footprint_mm2,
        pose.support_mm3,
        pose.stands,
        tuple(each.machine.name for each in holding),
        None,
        0.0,
        pose.rotation,
    )
    if fit is None:
        return row
    settings = replace(settings_of(fit.machine, material, base), support_angle_deg=angle_deg)
    printer, plain = replace(fit.machine, print_overrides={}), replace(material, print_overrides={})
    try:
        made = estimate_printed(turned_mesh(mesh, pose.rotation, fit.turn_deg), plain, printer, settings)
    except DoesNotFit:  # by a hair: the hull of a mesh with very many corners is a little short
        return replace(row, printers=tuple(each for each in row.printers if each != fit.machine.name))
    return replace(
        row,
        machine=fit.machine.name,
        turn_deg=fit.turn_deg,
        duration_s=made.duration_s,
        mass_g=made.mass_g,
        support_mm3=made.volumes_mm3.support,
        cost_cents=made.cost_cents,
    )


def _better(made: Sequence[PoseEstimate]) -> int | None:
    """The number of the quickest pose that is better than the drawing's by enough to say so."""
    drawn = next(each for each in made if each.name == AS_DRAWN)
    may = [each for each in made if each is not drawn and each.stands and each.duration_s is not None]
    if drawn.duration_s is None or drawn.support_mm3 is None:
        return may[0].number if may else None
    allowed = drawn.support_mm3 + MORE_SUPPORT_MM3
    quicker = [(each.duration_s or 0.0, each.number) for each in may if (each.support_mm3 or 0.0) <= allowed]
    if not quicker:
        return None
    duration_s, number = min(quicker)
    return number if _worth_it(drawn.duration_s, duration_s) else None


def _names(name: str) -> tuple[str, str]:
    """What a pose may be called: its name, also without what stands in brackets."""
    return _plain(name), _plain(name.partition(" (")[0])


def _plain(name: str) -> str:
    return name.strip().casefold().replace("°", "").replace("−", "-")
