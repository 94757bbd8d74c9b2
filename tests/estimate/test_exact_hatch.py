"""Hatch drawn line by line, against chords worked out by hand and against shapely."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from manifold3d import CrossSection
from shapely import LineString, Polygon, difference

from register.estimate.exact_hatch import Chords, chords
from register.estimate.hatch_lines import crossings, foreseen, outlines_of, turned

WIDTH = 0.45


def region(*corners: tuple[float, float]) -> CrossSection:
    return CrossSection([np.array(corners, dtype=np.float64)])


def rectangle(x_mm: float, y_mm: float) -> CrossSection:
    return region((0.0, 0.0), (x_mm, 0.0), (x_mm, y_mm), (0.0, y_mm))


def hatched(outline: CrossSection, spacing_mm: float, turn: float = 1.0) -> Chords:
    return chords([outline], np.array([turn]), np.array([spacing_mm]), WIDTH)


def lengths_mm(drawn: Chords) -> np.ndarray:
    return np.linalg.norm(drawn.leave_mm - drawn.enter_mm, axis=1)


@pytest.mark.parametrize("turn", [1.0, -1.0])
def test_every_chord_of_a_square_has_the_length_that_its_distance_from_the_middle_leaves(turn: float) -> None:
    # Seen along a diagonal a square of side a is a rhomb: at the distance d from its middle it is 2·(a/√2 − d) wide.
    # Lines at +45° have their middle at 0 (y = x), those at −45° at a/√2 (x + y = a), each at (j + ½)·s.
    side, spacing = 17.3, 2.25
    middle = 0.0 if turn > 0 else side / math.sqrt(2)
    lines = (np.arange(-20, 20) + 0.5) * spacing
    expected = 2 * (side / math.sqrt(2) - np.abs(lines - middle))
    drawn = hatched(rectangle(side, side), spacing, turn)
    assert np.sort(lengths_mm(drawn)) == pytest.approx(np.sort(expected[expected > WIDTH / 2]), rel=1e-7)
    steps = drawn.leave_mm - drawn.enter_mm
    assert np.abs(steps[:, 1] - turn * steps[:, 0]).max() < 1e-9


def test_the_hatch_of_a_square_is_its_area_over_the_spacing_within_a_chord() -> None:
    # Source: the sum over equally spaced lines is a midpoint sum of the area.
    for spacing in (0.45, 0.9, 2.25, 4.5):
        full = lengths_mm(hatched(rectangle(40.0, 40.0), max(spacing, 1.6 * WIDTH)))
        assert abs(full.sum() - 1600 / max(spacing, 1.6 * WIDTH)) < 40 * math.sqrt(2)


def test_linked_lines_cover_a_square_and_stay_half_a_line_inside() -> None:
    # A chord keeps w/2 off both sides, which at 45° takes √2·w off its length; the link to the next is √2·w long.
    drawn = hatched(rectangle(40.0, 40.0), WIDTH)
    assert drawn.extruded_mm.sum() * WIDTH == pytest.approx(1600.0, rel=0.002)
    # The first and the last lie in a corner, where there is no room for a chord.
    drawn_out = lengths_mm(drawn) > 0.0
    both = np.concatenate([drawn.enter_mm[drawn_out], drawn.leave_mm[drawn_out]])
    assert drawn_out.sum() == len(drawn_out) - 2
    assert both.min() == pytest.approx(WIDTH / 2, abs=1e-7) and both.max() == pytest.approx(40 - WIDTH / 2, abs=1e-7)
    links = np.linalg.norm(drawn.enter_mm[1:] - drawn.leave_mm[:-1], axis=1)
    assert np.median(links) == pytest.approx(math.sqrt(2) * WIDTH, rel=1e-6)
    # One cell, drawn to and fro in one go.
    assert (drawn.starts_cell.sum(), drawn.linked.sum()) == (1, len(links))


def test_a_ring_falls_into_a_foot_two_arms_and_a_top() -> None:
    # Source: boustrophedon cells; a hole parts one cell into two and joins two to one.
    ring = CrossSection.circle(20.0, 128) - CrossSection.circle(10.0, 128)
    drawn = hatched(ring, WIDTH)
    assert drawn.starts_cell.sum() == 4
    assert drawn.extruded_mm.sum() * WIDTH == pytest.approx(ring.area(), rel=0.01)


def test_two_pieces_are_two_cells_however_near_they_lie() -> None:
    assert hatched(rectangle(10.0, 10.0) + rectangle(10.0, 10.0).translate((10.5, 0.0)), WIDTH).starts_cell.sum() == 2


def test_a_strip_narrower_than_a_line_is_one_line_as_broad_as_the_strip() -> None:
    # 40 × 0.3: no chord has room; the line through their middles is straight and covers 12 mm².
    drawn = hatched(rectangle(40.0, 0.3), WIDTH)
    assert lengths_mm(drawn).max() == 0.0
    assert np.abs(drawn.enter_mm[1:-1, 1] - 0.15).max() < 1e-7  # but for its two corners
    assert drawn.linked[1:].all()
    assert drawn.extruded_mm.sum() * WIDTH == pytest.approx(12.0, rel=0.03)


def test_specks_between_far_lines_are_not_drawn() -> None:
    # A 0.2 mm strip at 45° is 0.28 mm across every line: less than half of a line's width of 0.9.
    strip = rectangle(40.0, 0.2)
    assert len(chords([strip], np.array([1.0]), np.array([2.0]), 0.9).region) == 0
    assert len(chords([strip], np.array([1.0]), np.array([2.0]), 0.45).region) > 0


def test_nothing_has_no_chords() -> None:
    assert len(hatched(CrossSection(), WIDTH).region) == 0
    assert len(chords([], np.zeros(0), np.zeros(0), WIDTH).region) == 0
    # Too small for a line to meet.
    assert len(hatched(rectangle(0.1, 0.1).translate((0.0, 0.05)), 50.0).region) == 0


def test_regions_hatched_together_are_hatched_as_alone() -> None:
    parts = [rectangle(9.0, 4.0), CrossSection(), CrossSection.circle(6.0, 48), rectangle(3.0, 12.0)]
    turns, spacings = np.array([1.0, 1.0, -1.0, -1.0]), np.array([0.45, 0.45, 2.0, 0.45])
    together = chords(parts, turns, spacings, WIDTH)
    for i, part in enumerate(parts):
        alone = chords([part], turns[i : i + 1], spacings[i : i + 1], WIDTH)
        own = together.region == i
        assert np.array_equal(together.enter_mm[own], alone.enter_mm)
        assert np.array_equal(together.extruded_mm[own], alone.extruded_mm)


stars = st.lists(st.floats(2.0, 20.0), min_size=5, max_size=16)


@settings(max_examples=40, deadline=None)
@given(stars, st.floats(0.8, 5.0), st.sampled_from([1.0, -1.0]), st.booleans())
def test_chords_are_those_that_shapely_cuts_from_the_same_lines(
    radii: list[float], spacing: float, turn: float, holed: bool
) -> None:
    angles = 2 * np.pi * np.arange(len(radii)) / len(radii) + 0.1
    rim = np.column_stack([np.cos(angles), np.sin(angles)]) * np.array(radii)[:, None]
    shape, outline = Polygon(rim), CrossSection([rim])
    if holed:
        hole = 0.4 * min(radii) * np.column_stack([np.cos(angles), np.sin(angles)])
        shape, outline = difference(shape, Polygon(hole)), outline - CrossSection([hole])
    outlines = outlines_of([outline])
    found = crossings(outlines, turned(outlines.points_mm, turn), np.array([spacing]))
    drawn = chords([outline], np.array([turn]), np.array([spacing]), 0.1)
    reference = 0.0
    for j in range(-40, 40):
        # Points of line j: y − turn·x = √2·(j + ½)·s for +45°, x + y likewise for −45°.
        foot = math.sqrt(2) * (j + 0.5) * spacing
        ends = [(x, turn * x + foot) for x in (-60.0, 60.0)]
        reference += shape.intersection(LineString(ends)).length
    assert lengths_mm(drawn).sum() == pytest.approx(reference, rel=1e-6, abs=0.05 * len(drawn.region) + 0.2)
    assert len(found.line) <= foreseen(outline, spacing) + 2 * len(radii)
    # Each chord is drawn once.
    middles = np.round((drawn.enter_mm + drawn.leave_mm) / 2, 6)
    assert len(np.unique(middles, axis=0)) == len(middles)
