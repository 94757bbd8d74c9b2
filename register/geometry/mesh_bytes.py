"""What the readers of mesh files share: how much they take, and how figures stand in text."""

import re
from collections.abc import Iterator, Sequence
from contextlib import suppress

import numpy as np
from numpy.typing import NDArray

from register.domain.texts import shown
from register.errors import BadMesh

Floats = NDArray[np.float64]
Indices = NDArray[np.int32]

# With these the largest file that is read, and its estimate, stay below half a gigabyte.
LARGEST_BYTES, LARGEST_TEXT_BYTES = 60_000_084, 100_000_000
MOST_FACETS = 1_200_000
MOST_POINTS = 3 * MOST_FACETS
LONGEST_WORD = 40
# Text is taken in pieces: the words of a whole file would take ten times its size.
PIECE_BYTES = 1 << 20
BYTE_ORDER_MARK = b"\xef\xbb\xbf"
EXPORT_AGAIN = "Export the part again as a binary STL."
EXPORT_COARSER = "Export it with a coarser tolerance."
INK = re.compile(rb"\S")
_GAP = re.compile(rb"\s")


def refuse_unread(content: bytes, name: str, largest_bytes: int = LARGEST_BYTES) -> None:
    """Refuse an empty file and one that is too large to be read."""
    if not content:
        raise BadMesh(f"{name} is empty.", EXPORT_AGAIN)
    if len(content) > largest_bytes:
        raise BadMesh(
            f"{name} has {len(content) / 1e6:.0f} MB; at most {largest_bytes / 1e6:.0f} MB are read.", EXPORT_COARSER
        )


def refuse_many(facets: int, name: str) -> None:
    """Refuse more facets than are worked with."""
    if facets > MOST_FACETS:
        raise BadMesh(f"{name} holds {facets} facets; at most {MOST_FACETS} are read.", EXPORT_COARSER)


def refuse_many_points(points: int, name: str) -> None:
    """Refuse more points than the facets that are worked with can have."""
    if points > MOST_POINTS:
        raise BadMesh(f"{name} holds {points} points; at most {MOST_POINTS} are read.", EXPORT_COARSER)


def drawn_from(points: list[Floats], faces: list[Indices], name: str) -> Floats:
    """The triangles (n, 3, 3) of faces over points, both in pieces; refused where a face is at no point."""
    triangles = np.empty((sum(map(len, faces)), 3, 3))
    refuse_many(len(triangles), name)
    if len(triangles) == 0:
        raise BadMesh(f"{name} holds no facets.", "Select the body before exporting it.")
    spots = np.concatenate([np.empty((0, 3)), *points])
    points.clear()
    begin = 0
    for piece in faces:
        if len(piece) == 0:
            continue
        low, high = int(piece.min()), int(piece.max())
        if low < 0 or high >= len(spots):
            raise BadMesh(
                f"{name} has a face at point {low if low < 0 else high} of its {len(spots)}, counted from 0.",
                EXPORT_AGAIN,
            )
        np.take(spots, piece, axis=0, out=triangles[begin : begin + len(piece)], mode="clip")
        begin += len(piece)
    return triangles


def word_pieces(text: bytes, begin: int, end: int) -> Iterator[list[bytes]]:
    """The words between two places in a text, some thousands at a time."""
    while begin < end:
        # A piece ends where a word does.
        gap = _GAP.search(text, min(begin + PIECE_BYTES, end), end)
        upto = gap.start() if gap else end
        yield text[begin:upto].split()
        begin = upto


def figures(words: Sequence[bytes], what: str) -> list[float]:
    """The numbers that words say.

    Parameters
    ----------
    what
        What they stand in, for the message: "part.stl is an ASCII STL".

    Raises
    ------
    BadMesh
        If a word is no number, or longer than any.
    """
    # Python would read 1_0 too.
    if max(map(len, words), default=0) <= LONGEST_WORD and b"_" not in b"".join(words):
        with suppress(ValueError):
            return list(map(float, words))
    return [_figure(word, what) for word in words]


def spelled(word: bytes) -> str:
    """A word of a file in quotes, without signs that could drive a terminal."""
    return f"'{shown(word.decode('latin-1'))}'"


def _figure(word: bytes, what: str) -> float:
    try:
        if len(word) <= LONGEST_WORD and b"_" not in word:
            return float(word)
    except ValueError:
        pass
    raise BadMesh(
        f"{what} with a coordinate that is not a number: {spelled(word[:LONGEST_WORD])}.",
        "Export it again with a point as the decimal sign.",
    )
