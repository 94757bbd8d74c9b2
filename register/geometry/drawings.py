"""DXF drawings: one flat part's outline, or a refusal that says why there is none."""

from __future__ import annotations

import hashlib
import io
import logging
import struct
from collections import Counter
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np

from register.domain.texts import shown
from register.errors import BadDrawing, BadQuantity
from register.geometry.contours import closed_contours, one_outline
from register.geometry.curves import Floats, bulged, chords, sampled_spline
from register.geometry.outlines import openings
from register.geometry.plates import Plate

if TYPE_CHECKING:
    from ezdxf.document import Drawing

LARGEST_BYTES = 50_000_000
# The library makes some 200 bytes of each pair of lines, whatever they say.
MOST_LINES = 1_500_000
LARGEST_BINARY_BYTES = 10_000_000
MOST_ENTITIES = 100_000
MOST_BLOCKS = 10_000
MOST_POINTS = 5_000_000
DEEPEST_BLOCK = 12
LARGEST_MM = 10_000.0
# 10 m in the smallest unit, microinches, is 4e8.
LARGEST_NUMBER = 1e9
FLAT_MM = 0.02
# A drawing without a unit is taken as mm where its longer side is in this range. Source: common practice.
PLAUSIBLE_MM = (8.0, 3000.0)

UNITS_MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "ft": 304.8}
# $INSUNITS of the header. Source: DXF reference.
INSUNITS_MM = {1: 25.4, 2: 304.8, 4: 1.0, 5: 10.0, 6: 1000.0, 8: 25.4e-6, 9: 0.0254, 10: 914.4, 13: 1e-3, 14: 100.0}

CURVES = {"LINE", "ARC", "CIRCLE", "ELLIPSE", "SPLINE", "LWPOLYLINE", "POLYLINE"}
# What a drawing says about a part without being part of its outline.
REMARKS = {
    "TEXT", "MTEXT", "ATTRIB", "ATTDEF", "DIMENSION", "ARC_DIMENSION", "LARGE_RADIAL_DIMENSION", "LEADER",
    "MULTILEADER", "MLEADER", "TOLERANCE", "POINT", "HATCH", "MPOLYGON", "VIEWPORT", "IMAGE", "WIPEOUT", "RAY", "XLINE",
    "ACAD_TABLE",
}  # fmt: skip

REMARK, HIDDEN = "text, dimensions and marks", "what is on layers that are off or frozen"

# What damaged bytes raise inside ezdxf beside its own errors.
DAMAGE = (
    ValueError, LookupError, TypeError, AttributeError, ArithmeticError, RuntimeError, AssertionError, EOFError,
    StopIteration, MemoryError, struct.error,
)  # fmt: skip


def read_drawing(data: bytes, name: str, unit: str | None = None) -> Plate:
    """The flat part that a DXF file draws, in mm and in the drawing's own coordinates.

    Parameters
    ----------
    data
        The bytes of an ASCII or binary DXF file.
    name
        What to call it in messages.
    unit
        mm, cm, m, in or ft: what a number of the drawing means if the drawing itself does not say it.

    Returns
    -------
    Plate
        With `thickness_mm` None. Areas and lengths are within 1e-4 of the curves; round holes keep their radius.

    Raises
    ------
    BadDrawing
        For anything that gives no sure outline of one part.
    BadQuantity
        If `unit` is none of the five.
    """
    from ezdxf.lldxf.const import DXFError

    name = shown(name)
    _refuse_other_files(data, name)
    try:
        with np.errstate(all="ignore"):
            document, warnings = _opened(data)
            pieces, remarks = _pieces(document)
            insunits = int(document.header.get("$INSUNITS", 0))
    except (DXFError, *DAMAGE) as fault:
        raise BadDrawing(
            f"{name} is damaged and cannot be read as a drawing.", "Export it again as DXF, R12 or later."
        ) from fault
    scale, said = _scale(insunits, unit, pieces, name)
    rings, dropped = closed_contours([_in_bounds(piece * scale) for piece in pieces])
    if not rings:
        raise BadDrawing(f"{name} holds no closed contour.", "Draw the outline as a closed loop in model space.")
    outline = one_outline(rings)
    holes, slots = openings(outline)
    left, low, right, high = outline.bounds
    warnings += remarks + said
    if dropped:
        warnings += (f"Lines drawn twice, counted once ({dropped}).",)
    size = (right - left, high - low, 0.0)
    sha256 = hashlib.sha256(data).hexdigest()
    return Plate(None, outline, holes, len(slots), slots, (), (), size, sha256, warnings)


def _refuse_other_files(data: bytes, name: str) -> None:
    if not data.strip(b"\x00 \t\r\n"):
        raise BadDrawing(f"{name} is empty.", "Export the drawing again.")
    if len(data) > LARGEST_BYTES:
        raise BadDrawing(f"{name} has {len(data) / 1e6:.0f} MB.", f"Give at most {LARGEST_BYTES / 1e6:.0f} MB.")
    if data.count(b"\n") > MOST_LINES or (b"Binary DXF" in data[:22] and len(data) > LARGEST_BINARY_BYTES):
        raise BadDrawing(f"{name} is too fine to be handled.", "Export its curves with fewer points.")
    if data.lstrip(b"\xef\xbb\xbf \t\r\n")[:1] == b"<":
        raise BadDrawing(f"{name} is a web page and not a drawing.", "Download the DXF file itself.")
    if data[:4] == b"AC10" and data[4:6].isdigit():
        raise BadDrawing(f"{name} is a DWG file.", "Export it as DXF.")
    if b"SECTION" not in data:
        raise BadDrawing(f"{name} is not a DXF file.", "Export the drawing as DXF.")
    if not data.rstrip(b"\x00\x1a \t\r\n").endswith(b"EOF"):
        raise BadDrawing(f"{name} is cut short: its end mark is missing.", "Export or copy it again.")


def _opened(data: bytes) -> tuple[Drawing, tuple[str, ...]]:
    """The document, and a warning if it had to be repaired."""
    from ezdxf import recover
    from ezdxf.document import Drawing
    from ezdxf.filemanagement import read
    from ezdxf.lldxf.const import DXFError
    from ezdxf.lldxf.tagger import binary_tags_loader

    log = logging.getLogger("ezdxf")
    if not log.handlers:
        # Without a handler Python prints its remarks on stderr, past every front end.
        log.addHandler(logging.NullHandler())
    if b"Binary DXF" in data[:22]:
        return Drawing.load(binary_tags_loader(data)), ()
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError:
        text = data.decode("latin-1")
    try:
        return read(io.StringIO(text.replace("\r\n", "\n").removeprefix("\ufeff"))), ()
    except (DXFError, *DAMAGE):
        document, _ = recover.read(io.BytesIO(data))
        return document, ("The file had faults that were mended; compare the outline with the drawing.",)


def _pieces(document: Drawing) -> tuple[list[Floats], tuple[str, ...]]:
    """Every visible curve of model space, (n, 3) in drawing units, and what was left out."""
    pieces: list[Floats] = []
    left_out: Counter[str] = Counter()
    points = 0
    for entity in _visible(document, left_out):
        kind = entity.dxftype()
        if kind in REMARKS:
            left_out[REMARK] += 1
            continue
        if kind not in CURVES:
            raise BadDrawing(
                f"The drawing holds {shown(kind)}, which is no plain curve.", "Draw it with lines, arcs and splines."
            )
        pieces.append(_finite(_line_of(entity, kind)))
        points += len(pieces[-1])
        if points > MOST_POINTS:
            raise BadDrawing("The drawing is too fine to be handled.", "Export its curves with fewer points.")
    if not pieces:
        _refuse_nothing(document, left_out)
    return pieces, tuple(f"Left out: {what} ({count})." for what, count in left_out.items())


def _refuse_nothing(document: Drawing, left_out: Counter[str]) -> None:
    if left_out[HIDDEN]:
        raise BadDrawing("All curves are on layers that are off or frozen.", "Turn the outline's layer on.")
    if any(entity.dxftype() in CURVES | {"INSERT"} for layout in document.layouts if layout.name != "Model"
           for entity in layout):  # fmt: skip
        raise BadDrawing("The drawing has curves in paper space only.", "Move the outline to model space.")
    raise BadDrawing("The drawing holds no curves.", "Draw the outline in model space and export it again.")


def _visible(document: Drawing, left_out: Counter[str]) -> Iterator[Any]:
    """Entities of model space with blocks resolved, without what a layer or a flag hides."""
    off = {layer.dxf.name.lower() for layer in document.layers if layer.is_off()}
    frozen = {layer.dxf.name.lower() for layer in document.layers if layer.is_frozen()} | {"defpoints"}
    waiting = [(entity, 0) for entity in document.modelspace()]
    handled = blocks = 0
    while waiting:
        entity, depth = waiting.pop()
        block = entity.dxftype() == "INSERT"
        handled, blocks = handled + 1, blocks + block
        if handled + len(waiting) > MOST_ENTITIES or blocks > MOST_BLOCKS or depth > DEEPEST_BLOCK:
            raise BadDrawing("The drawing's blocks unfold into too much.", "Save the one part that is wanted.")
        layer = str(entity.dxf.get("layer", "0")).lower()
        if layer in frozen or (layer in off and not block) or entity.dxf.get("invisible", 0):
            left_out[HIDDEN] += 1
        elif block:
            waiting += [(inner, depth + 1) for inner in _unfolded(entity)]
        else:
            yield entity


def _unfolded(insert: Any) -> list[Any]:
    """The content of a block where it is inserted, one step deep; layer 0 takes on the insert's layer."""
    from ezdxf.xclip import XClip

    if insert.mcount > 1:
        if insert.mcount > MOST_BLOCKS:
            raise BadDrawing("The drawing's blocks unfold into too much.", "Save the one part that is wanted.")
        return list(insert.multi_insert())
    if XClip(insert).has_clipping_path:
        raise BadDrawing("The drawing clips a block.", "Draw the clipped outline itself.")
    skipped: list[str] = []
    inner = []
    for entity in insert.virtual_entities(skipped_entity_callback=lambda one, _: skipped.append(one.dxftype())):
        if entity.dxf.get("layer", "0") == "0":
            entity.dxf.layer = insert.dxf.get("layer", "0")
        inner.append(entity)
        if len(inner) > MOST_ENTITIES:
            raise BadDrawing("The drawing's blocks unfold into too much.", "Save the one part that is wanted.")
    if set(skipped) - REMARKS:
        raise BadDrawing("A block is stretched in a way that cannot be followed.", "Explode it before export.")
    return inner


def _line_of(entity: Any, kind: str) -> Floats:
    """One curve as points (n, 3)."""
    if kind == "LINE":
        return _array([entity.dxf.start, entity.dxf.end])
    if kind == "CIRCLE":
        return _array(entity.vertices(np.linspace(0.0, 360.0, chords(2.0 * np.pi) + 1)))
    if kind == "ARC":
        start = float(entity.dxf.start_angle)
        span = (float(entity.dxf.end_angle) - start) % 360.0 or 360.0
        return _array(entity.vertices(np.linspace(start, start + span, chords(np.radians(span)) + 1)))
    if kind == "ELLIPSE":
        start = float(entity.dxf.start_param)
        span = (float(entity.dxf.end_param) - start) % (2.0 * np.pi)
        span = span if span > 1e-9 else 2.0 * np.pi
        return _array(entity.vertices(np.linspace(start, start + span, chords(span) + 1)))
    if kind == "SPLINE":
        return sampled_spline(entity.construction_tool())
    return _polyline(entity, kind)


def _polyline(entity: Any, kind: str) -> Floats:
    """LWPOLYLINE or POLYLINE as points (n, 3)."""
    if kind == "POLYLINE" and not (entity.is_2d_polyline or entity.is_3d_polyline):
        raise BadDrawing("The drawing holds a surface mesh.", "Draw the outline with lines, arcs and splines.")
    if kind == "LWPOLYLINE":
        rows = [(x, y, entity.dxf.elevation, bulge) for x, y, bulge in entity.get_points("xyb")]
    else:
        # Flag 16 marks the control points of a fitted curve, which are not on it.
        drawn = [vertex.dxf for vertex in entity.vertices if not vertex.dxf.flags & 16]
        rows = [(*each.location, each.get("bulge", 0.0)) for each in drawn]
    if len(rows) < 2:
        raise BadDrawing("The drawing holds a polyline of one point.", "Delete it.")
    table = np.array(rows + rows[:1] if entity.is_closed else rows, dtype=np.float64)
    if kind == "POLYLINE" and entity.is_3d_polyline:
        return table[:, :3]
    flat = bulged(table[:, :2], table[:-1, 3])
    ocs = entity.ocs()
    return _array(ocs.points_to_wcs([(x, y, table[0, 2]) for x, y in flat]) if ocs.transform else
                  np.column_stack([flat, np.full(len(flat), table[0, 2])]))  # fmt: skip


def _array(points: Any) -> Floats:
    return np.array([tuple(point) for point in points], dtype=np.float64)


def _finite(piece: Floats) -> Floats:
    if not np.isfinite(piece).all() or np.abs(piece).max() > LARGEST_NUMBER:
        raise BadDrawing("The drawing holds a coordinate that is no length.", "Export it again.")
    return piece


def _in_bounds(piece: Floats) -> Floats:
    """x and y of a piece in mm, if it is flat and near the origin."""
    if np.abs(piece).max() >= LARGEST_MM:
        raise BadDrawing(
            "The drawing has a point 10 m or more from its origin.", "Check its unit and move it to the origin."
        )
    if np.ptp(piece[:, 2]) > FLAT_MM:
        raise BadDrawing("The drawing does not lie flat in x and y.", "Export a view from above.")
    return piece[:, :2]


def _scale(insunits: int, unit: str | None, pieces: list[Floats], name: str) -> tuple[float, tuple[str, ...]]:
    """Millimetres for one drawing unit, and what is to be said of it."""
    if unit is not None and unit not in UNITS_MM:
        raise BadQuantity(f"{shown(unit)!r} is no unit of length here.", f"Use one of {', '.join(UNITS_MM)}.")
    if insunits:
        scale = INSUNITS_MM.get(insunits)
        if scale is None:
            raise BadDrawing(f"{name} is drawn in a unit that no part has.", "Set its unit to mm or inches.")
        if unit is not None and UNITS_MM[unit] != scale:
            return scale, (f"The drawing states its own unit, {scale:g} mm; {unit} was not used.",)
        return scale, ()
    if unit is not None:
        return UNITS_MM[unit], ()
    points = np.vstack(pieces)[:, :2]
    longest = float(np.ptp(points, axis=0).max())
    if not PLAUSIBLE_MM[0] <= longest <= PLAUSIBLE_MM[1]:
        raise BadDrawing(f"{name} states no unit, and {longest:g} mm would be no usual size.", "Say its unit.")
    return 1.0, (f"The drawing states no unit; mm were taken, so it is {longest:g} mm long.",)
