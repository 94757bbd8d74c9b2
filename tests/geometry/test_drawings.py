"""DXF drawings: each is right to 1e-4 or refused with its own sentence."""

import io
import math
from collections.abc import Callable
from typing import Any

import ezdxf
import numpy as np
import pytest
from ezdxf.document import Drawing
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from register.errors import BadDrawing, BadQuantity
from register.geometry.drawings import read_drawing
from register.geometry.plates import Plate

MM, INCH = 4, 1
EXACT = 1e-4


def blank(insunits: int = MM) -> Drawing:
    document = ezdxf.new("R2010")
    document.header["$INSUNITS"] = insunits
    return document


def ascii_bytes(document: Drawing) -> bytes:
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue().encode()


def binary_bytes(document: Drawing) -> bytes:
    stream = io.BytesIO()
    document.write(stream, fmt="bin")
    return stream.getvalue()


def rectangle(space: Any, width: float = 100, height: float = 60, **layer: str) -> None:
    space.add_lwpolyline([(0, 0), (width, 0), (width, height), (0, height)], close=True, dxfattribs=layer)


def read(document: Drawing, unit: str | None = None) -> Plate:
    return read_drawing(ascii_bytes(document), "part.dxf", unit)


def refused(document: Drawing, match: str) -> None:
    with pytest.raises(BadDrawing, match=match):
        read(document)


def holed() -> Drawing:
    document = blank()
    rectangle(document.modelspace())
    document.modelspace().add_circle((20, 20), 3)
    return document


@pytest.mark.parametrize("write", [ascii_bytes, binary_bytes])
def test_a_plate_with_a_hole_reads_alike_from_text_and_binary_files(write: Callable[[Drawing], bytes]) -> None:
    plate = read_drawing(write(holed()), "part.dxf")

    assert plate.thickness_mm is None
    assert plate.outline.area == pytest.approx(6000 - math.pi * 9, rel=EXACT)
    assert plate.outline.exterior.length == pytest.approx(320, rel=1e-9)
    assert [(h.diameter_mm, h.x_mm, h.y_mm) for h in plate.holes] == [pytest.approx((6, 20, 20), abs=1e-9)]
    assert plate.size_mm == pytest.approx((100, 60, 0))
    assert plate.warnings == ()


def test_the_drawings_own_unit_is_honoured() -> None:
    document = holed()
    document.header["$INSUNITS"] = INCH
    plate = read(document)

    assert plate.outline.area == pytest.approx((6000 - math.pi * 9) * 25.4**2, rel=EXACT)
    assert plate.holes[0].diameter_mm == pytest.approx(6 * 25.4, rel=1e-9)


def test_a_drawing_without_a_unit_takes_the_one_given() -> None:
    document = holed()
    document.header["$INSUNITS"] = 0

    assert read(document, "in").size_mm[0] == pytest.approx(2540)
    assert read(document, "mm").warnings == ()


def test_a_drawing_without_a_unit_is_taken_as_mm_only_where_that_is_likely_and_said() -> None:
    document = holed()
    document.header["$INSUNITS"] = 0
    assert any("no unit" in warning for warning in read(document).warnings)

    small = blank(0)
    rectangle(small.modelspace(), 4, 2.5)
    refused(small, "states no unit")


def test_a_unit_that_contradicts_the_drawing_is_said_and_an_unknown_one_refused() -> None:
    plate = read(holed(), "in")
    assert plate.size_mm[0] == pytest.approx(100)
    assert any("not used" in warning for warning in plate.warnings)
    with pytest.raises(BadQuantity):
        read(holed(), "furlong")


def test_a_unit_that_no_part_has_is_refused() -> None:
    refused(blank_with_rectangle(insunits=20), "unit that no part has")  # 20: light years


def blank_with_rectangle(insunits: int = MM) -> Drawing:
    document = blank(insunits)
    rectangle(document.modelspace())
    return document


def drawn(draw: Callable[[Any], None]) -> Drawing:
    document = blank()
    draw(document.modelspace())
    return document


def half_round_corner(space: Any) -> None:
    # tan(90°/4) = 0.41421…: a quarter circle of radius 10 cut off a corner of 110 × 50.
    space.add_lwpolyline(
        [(0, 0, 0), (100, 0, math.tan(math.pi / 8)), (110, 10, 0), (110, 50, 0), (0, 50, 0)], format="xyb", close=True
    )


def lines_and_arcs(space: Any) -> None:
    # A stadium: 40 × 20 with half circles of radius 10, its lines drawn in any direction.
    space.add_line((0, 0), (40, 0))
    space.add_arc((40, 10), 10, 270, 90)
    space.add_line((0, 20), (40, 20))
    space.add_arc((0, 10), 10, 90, 270)


def rational_circle(space: Any) -> None:
    # The circle as nine weighted points of degree 2. Source: Piegl & Tiller, The NURBS Book, from memory.
    points = [(1, 0), (1, 1), (0, 1), (-1, 1), (-1, 0), (-1, -1), (0, -1), (1, -1), (1, 0)]
    weights = [1, math.sqrt(0.5)] * 4 + [1]
    knots = [0, 0, 0, 1, 1, 2, 2, 3, 3, 4, 4, 4]
    space.add_rational_spline([(30 * x, 30 * y) for x, y in points], weights, degree=2, knots=knots)


def periodic_spline(space: Any) -> None:
    corners = [(50 * math.cos(math.pi * k / 4), 50 * math.sin(math.pi * k / 4), 0) for k in range(8)]
    space.add_spline().set_closed(corners, 3)


def periodic_spline_mm2() -> float:
    # A uniform cubic B-spline round 8 points, summed in 8 × 2000 chords (area short by less than 1e-7).
    corners = [(50 * math.cos(math.pi * k / 4), 50 * math.sin(math.pi * k / 4)) for k in range(8)]
    basis = np.array([[1, 4, 1, 0], [-3, 0, 3, 0], [3, -6, 3, 0], [-1, 3, -3, 1]]) / 6
    t = np.linspace(0, 1, 2000, endpoint=False)
    powers = np.stack([t**0, t, t**2, t**3], axis=1)
    x, y = np.vstack([powers @ basis @ np.array([corners[(k + i) % 8] for i in range(4)]) for k in range(8)]).T
    return float(abs((x * np.roll(y, -1) - np.roll(x, -1) * y).sum()) / 2)


def bezier_leaf(space: Any) -> None:
    # Two cubic Bézier curves that mirror each other: y = ±3·10·t(1 − t), x = 60t.
    for side in (1, -1):
        control = [(0, 0), (20, 10 * side), (40, 10 * side), (60, 0)]
        space.add_open_spline(control, degree=3)


def from_extrusion(space: Any) -> None:
    # With the extrusion direction down, x is mirrored: the hole at (−5, 0) is in the middle of the disc at (5, 0).
    space.add_circle((5, 0), 10, dxfattribs={"extrusion": (0, 0, -1)})
    space.add_circle((-5, 0), 2)


@pytest.mark.parametrize(
    ("draw", "area_mm2", "holes"),
    [
        (half_round_corner, 110 * 50 - 100 * (1 - math.pi / 4), 0),
        (lines_and_arcs, 40 * 20 + math.pi * 100, 0),
        (lambda space: space.add_ellipse((0, 0), (50, 0), 0.4), math.pi * 50 * 20, 0),
        (lambda space: space.add_lwpolyline([(0, 0, 1), (20, 0, 1)], format="xyb", close=True), math.pi * 100, 0),
        (rational_circle, math.pi * 900, 0),
        (periodic_spline, periodic_spline_mm2(), 0),
        # Between them: 2·∫ 30t(1 − t)·60 dt = 2·60·30/6.
        (bezier_leaf, 600, 0),
        (from_extrusion, math.pi * 96, 1),
    ],
    ids=["bulge", "arcs", "ellipse", "two bulges", "rational spline", "periodic spline", "bezier", "extrusion"],
)
def test_curves_keep_their_area(draw: Callable[[Any], None], area_mm2: float, holes: int) -> None:
    plate = read(drawn(draw))

    assert plate.outline.area == pytest.approx(area_mm2, rel=EXACT)
    assert len(plate.holes) == holes


def test_bulges_of_an_old_drawing_keep_their_area() -> None:
    document = ezdxf.new("R12")
    document.header["$INSUNITS"] = 0
    corner = math.tan(math.pi / 8)
    points = [(0, 0, 0), (100, 0, corner), (110, 10, 0), (110, 50, 0), (0, 50, 0)]
    document.modelspace().add_polyline2d(points, format="xyb", close=True)

    plate = read_drawing(ascii_bytes(document), "old.dxf", "mm")

    assert plate.outline.area == pytest.approx(110 * 50 - 100 * (1 - math.pi / 4), rel=EXACT)


def test_a_hole_of_two_half_circles_keeps_its_radius() -> None:
    document = blank_with_rectangle()
    document.modelspace().add_lwpolyline([(40, 30, 1), (46.35, 30, 1)], format="xyb", close=True)

    assert [hole.diameter_mm for hole in read(document).holes] == pytest.approx([6.35], abs=1e-9)


def test_mirrored_stretched_nested_and_repeated_blocks_are_followed() -> None:
    document = blank()
    space = document.modelspace()
    rectangle(space, 200, 100)
    inner = document.blocks.new("INNER")
    inner.add_circle((0, 0), 2)
    outer = document.blocks.new("OUTER")
    outer.add_lwpolyline([(0, 0), (20, 0), (0, 10)], close=True)
    outer.add_blockref("INNER", (-10, 5))
    space.add_blockref("OUTER", (60, 20), dxfattribs={"xscale": -1, "rotation": 20})
    space.add_blockref("INNER", (150, 50), dxfattribs={"xscale": 3})
    space.add_blockref(
        "INNER",
        (100, 70),
        dxfattribs={"row_count": 2, "column_count": 3, "row_spacing": 10, "column_spacing": 10},
    )
    plate = read(document)

    # A triangle of 100 mm², a hole of 4 mm, an ellipse of half axes 6 and 2, and 2 × 3 holes of 4 mm.
    expected = 20000 - 100 - math.pi * 4 - math.pi * 12 - 6 * math.pi * 4
    assert plate.outline.area == pytest.approx(expected, rel=1e-6)
    assert len(plate.holes) == 7
    assert plate.slots == 2
    turned = next(hole for hole in plate.holes if hole.x_mm < 80)
    # (−10, 5) mirrored in x is (10, 5), turned by 20° and moved to (60, 20).
    angle = math.radians(20)
    x = 60 + 10 * math.cos(angle) - 5 * math.sin(angle)
    y = 20 + 10 * math.sin(angle) + 5 * math.cos(angle)
    assert (turned.x_mm, turned.y_mm) == pytest.approx((x, y), abs=1e-6)


def test_lines_drawn_twice_count_once_and_are_said() -> None:
    document = blank()
    space = document.modelspace()
    for start, end in [
        ((0, 0), (50, 0)),
        ((50, 0), (50, 40)),
        ((50, 40), (0, 40)),
        ((0, 40), (0, 0)),
        ((50, 0), (0, 0)),
    ]:
        space.add_line(start, end)
    space.add_circle((20, 20), 4)
    space.add_circle((20, 20), 4)
    plate = read(document)

    assert plate.outline.area == pytest.approx(2000 - math.pi * 16, rel=EXACT)
    assert len(plate.holes) == 1
    assert any("twice, counted once (2)" in warning for warning in plate.warnings)


def test_ends_a_hundredth_apart_are_joined() -> None:
    document = blank()
    space = document.modelspace()
    for start, end in [((0, 0), (50, 0)), ((50.01, 0), (50, 40)), ((50, 40.01), (0, 40)), ((0, 40), (0, 0))]:
        space.add_line(start, end)

    assert read(document).outline.area == pytest.approx(2000, rel=5e-4)


def test_text_dimensions_and_hidden_layers_are_left_out_and_said() -> None:
    document = blank_with_rectangle()
    space = document.modelspace()
    document.layers.add("HIDDEN").off()
    document.layers.add("COLD").freeze()
    space.add_circle((20, 20), 3, dxfattribs={"layer": "HIDDEN"})
    space.add_circle((40, 20), 3, dxfattribs={"layer": "COLD"})
    space.add_text("break edges")
    space.add_linear_dim((0, 70), (0, 60), (100, 60)).render()
    plate = read(document)

    assert plate.outline.area == pytest.approx(6000)
    assert any("text, dimensions and marks (2)" in warning for warning in plate.warnings)
    assert any("off or frozen (2)" in warning for warning in plate.warnings)


def test_every_way_to_give_no_sure_outline_has_its_own_sentence() -> None:
    gap = drawn(
        lambda space: [space.add_line(*ends) for ends in [((0, 0), (9, 0)), ((9, 0), (9, 9)), ((9, 9), (0, 1))]]
    )
    fork = blank_with_rectangle()
    fork.modelspace().add_lwpolyline([(10, 10), (20, 10), (20, 20)])
    fork.modelspace().add_line((20, 20), (10, 10))
    fork.modelspace().add_line((10, 10), (20, 20.5))
    fork.modelspace().add_line((20, 20.5), (20, 20))
    cross = blank_with_rectangle()
    cross.modelspace().add_circle((100, 20), 3)
    bow = drawn(lambda space: space.add_lwpolyline([(0, 0), (50, 40), (50, 0), (0, 40)], close=True))
    two = blank_with_rectangle()
    two.modelspace().add_circle((200, 20), 30)
    frame = blank_with_rectangle()
    frame.modelspace().add_lwpolyline([(20, 20), (50, 20), (50, 50)], close=True)
    frame.modelspace().add_circle((45, 25), 1)
    paper = blank()
    paper.paperspace().add_circle((0, 0), 30)
    hidden = blank()
    hidden.layers.add("OUT").off()
    rectangle(hidden.modelspace(), layer="OUT")
    tilted = drawn(lambda space: space.add_circle((0, 0), 10, dxfattribs={"extrusion": (0, 1, 0)}))
    filled = blank_with_rectangle()
    filled.modelspace().add_solid([(0, 0), (1, 0), (1, 1)])
    own_block = blank()
    own_block.blocks.new("SELF").add_blockref("SELF", (1, 1))
    own_block.modelspace().add_blockref("SELF", (0, 0))
    cases = {
        "open at": gap,
        "fork at": fork,
        "Two contours cross": cross,
        "crosses or touches itself": bow,
        "2 separate parts": two,
        "frame": frame,
        "paper space": paper,
        "off or frozen": hidden,
        "no curves": blank(),
        "lie flat": tilted,
        "SOLID": filled,
        "blocks unfold": own_block,
        "no length": drawn(lambda space: space.add_circle((0, 0), math.nan)),
        "10 m": drawn(lambda space: space.add_circle((0, 0), 20_000)),
    }
    for sentence, document in cases.items():
        refused(document, sentence)


def test_bytes_of_another_kind_are_refused_by_what_they_are() -> None:
    whole = ascii_bytes(holed())
    cases = {
        "is empty": b"",
        "web page": b"<!doctype html><html></html>",
        "DWG": b"AC1027\x00\x00\x00\x00\x00\x02" * 20,
        "not a DXF": b"solid part\nfacet normal 0 0 1\n",
        "cut short": whole[: len(whole) // 2],
    }
    for sentence, data in cases.items():
        with pytest.raises(BadDrawing, match=sentence):
            read_drawing(data, "part.dxf")


def test_ten_blocks_of_ten_of_ten_do_not_run_away() -> None:
    document = blank()
    for level in range(9):
        block = document.blocks.new(f"LEVEL{level}")
        for index in range(10):
            block.add_blockref(f"LEVEL{level + 1}", (index, 0))
    document.blocks.new("LEVEL9")
    document.modelspace().add_blockref("LEVEL0", (0, 0))

    refused(document, "blocks unfold")


def many_kinds() -> Drawing:
    document = holed()
    space = document.modelspace()
    space.add_ellipse((50, 30), (8, 0), 0.5)
    space.add_lwpolyline([(70, 10, 1), (80, 10, 1)], format="xyb", close=True)
    space.add_spline([(60, 45), (65, 40), (70, 45), (65, 50), (60, 45)])
    space.add_arc((30, 40), 3, 0, 180)
    space.add_line((27, 40), (33, 40))
    document.blocks.new("WEDGE").add_lwpolyline([(0, 0), (5, 0), (0, 5)], close=True)
    space.add_blockref("WEDGE", (85, 45), dxfattribs={"rotation": 30, "xscale": 2})
    return document


WHOLE = {"ascii": ascii_bytes(many_kinds()), "binary": binary_bytes(many_kinds())}
CHANGES = st.tuples(
    st.floats(0, 1, exclude_max=True),
    st.integers(0, 12),
    st.sampled_from([b"", b"9", b"-", b"e308", b"nan", b"inf", b"\n", b"\x00", b"\xff", b"0\nEOF\n", b"CIRCLE"]),
)


def test_the_drawing_that_is_damaged_below_reads_whole() -> None:
    for data in WHOLE.values():
        assert len(read_drawing(data, "part.dxf").holes) >= 2


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.sampled_from(sorted(WHOLE)), st.lists(CHANGES, min_size=1, max_size=6), st.booleans())
def test_damaged_bytes_give_a_plate_or_a_refusal_and_nothing_else(
    kind: str, changes: list[tuple[float, int, bytes]], in_entities: bool
) -> None:
    data = bytearray(WHOLE[kind])
    for share, deleted, inserted in changes:
        first = max(data.find(b"ENTITIES"), 0) if in_entities else 0
        place = first + int(share * (len(data) - first))
        data[place : place + deleted] = inserted
    try:
        plate = read_drawing(bytes(data), "part.dxf")
    except BadDrawing:
        return
    assert plate.outline.is_valid
    assert plate.outline.area > 0
