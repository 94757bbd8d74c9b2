"""The bytes of an STL file: triangles, or a refusal that says what is wrong with them."""

import re
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from register.errors import BadMesh

Floats = NDArray[np.float64]

LARGEST_BYTES = 200_000_000
MOST_SOLIDS = 10_000
HEAD_BYTES, FACET_BYTES = 84, 50
FACET = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("mark", "<u2")])
EXPORT_AGAIN = "Export the part again as a binary STL."

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
LONGEST_WORD = 40
_SOLID_LINE = re.compile(rb"^[ \t]*(solid|endsolid)(?![^ \t\n])[^\n]*$", re.MULTILINE | re.IGNORECASE)

# What other files begin with, and what to call them.
OTHER_KINDS = (
    (b"<!doctype", "a web page"),
    (b"<html", "a web page"),
    (b"<?xml", "an XML file"),
    (b"iso-10303", "a STEP file"),
    (b"ply", "a PLY file"),
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
    A file is binary if and only if 84 + 50·count is its size: a binary header may begin with "solid" too.
    """
    if not content:
        raise BadMesh(f"{name} is empty.", EXPORT_AGAIN)
    if len(content) > LARGEST_BYTES:
        raise BadMesh(
            f"{name} has {len(content) / 1e6:.0f} MB; at most {LARGEST_BYTES / 1e6:.0f} MB are read.",
            "Export it with a coarser tolerance.",
        )
    count = int.from_bytes(content[80:84], "little") if len(content) >= HEAD_BYTES else -1
    if count >= 0 and HEAD_BYTES + FACET_BYTES * count == len(content):
        with np.errstate(invalid="ignore"):  # a signalling NaN stays one and is refused later
            triangles = np.frombuffer(content, FACET, count, HEAD_BYTES)["corners"].astype(np.float64)
    else:
        text = content.removeprefix(b"\xef\xbb\xbf")
        if not re.match(rb"\s*solid\b", text, re.IGNORECASE) or b"\0" in text:
            raise _not_an_stl(content, count, name)
        triangles = _ascii_triangles(text.replace(b"\r\n", b"\n").replace(b"\r", b"\n"), name)
    if len(triangles) == 0:
        raise BadMesh(f"{name} holds no facets.", "Select the body before exporting it.")
    return triangles


def _not_an_stl(content: bytes, count: int, name: str) -> BadMesh:
    start = content[:200].lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    for beginning, kind in OTHER_KINDS:
        if start.startswith(beginning):
            return BadMesh(f"{name} is {kind}, not an STL or 3MF file.", "Export the part as STL and give that file.")
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
    ends = [0, *(mark.end() for mark in marks)]
    outside = [text[ends[i] : mark.start()] for i, mark in enumerate(marks) if i % 2 == 0]
    if b"".join([*outside, text[ends[-1] :]]).strip():
        raise BadMesh(f"{name} is an ASCII STL with text outside its solids.", EXPORT_AGAIN)
    bodies = [text[marks[i].end() : marks[i + 1].start()] for i in range(0, len(marks), 2)]
    return np.concatenate([_ascii_solid(body, name) for body in bodies])


def _ascii_solid(body: bytes, name: str) -> Floats:
    words = body.split()
    count = len(words) // 21
    for place, word in ASCII_WORDS.items():
        column = words[place::21]
        if len(words) % 21 or len(column) != count or {each.lower() for each in set(column)} - {word}:
            raise BadMesh(f"{name} is an ASCII STL with a facet that is not complete.", EXPORT_AGAIN)
    corners = np.empty((count, 9))
    for column_index, place in enumerate(ASCII_CORNERS):
        corners[:, column_index] = [_number(word, name) for word in words[place::21]]
    return corners.reshape(-1, 3, 3)


def _number(word: bytes, name: str) -> float:
    try:
        if len(word) <= LONGEST_WORD and b"_" not in word:
            return float(word)
    except ValueError:
        pass
    raise BadMesh(
        f"{name} is an ASCII STL with a coordinate that is not a number: {word[:LONGEST_WORD]!r}.",
        "Export it again with a point as the decimal sign.",
    )
