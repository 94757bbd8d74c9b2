"""XML from outside, element by element: no document types, no entities, nothing that grows without bound."""

from collections.abc import Callable
from typing import IO
from xml.parsers import expat

from register.errors import BadMesh

Attributes = dict[str, str]
Start = Callable[[str, Attributes], None]
End = Callable[[str], None]

CHUNK_BYTES = 1 << 16
# An element with all its attributes. The parser holds it whole, and older ones read it anew with each chunk.
LONGEST_WORD_BYTES = 1 << 18
DEEPEST = 32
MOST_ELEMENTS = 2_000_000
# The parser keeps every name that it has met, and hands each out with its whole namespace.
MOST_NAMES = 500
LONGEST_NAME = 300
UTF16_MARKS = (b"\xff\xfe", b"\xfe\xff")

NO_SUCH = "Export it again with plain XML."


def walk(source: IO[bytes], start: Start, end: End, name: str) -> None:
    """Call `start` and `end` for each element of an XML stream.

    Parameters
    ----------
    source
        UTF-8, or UTF-16 with its mark; another encoding that it names is not followed.
    start, end
        Called with the name of the element, as `namespace local`, and its attributes.
    name
        Of the file, for messages.

    Raises
    ------
    BadMesh
        If it is no XML, has a document type or an entity of its own, or nests or grows too far.
    """
    chunk = source.read(CHUNK_BYTES)
    parser = expat.ParserCreate("utf-16" if chunk[:2] in UTF16_MARKS else "utf-8", " ")
    guard = _Guard(start, end, name)
    parser.StartElementHandler = guard.start
    parser.EndElementHandler = guard.end
    parser.StartDoctypeDeclHandler = guard.refuse_declaration
    parser.EntityDeclHandler = guard.refuse_declaration
    fed = 0
    try:
        while chunk:
            fed += len(chunk)
            parser.Parse(chunk, False)
            if fed - max(parser.CurrentByteIndex, 0) > LONGEST_WORD_BYTES:
                raise guard.refusal("holds an element without end")
            chunk = source.read(CHUNK_BYTES)
        parser.Parse(b"", True)
    except expat.ExpatError as fault:
        said = expat.errors.messages.get(fault.code, "no XML") if isinstance(fault.code, int) else "no XML"
        raise BadMesh(f"{name} holds damaged XML in line {fault.lineno}: {said}.", "Copy or export it again.") from None


class _Guard:
    """Counts what goes by."""

    def __init__(self, start: Start, end: End, name: str) -> None:
        self._start, self._end, self._name = start, end, name
        self._elements = self._depth = 0
        self._names: set[str] = set()

    def start(self, tag: str, attributes: Attributes) -> None:
        self._elements += 1
        self._depth += 1
        if tag not in self._names or not self._names.issuperset(attributes):
            self._learn((tag, *attributes))
        if self._depth > DEEPEST or self._elements > MOST_ELEMENTS:
            raise self.refusal("nests too deep, or holds too many elements")
        self._start(tag, attributes)

    def end(self, tag: str) -> None:
        self._depth -= 1
        self._end(tag)

    def _learn(self, names: tuple[str, ...]) -> None:
        self._names.update(names)
        if len(self._names) > MOST_NAMES or max(map(len, names)) > LONGEST_NAME:
            raise self.refusal("holds too many names, or too long ones")

    def refuse_declaration(self, *_: object) -> None:
        raise BadMesh(f"{self._name} holds XML with a document type or an entity of its own.", NO_SUCH)

    def refusal(self, what: str) -> BadMesh:
        return BadMesh(f"{self._name} holds XML that {what}.", NO_SUCH)
