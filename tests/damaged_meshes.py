"""Seventeen plain solids, and the ways in which an exported mesh comes out damaged.

Solids and damage are invented, and drawn from a seed. Each solid's facets are cut down to a few millimetres, so that
a strip or a cap can go missing anywhere.
"""

import math
from collections.abc import Callable

import manifold3d
import numpy as np
from numpy.typing import NDArray

Triangles = NDArray[np.float64]
Faces = NDArray[np.int64]
Damage = Callable[[Triangles, np.random.Generator], Triangles]

# Facets that meet at less than this angle belong to one face of the part, flat or curved.
SMOOTH_DEG = 30.0
SEGMENTS = 96
GAP_MM = 0.1


def solids() -> dict[str, Triangles]:
    """Every solid by its name: (n, 3, 3), wound outward, standing on z = 0."""
    made = {
        "sphere": manifold3d.Manifold.sphere(20.0, 128),
        "torus": _ring(22.0, 7.0),
        "cone": manifold3d.Manifold.cylinder(40.0, 18.0, 2.0, SEGMENTS),
        "bracket": _bracket(),
        "plate with holes": _plate(),
        "gear": _gear(20, 24.0, 19.0).extrude(12.0) - _rod(4.0, 30.0).translate((0, 0, -5)),
        "comb": _comb(),
        "tube": _rod(15.0, 60.0) - _rod(12.0, 80.0).translate((0, 0, -10)),
        "wedge": _flat([(0, 0), (60, 0), (60, 6), (0, 30)]).extrude(25.0),
        "tower": _rod(12.0, 90.0) + _block(40, 40, 5).translate((-20, -20, 0)),
        "hollow box": _block(50, 40, 30) - _block(46, 36, 26).translate((2, 2, 2)),
        "tray": _block(80, 60, 25) - _block(76, 56, 25).translate((2, 2, 2)),
        "twisted bar": _gear(5, 20.0, 12.0).extrude(50.0, 40, 90.0),
        "bumpy sphere": manifold3d.Manifold.sphere(20.0, 128).warp_batch(_bumpy),
        "two bodies": _block(20, 20, 20) + manifold3d.Manifold.sphere(12.0, SEGMENTS).translate((40, 10, 12)),
        "housing": _block(180, 120, 60)
        - _block(176.8, 116.8, 60).translate((1.6, 1.6, 1.6))
        + _rod(4.0, 40.0).translate((90, 60, 0)),
        "pulley": _rod(20.0, 14.0)
        - _ring(21.0, 4.0).translate((0, 0, 7))
        - _rod(4.0, 30.0).translate((0, 0, -5))
        - _around(_rod(3.0, 30.0).translate((11, 0, -5)), 6),
    }
    return {name: _triangles(solid.refine_to_length(3.0)) for name, solid in made.items()}


def damages() -> dict[str, Damage]:
    """Every kind of damage by its name: the sound triangles and a generator in, the damaged triangles out."""
    return {
        "one facet missing": lambda sound, rng: np.delete(sound, rng.integers(len(sound)), axis=0),
        "1 % of facets missing": lambda sound, rng: sound[rng.random(len(sound)) > 0.01],
        "10 % of facets missing": lambda sound, rng: sound[rng.random(len(sound)) > 0.10],
        "flat face missing": lambda sound, _: sound[~_largest(sound, flat=True, count=1)],
        "two flat faces missing": lambda sound, _: sound[~_largest(sound, flat=True, count=2)],
        "curved face missing": lambda sound, _: sound[~_largest(sound, flat=False, count=1)],
        "cap missing": _without_cap,
        "corner missing": _without_corner,
        "upright strip missing": lambda sound, _: sound[~_band(sound, 0)],
        "level strip missing": lambda sound, _: sound[~_band(sound, 2)],
        "halves 0.1 mm apart": _halved,
        "faces 0.1 mm apart": _loosened,
        "facets twice": lambda sound, rng: np.concatenate([sound, sound[rng.random(len(sound)) < 0.05]]),
        "a face twice": lambda sound, _: np.concatenate([sound, sound[_largest(sound, flat=True, count=1)]]),
        "faces wound at random": _turned_faces,
    }


def _without_cap(sound: Triangles, rng: np.random.Generator) -> Triangles:
    """Without the facets near one spot of the surface, a quarter of the part's longest side around."""
    middles = sound.mean(axis=1)
    spot = middles[rng.integers(len(middles))]
    return sound[np.linalg.norm(middles - spot, axis=1) > 0.2 * _extent(sound).max()]


def _without_corner(sound: Triangles, _: np.random.Generator) -> Triangles:
    middles = sound.mean(axis=1)
    corner = middles[np.argmax(middles @ np.array([1.0, 0.8, 1.2]))]
    return sound[np.linalg.norm(middles - corner, axis=1) > 0.2 * _extent(sound).max()]


def _band(sound: Triangles, axis: int) -> NDArray[np.bool_]:
    middle = sound.mean(axis=1)[:, axis]
    low, extent = sound[..., axis].min(), _extent(sound)[axis]
    return np.abs(middle - low - 0.45 * extent) < max(0.05 * extent, 2.0)


def _halved(sound: Triangles, _: np.random.Generator) -> Triangles:
    along = int(np.argmax(_extent(sound)))
    middle = (sound[..., along].min() + sound[..., along].max()) / 2.0
    moved = sound.copy()
    moved[sound.mean(axis=1)[:, along] > middle, :, along] += GAP_MM
    return moved


def _loosened(sound: Triangles, rng: np.random.Generator) -> Triangles:
    """Every face of the part moved by 0.1 mm on its own."""
    face = _faces(sound, SMOOTH_DEG)
    shift = rng.normal(size=(int(face.max()) + 1, 3))
    shift *= GAP_MM / np.linalg.norm(shift, axis=1)[:, None]
    return sound + shift[face][:, None]


def _turned_faces(sound: Triangles, rng: np.random.Generator) -> Triangles:
    """Every face of the part 0.1 mm away, and half of them wound the other way."""
    face = _faces(sound, SMOOTH_DEG)
    turn = rng.random(int(face.max()) + 1) < 0.5
    loose = _loosened(sound, rng)
    return np.where(turn[face][:, None, None], loose[:, ::-1], loose)


def _largest(sound: Triangles, flat: bool, count: int) -> NDArray[np.bool_]:
    """Which facets belong to the largest faces of the part, flat ones or curved ones."""
    face = _faces(sound, 0.5 if flat else SMOOTH_DEG)
    cross = np.cross(sound[:, 1] - sound[:, 0], sound[:, 2] - sound[:, 0])
    area = np.bincount(face, np.linalg.norm(cross, axis=1))
    summed = np.stack([np.bincount(face, cross[:, axis]) for axis in range(3)])
    is_flat = np.linalg.norm(summed, axis=0) > 0.9999 * area
    order = np.argsort(np.where(is_flat == flat, area, -area))[::-1]
    return np.isin(face, order[:count])


def _faces(sound: Triangles, angle_deg: float) -> Faces:
    """A number for the face of the part that each facet belongs to."""
    corners, index = np.unique(np.round(sound.reshape(-1, 3), 6), axis=0, return_inverse=True)
    sides = index.reshape(-1, 3)
    pairs = np.sort(np.stack([sides, np.roll(sides, -1, axis=1)], axis=-1).reshape(-1, 2), axis=1)
    _, key = np.unique(pairs[:, 0] * len(corners) + pairs[:, 1], return_inverse=True)
    order = np.argsort(key, kind="stable").reshape(-1, 2) // 3
    cross = np.cross(sound[:, 1] - sound[:, 0], sound[:, 2] - sound[:, 0])
    normals = cross / np.linalg.norm(cross, axis=1)[:, None]
    joined = np.einsum("ij,ij->i", normals[order[:, 0]], normals[order[:, 1]]) > math.cos(math.radians(angle_deg))
    label = np.arange(len(sound))
    one, other = order[joined].T
    while True:
        least = label.copy()
        np.minimum.at(least, one, label[other])
        np.minimum.at(least, other, label[one])
        least = least[least]
        if np.array_equal(least, label):
            return np.asarray(np.unique(label, return_inverse=True)[1])
        label = least


def _extent(sound: Triangles) -> NDArray[np.float64]:
    return np.ptp(sound.reshape(-1, 3), axis=0)


def _triangles(solid: manifold3d.Manifold) -> Triangles:
    mesh = solid.to_mesh()
    corners = np.asarray(mesh.vert_properties, dtype=np.float64)[:, :3]
    return np.asarray((corners - [0.0, 0.0, corners[:, 2].min()])[np.asarray(mesh.tri_verts)])


def _flat(points: list[tuple[float, float]]) -> manifold3d.CrossSection:
    return manifold3d.CrossSection([np.array(points, dtype=np.float64)])


def _block(x_mm: float, y_mm: float, z_mm: float) -> manifold3d.Manifold:
    return manifold3d.Manifold.cube((x_mm, y_mm, z_mm))


def _rod(radius_mm: float, height_mm: float) -> manifold3d.Manifold:
    return manifold3d.Manifold.cylinder(height_mm, radius_mm, -1.0, SEGMENTS)


def _ring(radius_mm: float, thickness_mm: float) -> manifold3d.Manifold:
    return manifold3d.CrossSection.circle(thickness_mm, 48).translate((radius_mm, 0)).revolve(SEGMENTS)


def _around(one: manifold3d.Manifold, count: int) -> manifold3d.Manifold:
    turned = [one.rotate((0, 0, 360.0 * i / count)) for i in range(count)]
    return manifold3d.Manifold.batch_boolean(turned, manifold3d.OpType.Add)


def _gear(teeth: int, outer_mm: float, inner_mm: float) -> manifold3d.CrossSection:
    points = []
    for i in range(teeth):
        for radius, part in ((inner_mm, 0.0), (inner_mm, 0.4), (outer_mm, 0.55), (outer_mm, 0.85)):
            turn = 2 * math.pi * (i + part) / teeth
            points.append((radius * math.cos(turn), radius * math.sin(turn)))
    return _flat(points)


def _bracket() -> manifold3d.Manifold:
    bent = _block(50, 30, 4) + _block(4, 30, 40) + _flat([(4, 4), (20, 4), (4, 20)]).extrude(4).rotate((90, 0, 0))
    holes = _rod(3.0, 20.0).translate((35, 8, -5)) + _rod(3.0, 20.0).translate((35, 22, -5))
    return bent + _flat([(3, 3), (20, 3), (3, 20)]).extrude(4).rotate((90, 0, 0)).translate((0, 17, 0)) - holes


def _plate() -> manifold3d.Manifold:
    plate = _block(90, 60, 5)
    for x in (15, 45, 75):
        for y in (15, 45):
            plate -= _rod(5.0, 20.0).translate((x, y, -5))
    return plate


def _comb() -> manifold3d.Manifold:
    comb = _block(80, 12, 6)
    for i in range(11):
        comb += _block(3, 30, 6).translate((7.0 * i + 2, 10, 0))
    return comb


def _bumpy(corners: NDArray[np.float64]) -> NDArray[np.float64]:
    swell = 1 + 0.06 * np.sin(corners[:, 0] * 0.5) * np.sin(corners[:, 1] * 0.5) * np.cos(corners[:, 2] * 0.4)
    return corners * swell[:, None]
