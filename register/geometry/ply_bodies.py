"""What follows the header of a PLY file: points and the corners of faces, in binary or in text."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from struct import Struct

import numpy as np
from numpy.typing import NDArray

from register.errors import BadMesh
from register.geometry.mesh_bytes import EXPORT_AGAIN, figures, refuse_many, spelled, word_pieces
from register.geometry.ply_header import Element, Header, Property

Floats = NDArray[np.float64]
Indices = NDArray[np.int32]

CORNERS = ("vertex_indices", "vertex_index")
COORDINATES = ("x", "y", "z")
# A face of more corners than this, or another list of more figures, is damage.
LONGEST_LIST = 100_000
LONGEST_INDEX = 9
# What is worked on at once: words of points, and faces of unlike numbers of corners.
BLOCK_WORDS = 60_000
BLOCK_FACES = 20_000
# Kinds as the struct module writes them.
LETTERS = {"i1": "b", "u1": "B", "i2": "h", "u2": "H", "i4": "i", "u4": "I", "f4": "f", "f8": "d"}


class BinaryBody:
    """Elements of fixed or counted sizes, one after the other."""

    def __init__(self, content: bytes, header: Header, name: str) -> None:
        self._content, self._at, self._order, self._name = content, header.end, header.order, name

    def points(self, element: Element) -> Iterator[Floats]:
        """Coordinates (k, 3)."""
        rows = self._rows(element, [1] * len(element.properties))
        names = [each.name for each in element.properties]
        with np.errstate(invalid="ignore"):  # a signalling NaN stays one and is refused later
            yield np.stack([rows[f"{names.index(axis)}"].astype(np.float64) for axis in COORDINATES], axis=-1)

    def corners(self, element: Element) -> Iterator[Indices]:
        """Points of the faces, in blocks of faces with equally many: (faces, corners) each."""
        if element.count == 0:
            return
        place = _corners_at(element)
        begin = self._at
        sizes = [size for _, size in self._walked(element.properties)]
        self._at = begin
        if self._fits(element, sizes):
            refuse_many(element.count * (sizes[place] - 2), self._name)
            yield _indices(self._rows(element, sizes)[f"{place}"])
            return
        yield from self._unlike(element, place)

    def pass_over(self, element: Element) -> None:
        """Skip an element that says nothing of the shape."""
        if not element.has_lists:
            self._rows(element, [1] * len(element.properties))
            return
        for _ in range(element.count):
            self._walked(element.properties)

    def end(self) -> None:
        """Refuse bytes after the last element."""
        if self._at != len(self._content):
            raise BadMesh(f"{self._name} holds {len(self._content) - self._at} bytes after its end.", EXPORT_AGAIN)

    def _dtype(self, element: Element, sizes: Sequence[int]) -> np.dtype[np.void]:
        fields: list[tuple[str, str] | tuple[str, str, int]] = []
        for number, (each, size) in enumerate(zip(element.properties, sizes, strict=True)):
            if each.counted_by:
                fields += [
                    (f"count {number}", self._order + each.counted_by),
                    (f"{number}", self._order + each.kind, size),
                ]
            else:
                fields.append((f"{number}", self._order + each.kind))
        return np.dtype(fields)

    def _rows(self, element: Element, sizes: Sequence[int]) -> NDArray[np.void]:
        dtype = self._dtype(element, sizes)
        self._need(element.count * dtype.itemsize)
        rows = np.frombuffer(self._content, dtype, element.count, self._at)
        self._at += element.count * dtype.itemsize
        return rows

    def _fits(self, element: Element, sizes: Sequence[int]) -> bool:
        """Whether all lists of an element have the same sizes as the first, which is what most files hold."""
        dtype = self._dtype(element, sizes)
        if self._at + element.count * dtype.itemsize > len(self._content):
            return False
        rows = np.frombuffer(self._content, dtype, element.count, self._at)
        counted = [number for number, each in enumerate(element.properties) if each.counted_by]
        return all(bool((rows[f"count {number}"] == sizes[number]).all()) for number in counted)

    def _walked(self, properties: Sequence[Property]) -> list[tuple[int, int]]:
        """Where the figures of one element's properties begin, and how many they are."""
        found = []
        for each in properties:
            size = 1
            if each.counted_by:
                count = Struct(self._order + LETTERS[each.counted_by])
                self._need(count.size)
                size = count.unpack_from(self._content, self._at)[0]
                self._at += count.size
                _refuse_long(size, self._name)
            found.append((self._at, size))
            self._need(size * int(each.kind[1]))
            self._at += size * int(each.kind[1])
        return found

    def _unlike(self, element: Element, place: int) -> Iterator[Indices]:
        kind = np.dtype(self._order + element.properties[place].kind)
        for begin in range(0, element.count, BLOCK_FACES):
            places = defaultdict(list)
            for _ in range(min(BLOCK_FACES, element.count - begin)):
                at, size = self._walked(element.properties)[place]
                places[size].append(at)
            refuse_many(sum(len(starts) * (size - 2) for size, starts in places.items()), self._name)
            for size, starts in places.items():
                inside = np.arange(size * kind.itemsize)
                block = np.frombuffer(self._content, np.uint8)[np.array(starts)[:, None] + inside]
                yield _indices(block.view(kind).reshape(len(starts), size))

    def _need(self, size: int) -> None:
        if self._at + size > len(self._content):
            raise _cut_short(self._name)


class TextBody:
    """Elements in words."""

    def __init__(self, content: bytes, header: Header, name: str) -> None:
        self._pieces = word_pieces(content, header.end, len(content))
        self._words: list[bytes] = []
        self._at = 0
        self._name = name

    def points(self, element: Element) -> Iterator[Floats]:
        """Coordinates (k, 3), some thousands at a time."""
        width = len(element.properties)
        places = [[each.name for each in element.properties].index(axis) for axis in COORDINATES]
        for words in self._blocks(element.count, width):
            columns = [figures(words[place::width], f"{self._name} is a PLY file") for place in places]
            yield np.array(columns).T

    def corners(self, element: Element) -> Iterator[Indices]:
        """Points of the faces, in blocks of faces with equally many: (faces, corners) each."""
        place = _corners_at(element)
        for begin in range(0, element.count, BLOCK_FACES):
            found: defaultdict[int, list[bytes]] = defaultdict(list)
            facets = 0
            for _ in range(min(BLOCK_FACES, element.count - begin)):
                corners = self._row(element)[place]
                found[len(corners)] += corners
                facets += len(corners) - 2
                refuse_many(facets, self._name)
            for size, words in found.items():
                yield self._numbers(words).reshape(-1, size) if size else np.empty((1, 0), dtype=np.int32)

    def pass_over(self, element: Element) -> None:
        """Skip an element that says nothing of the shape."""
        if not element.has_lists:
            for _ in self._blocks(element.count, len(element.properties)):
                pass
            return
        for _ in range(element.count):
            self._row(element)

    def end(self) -> None:
        """Refuse words after the last element."""
        if self._at < len(self._words) or any(self._pieces):
            raise BadMesh(f"{self._name} is a PLY file with text after its end.", EXPORT_AGAIN)

    def _blocks(self, count: int, width: int) -> Iterator[list[bytes]]:
        rows = max(BLOCK_WORDS // width, 1) if width else 1
        for begin in range(0, count, rows):
            yield self._take(min(rows, count - begin) * width)

    def _row(self, element: Element) -> list[list[bytes]]:
        return [
            self._take(_refuse_long(self._count(), self._name) if each.counted_by else 1) for each in element.properties
        ]

    def _count(self) -> int:
        return int(self._numbers(self._take(1))[0])

    def _numbers(self, words: list[bytes]) -> Indices:
        if not b"".join(words).isdigit() or max(map(len, words)) > LONGEST_INDEX:
            word = next(each for each in words if not each.isdigit() or len(each) > LONGEST_INDEX)
            raise BadMesh(
                f"{self._name} is a PLY file with {spelled(word[: LONGEST_INDEX + 3])} for the number of a point.",
                EXPORT_AGAIN,
            )
        return np.array(list(map(int, words)), dtype=np.int32)

    def _take(self, count: int) -> list[bytes]:
        while len(self._words) - self._at < count:
            piece = next(self._pieces, None)
            if piece is None:
                raise _cut_short(self._name)
            self._words = self._words[self._at :] + piece
            self._at = 0
        self._at += count
        return self._words[self._at - count : self._at]


def _corners_at(element: Element) -> int:
    return next(place for place, each in enumerate(element.properties) if is_corners(each))


def is_corners(each: Property) -> bool:
    """Whether a property of faces lists their points."""
    return each.counted_by is not None and each.name in CORNERS and not each.kind.startswith("f")


def _indices(corners: NDArray[np.void]) -> Indices:
    """Points of faces as plain numbers; beyond all points where they were beyond all numbers."""
    if corners.dtype.kind == "u" and corners.dtype.itemsize == 4:
        return np.minimum(corners, np.iinfo(np.int32).max).astype(np.int32)
    return corners.astype(np.int32)


def _refuse_long(size: int, name: str) -> int:
    if not 0 <= size <= LONGEST_LIST:
        raise BadMesh(f"{name} is a PLY file with a face of {size} corners.", EXPORT_AGAIN)
    return size


def _cut_short(name: str) -> BadMesh:
    return BadMesh(
        f"{name} ends before all is said that its header promises: it was cut short.", "Copy or export it again."
    )
