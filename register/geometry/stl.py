"""The bytes of an STL file: triangles, or a refusal that says what is wrong with them."""

import re
from collections.abc import Iterator
from io import BytesIO
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from register.errors import BadMesh
from register.geometry.mesh_bytes import (
    BYTE_ORDER_MARK,
    EXPORT_AGAIN,
    INK,
    LARGEST_BYTES,
    LARGEST_TEXT_BYTES,
    figures,
    refuse_many,
    refuse_unread,
    word_pieces,
)

Floats = NDArray[np.float64]

MOST_SOLIDS = 10_000
HEAD_BYTES, FACET_BYTES = 84, 50

# One facet of an ASCII STL in words: the fixed words and their places among its 21.
ASCII_WORDS = {
    0: b"facet",
    1: b"normal",
    5: b"outer",
    6: b"loop",
    7: b"vertex",
    11: b"vertex",
    15: b"vertex",
    19: b"endloop",
    20: b"endfacet",
}
ASCII_CORNERS = [8, 9, 10, 12, 13, 14, 16, 17, 18]
WORDS = 21
_SOLID_LINE = re.compile(rb"^[ \t]*(solid|endsolid)(?![^ \t\n])[^\n]*$", re.MULTILINE | re.IGNORECASE)

# What other files begin with, and what to call them.
OTHER_KINDS = (
    (b"<!doctype", "a web page"),
    (b"<html", "a web page"),
    (b"<?xml", "an XML file"),
    (b"iso-10303", "a STEP file"),
    (b"%pdf", "a PDF file"),
    (b"version https://git-lfs", "a pointer to a large file, not the file itself"),
)


def stl_triangles(content: bytes, name: str) -> Floats:
    """Corners of every facet of an STL file, as they stand in it.

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
        If the bytes are not exactly one STL file, binary or ASCII.

    Notes
    -----
    A file is binary if and only if 84 + 50·count is its size: a binary header may begin with "solid" too. What has
    passed that is read by trimesh, which by itself would take a file that was cut short for a mesh of no facets.
    """
    count = _promised(content)
    binary = is_binary(content)
    refuse_unread(content, name, LARGEST_BYTES if binary else LARGEST_TEXT_BYTES)
    if binary:
        triangles = _binary_triangles(content) if count else np.empty((0, 3, 3))
    else:
        text = content.removeprefix(BYTE_ORDER_MARK)
        if not re.match(rb"\s*solid\b", text, re.IGNORECASE) or b"\0" in text:
            raise _not_an_stl(content, count, name)
        triangles = _ascii_triangles(text.replace(b"\r", b"\n"), name)
    refuse_many(len(triangles), name)
    if len(triangles) == 0:
        raise BadMesh(f"{name} holds no facets.", "Select the body before exporting it.")
    return triangles


def is_binary(content: bytes) -> bool:
    """Whether a file has the size that a binary STL of its count has."""
    count = _promised(content)
    return count >= 0 and HEAD_BYTES + FACET_BYTES * count == len(content)


def _binary_triangles(content: bytes) -> Floats:
    from trimesh.exchange.stl import load_stl_binary  # loads where a mesh is read

    corners = load_stl_binary(BytesIO(content))["vertices"].reshape(-1, 3, 3)
    with np.errstate(invalid="ignore"):  # a signalling NaN stays one and is refused later
        return np.asarray(corners, dtype=np.float64)


def _promised(content: bytes) -> int:
    return int.from_bytes(content[80:84], "little") if len(content) >= HEAD_BYTES else -1


def _not_an_stl(content: bytes, count: int, name: str) -> BadMesh:
    start = content[:200].lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    for beginning, kind in OTHER_KINDS:
        if start.startswith(beginning):
            return BadMesh(
                f"{name} is {kind}, not an STL, 3MF, OBJ or PLY file.", "Export the part as STL and give that file."
            )
    if len(content) < HEAD_BYTES:
        return BadMesh(f"{name} has {len(content)} bytes and is not an STL file.", EXPORT_AGAIN)
    promised = HEAD_BYTES + FACET_BYTES * count
    if promised > len(content):
        return BadMesh(
            f"{name} says that it holds {count} facets but ends after {(len(content) - HEAD_BYTES) // FACET_BYTES}: "
            "it was cut short, or it is not an STL file.",
            "Copy or export it again.",
        )
    return BadMesh(
        f"{name} holds {len(content) - promised} bytes after its {count} facets: "
        "its count is wrong, or it is not an STL file.",
        EXPORT_AGAIN,
    )


def _ascii_triangles(text: bytes, name: str) -> Floats:
    # Not all of them at once: a file of nothing else has millions.
    marks = list(islice(_SOLID_LINE.finditer(text), 2 * MOST_SOLIDS + 1))
    if len(marks) > 2 * MOST_SOLIDS:
        raise BadMesh(f"{name} is an ASCII STL of more than {MOST_SOLIDS} solids.", EXPORT_AGAIN)
    words = [mark.group(1).lower() for mark in marks]
    if len(words) % 2 or words != [b"solid", b"endsolid"] * (len(words) // 2) or not words:
        raise BadMesh(
            f"{name} is an ASCII STL in which solid and endsolid do not match: it was cut short.", EXPORT_AGAIN
        )
    starts = [*(mark.start() for mark in marks[::2]), len(text)]
    ends = [0, *(mark.end() for mark in marks[1::2])]
    if any(INK.search(text, end, start) for end, start in zip(ends, starts, strict=True)):
        raise BadMesh(f"{name} is an ASCII STL with text outside its solids.", EXPORT_AGAIN)
    bodies = ((first.end(), last.start()) for first, last in zip(marks[::2], marks[1::2], strict=True))
    return np.concatenate([piece for begin, end in bodies for piece in _ascii_solid(text, begin, end, name)])


def _ascii_solid(text: bytes, begin: int, end: int, name: str) -> Iterator[Floats]:
    """The facets between two places, some thousands at a time."""
    left: list[bytes] = []
    yield np.empty((0, 3, 3))
    for words in word_pieces(text, begin, end):
        left += words
        whole = len(left) // WORDS * WORDS
        yield _ascii_facets(left[:whole], name)
        del left[:whole]
    if left:
        raise BadMesh(f"{name} is an ASCII STL with a facet that is not complete.", EXPORT_AGAIN)


def _ascii_facets(words: list[bytes], name: str) -> Floats:
    for place, word in ASCII_WORDS.items():
        if {each.lower() for each in set(words[place::WORDS])} - {word}:
            raise BadMesh(f"{name} is an ASCII STL with a facet that is not complete.", EXPORT_AGAIN)
    corners = np.empty((len(words) // WORDS, 9))
    for column, place in enumerate(ASCII_CORNERS):
        corners[:, column] = figures(words[place::WORDS], f"{name} is an ASCII STL")
    return corners.reshape(-1, 3, 3)
