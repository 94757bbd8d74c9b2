"""The bytes of a PLY file: triangles, or a refusal that says what is wrong with them."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from register.errors import BadMesh
from register.geometry.mesh_bytes import (
    EXPORT_AGAIN,
    LARGEST_BYTES,
    LARGEST_TEXT_BYTES,
    MOST_FACETS,
    MOST_POINTS,
    drawn_from,
    refuse_many,
    refuse_unread,
)
from register.geometry.ply_bodies import BinaryBody, TextBody, is_corners
from register.geometry.ply_header import Header, read_header

Floats = NDArray[np.float64]
Indices = NDArray[np.int32]

STARTS = (b"ply\n", b"ply\r")
POINTS, FACES = "vertex", "face"


def is_ply(content: bytes) -> bool:
    """Whether a file begins as a PLY file does."""
    return content.startswith(STARTS)


def ply_triangles(content: bytes, name: str) -> Floats:
    """Corners of every facet of a PLY file, in text or binary; faces of more corners are cut into a fan.

    Parameters
    ----------
    content
        The whole file.
    name
        For messages.

    Returns
    -------
    (n, 3, 3), n at least 1; coordinates as in the file, not yet known to be finite.

    Raises
    ------
    BadMesh
        If the bytes are not exactly what the header says, or a face names a point that is not there.
    """
    header = read_header(content, name)
    refuse_unread(content, name, LARGEST_BYTES if header.order else LARGEST_TEXT_BYTES)
    _refuse_counts(header, len(content), name)
    body = BinaryBody(content, header, name) if header.order else TextBody(content, header, name)
    points: list[Floats] = []
    faces: list[Indices] = []
    for element in header.elements:
        if element.name == POINTS:
            points += body.points(element)
        elif element.name == FACES:
            faces += _fans(body.corners(element), name)
        else:
            body.pass_over(element)
    body.end()
    return drawn_from(points, faces, name)


def _refuse_counts(header: Header, size: int, name: str) -> None:
    """Refuse counts that the bytes cannot hold, before anything is made for them."""
    least = 0
    for each in header.elements:
        if header.order:
            row = sum(np.dtype(one.counted_by or one.kind).itemsize for one in each.properties)
        else:
            row = 2 * len(each.properties)
        least += each.count * row
        most = MOST_FACETS if each.has_lists else MOST_POINTS
        if header.end + least - (not header.order) > size:
            raise BadMesh(
                f"{name} says that it holds {each.count} of the element {each.name}, more than its bytes can be: "
                "it was cut short, or it is damaged.",
                "Copy or export it again.",
            )
        if each.count > most:
            raise BadMesh(
                f"{name} holds {each.count} of the element {each.name}; at most {most} are read.", EXPORT_AGAIN
            )
    _refuse_other_shapes(header, name)


def _refuse_other_shapes(header: Header, name: str) -> None:
    points = next((each for each in header.elements if each.name == POINTS), None)
    if points is None or points.has_lists or not {"x", "y", "z"} <= {one.name for one in points.properties}:
        raise BadMesh(f"{name} is a PLY file without plain points.", "Export the part as a mesh, or as STL.")
    faces = next((each for each in header.elements if each.name == FACES), None)
    if faces is None or not any(map(is_corners, faces.properties)):
        raise BadMesh(f"{name} is a PLY file without faces.", "Export the part as a mesh, or as STL.")


def _fans(faces: Iterator[Indices], name: str) -> list[Indices]:
    """Triangles (k, 3) from blocks of faces with equal numbers of corners, (faces, corners) each."""
    made: list[Indices] = []
    count = 0
    for corners in faces:
        if corners.shape[1] < 3:
            raise BadMesh(f"{name} has a face of fewer than 3 corners.", EXPORT_AGAIN)
        count += len(corners) * (corners.shape[1] - 2)
        refuse_many(count, name)
        first = np.broadcast_to(corners[:, :1], (len(corners), corners.shape[1] - 2))
        made.append(np.stack([first, corners[:, 1:-1], corners[:, 2:]], axis=2).reshape(-1, 3))
    return made
