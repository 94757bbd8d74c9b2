"""The gate for mesh files: bytes in, a checked mesh or a refusal out."""

import hashlib
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from register.domain.texts import shown
from register.errors import BadMesh, BadQuantity
from register.geometry.packed import Packed, is_packed, packed_triangles
from register.geometry.rings import sections
from register.geometry.stl import EXPORT_AGAIN, stl_triangles
from register.geometry.topology import (
    Edges,
    Indices,
    agreed_winding,
    bodies_of,
    bounds_of,
    edges_of,
    merged_corners,
    middle_of,
    patches_over,
    signed_volumes,
    winding_number,
)

Floats = NDArray[np.float64]

UNITS_MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}
LARGEST_MM = 10_000.0
FARTHEST_MM = 1_000_000.0
THINNEST_MM = 0.001
# A shop's parts: below, the figures look like metres or inches; above, like millimetres read as something else.
SMALL_MM, LARGE_MM = 4.0, 2000.0
# Holes beyond this share of the surface: loose triangles rather than a body with a hole.
HOLE_SHARE = 0.9
# Corners this far apart are joined where that closes the mesh; far below what any shop can make.
COARSE_GRID_MM = 0.005
# Work that the search for cavities may do, in triangles looked at.
NESTING_TRIANGLES = 20_000_000
OVERLAP_HEIGHTS = 16
OVERLAP_SHARE = 1e-4


@dataclass(frozen=True)
class Mesh:
    """A mesh that can be worked with.

    `triangles_mm` is (n, 3, 3), counter-clockwise seen from outside; its last `patches` triangles are not in the
    file but close its holes (`closed` is False then). `bodies` counts solid bodies, not their cavities.
    `volume_mm3` counts overlapping bodies once, and `area_mm2` is the surface of what the file holds.
    """

    triangles_mm: Floats
    sha256: str
    closed: bool
    bodies: int
    volume_mm3: float
    area_mm2: float
    size_mm: tuple[float, float, float]
    warnings: tuple[str, ...]
    patches: int = 0


def read_mesh(data: bytes, name: str, unit: str | None = None) -> Mesh:
    """A checked mesh from the bytes of an STL or 3MF file, whichever they are.

    Parameters
    ----------
    data
        The whole file: binary or ASCII STL, or 3MF.
    name
        For messages.
    unit
        What one unit of the file is: mm, cm, m or in; None for mm. An STL file itself does not say; a 3MF file does,
        and is believed.

    Returns
    -------
    The mesh. What is uncertain about it stands in its warnings.

    Raises
    ------
    BadMesh
        If the bytes are neither, or no volume can be had from them.
    BadQuantity
        If `unit` is none of the four.
    """
    if unit is not None and unit not in UNITS_MM:
        raise BadQuantity(f"{unit!r} is not a unit of length here.", f"Use one of {', '.join(UNITS_MM)}.")
    name = shown(name)
    drawn = packed_triangles(data, name) if is_packed(data) else _unpacked(data, name, unit or "mm")
    with np.errstate(over="ignore"):  # what overflows is refused as not finite
        triangles = drawn.triangles * drawn.unit_mm
    size, warnings = _checked_size(triangles, name, drawn.unit)
    warnings = [*drawn.warnings, *warnings]
    if unit is not None and UNITS_MM[unit] != drawn.unit_mm:
        warnings.append(f"{name} states its own unit, {drawn.unit}; {unit} was not used.")
    points, faces, edges = _joined(triangles, max(size), warnings)
    closed = edges.closed
    triangles = points[faces]
    patches = 0
    if not closed:
        mended = _mended(points, faces, edges, name, warnings)
        patches = len(mended) - len(faces)
        points, faces = merged_corners(mended)
        triangles = mended
    body = bodies_of(faces, len(points))
    triangles = _right_way_round(triangles, body, warnings)
    volume, area = _volume_and_area(triangles, patches)
    solid = _checked_bodies(triangles, body, warnings)
    volume *= solid.share
    if not 0.0 < volume <= float(np.prod(size)) * 1.0001:
        raise BadMesh(
            f"{name} encloses no volume that can be trusted.", "Repair the model so that it is one closed body."
        )
    return Mesh(
        triangles, hashlib.sha256(data).hexdigest(), closed, solid.bodies, volume, area, size, tuple(warnings), patches
    )


def _unpacked(data: bytes, name: str, unit: str) -> Packed:
    return Packed(stl_triangles(data, name), unit, UNITS_MM[unit], ())


def _checked_size(triangles: Floats, name: str, unit: str) -> tuple[tuple[float, float, float], list[str]]:
    finite = np.isfinite(triangles).all(axis=(1, 2))
    if not finite.all():
        raise BadMesh(f"Facet {int(np.argmin(finite)) + 1} of {name} has a corner that is not a number.", EXPORT_AGAIN)
    low, high = bounds_of(triangles)
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


def _joined(triangles: Floats, largest_mm: float, warnings: list[str]) -> tuple[Floats, Indices, Edges]:
    """Shared corners, faces and edges; corners are snapped to a fine grid where that alone closes the mesh."""
    points, faces = merged_corners(triangles)
    edges = edges_of(faces)
    if edges.closed:
        return points, faces, edges
    for grid, shift in product((max(1e-4, largest_mm * 1e-6), COARSE_GRID_MM), (0.0, 0.5)):
        snapped = (np.round(triangles / grid + shift) - shift) * grid
        near_points, near_faces = merged_corners(snapped)
        near_edges = edges_of(near_faces)
        if near_edges.closed:
            return near_points, near_faces, near_edges
    turned = agreed_winding(faces, edges)
    if not np.array_equal(turned, faces):
        warnings.append("Some facets were wound the other way than their neighbours; they were turned.")
        faces = turned
        edges = edges_of(faces)
    return points, faces, edges


def _mended(points: Floats, faces: Indices, edges: Edges, name: str, warnings: list[str]) -> Floats:
    """The triangles with every hole closed by a fan, or a refusal where there is little but holes."""
    patches, open_edges = patches_over(points, edges)
    if _area_mm2(patches) > HOLE_SHARE * _area_mm2(points[faces]):
        raise BadMesh(
            f"{name} is not a body: {open_edges} of its {len(edges.uses)} edges belong to one facet only.",
            "Repair the model so that it is one closed body.",
        )
    warnings.append(
        f"The mesh is open at {open_edges} edges; its holes were closed with flat patches, so volume, mass and time "
        "are less certain."
    )
    return np.concatenate([points[faces], patches])


def _area_mm2(triangles: Floats) -> float:
    cross = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    return float(np.sqrt(np.einsum("ij,ij->i", cross, cross)).sum() / 2.0)


def _right_way_round(triangles: Floats, body: Indices, warnings: list[str]) -> Floats:
    """The triangles with every body wound outward; a body inside another may be a cavity and stays as it is."""
    volumes = signed_volumes(triangles - middle_of(triangles), body)
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
        return triangles
    warnings.append("The mesh was inside out (its facets were wound inward); it was turned the right way round.")
    return np.where(turn[body][:, None, None], triangles[:, ::-1], triangles)


def _volume_and_area(triangles: Floats, patches: int) -> tuple[float, float]:
    # trimesh takes half a second to load, and a screen must paint before that.
    import trimesh

    crosses = trimesh.triangles.cross(triangles)
    centred = triangles - middle_of(triangles)
    with np.errstate(divide="ignore", invalid="ignore"):  # the centre of no volume; the volume itself is checked later
        figures = trimesh.triangles.mass_properties(centred, crosses=crosses, skip_inertia=True)
    areas = np.sqrt(np.einsum("ij,ij->i", crosses, crosses)) / 2.0
    return float(figures["volume"]), float(areas[: len(areas) - patches].sum())


@dataclass(frozen=True)
class _Bodies:
    """`bodies` that are solid, and the `share` of the signed volume that is left when overlaps count once."""

    bodies: int
    share: float


def _checked_bodies(triangles: Floats, body: Indices, warnings: list[str]) -> _Bodies:
    if not body.any():
        return _Bodies(1, 1.0)
    count = int((signed_volumes(triangles - middle_of(triangles), body) > 0.0).sum())
    if count < 2:
        return _Bodies(1, 1.0)
    signed, united = _section_areas(triangles)
    if united >= signed * (1.0 - OVERLAP_SHARE):
        warnings.append(f"The file holds {count} separate bodies; they are estimated together as they lie.")
        return _Bodies(count, 1.0)
    warnings.append(
        f"The file holds {count} bodies that overlap; what they share is counted once. A hollow whose facets point "
        "outward counts as solid."
    )
    return _Bodies(count, united / signed)


def _section_areas(triangles: Floats) -> tuple[float, float]:
    """Signed and united area summed over a few heights."""
    low, high = float(triangles[..., 2].min()), float(triangles[..., 2].max())
    heights = low + (np.arange(OVERLAP_HEIGHTS) + 0.5) / OVERLAP_HEIGHTS * (high - low)
    cuts = sections(triangles, heights)
    return sum(each.signed_mm2 for each in cuts), sum(each.united_mm2 for each in cuts)
