"""Areas and contour lengths of every layer against the sections of an independent library, segment by segment."""

import math

import numpy as np
import pytest
import trimesh
from numpy.typing import NDArray

from register.geometry.layers import layer_profile
from register.geometry.meshes import read_mesh
from tests.geometry.stl_bytes import Triangles, binary, cone, cube, cylinder, extruded, inside_out, moved, sphere

Floats = NDArray[np.float64]


def sections(triangles_mm: Triangles, heights_mm: Floats) -> tuple[Floats, Floats]:
    """Area and length of each cut from trimesh's segments.

    Each segment is walked with the solid at its left, which its facet's normal tells; their shoelace sum is the area.
    """
    mesh = trimesh.Trimesh(triangles_mm.reshape(-1, 3), np.arange(3 * len(triangles_mm)).reshape(-1, 3), process=False)
    normals = np.cross(triangles_mm[:, 1] - triangles_mm[:, 0], triangles_mm[:, 2] - triangles_mm[:, 0])
    lines, _, facets = trimesh.intersections.mesh_multiplane(mesh, (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), heights_mm)
    areas, lengths = [], []
    for segments, facet in zip(lines, facets, strict=True):
        start, end = segments[:, 0, :2], segments[:, 1, :2]
        step = end - start
        leftward = -normals[facet][:, 1] * step[:, 0] + normals[facet][:, 0] * step[:, 1]
        shoelace = start[:, 0] * end[:, 1] - start[:, 1] * end[:, 0]
        areas.append(float((np.sign(leftward) * shoelace).sum()) / 2.0)
        lengths.append(float(np.hypot(step[:, 0], step[:, 1]).sum()))
    return np.array(areas), np.array(lengths)


def bumpy(triangles_mm: Triangles) -> Triangles:
    """A solid whose corners are pushed in and out along their rays from (0, 0, 10)."""
    from_middle = triangles_mm - [0.0, 0.0, 10.0]
    x, y, z = (from_middle[..., i] for i in range(3))
    push = 1.0 + 0.1 * np.sin(0.7 * x + 0.3) * np.cos(0.9 * y) + 0.05 * np.sin(1.3 * z)
    return from_middle * push[..., None] + [0.0, 0.0, 10.0]


def twisted() -> Triangles:
    """A square bar of slanting facets, of which each spans hundreds of layers."""
    turns = np.array([[math.cos(a), math.sin(a)] for a in np.arange(4) * math.pi / 2 + 0.3])
    low, high = (
        np.column_stack([turns * 9.0, np.zeros(4)]),
        np.column_stack([turns @ [[0.8, 0.6], [-0.6, 0.8]] * 5, [40.0] * 4]),
    )
    sides = [(low[i], low[(i + 1) % 4], high[(i + 1) % 4]) for i in range(4)]
    sides += [(low[i], high[(i + 1) % 4], high[i]) for i in range(4)]
    return np.array([*sides, low[[0, 2, 1]], low[[0, 3, 2]], high[[0, 1, 2]], high[[0, 2, 3]]])


SOLIDS = {
    "ball": sphere(10.0, 60),
    "bumpy ball": bumpy(sphere(10.0, 60)),
    "cone": cone(7.0, 30.0, 48),
    "column": cylinder(7.0, 30.0, 200),
    "twisted bar": twisted(),
    "hollow": np.concatenate([cube(10.0), moved(inside_out(sphere(4.0, 30)), 5.0, 5.0, 1.0)]),
    "frame": extruded([[(0, 0), (30, 0), (30, 20), (0, 20)], [(5, 5), (5, 15), (15, 15), (15, 5)]], 4.0),
}


@pytest.mark.parametrize("name", SOLIDS)
def test_every_layer_is_that_of_another_library_planes_through_corners_included(name: str) -> None:
    solid = read_mesh(binary(SOLIDS[name]), name).triangles_mm
    corners = np.unique(solid[..., 2])
    middles = np.arange(corners[0] + 0.05, corners[-1], 0.1)
    # Through every corner, and a hair of 1e-6 mm above and below some: the library takes 1e-8 mm for the same height.
    near = corners[:: max(len(corners) // 40, 1)]
    heights = np.sort(np.concatenate([corners[:-1], middles, near + 1e-6, near - 1e-6]))
    heights = heights[(heights >= corners[0]) & (heights < corners[-1])]
    areas, lengths = layer_profile(solid, heights)
    expected_areas, expected_lengths = sections(solid, heights)
    assert areas == pytest.approx(expected_areas, rel=1e-7, abs=1e-7)
    assert lengths == pytest.approx(expected_lengths, rel=1e-7, abs=1e-7)
