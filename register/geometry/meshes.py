"""The gate for mesh files: bytes in, a checked mesh or a refusal out."""

import hashlib
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from register.domain.texts import shown
from register.errors import BadMesh, BadQuantity
from register.geometry.mesh_bytes import EXPORT_AGAIN
from register.geometry.obj import is_obj, obj_triangles
from register.geometry.open_meshes import INSIDE_OUT, made_whole
from register.geometry.packed import Packed, is_packed, packed_triangles
from register.geometry.ply import is_ply, ply_triangles
from register.geometry.rings import sections
from register.geometry.stl import is_binary, stl_triangles
from register.geometry.topology import (
    Indices,
    agreed_winding,
    bodies_of,
    bounds_of,
    closed_and_doubled,
    edges_of,
    is_closed,
    joined_points,
    merged_corners,
    volumes_and_area,
    winding_number,
)
from register.geometry.vectors import parts

Floats = NDArray[np.float64]

UNITS_MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}
LARGEST_MM = 10_000.0
FARTHEST_MM = 1_000_000.0
THINNEST_MM = 0.001
# A shop's parts: below, the figures look like metres or inches; above, like millimetres read as something else.
SMALL_MM, LARGE_MM = 4.0, 2000.0
# Corners this far apart are joined where that closes the mesh; far below what any shop can make.
COARSE_GRID_MM = 0.005
# Work that the search for cavities may do, in triangles looked at.
NESTING_TRIANGLES = 20_000_000
# Facets beyond which there is no memory to mend what does not hang together.
MOST_LOOSE = 450_000
# Heights at which overlap is looked for, and triangles times heights that may be looked at beyond the fewest.
FEWEST_HEIGHTS, MOST_HEIGHTS, HEIGHTS_TRIANGLES = 16, 320, 2_000_000
OVERLAP_SHARE = 1e-4


@dataclass(frozen=True)
class Mesh:
    """A mesh that can be worked with.

    `triangles_mm` is (n, 3, 3), counter-clockwise seen from outside. Where the file is open (`closed` is False), its
    last `patches` triangles are not in the file but close its holes, or, with no patches, all of them are a new
    surface; `doubt` is then the standard deviation of the logarithm of the volume. `bodies` counts solid bodies, not
    their cavities, and `volume_mm3` counts overlapping bodies once; `area_mm2` and `facets` are what the file holds.
    """

    triangles_mm: Floats
    sha256: str
    closed: bool
    bodies: int
    volume_mm3: float
    area_mm2: float
    size_mm: tuple[float, float, float]
    warnings: tuple[str, ...]
    facets: int
    patches: int = 0
    doubt: float = 0.0


def read_mesh(data: bytes, name: str, unit: str | None = None) -> Mesh:
    """A checked mesh from the bytes of an STL, 3MF, OBJ or PLY file, whichever they are.

    Parameters
    ----------
    data
        The whole file: binary or ASCII STL, 3MF, OBJ, or binary or ASCII PLY.
    name
        For messages.
    unit
        What one unit of the file is: mm, cm, m or in; None for mm. A 3MF file itself says, and is believed; the
        others do not.

    Returns
    -------
    The mesh. What is uncertain about it stands in its warnings.

    Raises
    ------
    BadMesh
        If the bytes are none of these, or no volume can be had from them.
    BadQuantity
        If `unit` is none of the four.
    """
    name = shown(name)
    triangles, size, warnings = _in_mm(data, name, unit)
    facets, mended = len(triangles), None
    points, faces = merged_corners(triangles)
    closed, doubled = closed_and_doubled(faces)
    if not closed:
        del triangles
        points, faces, closed = _joined(points, faces, max(size), name, warnings)
        if not closed:
            mended = made_whole(points, faces, name)
            warnings += mended.warnings
            points, faces = merged_corners(mended.triangles_mm)
        triangles = mended.triangles_mm if mended else points[faces]
        _, doubled = closed_and_doubled(faces)
    body = bodies_of(faces, len(points))
    del points, faces
    volumes, area = volumes_and_area(triangles, body)
    if mended:
        mended, body, volumes = mended.cleared(body, volumes)
        triangles = mended.triangles_mm
    _turn_outward(triangles, body, volumes, warnings)
    solid = _checked_bodies(triangles, volumes, doubled, warnings)
    volume = _trusted_mm3(float(volumes.sum()) * solid.share, solid.share, size, name)
    digest = hashlib.sha256(data).hexdigest()
    sound = Mesh(triangles, digest, mended is None, solid.bodies, volume, area, size, tuple(warnings), facets)
    if mended is None:
        return sound
    return replace(sound, area_mm2=mended.area_mm2, patches=mended.patches, doubt=mended.doubt)


def _trusted_mm3(volume_mm3: float, share: float, size_mm: tuple[float, float, float], name: str) -> float:
    """The volume, unless it is none or more than the part's box holds."""
    box_mm3 = float(np.prod(size_mm))
    if share < 1.0:  # known from a few heights only
        volume_mm3 = min(volume_mm3, box_mm3)
    if not 0.0 < volume_mm3 <= box_mm3 * 1.0001:
        raise BadMesh(
            f"{name} encloses no volume that can be trusted.", "Repair the model so that it is one closed body."
        )
    return volume_mm3


def _in_mm(data: bytes, name: str, unit: str | None) -> tuple[Floats, tuple[float, float, float], list[str]]:
    """The triangles of a file in millimetres, their size, and what is to be said of its unit."""
    if unit is not None and unit not in UNITS_MM:
        raise BadQuantity(f"{unit!r} is not a unit of length here.", f"Use one of {', '.join(UNITS_MM)}.")
    drawn = _drawn(data, name, unit or "mm")
    triangles, own_unit = drawn.triangles, drawn.unit
    if drawn.unit_mm != 1.0:
        with np.errstate(over="ignore"):  # what overflows is refused as not finite
            triangles *= drawn.unit_mm
    size, warnings = _checked_size(triangles, name, own_unit)
    warnings = [*drawn.warnings, *warnings]
    if unit is not None and UNITS_MM[unit] != drawn.unit_mm:
        warnings.append(f"{name} states its own unit, {own_unit}; {unit} was not used.")
    return triangles, size, warnings


def _drawn(data: bytes, name: str, unit: str) -> Packed:
    """The triangles of a file of any kind. Nothing but its bytes says which kind it is."""
    if is_packed(data):
        return packed_triangles(data, name)
    if not is_binary(data):
        for is_kind, read in ((is_ply, ply_triangles), (is_obj, obj_triangles)):
            if is_kind(data):
                return Packed(read(data, name), unit, UNITS_MM[unit], ())
    return Packed(stl_triangles(data, name), unit, UNITS_MM[unit], ())


def _checked_size(triangles: Floats, name: str, unit: str) -> tuple[tuple[float, float, float], list[str]]:
    low, high = bounds_of(triangles)
    if not (np.isfinite(low).all() and np.isfinite(high).all()):
        finite = np.isfinite(triangles).all(axis=(1, 2))
        raise BadMesh(f"Facet {int(np.argmin(finite)) + 1} of {name} has a corner that is not a number.", EXPORT_AGAIN)
    if max(float(np.abs(low).max()), float(np.abs(high).max())) > FARTHEST_MM:
        raise BadMesh(
            f"{name} reaches more than 1 km away from the origin.", "Give its unit, or move it to the origin."
        )
    extent = high - low
    x, y, z = (float(each) for each in extent)
    largest = max(x, y, z)
    if largest > LARGEST_MM:
        raise BadMesh(f"{name} is {largest / 1000:.3g} m long in {unit}.", "Give the unit that it was drawn in.")
    if min(x, y, z) < THINNEST_MM:
        raise BadMesh(f"{name} is flat: {x:.4g} × {y:.4g} × {z:.4g} mm.", "Export a solid, and give its unit.")
    warnings = []
    if largest < SMALL_MM:
        warnings.append(
            f"{name} is only {largest:.3g} mm long read in {unit}: if it was drawn in metres or inches, give that unit."
        )
    if largest > LARGE_MM:
        warnings.append(f"{name} is {largest / 1000:.3g} m long read in {unit}: if that is wrong, give its unit.")
    return (x, y, z), warnings


def _joined(
    points: Floats, faces: Indices, largest_mm: float, name: str, warnings: list[str]
) -> tuple[Floats, Indices, bool]:
    """Points, faces, and whether they are closed: by snapping points to a grid where that alone does it, or turned."""
    # A closed mesh has half as many corners as facets.
    if len(faces) > MOST_LOOSE and len(points) > len(faces):
        raise BadMesh(
            f"{name} is not a body: most of its {len(faces)} facets do not meet at their corners.",
            "Repair the model so that it is one closed body.",
        )
    for grid, shift in product((max(1e-4, largest_mm * 1e-6), COARSE_GRID_MM), (0.0, 0.5)):
        near = points / grid
        near += shift
        np.round(near, out=near)
        near -= shift
        near *= grid
        near_points, near_faces = joined_points(near, faces)
        if is_closed(near_faces):
            return near_points, near_faces, True
    turned = agreed_winding(faces, edges_of(faces))
    if not np.array_equal(turned, faces):
        warnings.append("Some facets were wound the other way than their neighbours; they were turned.")
    return points, turned, is_closed(turned)


def _turn_outward(triangles: Floats, body: Indices, volumes: Floats, warnings: list[str]) -> None:
    """Wind every body outward, in place; a body inside another may be a cavity and stays as it is."""
    turn = np.zeros(len(volumes), dtype=bool)
    if volumes.sum() < 0.0:
        turn[:] = True
    negative = np.flatnonzero(np.where(turn, -volumes, volumes) < 0.0)
    if len(volumes) > 1 and len(negative) * len(triangles) <= NESTING_TRIANGLES:
        for each in negative:
            own = body == each
            around = np.abs(winding_number(triangles[own][0, 0], triangles[~own]))
            if round(around) % 2 == 0:
                turn[each] = not turn[each]
    if not turn.any():
        return
    warnings.append(INSIDE_OUT)
    volumes[turn] *= -1.0
    for part in parts(len(triangles)):
        wrong = turn[body[part]]
        triangles[part][wrong] = triangles[part][wrong][:, ::-1]


@dataclass(frozen=True)
class _Bodies:
    """`bodies` that are solid, and the `share` of the signed volume that is left when overlaps count once."""

    bodies: int
    share: float


def _checked_bodies(triangles: Floats, volumes: Floats, doubled: bool, warnings: list[str]) -> _Bodies:
    count = int((volumes > 0.0).sum())
    if count < 2 and not doubled:
        return _Bodies(1, 1.0)
    signed, united = _section_areas(triangles)
    if united >= signed * (1.0 - OVERLAP_SHARE):
        if count > 1:
            warnings.append(f"The file holds {count} separate bodies; they are estimated together as they lie.")
        return _Bodies(max(count, 1), 1.0)
    if count > 1:
        warnings.append(
            f"The file holds {count} bodies that overlap; what they share is counted once. A hollow whose facets point "
            "outward counts as solid."
        )
    else:
        warnings.append("Some facets lie in the file more than once; what they enclose is counted once.")
    return _Bodies(max(count, 1), united / signed)


def _section_areas(triangles: Floats) -> tuple[float, float]:
    """Signed and united area summed over a few heights."""
    low, high = (float(each[2]) for each in bounds_of(triangles))
    count = min(max(HEIGHTS_TRIANGLES // len(triangles), FEWEST_HEIGHTS), MOST_HEIGHTS)
    heights = low + (np.arange(count) + 0.5) / count * (high - low)
    cuts = sections(triangles, heights)
    return sum(each.signed_mm2 for each in cuts), sum(each.united_mm2 for each in cuts)
