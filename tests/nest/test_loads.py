"""Pieces side by side, against counts made by hand."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from register.errors import BadQuantity, DoesNotFit
from register.nest.loads import loads, sheets

BED = (250.0, 210.0, 200.0)


def test_full_loads_come_first_and_the_rest_last() -> None:
    # With 10 mm between pieces of 100: (250 + 10) / 110 = 2.4 across, (210 + 10) / 110 = 2 deep: 4 in a load.
    assert loads(10, (100.0, 100.0, 10.0), BED, 10.0) == (4, 4, 2)
    assert loads(8, (100.0, 100.0, 10.0), BED, 10.0) == (4, 4)
    assert loads(3, (100.0, 100.0, 10.0), BED, 10.0) == (3,)


def test_nothing_wanted_takes_no_load() -> None:
    assert loads(0, (100.0, 100.0, 10.0), BED, 10.0) == ()
    assert sheets(0, (100.0, 100.0), (500.0, 500.0), 1.0, 1.0) == 0


def test_pieces_are_turned_where_more_fit() -> None:
    # As it lies, 150 x 60: 1 across, 3 deep. Turned, 60 x 150: 4 across, 1 deep.
    assert loads(4, (150.0, 60.0, 5.0), BED, 0.0) == (4,)
    assert loads(4, (60.0, 150.0, 5.0), BED, 0.0) == (4,)
    assert loads(1, (210.0, 250.0, 5.0), BED, 0.0) == (1,)


def test_two_blocks_hold_more_than_either_grid() -> None:
    # 5 x 3 on 8 x 6: lying 1 x 2, turned 2 x 1, so 2 each; a column of two lying and one turned beside it: 3.
    assert loads(9, (5.0, 3.0, 1.0), (8.0, 6.0, 1.0), 0.0) == (3, 3, 3)
    # The same across the other side of the bed.
    assert loads(9, (5.0, 3.0, 1.0), (6.0, 8.0, 1.0), 0.0) == (3, 3, 3)


def test_the_gap_is_kept_between_the_two_blocks() -> None:
    # 5 x 3 with 1 mm between: 5 + 1 + 3 across and 3 + 1 + 3 deep are 9 x 7. A tenth less leaves no room for the third.
    assert loads(3, (5.0, 3.0, 1.0), (9.0, 7.0, 1.0), 1.0) == (3,)
    assert loads(3, (5.0, 3.0, 1.0), (8.9, 7.0, 1.0), 1.0) == (2, 1)


def test_pieces_that_just_fit_are_not_lost_to_rounding() -> None:
    # 0.3 / 0.1 is 2.9999999999999996 in floats.
    assert loads(9, (0.1, 0.1, 0.1), (0.3, 0.3, 0.1), 0.0) == (9,)


@pytest.mark.parametrize("size", [(251.0, 10.0, 10.0), (212.0, 212.0, 10.0), (10.0, 10.0, 201.0)])
def test_a_piece_larger_than_the_bed_is_refused_with_its_size(size: tuple[float, float, float]) -> None:
    with pytest.raises(DoesNotFit) as refusal:
        loads(1, size, BED, 2.0)
    assert f"{size[0]:g} × {size[1]:g} × {size[2]:g} mm does not fit into 250 × 210 × 200 mm" in refusal.value.what
    assert refusal.value.cure


def test_whole_sheets() -> None:
    # 200 x 150 on 1220 x 610 with 10 mm at the edges and 6 mm between: 1200 x 590 to use. Lying 5 x 3 = 15, turned
    # 7 x 2 = 14; one row of 5 lying (150 + 6) and two rows of 7 turned (200 + 6 + 200) take 562 of 590 mm: 19.
    assert sheets(19, (200.0, 150.0, 3.0), (1220.0, 610.0), 6.0, 10.0) == 1
    assert sheets(20, (200.0, 150.0, 3.0), (1220.0, 610.0), 6.0, 10.0) == 2
    assert sheets(39, (200.0, 150.0, 3.0), (1220.0, 610.0), 6.0, 10.0) == 3


def test_the_margin_can_be_what_makes_a_piece_too_large() -> None:
    assert sheets(1, (480.0, 100.0), (500.0, 300.0), 3.0, 10.0) == 1
    with pytest.raises(
        DoesNotFit, match=r"480 × 100 mm does not fit on a sheet of 500 × 300 mm with a margin of 11 mm"
    ):
        sheets(1, (480.0, 100.0), (500.0, 300.0), 3.0, 11.0)
    with pytest.raises(DoesNotFit):
        sheets(1, (1.0, 1.0), (500.0, 300.0), 3.0, 200.0)


@pytest.mark.parametrize(
    ("quantity", "length_mm", "gap_mm", "margin_mm"),
    [
        (-1, 10.0, 1.0, 1.0),
        (100_001, 10.0, 1.0, 1.0),
        (1, 0.0, 1.0, 1.0),
        (1, -5.0, 1.0, 1.0),
        (1, float("nan"), 1.0, 1.0),
        (1, float("inf"), 1.0, 1.0),
        (1, 10.0, -0.1, 1.0),
        (1, 10.0, float("nan"), 1.0),
        (1, 10.0, 1.0, -1.0),
    ],
)
def test_figures_out_of_range_are_refused(quantity: int, length_mm: float, gap_mm: float, margin_mm: float) -> None:
    with pytest.raises(BadQuantity) as refusal:
        sheets(quantity, (length_mm, 10.0), (500.0, 300.0), gap_mm, margin_mm)
    assert refusal.value.cure
    if margin_mm >= 0:
        with pytest.raises(BadQuantity):
            loads(quantity, (length_mm, 10.0, 1.0), BED, gap_mm)


sides = st.floats(0.5, 400.0)


@given(st.integers(0, 500), st.tuples(sides, sides, sides), st.tuples(sides, sides, sides), st.floats(0, 20))
def test_loads_add_up_and_never_hold_more_than_their_area(
    quantity: int, size: tuple[float, float, float], bed: tuple[float, float, float], gap_mm: float
) -> None:
    fits = size[2] <= bed[2] and (
        (size[0] <= bed[0] and size[1] <= bed[1]) or (size[1] <= bed[0] and size[0] <= bed[1])
    )
    if not fits:
        if quantity:
            with pytest.raises(DoesNotFit):
                loads(quantity, size, bed, gap_mm)
        return
    found = loads(quantity, size, bed, gap_mm)
    assert sum(found) == quantity
    assert all(each > 0 for each in found)
    assert all(each == found[0] for each in found[:-1])
    # Each piece with its gap on two sides lies in the bed grown by one gap, and pieces do not overlap.
    most = (bed[0] + gap_mm) * (bed[1] + gap_mm) / ((size[0] + gap_mm) * (size[1] + gap_mm))
    assert all(each <= most * (1 + 1e-6) for each in found)


@given(st.integers(1, 12), st.integers(1, 12), st.floats(1, 50), st.floats(1, 50), st.floats(0, 5))
def test_a_bed_made_for_a_grid_holds_it(across: int, deep: int, x_mm: float, y_mm: float, gap_mm: float) -> None:
    bed = (across * x_mm + (across - 1) * gap_mm, deep * y_mm + (deep - 1) * gap_mm, 1.0)
    assert loads(across * deep, (x_mm, y_mm, 1.0), bed, gap_mm) == (across * deep,)


def test_pieces_far_smaller_than_the_bed_are_counted_at_once() -> None:
    assert loads(100_000, (1e-300, 1e-300, 1.0), BED, 0.0) == (100_000,)
