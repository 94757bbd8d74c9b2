"""Poses of a part on the bed of a printer: which there are, and which needs least support and height."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from register.domain.machines import PrintSettings
from register.domain.poses import Pose, Rotation
from register.geometry.bed_fit import hull_of, outline_of
from register.geometry.columns import ANGLE_SLACK, low_and_high, support_space_mm3
from register.geometry.facets import facets_of, outer_points
from register.geometry.layers import layer_profile
from register.geometry.topology import middle_of
from register.geometry.turning import ALONG_AXES, extent_of, named_pose, turned, upright

Floats = NDArray[np.float64]

# Where the settings print no support, poses are compared with support beyond this. Source: common practice.
USUAL_ANGLE_DEG = 45.0
# A pose stands if its centre of mass stays over its foot when the bed is tilted by this. Source: common practice.
STEADY_DEG = 5.0
# Of the box round it on the bed; with a smaller foot a part comes off. Source: common practice.
LEAST_FOOT = 0.01
# Poses whose support differs by less than this share of the part's volume are told apart by their height.
SAME_SUPPORT = 0.05
# Poses that agree to this in size, foot and support are one pose.
ALIKE = 0.01
# So many more poses than wanted are looked at closely, since some come to the same; of a mesh with more triangles
# than FINE only a few are.
MORE_LOOKED_AT, LOOKED_AT_IF_FINE = 2, 6
FINE = 100_000
CHUNK = 20_000
# A facet this close to an axis of the drawing is meant to lie across it.
ON_AXIS_DEG = 0.05


def poses(triangles_mm: Floats, settings: PrintSettings, most: int = 8) -> tuple[Pose, ...]:
    """The poses in which a part needs least support and height, best first; the drawing's own is among them.

    Parameters
    ----------
    triangles_mm : (n, 3, 3)
        A closed mesh, counter-clockwise seen from outside.
    settings
        Of them the support angle (45° where it is 0) and the first layer's height.
    most
        How many poses at most.

    Notes
    -----
    Candidates are the facets of the convex hull and the six axes. All are ranked by the area that overhangs, seen
    from below, times its height, those that do not stand last; the best are measured with columns of rays. Of these,
    poses that do not stand come last, then support counts, and among poses of like support the height.
    Source: common practice.
    """
    hull = outer_points(triangles_mm)
    ups = ways_up(hull)
    angle_deg, free_mm = support_angle_deg(settings), settings.first_layer_height_mm
    volume, middle = _volume_and_middle(triangles_mm)
    steady = [_stands_by_hull(hull, upright(up), middle, free_mm / 2.0) for up in ups]
    rank = sorted(_ranked(triangles_mm, hull, ups, angle_deg, free_mm), key=lambda i: not steady[i])
    looked_at = [0, *(i for i in rank if i)][: _looked_at(len(triangles_mm), most)]
    kept: list[Pose] = []
    for i in looked_at:
        pose = _measured(*named_pose(ups[i], hull), triangles_mm, middle, (angle_deg, free_mm))
        if not any(_alike(pose, other, volume) for other in kept):
            kept.append(pose)
    as_drawn = kept[0]
    step = max(SAME_SUPPORT * volume, 1e-9)
    kept.sort(key=lambda each: (not each.stands, round(each.support_mm3 / step), each.height_mm))
    best = kept[:most]
    if as_drawn not in best:
        best[-1] = as_drawn
    return tuple(replace(each, number=number) for number, each in enumerate(best, 1))


def _looked_at(triangles: int, most: int) -> int:
    return most + MORE_LOOKED_AT if triangles <= FINE else min(most + MORE_LOOKED_AT, LOOKED_AT_IF_FINE)


def support_angle_deg(settings: PrintSettings) -> float:
    """The overhang beyond which poses are reckoned to need support: the settings' own, or the usual one for none."""
    return settings.support_angle_deg or USUAL_ANGLE_DEG


def ways_up(hull_mm: Floats) -> Floats:
    """Directions (m, 3) of the drawing that may point up: its own z, the other axes, then off the facets of the hull.

    Parameters
    ----------
    hull_mm : (k, 3)
        Corners of the convex hull.
    """
    ups = [np.array(rotation[2]) for rotation in ALONG_AXES.values()]
    axes = np.array(ups)
    near = np.cos(np.radians(ON_AXIS_DEG))
    ups += [-normal for normal in facets_of(hull_mm) if float((axes @ -normal).max()) < near]
    return np.array(ups)


def _ranked(triangles: Floats, hull: Floats, ups: Floats, angle_deg: float, free_mm: float) -> list[int]:
    """Numbers of the ways up, by overhang times height where that differs notably, then by height."""
    along = hull @ ups.T
    low, height = along.min(axis=0), np.ptp(along, axis=0)
    beyond = np.sin(np.radians(angle_deg)) + ANGLE_SLACK
    space, volume = np.zeros(len(ups)), 0.0
    normals, middles = _thinned(triangles)
    for begin in range(0, len(normals), CHUNK):
        normal, middle = normals[begin : begin + CHUNK], middles[begin : begin + CHUNK]
        volume += float(np.einsum("ij,ij->i", normal, middle).sum()) / 6.0
        down = normal @ -ups.T
        above = middle @ ups.T - low
        hangs = (down > beyond * np.sqrt(np.einsum("ij,ij->i", normal, normal))[:, None]) & (above > free_mm)
        space += np.where(hangs, down * above, 0.0).sum(axis=0) / 2.0
    step = max(SAME_SUPPORT * volume, 1e-9)
    return sorted(range(len(ups)), key=lambda i: (round(float(space[i]) / step), float(height[i])))


def _thinned(triangles: Floats) -> tuple[Floats, Floats]:
    """Normals (k, 3), as long as twice the area, and middles (k, 3) of triangles, or of a part that stands for all."""
    normals = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    each = len(triangles) // FINE + 1
    if each == 1:
        return normals, triangles.mean(axis=1)
    sizes = np.einsum("ij,ij->i", normals, normals)
    # A large triangle stands for itself, of the others each few have one.
    large = sizes > (np.sqrt(sizes).sum() / FINE * each) ** 2
    chosen = large | (np.arange(len(triangles)) % each == 0)
    weights = np.where(large[chosen], 1.0, float(each))
    return normals[chosen] * weights[:, None], triangles[chosen].mean(axis=1)


def _measured(
    name: str, rotation: Rotation, triangles: Floats, middle: Floats, angle_and_free: tuple[float, float]
) -> Pose:
    angle_deg, free_mm = angle_and_free
    placed = turned(triangles, rotation)
    mass_at = placed[0, 0] + np.array(rotation) @ (middle - triangles[0, 0])
    size = extent_of(placed)
    level = min(free_mm, size[2]) / 2.0
    low, high = low_and_high(placed[..., 2])
    cut = placed[(low <= level) & (high > level)]
    foot = _cut_points(cut, level)
    areas, _ = layer_profile(cut, np.array([level]))
    footprint = min(float(areas[0]), float(hull_of(foot).area())) if len(foot) else 0.0
    support = support_space_mm3(placed, angle_deg, free_mm)
    stands = footprint >= LEAST_FOOT * size[0] * size[1] and _stands(foot, mass_at)
    return Pose(0, name, rotation, size, size[2], footprint, support, stands)


def _cut_points(triangles: Floats, level: float) -> Floats:
    """Points (k, 2) where the edges of triangles go through a level."""
    start, end = triangles.reshape(-1, 3), np.roll(triangles, -1, axis=1).reshape(-1, 3)
    through = (start[:, 2] <= level) != (end[:, 2] <= level)
    start, end = start[through], end[through]
    share = (level - start[:, 2]) / (end[:, 2] - start[:, 2])
    return np.asarray(start[:, :2] + (end[:, :2] - start[:, :2]) * share[:, None])


def _stands(foot: Floats, mass_at: Floats) -> bool:
    """Whether a centre of mass (3,) stays over the hull of foot points (k, 2) when the bed is tilted a little."""
    if len(foot) < 3:
        return False
    corners = outline_of(foot)
    edges = np.roll(corners, -1, axis=0) - corners
    lengths = np.hypot(edges[:, 0], edges[:, 1])
    real = lengths > 0.0
    arms = mass_at[:2] - corners
    inside = (edges[:, 0] * arms[:, 1] - edges[:, 1] * arms[:, 0])[real] / lengths[real]
    return bool(len(inside) > 2 and inside.min() > np.tan(np.radians(STEADY_DEG)) * mass_at[2])


def _stands_by_hull(hull: Floats, matrix: Floats, middle: Floats, level_mm: float) -> bool:
    """Whether a part stands on those corners of its hull (k, 3) that lie lowest after a rotation."""
    placed, mass_at = hull @ matrix.T, matrix @ middle
    low = placed[:, 2].min()
    return _stands(placed[placed[:, 2] <= low + level_mm, :2], mass_at - np.array([0.0, 0.0, low]))


def _volume_and_middle(triangles: Floats) -> tuple[float, Floats]:
    """Volume and centre of mass (3,) of a closed mesh."""
    origin = middle_of(triangles)
    volume, moment = 0.0, np.zeros(3)
    for begin in range(0, len(triangles), CHUNK):
        part = triangles[begin : begin + CHUNK] - origin
        volumes = np.einsum("ij,ij->i", part[:, 0], np.cross(part[:, 1], part[:, 2])) / 6.0
        volume += float(volumes.sum())
        moment += (volumes[:, None] * part.sum(axis=1)).sum(axis=0) / 4.0
    return volume, origin + (moment / volume if volume else moment)


def _alike(one: Pose, other: Pose, volume: float) -> bool:
    """Whether two poses come to the same for a printer."""
    sizes = (*sorted(one.size_mm[:2]), one.height_mm), (*sorted(other.size_mm[:2]), other.height_mm)
    return (
        one.stands == other.stands
        and bool(np.allclose(*sizes, rtol=ALIKE, atol=0.0))
        and abs(one.support_mm3 - other.support_mm3) <= ALIKE * volume
        and abs(one.footprint_mm2 - other.footprint_mm2) <= ALIKE * max(one.footprint_mm2, other.footprint_mm2)
    )
