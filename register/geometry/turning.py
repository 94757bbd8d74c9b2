"""Turning a part: the rotation and the name of a pose, and a mesh in it."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from register.domain.poses import AS_DRAWN, Rotation
from register.geometry.bed_fit import narrowest_turn_deg
from register.geometry.meshes import Mesh
from register.geometry.topology import bounds_of

Floats = NDArray[np.float64]

# The six ways in which a part can lie along its axes. The first row is the drawing's own.
ALONG_AXES: dict[str, Rotation] = {
    AS_DRAWN: ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)),
    "upside down": ((1.0, 0.0, 0.0), (0.0, -1.0, 0.0), (0.0, 0.0, -1.0)),
    "on its back (y down)": ((1.0, 0.0, 0.0), (0.0, 0.0, 1.0), (0.0, -1.0, 0.0)),
    "on its front (y up)": ((1.0, 0.0, 0.0), (0.0, 0.0, -1.0), (0.0, 1.0, 0.0)),
    "on its left side (x up)": ((0.0, 0.0, -1.0), (0.0, 1.0, 0.0), (1.0, 0.0, 0.0)),
    "on its right side (x down)": ((0.0, 0.0, 1.0), (0.0, 1.0, 0.0), (-1.0, 0.0, 0.0)),
}


def named_pose(up: Floats, hull_mm: Floats) -> tuple[str, Rotation]:
    """The name and the rotation of the pose in which a direction (3,) of the drawing points up.

    Notes
    -----
    Where it is none of the six along the axes, the part is tipped about a level line, and then turned on the bed so
    that the box round it is smallest, its long side along x. The name says the tipping alone.
    """
    for name, rotation in ALONG_AXES.items():
        if np.array_equal(up, rotation[2]):
            return name, rotation
    matrix = upright(up)
    axis_deg, angle_deg = np.degrees(np.arctan2(-up[0], up[1])), np.degrees(np.arctan2(np.hypot(up[0], up[1]), up[2]))
    matrix = _about_z(narrowest_turn_deg(hull_mm @ matrix.T[:, :2])) @ matrix
    first, second, third = ((float(row[0]), float(row[1]), float(row[2])) for row in matrix)
    return _tilt_name(float(angle_deg), float(axis_deg)), (first, second, third)


def upright(up: Floats) -> Floats:
    """The rotation (3, 3) that tips a part about a level line until a direction (3,) of the drawing points up.

    Notes
    -----
    Rodrigues' formula, I + sin a·K + (1 − cos a)·K², a half turn about x for straight down. Source: common practice.
    """
    length = float(np.hypot(up[0], up[1]))
    x, y = (up[1] / length, -up[0] / length) if length else (1.0, 0.0)
    across = np.array([[0.0, 0.0, y], [0.0, 0.0, -x], [-y, x, 0.0]])
    return np.asarray(np.eye(3) + length * across + (1.0 - up[2]) * (across @ across))


def turned(triangles_mm: Floats, rotation: Rotation, turn_deg: float = 0.0) -> Floats:
    """Triangles (n, 3, 3) in a pose, turned by `turn_deg` about z beside it and set down on z = 0.

    Notes
    -----
    Corners that are equal stay equal to the last bit, so a closed mesh stays closed.
    """
    matrix = _about_z(turn_deg) @ np.array(rotation) if turn_deg else np.array(rotation)
    x, y, z = triangles_mm[..., 0], triangles_mm[..., 1], triangles_mm[..., 2]
    made = np.empty(triangles_mm.shape)
    for row in range(3):
        # Not as a product of matrices: its rounding depends on where in the matrix a corner stands.
        made[..., row] = matrix[row, 0] * x + matrix[row, 1] * y + matrix[row, 2] * z + 0.0
    made[..., 2] -= made[..., 2].min()
    return made


def turned_mesh(mesh: Mesh, rotation: Rotation, turn_deg: float = 0.0) -> Mesh:
    """The mesh in a pose, as a print in it is estimated."""
    if rotation == ALONG_AXES[AS_DRAWN] and not turn_deg:
        return mesh
    triangles = turned(mesh.triangles_mm, rotation, turn_deg)
    x, y, z = extent_of(triangles)
    return replace(mesh, triangles_mm=triangles, size_mm=(x, y, z))


def extent_of(triangles: Floats) -> tuple[float, float, float]:
    """Size of the box round triangles (n, 3, 3), mm."""
    low, high = bounds_of(triangles)
    x, y, z = (float(each) for each in high - low)
    return x, y, z


def _about_z(turn_deg: float) -> Floats:
    c, s = float(np.cos(np.radians(turn_deg))), float(np.sin(np.radians(turn_deg)))
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


def _tilt_name(angle_deg: float, axis_deg: float) -> str:
    """In words, a turn by `angle_deg` about a level line at `axis_deg` from x."""
    about = {0.0: ("", "x"), 180.0: ("-", "x"), 90.0: ("", "y"), -90.0: ("-", "y")}
    written = _trimmed(angle_deg)
    for straight, (sign, name) in about.items():
        if abs((axis_deg - straight + 180.0) % 360.0 - 180.0) < 0.05:
            return f"turned {sign}{written}° about {name}"
    return f"turned {written}° about the line {_trimmed(axis_deg)}° from x"


def _trimmed(angle_deg: float) -> str:
    return f"{angle_deg:.1f}".removesuffix(".0")
