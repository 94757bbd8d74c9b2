"""Which printers hold a part in a pose, and what is said where none does."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from register.domain.machines import Machine, PrintSettings
from register.domain.materials import Material
from register.domain.poses import AS_DRAWN, Rotation
from register.errors import DoesNotFit
from register.estimate.printed import FIT_SLACK_MM
from register.geometry.bed_fit import turn_on_bed
from register.geometry.facets import outer_points
from register.geometry.meshes import Mesh
from register.geometry.orientation import poses, ways_up
from register.geometry.turning import ALONG_AXES, extent_of, named_pose, turned

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Fit:
    """How a pose lies in a printer: with `turn_deg` on the bed it passes the printer's room by `excess_mm`, 0 or less
    if it is held. `size_mm` is its box so, with the bed edge; `high` says that the height is the worst of it.
    """

    machine: Machine
    turn_deg: float
    excess_mm: float
    size_mm: tuple[float, float, float]
    high: bool

    @property
    def holds(self) -> bool:
        """Whether the printer holds the pose."""
        return self.excess_mm <= FIT_SLACK_MM


def no_printer(
    mesh: Mesh,
    material: Material,
    machines: Sequence[Machine],
    base: PrintSettings,
    refused: DoesNotFit | None = None,
) -> DoesNotFit:
    """Why a part does not fit as it is drawn: the pose that fits, or by how much even the best one fails.

    Parameters
    ----------
    refused
        What the drawing's pose was refused with, if it was.
    """
    hull = outer_points(mesh.triangles_mm)
    ways = [named_pose(up, hull) for up in ways_up(hull)]
    fits = [(name, fit_of(rotation, hull, printer, material, base)) for name, rotation in ways for printer in machines]
    holding = [(name, fit) for name, fit in fits if fit.holds]
    if holding:
        found = poses(mesh.triangles_mm, settings_of(machines[0], material, base))
        rank = {each.name: (not each.stands, place) for place, each in enumerate(found)}
        name, fit = min(holding, key=lambda each: rank.get(each[0], (True, len(found))))
        falls = ", though it does not stand so by itself" if rank.get(name, (True, 0))[0] else ""
        return DoesNotFit(
            refused.what if refused else "The part does not fit as it is drawn.",
            f"Turn it: {with_turn(name, fit.turn_deg)}, it fits {fit.machine.name}{falls} "
            f'(`pitwright estimate FILE --turned "{name}"`).',
        )
    largest = max(machines, key=lambda each: float(np.prod(each.size_mm)))
    name, fit = min((each for each in fits if each[1].machine is largest), key=lambda each: each[1].excess_mm)
    return DoesNotFit(_failing(name, fit, alone=len(machines) == 1), "Split it, or find a larger printer.")


def with_turn(name: str, turn_deg: float) -> str:
    """A pose's name, and how far it is turned on the bed beside it."""
    return f"{name}, turned {turn_deg:.0f}° on the bed" if turn_deg else name


def _failing(name: str, fit: Fit, alone: bool) -> str:
    """Which measure of the least bad pose fails, and by how much."""
    printer, (x, y, z) = fit.machine, fit.size_mm
    every = f"{printer.name} in no pose" if alone else "no printer in any pose"
    which = printer.name if alone else f"{printer.name}, the largest,"
    more = f"{_figure(fit.excess_mm, 3)} mm more than {which}"
    if fit.high:
        high = f"{_figure(z)} mm high, {more} prints ({printer.size_mm[2]:.4g} mm)"
        return f"The part fits {every}: even {name} it is {high}."
    return (
        f"The part fits {every}: even {with_turn(name, fit.turn_deg)}, it is {_figure(x)} × {_figure(y)} mm on the "
        f"bed, {more} holds ({printer.size_mm[0]:.4g} × {printer.size_mm[1]:.4g} mm)."
    )


def _figure(mm: float, digits: int = 4) -> str:
    return f"{mm:.0f}" if mm >= 1000.0 else f"{mm:.{digits}g}"


def settings_of(machine: Machine, material: Material, base: PrintSettings) -> PrintSettings:
    """The print settings of a material on a machine."""
    return base.overridden(machine.print_overrides, material.print_overrides)


def fit_of(rotation: Rotation, hull: Floats, machine: Machine, material: Material, base: PrintSettings) -> Fit:
    """How a pose of a part lies in a printer; `hull` (k, 3) are the corners of the part's convex hull."""
    edge = 2.0 * settings_of(machine, material, base).bed_edge_mm
    placed = hull @ np.array(rotation).T
    room = (machine.size_mm[0] - edge, machine.size_mm[1] - edge)
    turn_deg, excess = turn_on_bed(placed[:, :2], room, FIT_SLACK_MM)
    x, y, z = extent_of(turned(placed[:, None], rotation=ALONG_AXES[AS_DRAWN], turn_deg=turn_deg))
    over = z - machine.size_mm[2]
    # An estimate takes a part lengthwise and crosswise alike, so a quarter turn need not be made.
    return Fit(
        machine, 0.0 if turn_deg == 90.0 else turn_deg, max(over, excess), (x + edge, y + edge, z), over >= excess
    )
