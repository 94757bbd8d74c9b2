"""Plain solids as triangles (n, 3, 3) in mm, and the bytes of STL files made from them."""

import math
import struct
from collections.abc import Sequence

import manifold3d
import numpy as np
from numpy.typing import NDArray

Triangles = NDArray[np.float64]
Points = Sequence[tuple[float, float]]


def box(x_mm: float, y_mm: float, z_mm: float) -> Triangles:
    """A box with one corner at the origin: 12 triangles."""
    return prism([(0.0, 0.0), (x_mm, 0.0), (x_mm, y_mm), (0.0, y_mm)], z_mm)


def cube(side_mm: float) -> Triangles:
    return box(side_mm, side_mm, side_mm)


def prism(outline_mm: Points, height_mm: float) -> Triangles:
    """An upright prism on z = 0 over a convex outline, counter-clockwise."""
    low = np.array([(x, y, 0.0) for x, y in outline_mm])
    high = low + np.array([0.0, 0.0, height_mm])
    n = len(low)
    faces = []
    for i in range(n):
        j = (i + 1) % n
        faces += [(low[i], low[j], high[j]), (low[i], high[j], high[i])]
    for i in range(1, n - 1):
        faces += [(low[0], low[i + 1], low[i]), (high[0], high[i], high[i + 1])]
    return np.array(faces)


def circle_points(
    radius_mm: float, facets: int, centre_mm: tuple[float, float] = (0.0, 0.0)
) -> list[tuple[float, float]]:
    """Corners of a regular polygon, counter-clockwise, on a circle of that radius."""
    return [
        (
            centre_mm[0] + radius_mm * math.cos(2 * math.pi * i / facets),
            centre_mm[1] + radius_mm * math.sin(2 * math.pi * i / facets),
        )
        for i in range(facets)
    ]


def cylinder(radius_mm: float, height_mm: float, facets: int = 64) -> Triangles:
    """A faceted cylinder; its base area is (n/2)·r²·sin(2π/n)."""
    return prism(circle_points(radius_mm, facets), height_mm)


def cone(radius_mm: float, height_mm: float, facets: int = 64) -> Triangles:
    """A faceted cone on z = 0."""
    rim = [np.array([x, y, 0.0]) for x, y in circle_points(radius_mm, facets)]
    tip, foot = np.array([0.0, 0.0, height_mm]), np.zeros(3)
    faces = []
    for i in range(facets):
        j = (i + 1) % facets
        faces += [(rim[i], rim[j], tip), (rim[j], rim[i], foot)]
    return np.array(faces)


def sphere(radius_mm: float, facets: int = 96) -> Triangles:
    """A ball of `facets` meridians and half as many bands, standing on z = 0."""
    bands = facets // 2
    angles = [math.pi * i / bands for i in range(bands + 1)]

    def corner(band: int, meridian: int) -> tuple[float, float, float]:
        ring = 0.0 if band in (0, bands) else radius_mm * math.sin(angles[band])
        turn = 2 * math.pi * (meridian % facets) / facets
        return (ring * math.cos(turn), ring * math.sin(turn), radius_mm - radius_mm * math.cos(angles[band]))

    faces = []
    for band in range(bands):
        for meridian in range(facets):
            a, b = corner(band, meridian), corner(band, meridian + 1)
            c, d = corner(band + 1, meridian + 1), corner(band + 1, meridian)
            if band > 0:
                faces.append((a, b, c))
            if band < bands - 1:
                faces.append((a, c, d))
    return np.array(faces)


def extruded(contours_mm: Sequence[Points], height_mm: float) -> Triangles:
    """An upright solid over any outline: the first contour counter-clockwise, holes clockwise."""
    section = manifold3d.CrossSection([np.array(each, dtype=np.float64) for each in contours_mm])
    mesh = section.extrude(height_mm).to_mesh()
    return np.asarray(mesh.vert_properties, dtype=np.float64)[:, :3][np.asarray(mesh.tri_verts)]


def moved(triangles_mm: Triangles, x_mm: float, y_mm: float = 0.0, z_mm: float = 0.0) -> Triangles:
    return triangles_mm + np.array([x_mm, y_mm, z_mm])


def inside_out(triangles_mm: Triangles) -> Triangles:
    return triangles_mm[:, ::-1]


def binary(triangles_mm: Triangles, header: bytes = b"made for a test") -> bytes:
    """A binary STL: 80 bytes of header, the count, 50 bytes a facet (normals left at 0)."""
    facets = np.zeros(len(triangles_mm), dtype=[("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("mark", "<u2")])
    facets["corners"] = triangles_mm
    return header.ljust(80, b"\0")[:80] + struct.pack("<I", len(triangles_mm)) + facets.tobytes()


def ascii_stl(triangles_mm: Triangles, name: str = "made for a test") -> bytes:
    """An ASCII STL."""
    lines = [f"solid {name}"]
    for triangle in triangles_mm:
        lines += ["  facet normal 0 0 0", "    outer loop"]
        lines += [f"      vertex {x:.9g} {y:.9g} {z:.9g}" for x, y, z in triangle]
        lines += ["    endloop", "  endfacet"]
    return "\n".join([*lines, f"endsolid {name}", ""]).encode()
