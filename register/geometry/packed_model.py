"""The model of a 3MF file: objects, components and build items unfolded into triangles, within bounds."""

from array import array
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from register.domain.texts import shown
from register.errors import BadMesh
from register.geometry.packed_xml import Attributes

Floats = NDArray[np.float64]

# Source: 3MF core specification 1.3, section 3.4 (from memory).
UNITS_MM = {"micron": 0.001, "millimeter": 1.0, "centimeter": 10.0, "inch": 25.4, "foot": 304.8, "meter": 1000.0}
# The end of the namespace of the core specification.
CORE = "/3dmanufacturing/core/2015/02"
# A small file may unfold into this many; checking them takes some 0.6 kB each, and 500 MB is the limit.
MOST_TRIANGLES = 500_000
MOST_CORNERS = 500_000
MOST_OBJECTS = 10_000
MOST_PLACED = 10_000
# What placing one piece costs, in triangles: many small pieces are as slow as one large.
PIECE_WEIGHT = 50
DEEPEST_COMPONENT = 16
LONGEST_FIGURE = 40
LARGEST_FIGURE = 1e9
# Objects that are no part: supports and loose surfaces are made by whoever prepared the build.
PART_KIND = "model"

EXPORT_PLAIN = "Export it as a plain 3MF, or as STL."
EXPORT_AGAIN = "Copy or export it again."

# Where each element of the core may stand; elsewhere it means nothing and is refused.
PARENTS = {
    "resources": "model",
    "build": "model",
    "object": "resources",
    "mesh": "object",
    "components": "object",
    "component": "components",
    "vertices": "mesh",
    "triangles": "mesh",
    "vertex": "vertices",
    "triangle": "triangles",
    "item": "build",
}


@dataclass(frozen=True)
class _Placed:
    """An object where a transform (4, 4) for row vectors puts it."""

    object: int
    transform: Floats


@dataclass
class _Object:
    """A mesh or components. `weight` is what unfolding it costs in triangles, `depth` how far components nest in it."""

    kind: str
    corners: "array[float]" = field(default_factory=lambda: array("d"))
    faces: "array[int]" = field(default_factory=lambda: array("q"))
    parts: list[_Placed] = field(default_factory=list)
    weight: int = 0
    depth: int = 0


class ModelReader:
    """Takes the elements of a model as they go by; see `register.geometry.packed_xml.walk`.

    Parameters
    ----------
    name
        Of the file, for messages.
    """

    def __init__(self, name: str) -> None:
        self.unit, self.unit_mm = "millimeter", 1.0
        self.warnings: list[str] = []
        self._name = name
        self._path: list[str] = []
        self._objects: dict[int, _Object] = {}
        self._items: list[_Placed] = []
        self._open: tuple[int, _Object] | None = None
        self._corners = self._triangles = self._placed = self._foreign = 0
        self._starts: dict[str, Callable[[Attributes], None]] = {
            "model": self._model,
            "object": self._object,
            "vertex": self._vertex,
            "triangle": self._triangle,
            "component": self._component,
            "item": self._item,
        }

    def start(self, tag: str, attributes: Attributes) -> None:
        """An element begins."""
        namespace, _, local = tag.rpartition(" ")
        if not namespace.endswith(CORE):
            self._foreign += bool(self._path) and self._path[-1] in {"mesh", "object"}
            local = ""
        above = self._path[-1] if self._path else None
        if above is None and local != "model":
            raise self._refusal("holds no 3MF model", EXPORT_AGAIN)
        if local in PARENTS and above != PARENTS[local]:
            raise self._refusal(f"holds an element {local!r} where none may stand", EXPORT_AGAIN)
        self._path.append(local)
        if local in self._starts:
            self._starts[local](attributes)

    def end(self, tag: str) -> None:
        """An element ends."""
        if self._path.pop() == "object" and self._open is not None:
            self._close_object(*self._open)
            self._open = None

    def triangles(self) -> Floats:
        """Every triangle of the build: (n, 3, 3), n at least 1, in the file's unit.

        Raises
        ------
        BadMesh
            If there is none, or there are too many.
        """
        if self._foreign:
            self.warnings.append(f"Left out: what extensions of the format add to the part ({self._foreign}).")
        kept = [each for each in self._items if self._objects[each.object].kind == PART_KIND]
        if len(kept) < len(self._items):
            self.warnings.append(f"Left out: supports and loose surfaces in the file ({len(self._items) - len(kept)}).")
        if sum(self._objects[each.object].weight for each in kept) > MOST_TRIANGLES:
            raise self._too_much()
        pieces: list[Floats] = []
        for item in kept:
            self._unfold(item.object, item.transform, pieces)
        if not pieces:
            raise self._refusal("puts no part into its build", "Place the part in the build and export it again.")
        return pieces[0] if len(pieces) == 1 else np.concatenate(pieces)

    def _unfold(self, number: int, transform: Floats, pieces: list[Floats]) -> None:
        found = self._objects[number]
        if found.faces:
            faces = np.frombuffer(found.faces, dtype=np.int64).reshape(-1, 3)
            # A mirrored copy is inside out until its winding is turned.
            faces = faces if np.linalg.det(transform[:3, :3]) > 0.0 else faces[:, ::-1]
            # Only corners that a triangle has: an object may hold a million others.
            drawn = np.frombuffer(found.corners, dtype=np.float64).reshape(-1, 3)[faces]
            with np.errstate(over="ignore", invalid="ignore"):  # what overflows is refused as not finite
                pieces.append(drawn @ transform[:3, :3] + transform[3, :3])
        for part in found.parts:
            if self._objects[part.object].kind == PART_KIND:
                self._unfold(part.object, part.transform @ transform, pieces)

    def _model(self, attributes: Attributes) -> None:
        if len(self._path) > 1:
            raise self._refusal("holds a model in a model", EXPORT_AGAIN)
        needed = attributes.get("requiredextensions", "").split()
        if needed:
            raise self._refusal(f"needs an extension of the format ({shown(needed[0])[:40]})", EXPORT_PLAIN)
        self.unit = attributes.get("unit", "millimeter")
        if self.unit not in UNITS_MM:
            raise self._refusal("is drawn in a unit that the format does not have", "Export it in millimetres.")
        self.unit_mm = UNITS_MM[self.unit]

    def _object(self, attributes: Attributes) -> None:
        number = self._number(attributes.get("id", ""))
        if number in self._objects or len(self._objects) >= MOST_OBJECTS:
            raise self._refusal("holds two objects of one number, or too many", EXPORT_AGAIN)
        self._open = (number, _Object(attributes.get("type", PART_KIND)))

    def _close_object(self, number: int, made: _Object) -> None:
        if made.faces and max(made.faces) * 3 >= len(made.corners):
            raise self._refusal("has a triangle with a corner that is not there", EXPORT_AGAIN)
        if made.faces and made.parts:
            raise self._refusal("has an object that is mesh and components at once", EXPORT_AGAIN)
        inner = [self._objects[part.object] for part in made.parts]
        made.weight = PIECE_WEIGHT + len(made.faces) // 3 + sum(each.weight for each in inner)
        made.depth = 1 + max((each.depth for each in inner), default=0)
        if made.weight > MOST_TRIANGLES or made.depth > DEEPEST_COMPONENT:
            raise self._too_much()
        self._objects[number] = made

    def _vertex(self, attributes: Attributes) -> None:
        self._corners += 1
        if self._open is None or self._corners > MOST_CORNERS:
            raise self._too_much()
        self._open[1].corners.extend([self._figure(attributes.get(axis, "")) for axis in "xyz"])

    def _triangle(self, attributes: Attributes) -> None:
        self._triangles += 1
        if self._open is None or self._triangles > MOST_TRIANGLES:
            raise self._too_much()
        self._open[1].faces.extend([self._number(attributes.get(corner, "")) for corner in ("v1", "v2", "v3")])

    def _component(self, attributes: Attributes) -> None:
        if self._open is not None:
            self._open[1].parts.append(self._placement(attributes))

    def _item(self, attributes: Attributes) -> None:
        self._items.append(self._placement(attributes))

    def _placement(self, attributes: Attributes) -> _Placed:
        self._placed += 1
        if self._placed > MOST_PLACED:
            raise self._too_much()
        if any(each.endswith(" path") for each in attributes):
            raise self._refusal("spreads its objects over several models", EXPORT_PLAIN)
        number = self._number(attributes.get("objectid", ""))
        # An object is defined before it is used, so none can hold itself. Source: 3MF core specification.
        if number not in self._objects:
            raise self._refusal(f"uses object {number} before it is defined", EXPORT_AGAIN)
        return _Placed(number, self._transform(attributes.get("transform")))

    def _transform(self, text: str | None) -> Floats:
        """Twelve figures, row by row, the last row the shift. Source: 3MF core specification 1.3, section 3.3."""
        placed = np.eye(4)
        if text is None:
            return placed
        figures = [self._figure(each) for each in text.split(maxsplit=12)]
        if len(figures) != 12:
            raise self._refusal("has a transform that is not twelve figures", EXPORT_AGAIN)
        placed[:, :3] = np.array(figures).reshape(4, 3)
        if not np.abs(placed).max() <= LARGEST_FIGURE or np.linalg.det(placed[:3, :3]) == 0.0:
            raise self._refusal("has a transform that flattens or scatters a part", EXPORT_AGAIN)
        return placed

    def _figure(self, text: str) -> float:
        try:
            if len(text) <= LONGEST_FIGURE and "_" not in text:
                return float(text)
        except ValueError:
            pass
        raise self._refusal(f"has a figure that is no number: {shown(text[:LONGEST_FIGURE])!r}", EXPORT_AGAIN)

    def _number(self, text: str) -> int:
        if len(text) <= 10 and text.isascii() and text.isdecimal():
            return int(text)
        raise self._refusal(f"has a number that is none: {shown(text[:LONGEST_FIGURE])!r}", EXPORT_AGAIN)

    def _refusal(self, what: str, cure: str) -> BadMesh:
        return BadMesh(f"{self._name} {what}.", cure)

    def _too_much(self) -> BadMesh:
        return self._refusal(
            f"unfolds into more than {MOST_TRIANGLES} triangles, or nests too deep",
            "Export it with a coarser tolerance.",
        )
