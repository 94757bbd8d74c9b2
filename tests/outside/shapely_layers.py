"""Solids whose section at any height is drawn with shapely from their measures, and their layers from those drawings.

Nothing here cuts a mesh: sections come from the measures that the mesh was made from.
"""

import math
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from manifold3d import CrossSection, Manifold, OpType
from numpy.typing import NDArray
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from register.domain.machines import PrintSettings
from tests.geometry.stl_bytes import Triangles, circle_points, cone, cube, extruded, inside_out, moved, sphere

Floats = NDArray[np.float64]
Section = Callable[[float], BaseGeometry]


@dataclass(frozen=True)
class Drawn:
    """A solid as triangles, its height, and its section at a height above its foot."""

    triangles_mm: Triangles
    height_mm: float
    section: Section


@dataclass(frozen=True)
class DrawnLayers:
    """Areas of each layer in mm²: all of it, its contours, its solid parts, and infill before its share is taken."""

    whole: Floats
    contours: Floats
    solid: Floats
    sparse: Floats


def drawn_layers(solid: Drawn, settings: PrintSettings) -> DrawnLayers:
    """The layers of a solid as high as a whole number of them, each intersected with its neighbours one by one."""
    count = round(solid.height_mm / settings.layer_height_mm)
    outlines = [solid.section((k + 0.5) * settings.layer_height_mm) for k in range(count)]
    below, above = settings.solid_bottom_layers, settings.solid_top_layers
    rows = []
    for k, outline in enumerate(outlines):
        inside = k >= below and k + above < count
        window = shapely.intersection_all(outlines[k - below : k + above + 1]) if inside else Polygon()
        inner = outline.buffer(-settings.contours * settings.line_width_mm, join_style="mitre")
        solid_mm2, sparse_mm2 = inner.difference(window).area, inner.intersection(window).area
        rows.append((outline.area, outline.area - inner.area, solid_mm2, sparse_mm2))
    return DrawnLayers(*np.array(rows).T)


def solids() -> dict[str, Drawn]:
    """All of them by name; their flat faces lie at multiples of 0.2 mm."""
    return {
        "plate with holes": _plate(),
        "sphere": _sphere(12.0, 96),
        "cone": Drawn(cone(15.0, 20.0, 64), 20.0, lambda z: Polygon(circle_points(15.0 * (1 - z / 20.0), 64))),
        "bracket with a cross hole": _bracket(),
        "comb": _comb(),
        "two bodies that overlap": _overlapping(),
        "two bodies apart": _apart(),
        "box with a cavity": _hollow(),
        "toothed wheel": _wheel(),
        "thin fins on a foot": _fins(),
        "terraces": _terraces(random.Random(1)),
    }


def _rectangle(left: float, front: float, right: float, back: float) -> BaseGeometry:
    found: BaseGeometry = shapely.box(left, front, right, back)
    return found


def _together(regions: Sequence[BaseGeometry]) -> BaseGeometry:
    found: BaseGeometry = shapely.union_all(regions)
    return found


def _united(*parts: Manifold) -> Triangles:
    whole = Manifold.batch_boolean(list(parts), OpType.Add).to_mesh64()
    corners: Triangles = np.asarray(whole.vert_properties, dtype=np.float64)[:, :3]
    drawn: Triangles = corners[np.asarray(whole.tri_verts)]
    return drawn


def _block(x: float, y: float, z: float, at: tuple[float, float, float] = (0.0, 0.0, 0.0)) -> Manifold:
    return Manifold.cube((x, y, z)).translate(at)


def _plate() -> Drawn:
    """60 × 40 × 5 mm with four holes of 5 mm and one of 16 mm, of 48 sides each."""
    places = [(8.0, 8.0, 2.5), (52.0, 8.0, 2.5), (8.0, 32.0, 2.5), (52.0, 32.0, 2.5), (30.0, 20.0, 8.0)]
    outer, holes = [(0, 0), (60, 0), (60, 40), (0, 40)], [circle_points(r, 48, (x, y)) for x, y, r in places]
    plate = Polygon(outer, holes)
    return Drawn(extruded([outer, *(hole[::-1] for hole in holes)], 5.0), 5.0, lambda _: plate)


def _sphere(radius_mm: float, facets: int) -> Drawn:
    """Regular polygons, whose corners lie on straight edges between the rims of two bands."""
    angles = np.linspace(0.0, math.pi, facets // 2 + 1)
    heights, radii = radius_mm * (1 - np.cos(angles)), radius_mm * np.sin(angles)
    return Drawn(
        sphere(radius_mm, facets),
        2 * radius_mm,
        lambda z: Polygon(circle_points(float(np.interp(z, heights, radii)), facets)),
    )


def _bracket() -> Drawn:
    """A foot of 40 × 30 × 4 mm and a wall of 8 mm, 30 mm high, with a hole of 12 mm and 64 sides through the wall."""
    rim = np.array(circle_points(6.0, 64))
    hole = Manifold.extrude(CrossSection([rim]), 20.0).rotate((0, 90, 0)).translate((-5, 15, 18))

    def section(z: float) -> BaseGeometry:
        if z < 4.0:
            return _rectangle(0, 0, 40, 30)
        # A quarter of the rim gives half the width of the hole at a distance from its middle.
        half = float(np.interp(abs(z - 18.0), rim[:17, 1], rim[:17, 0], right=0.0))
        return _together([_rectangle(0, 0, 8, 15 - half), _rectangle(0, 15 + half, 8, 30)])

    return Drawn(_united(_block(40, 30, 4), _block(8, 30, 30) - hole), 30.0, section)


def _comb() -> Drawn:
    """Eight teeth of 4 mm, 3 mm apart and from 6 to 13 mm high, on a back of 56 × 12 × 3 mm."""
    teeth = [(7.0 * i, 6.0 + i) for i in range(8)]
    back = _rectangle(0, 0, 56, 12)

    def section(z: float) -> BaseGeometry:
        return back if z < 3.0 else _together([_rectangle(x, 0, x + 4, 12) for x, high in teeth if z < high])

    return Drawn(_united(_block(56, 12, 3), *(_block(4, 12, high, (x, 0, 0)) for x, high in teeth)), 13.0, section)


def _overlapping() -> Drawn:
    """Two blocks in one file, not united."""
    low, high = _rectangle(0, 0, 20, 20), _rectangle(10, 5, 30, 25)
    triangles = np.concatenate([cube(20.0) * [1, 1, 0.5], moved(cube(20.0) * [1, 1, 0.8], 10.0, 5.0)])
    return Drawn(triangles, 16.0, lambda z: low | high if z < 10.0 else high)


def _apart() -> Drawn:
    """A round pin of 64 sides and a block beside it."""
    rim = circle_points(8.0, 64)
    pin, block = Polygon(rim), _rectangle(20, -7, 34, 7)
    triangles = np.concatenate([extruded([rim], 12.0), moved(cube(14.0) * [1, 1, 8 / 14], 20.0, -7.0)])
    return Drawn(triangles, 12.0, lambda z: pin | block if z < 8.0 else pin)


def _hollow() -> Drawn:
    """30 × 30 × 20 mm with a closed cavity of 20 × 20 × 8 mm from 6 mm up."""
    outer, inner = _rectangle(0, 0, 30, 30), _rectangle(5, 5, 25, 25)
    cavity = moved(inside_out(cube(20.0) * [1, 1, 0.4]), 5.0, 5.0, 6.0)
    triangles = np.concatenate([cube(30.0) * [1, 1, 2 / 3], cavity])
    return Drawn(triangles, 20.0, lambda z: outer - inner if 6.0 < z < 14.0 else outer)


def _wheel() -> Drawn:
    """Eighteen teeth of 4 mm on a wheel of 16 mm, and a hub that stands 6 mm over its 6 mm."""
    rim = []
    for tooth in range(18):
        for step, radius in ((0.0, 16.0), (0.3, 20.0), (0.6, 20.0), (0.9, 16.0)):
            angle = 2 * math.pi * (tooth + step) / 18
            rim.append((radius * math.cos(angle), radius * math.sin(angle)))
    hub, bore = circle_points(8.0, 48), circle_points(3.0, 48)
    wheel, boss = Polygon(rim, [bore]), Polygon(hub, [bore])
    solid = Manifold.extrude(CrossSection([np.array(rim)]), 6.0) + Manifold.extrude(CrossSection([np.array(hub)]), 12.0)
    hole = Manifold.extrude(CrossSection([np.array(bore)]), 20.0).translate((0, 0, -4))
    return Drawn(_united(solid - hole), 12.0, lambda z: wheel if z < 6.0 else boss)


def _fins() -> Drawn:
    """Fins of 0.8, 1.2, 2 and 5 mm: narrower and wider than their contours."""
    widths = ((0.0, 0.8), (8.0, 1.2), (16.0, 2.0), (24.0, 5.0))
    foot = _rectangle(0, 0, 29, 20)

    def section(z: float) -> BaseGeometry:
        return foot if z < 2.0 else _together([_rectangle(x, 0, x + wide, 20) for x, wide in widths])

    return Drawn(_united(_block(29, 20, 2), *(_block(wide, 20, 10, (x, 0, 0)) for x, wide in widths)), 10.0, section)


def _terraces(chance: random.Random) -> Drawn:
    """Thirty blocks side by side and through one another, each of its own height."""
    blocks = []
    for _ in range(30):
        x, y, wide, deep = (chance.uniform(low, high) for low, high in ((0, 40), (0, 40), (2, 14), (2, 14)))
        blocks.append((x, y, wide, deep, round(chance.uniform(1, 14) / 0.2) * 0.2))
    solid = _united(*(_block(wide, deep, high, (x, y, 0.0)) for x, y, wide, deep, high in blocks))

    def section(z: float) -> BaseGeometry:
        return _together([_rectangle(x, y, x + wide, y + deep) for x, y, wide, deep, high in blocks if z < high])

    return Drawn(solid, max(block[4] for block in blocks), section)


def crossed_prisms(chance: random.Random) -> Drawn:
    """Prisms of 3 to 6 sides through one another, 6 mm high: their notches may be sharp."""
    rims = []
    for _ in range(12):
        at = (chance.uniform(0, 30), chance.uniform(0, 30))
        rims.append(circle_points(chance.uniform(5, 12), chance.randint(3, 6), at))
    outline = _together([Polygon(rim) for rim in rims])
    return Drawn(
        _united(*(Manifold.extrude(CrossSection([np.array(rim)]), 6.0) for rim in rims)), 6.0, lambda _: outline
    )
