"""Triangles in columns: a number of each at a time, in blocks that the processor can keep beside it."""

from collections.abc import Iterator
from itertools import product

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# Corners or triangles that are worked on at once: what they need then stays in the processor's own memory.
CHUNK = 1 << 14


def parts(count: int) -> Iterator[slice]:
    """Slices that go through `count` things in blocks."""
    return (slice(begin, min(begin + CHUNK, count)) for begin in range(0, count, CHUNK))


def corner_columns(triangles: Floats, origin: Floats) -> Floats:
    """The corners of triangles (k, 3, 3) from an origin (3,) as [corner, coordinate, triangle]: (3, 3, k)."""
    columns = np.empty((3, 3, len(triangles)))
    for corner, coordinate in product(range(3), range(3)):
        np.subtract(triangles[:, corner, coordinate], origin[coordinate], out=columns[corner, coordinate])
    return columns


def cross(one: Floats, other: Floats) -> Floats:
    """Cross product of vectors in columns, (3, k) and (3, k)."""
    made = np.empty(one.shape)
    for axis, (second, third) in enumerate(((1, 2), (2, 0), (0, 1))):
        np.multiply(one[second], other[third], out=made[axis])
        made[axis] -= one[third] * other[second]
    return made


def dot(one: Floats, other: Floats) -> Floats:
    """Dot product (k,) of vectors in columns, (3, k) and (3, k)."""
    made = one[0] * other[0]
    made += one[1] * other[1]
    made += one[2] * other[2]
    return np.asarray(made)
