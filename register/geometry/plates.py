"""Flat plates: what a router needs to know of a part, found in a mesh."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from register.domain.estimates import Hole, Pocket, Size
from register.errors import BadMesh
from register.geometry.meshes import Mesh
from register.geometry.outlines import Floats, nested, openings, without_straight_corners
from register.geometry.topology import merged_corners

if TYPE_CHECKING:
    from shapely.geometry import Polygon
    from shapely.geometry.base import BaseGeometry

Ints = NDArray[np.int64]

# Faces this near to flat or upright count as such, and all but this share of the surface must.
ANGLE_DEG = 0.6
FLAT_SHARE = 0.995
# Cap heights closer than this are one level.
LEVEL_MM = 0.05
# Slivers between two sections of the same wall are no pockets.
SLIVER_MM = 0.01
SLIVER_MM2 = 0.05
# Sections of one wall taken at two heights differ by rounding; united on this grid they are one.
GRID_MM = 1e-3
# Walls taller than this many times their mean width are bent sheet, tube or bar. Source: common practice.
TALLEST_WALL = 6.0
VOLUME_SHARE = 1e-3
CANDIDATES = 12


@dataclass(frozen=True)
class Plate:
    """A flat part, seen from above. Lengths mm.

    `outline` is the outer ring with every through opening cut out; `holes` are its round openings, `slots` counts
    the others, which stand in `slot_polygons`. `pocket_polygons` go with `pockets`. `thickness_mm` is None where
    the source does not say it; the third of `size_mm` is then 0.
    """

    thickness_mm: float | None
    outline: Polygon
    holes: tuple[Hole, ...]
    slots: int
    slot_polygons: tuple[Polygon, ...]
    pockets: tuple[Pocket, ...]
    pocket_polygons: tuple[Polygon, ...]
    size_mm: Size
    sha256: str
    warnings: tuple[str, ...]


def plate_from_mesh(mesh: Mesh) -> Plate:
    """The flat plate that a mesh describes.

    Returns
    -------
    Plate
        In the mesh's own x and y where it lies flat; turned to lie flat otherwise, never mirrored.

    Raises
    ------
    BadMesh
        If it is open, in several bodies, bent, curved, chamfered, undercut or drilled from the side.

    Notes
    -----
    The thinnest axis along which caps and upright walls make up the surface; a section between each two levels of
    caps. Source: geometry; the volume of the sections is checked against the mesh's own.
    """
    _refuse_unsure(mesh)
    corners, faces = merged_corners(mesh.triangles_mm)
    normals = np.cross(corners[faces[:, 1]] - corners[faces[:, 0]], corners[faces[:, 2]] - corners[faces[:, 0]])
    axis = _thin_axis(corners, normals)
    corners = corners @ _frame(axis)
    caps, rest = _sorted_faces(normals, axis)
    areas = np.linalg.norm(normals, axis=1) / 2.0
    levels = _levels(corners[faces[caps]][:, :, 2], areas[caps])
    warnings = _edge_breaks(corners[faces[rest]][:, :, 2], areas[rest], levels)
    sections = [_section(corners, faces, low, high) for low, high in pairwise(levels)]
    _check_walls(sections, levels)
    _check_volume(sections, levels, mesh.volume_mm3)
    outline = _silhouette(sections)
    pockets, polygons, both_faces = _pockets(sections, levels)
    if both_faces:
        warnings += ("It has pockets on both faces, so it is turned over once; the second set-up is not in the time.",)
    holes, slots = openings(outline)
    left, low, right, high = outline.bounds
    thickness = float(levels[-1] - levels[0])
    size = (right - left, high - low, thickness)
    return Plate(
        thickness, outline, holes, len(slots), slots, pockets, polygons, size, mesh.sha256, mesh.warnings + warnings
    )


def _refuse_unsure(mesh: Mesh) -> None:
    if not mesh.closed:
        raise BadMesh("The mesh is open, so its walls cannot be followed.", "Export the part as a closed solid.")
    if mesh.bodies != 1:
        raise BadMesh(f"The mesh holds {mesh.bodies} bodies.", "Export one plate a file.")


def _thin_axis(corners: Floats, normals: Floats) -> Floats:
    """Unit vector of the thinnest axis along which the mesh is caps and upright walls."""
    lengths = np.linalg.norm(normals, axis=1)
    real = lengths > 0.0
    units, weights = normals[real] / lengths[real, None], lengths[real]
    left = weights.copy()
    found: list[tuple[float, float, Floats]] = []
    for _ in range(CANDIDATES):
        if left.sum() <= 0.0:
            break
        along = units @ units[np.argmax(left)]
        near = (np.abs(along) > np.cos(np.radians(ANGLE_DEG))) & (left > 0.0)
        axis = (units * (np.sign(along) * weights)[:, None])[near].sum(axis=0)
        axis /= np.linalg.norm(axis)
        left[near] = 0.0
        flat, upright = _flat_and_upright(units, axis)
        share = float(weights[flat | upright].sum() / weights.sum())
        found.append((float(np.ptp(corners @ axis)), share, axis))
    best = max(share for _, share, _ in found)
    sure = [each for each in found if each[1] >= FLAT_SHARE]
    # A plate with a cross hole is a prism along that hole; what keeps it from being a plate is said instead.
    meant = min(found[:3], key=lambda each: each[0])
    if not sure or (meant[1] < FLAT_SHARE and 2.0 * meant[0] < min(extent for extent, _, _ in sure)):
        _refuse_shape(meant[1] if sure else best)
    _, _, axis = min(sure, key=lambda each: each[0])
    return axis


def _refuse_shape(share: float) -> None:
    odd = 100.0 * (1.0 - share)
    if share < 0.8:
        raise BadMesh(
            f"{odd:.0f} % of the surface is neither flat face nor upright wall: the part is bent or curved.",
            "Route flat plates; unfold a bent part and export the flat pattern.",
        )
    raise BadMesh(
        f"{odd:.1f} % of the surface is neither flat face nor upright wall: chamfers, round edges or a cross hole.",
        "Take these features off the model that is routed, and add them by hand afterwards.",
    )


def _flat_and_upright(units: Floats, axis: Floats) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    along = np.abs(units @ axis)
    return along > np.cos(np.radians(ANGLE_DEG)), along < np.sin(np.radians(ANGLE_DEG))


def _sorted_faces(normals: Floats, axis: Floats) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Which triangles are caps, and which are neither cap nor wall."""
    lengths = np.linalg.norm(normals, axis=1)
    units = normals / np.where(lengths > 0.0, lengths, 1.0)[:, None]
    flat, upright = _flat_and_upright(units, axis)
    return flat & (lengths > 0.0), ~flat & ~upright & (lengths > 0.0)


def _frame(axis: Floats) -> Floats:
    """(3, 3) whose columns turn the mesh so that `axis` points up; the identity where it does."""
    main = int(np.argmax(np.abs(axis)))
    up = axis if axis[main] > 0.0 else -axis
    side = np.zeros(3)
    side[(main + 1) % 3] = 1.0
    side -= up * (up @ side)
    side /= np.linalg.norm(side)
    return np.column_stack([side, np.cross(up, side), up])


def _levels(heights: Floats, areas: Floats) -> list[float]:
    """Heights of the caps, ascending; `heights` is (n, 3), one row a triangle."""
    order = np.argsort(heights.mean(axis=1))
    middles, areas, spans = heights.mean(axis=1)[order], areas[order], np.ptp(heights, axis=1)
    groups = np.split(np.arange(len(middles)), np.nonzero(np.diff(middles) > LEVEL_MM)[0] + 1)
    kept = [group for group in groups if areas[group].sum() > SLIVER_MM2]
    uneven = any(np.ptp(middles[group]) > 2.0 * LEVEL_MM for group in kept)
    if uneven or spans.max() > 2.0 * LEVEL_MM or len(kept) < 2:
        raise BadMesh("The faces of the plate are not flat and parallel.", "Export a plate of one thickness.")
    return [float(np.average(middles[group], weights=areas[group])) for group in kept]


def _edge_breaks(heights: Floats, areas: Floats, levels: list[float]) -> tuple[str, ...]:
    """Refuses odd faces away from every cap; says that odd faces at a cap are left out."""
    if areas.sum() <= SLIVER_MM2:
        return ()
    away = np.abs(heights[:, :, None] - np.array(levels)).min(axis=2) > LEVEL_MM
    if areas[away.all(axis=1)].sum() > SLIVER_MM2:
        raise BadMesh(
            "A hole or groove runs through the plate from the side.",
            "Take it off the model that is routed, and drill it by hand afterwards.",
        )
    return ("Small edge breaks are left out of the outline and of the time.",)


def _section(corners: Floats, faces: NDArray[np.int32], low: float, high: float) -> list[Polygon]:
    """The polygons of a cut between two levels, at a height at which no corner lies."""
    between = corners[:, 2][(corners[:, 2] > low + LEVEL_MM) & (corners[:, 2] < high - LEVEL_MM)]
    stops = np.unique(np.concatenate([[low, high], between]))
    widest = int(np.argmax(np.diff(stops)))
    height = (stops[widest] + stops[widest + 1]) / 2.0
    above = corners[faces][:, :, 2] > height
    faces = faces[above.any(axis=1) & ~above.all(axis=1)]
    edges = np.sort(np.stack([faces, np.roll(faces, -1, axis=1)], axis=2), axis=2).reshape(-1, 2)
    edges = edges[(corners[edges[:, 0], 2] > height) != (corners[edges[:, 1], 2] > height)]
    crossed, nodes = np.unique(edges, axis=0, return_inverse=True)
    start, end = corners[crossed[:, 0]], corners[crossed[:, 1]]
    share = (height - start[:, 2]) / (end[:, 2] - start[:, 2])
    points = start[:, :2] + share[:, None] * (end - start)[:, :2]
    return _valid(nested([without_straight_corners(points[ring]) for ring in _rings(nodes.reshape(-1, 2))]))


def _rings(segments: Ints) -> list[Ints]:
    """Segments between numbered nodes, (n, 2), as closed rings of nodes."""
    if len(segments) == 0 or (np.bincount(segments.ravel()) != 2).any():
        raise BadMesh("Two walls of the plate meet in one edge.", "Join them or move them apart.")
    at = np.argsort(segments.ravel(), kind="stable").reshape(-1, 2)
    partner = np.empty(segments.size, dtype=np.int64)
    partner[at[:, 0]], partner[at[:, 1]] = at[:, 1], at[:, 0]
    seen = np.zeros(len(segments), dtype=np.bool_)
    nodes, rings = segments.ravel(), []
    for first in range(len(segments)):
        if seen[first]:
            continue
        ring, end = [], 2 * first
        while not seen[end // 2]:
            seen[end // 2] = True
            ring.append(int(nodes[end]))
            end = int(partner[end ^ 1])
        rings.append(np.array(ring, dtype=np.int64))
    return rings


def _valid(polygons: list[Polygon]) -> list[Polygon]:
    if not all(polygon.is_valid and polygon.area > 0.0 for polygon in polygons):
        raise BadMesh("The walls of the plate cross each other.", "Export the part as one clean solid.")
    return polygons


def _check_walls(sections: list[list[Polygon]], levels: list[float]) -> None:
    for index, section in enumerate(sections):
        tall = levels[index + 1] - levels[index]
        for polygon in section:
            width = 2.0 * polygon.area / polygon.length
            if tall > TALLEST_WALL * width:
                raise BadMesh(
                    f"It stands {tall:.1f} mm tall on walls {width:.1f} mm wide: bent sheet, tube or bar, not a plate.",
                    "Route flat plates; unfold a bent part and export the flat pattern.",
                )


def _check_volume(sections: list[list[Polygon]], levels: list[float], volume_mm3: float) -> None:
    summed = sum(
        polygon.area * (levels[index + 1] - levels[index]) for index, each in enumerate(sections) for polygon in each
    )
    if abs(summed - volume_mm3) > VOLUME_SHARE * volume_mm3:
        raise BadMesh(
            f"Its sections hold {summed:.0f} mm³ and the solid {volume_mm3:.0f} mm³, so something is hidden between.",
            "Take cross holes, chamfers and cavities off the model that is routed.",
        )


def _silhouette(sections: list[list[Polygon]]) -> Polygon:
    import shapely
    from shapely.geometry import Polygon

    if len(sections) == 1 and len(sections[0]) == 1:
        return sections[0][0]
    united: BaseGeometry = shapely.union_all(
        [polygon for section in sections for polygon in section], grid_size=GRID_MM
    )
    if not isinstance(united, Polygon):
        raise BadMesh("The plate falls into several pieces seen from above.", "Export one plate a file.")
    # A section that holds all the others is the silhouette, and is not rounded to the grid.
    whole = [each for each in (sections[0], sections[-1]) if len(each) == 1 and not _pieces(united.difference(each[0]))]
    return whole[0][0] if whole else united


def _pockets(
    sections: list[list[Polygon]], levels: list[float]
) -> tuple[tuple[Pocket, ...], tuple[Polygon, ...], bool]:
    """Recesses from above and from below, their polygons, and whether there are both."""
    import shapely
    from shapely.geometry import MultiPolygon

    solids = [MultiPolygon(section) for section in sections]
    found: list[tuple[Polygon, float]] = []
    sides = set()
    for index, solid in enumerate(solids):
        below = shapely.union_all(solids[:index], grid_size=GRID_MM)
        above = shapely.union_all(solids[index + 1 :], grid_size=GRID_MM)
        if _pieces(below.intersection(above).difference(solid)):
            raise BadMesh("The plate has an undercut or a closed cavity.", "A router cuts from above: take it off.")
        if index + 1 < len(solids):
            found += [(each, levels[-1] - levels[index + 1]) for each in _pieces(solid.difference(above))]
            sides |= {"top"} if _pieces(solid.difference(above)) else set()
        if index > 0:
            found += [(each, levels[index] - levels[0]) for each in _pieces(solid.difference(below))]
            sides |= {"bottom"} if _pieces(solid.difference(below)) else set()
    pockets = tuple(Pocket(polygon.area, depth) for polygon, depth in found)
    return pockets, tuple(polygon for polygon, _ in found), len(sides) > 1


def _pieces(region: BaseGeometry) -> list[Polygon]:
    """The polygons of a region that are more than slivers."""
    parts = getattr(region, "geoms", [region])
    polygons = [part for part in parts if part.geom_type == "Polygon" and part.area > SLIVER_MM2]
    return [polygon for polygon in polygons if not polygon.buffer(-SLIVER_MM).is_empty]
