"""The bytes of an OBJ file: triangles, or a refusal. What it says of materials and textures is never followed."""

import re
from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from register.errors import BadMesh
from register.geometry.mesh_bytes import (
    BYTE_ORDER_MARK,
    EXPORT_AGAIN,
    LARGEST_TEXT_BYTES,
    PIECE_BYTES,
    drawn_from,
    figures,
    refuse_many,
    refuse_many_points,
    refuse_unread,
    spelled,
)

Floats = NDArray[np.float64]
Indices = NDArray[np.int32]

LONGEST_LINE_BYTES = 1_000_000
# Digits of an index; more facets than these can number are not read anyway.
LONGEST_INDEX = 9
# Lines that say nothing of the shape. Source: the format's published description (from memory).
PASSED_OVER = frozenset(
    b"vt vn vp l p g o s mg mtllib usemtl usemap maplib bevel c_interp d_interp lod shadow_obj trace_obj".split()
)
# Curved surfaces are no facets, and commands of a file are not obeyed.
CURVED = frozenset(b"cstype deg bmat step curv curv2 surf parm trim hole scrv sp end con ctech stech".split())
_START = re.compile(rb"(?>\s|#[^\r\n]*)*+(?:v|vt|vn|f|g|o|s|mtllib|usemtl)[ \t]")
_START_BYTES = 65_536
_CONTINUED = re.compile(rb"\\(?:\r\n|\r|\n)")
_LINE_END = re.compile(rb"(?<!\\)(?<!\\\r)(?:\r\n|\r|\n)")


def is_obj(content: bytes) -> bool:
    """Whether a file begins as an OBJ file does: after comments, with a line of one of its kinds."""
    start = content[:_START_BYTES].removeprefix(BYTE_ORDER_MARK)
    return b"\0" not in start and _START.match(start) is not None


def obj_triangles(content: bytes, name: str) -> Floats:
    """Corners of every facet of an OBJ file; faces of more corners are cut into a fan.

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
        If a line is not understood, a face names a point that is not there, or it describes anything but facets.
    """
    refuse_unread(content, name, LARGEST_TEXT_BYTES)
    reader = _Reader(name)
    for lines in _line_pieces(content.removeprefix(BYTE_ORDER_MARK), name):
        reader.read(lines)
    return drawn_from(reader.points, reader.faces, name)


def _line_pieces(text: bytes, name: str) -> Iterator[list[bytes]]:
    """Lines, some thousands at a time; a line that ends with a backslash goes on in the next."""
    begin = 0
    while begin < len(text):
        line_end = _LINE_END.search(text, begin + PIECE_BYTES)
        upto = line_end.end() if line_end else len(text)
        if upto - begin > PIECE_BYTES + LONGEST_LINE_BYTES:
            raise BadMesh(f"{name} is an OBJ file with a line of more than {LONGEST_LINE_BYTES} bytes.", EXPORT_AGAIN)
        yield _CONTINUED.sub(b" ", text[begin:upto]).splitlines()
        begin = upto


class _Reader:
    """What the lines have said so far: `points` (k, 3) and `faces` (k, 3) in pieces, faces from 0."""

    def __init__(self, name: str) -> None:
        self.points: list[Floats] = []
        self.faces: list[Indices] = []
        self._name = name
        self._line = 0
        self._points = self._facets = 0

    def read(self, lines: Sequence[bytes]) -> None:
        coordinates: list[bytes] = []
        corners: list[bytes] = []
        for line in lines:
            self._line += 1
            words = line.split()
            if not words or words[0].startswith(b"#"):
                continue
            if words[0] == b"v":
                coordinates += self._three(words)
                self._points += 1
            elif words[0] in (b"f", b"fo"):
                corners += self._fan(words)
            elif words[0] not in PASSED_OVER:
                raise self._strange(words[0])
        self.points.append(np.array(figures(coordinates, self._kind)).reshape(-1, 3))
        self.faces.append(self._indices(corners).reshape(-1, 3))
        refuse_many_points(self._points, self._name)
        self._facets += len(self.faces[-1])
        refuse_many(self._facets, self._name)

    @property
    def _kind(self) -> str:
        return f"{self._name} is an OBJ file"

    def _three(self, words: list[bytes]) -> list[bytes]:
        if len(words) < 4:
            raise BadMesh(f"Line {self._line} of {self._name} is a point of fewer than 3 figures.", EXPORT_AGAIN)
        return words[1:4]

    def _fan(self, words: list[bytes]) -> list[bytes]:
        """The points of a face's triangles, three each, counted from 1."""
        corners = [word.partition(b"/")[0] for word in words[1:]]
        if len(corners) < 3:
            raise BadMesh(f"Line {self._line} of {self._name} is a face of fewer than 3 corners.", EXPORT_AGAIN)
        if any(corner.startswith(b"-") for corner in corners):
            corners = [self._from_start(corner) for corner in corners]
        if len(corners) == 3:
            return corners
        middle, rest = corners[0], corners[1:]
        return [each for pair in pairwise(rest) for each in (middle, *pair)]

    def _from_start(self, corner: bytes) -> bytes:
        """A point that is counted backwards from the last one so far."""
        if not corner.startswith(b"-"):
            return corner
        back = corner[1:]
        if not back.isdigit() or len(back) > LONGEST_INDEX or not 0 < int(back) <= self._points:
            raise self._no_point(corner)
        return b"%d" % (self._points + 1 - int(back))

    def _indices(self, corners: list[bytes]) -> Indices:
        lengths = {len(corner) for corner in corners}
        if lengths and (min(lengths) == 0 or max(lengths) > LONGEST_INDEX or not b"".join(corners).isdigit()):
            raise self._no_point(next(c for c in corners if not c.isdigit() or len(c) > LONGEST_INDEX))
        return np.array(list(map(int, corners)), dtype=np.int32) - np.int32(1)

    def _no_point(self, corner: bytes) -> BadMesh:
        return BadMesh(
            f"{self._kind} with a face at a point that it does not hold: {spelled(corner[: LONGEST_INDEX + 3])}.",
            EXPORT_AGAIN,
        )

    def _strange(self, word: bytes) -> BadMesh:
        if word in CURVED:
            return BadMesh(
                f"{self._kind} with curved surfaces, which are not facets.", "Export the part as a mesh, or as STL."
            )
        said = spelled(word[:20])
        return BadMesh(f"Line {self._line} of {self._name} begins with {said}: it is no OBJ file.", EXPORT_AGAIN)
