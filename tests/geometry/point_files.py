"""The bytes of OBJ and PLY files: points, and faces over them."""

from collections.abc import Sequence

import numpy as np

from tests.geometry.stl_bytes import Triangles, cube

Faces = Sequence[Sequence[int]]
SIDE_MM = 20.0
# A cube with its six faces as squares, counter-clockwise seen from outside.
CORNERS = [(x, y, z) for z in (0.0, SIDE_MM) for y in (0.0, SIDE_MM) for x in (0.0, SIDE_MM)]
SQUARES = [(0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (1, 3, 7, 5), (3, 2, 6, 7), (2, 0, 4, 6)]
TRIANGLES = [(a, b, c) for w, x, y, z in SQUARES for a, b, c in ((w, x, y), (w, y, z))]


def points_and_faces(triangles_mm: Triangles) -> tuple[list[tuple[float, ...]], list[list[int]]]:
    """Each corner once, and the triangles as indices from 0."""
    points, faces = np.unique(triangles_mm.reshape(-1, 3), axis=0, return_inverse=True)
    return [tuple(point) for point in points.tolist()], faces.reshape(-1, 3).tolist()


def obj(points: Sequence[Sequence[float]], faces: Faces) -> bytes:
    """An OBJ file; its indices count from 1."""
    lines = ["# made for a test", *("v " + " ".join(f"{each:.9g}" for each in point) for point in points)]
    lines += ["f " + " ".join(str(corner + 1) for corner in face) for face in faces]
    return "\n".join([*lines, ""]).encode()


def ply_header(form: str, points: object, faces: object, after_points: str = "", after_faces: str = "") -> bytes:
    """The header of a PLY file; what is put after points or faces adds properties or elements."""
    return (
        f"ply\nformat {form} 1.0\ncomment made for a test\n"
        f"element vertex {points}\nproperty float x\nproperty float y\nproperty float z\n{after_points}"
        f"element face {faces}\nproperty list uchar int vertex_indices\n{after_faces}end_header\n"
    ).encode()


def ply_text(points: Sequence[Sequence[float]], faces: Faces) -> bytes:
    """A PLY file in text."""
    rows = [" ".join(f"{each:.9g}" for each in point) for point in points]
    rows += [" ".join(map(str, (len(face), *face))) for face in faces]
    return ply_header("ascii", len(points), len(faces)) + "\n".join([*rows, ""]).encode()


def ply_binary(points: Sequence[Sequence[float]], faces: Faces, order: str = "<") -> bytes:
    """A binary PLY file."""
    form = "binary_little_endian" if order == "<" else "binary_big_endian"
    body = np.array(points, dtype=f"{order}f4").tobytes()
    body += b"".join(bytes([len(face)]) + np.array(face, dtype=f"{order}i4").tobytes() for face in faces)
    return ply_header(form, len(points), len(faces)) + body


def solid_obj(triangles_mm: Triangles | None = None) -> bytes:
    return obj(*points_and_faces(cube(SIDE_MM) if triangles_mm is None else triangles_mm))
