"""The header of a PLY file: which elements follow it, how many, and what each is made of."""

import re
from dataclasses import dataclass

from register.domain.texts import shown
from register.errors import BadMesh
from register.geometry.mesh_bytes import EXPORT_AGAIN

LONGEST_HEADER_BYTES = 65_536
LONGEST_COUNT = 10
ASCII = "ascii"
# Byte orders as numpy writes them; none for text.
FORMATS = {b"ascii": "", b"binary_little_endian": "<", b"binary_big_endian": ">"}
# Kinds of figure as numpy writes them. Source: the format's published description (from memory).
KINDS = {
    b"char": "i1",
    b"uchar": "u1",
    b"short": "i2",
    b"ushort": "u2",
    b"int": "i4",
    b"uint": "u4",
    b"int8": "i1",
    b"uint8": "u1",
    b"int16": "i2",
    b"uint16": "u2",
    b"int32": "i4",
    b"uint32": "u4",
    b"float": "f4",
    b"double": "f8",
    b"float32": "f4",
    b"float64": "f8",
}
_END = re.compile(rb"(?:\r\n|\r|\n)[ \t]*end_header[ \t]*(\r\n|\r|\n)")


@dataclass(frozen=True)
class Property:
    """One figure of an element, or where `counted_by` is given a list: its count's kind, then so many of `kind`."""

    name: str
    kind: str
    counted_by: str | None = None


@dataclass(frozen=True)
class Element:
    """`count` elements of one name."""

    name: str
    count: int
    properties: tuple[Property, ...]

    @property
    def has_lists(self) -> bool:
        """Whether any property of it is a list, so that its elements differ in length."""
        return any(each.counted_by for each in self.properties)


@dataclass(frozen=True)
class Header:
    """`order` is the byte order, empty for text; the elements begin at byte `end`."""

    order: str
    elements: tuple[Element, ...]
    end: int


def read_header(content: bytes, name: str) -> Header:
    """The header of a PLY file.

    Raises
    ------
    BadMesh
        If it has no end, or says what no such header says.
    """
    found = _END.search(content, 0, LONGEST_HEADER_BYTES)
    if found is None:
        raise _bad(name, "has no end")
    # After a header whose lines end in single carriage returns, a line feed is the first byte of the figures.
    single = content[3:4] == b"\r" and content[4:5] != b"\n"
    end = found.start(1) + 1 if single else found.end()
    lines = [line.split() for line in content[: found.start()].splitlines()[1:]]
    lines = [words for words in lines if words and words[0] not in (b"comment", b"obj_info")]
    if not lines or lines[0][0] != b"format" or len(lines[0]) != 3 or lines[0][1] not in FORMATS:
        raise _bad(name, "does not say in which of the three forms its figures stand")
    return Header(FORMATS[lines[0][1]], _elements(lines[1:], name), end)


def _elements(lines: list[list[bytes]], name: str) -> tuple[Element, ...]:
    found: dict[str, tuple[int, dict[str, Property]]] = {}
    properties: dict[str, Property] | None = None
    for words in lines:
        if words[0] == b"element" and len(words) == 3 and words[2].isdigit() and len(words[2]) <= LONGEST_COUNT:
            properties = {}
            if found.setdefault(_word(words[1]), (int(words[2]), properties))[1] is not properties:
                raise _bad(name, f"names the element {_word(words[1])} twice")
            continue
        made = _property(words)
        if made is None or properties is None:
            raise _bad(name, f"holds a line that is not understood: {_word(b' '.join(words))!r}")
        if properties.setdefault(made.name, made) is not made:
            raise _bad(name, f"names the property {made.name} twice")
    for element, (count, made_of) in found.items():
        if count and not made_of:
            raise _bad(name, f"does not say what the element {element} is made of")
    return tuple(Element(element, count, tuple(made_of.values())) for element, (count, made_of) in found.items())


def _property(words: list[bytes]) -> Property | None:
    if words[0] != b"property":
        return None
    if len(words) == 3 and words[1] in KINDS:
        return Property(_word(words[2]), KINDS[words[1]])
    if len(words) == 5 and words[1] == b"list" and words[3] in KINDS and KINDS.get(words[2], "f")[0] != "f":
        return Property(_word(words[4]), KINDS[words[3]], KINDS[words[2]])
    return None


def _word(word: bytes) -> str:
    return shown(word[:40].decode("latin-1"))


def _bad(name: str, what: str) -> BadMesh:
    return BadMesh(f"{name} is a PLY file whose header {what}.", EXPORT_AGAIN)
