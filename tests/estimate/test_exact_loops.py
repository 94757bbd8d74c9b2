"""Contours, gaps and the order in which they are drawn, against lengths worked out by hand."""

import math

import numpy as np
import pytest
from manifold3d import CrossSection

from register.estimate.exact_order import MOST_COMPARED, Tool
from register.estimate.loop_lines import Loops, contour_loops, edge_loops, length_mm

WIDTH = 0.45


def rectangle(x_mm: float, y_mm: float) -> CrossSection:
    return CrossSection([np.array([(0.0, 0.0), (x_mm, 0.0), (x_mm, y_mm), (0.0, y_mm)])])


def way_mm(line: np.ndarray) -> float:
    return float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum())


def test_loops_of_a_square_are_its_sides_less_a_width_for_each() -> None:
    # Loop i lies (i + ½)·w inside: 4·(20 − (2i + 1)·0.45).
    loops = contour_loops(rectangle(20.0, 20.0), 3, WIDTH)
    assert sorted(map(length_mm, loops.closed)) == pytest.approx(
        [4 * (20 - 5 * WIDTH), 4 * (20 - 3 * WIDTH), 4 * 19.55]
    )
    assert loops.loops_mm2 == pytest.approx(20**2 - (20 - 6 * WIDTH) ** 2)
    assert (loops.gaps, loops.gap_rings, loops.gaps_mm2) == ((), (), 0.0)


def test_a_wall_a_little_wider_than_two_lines_gets_a_thin_third_one_between() -> None:
    # 40 × 1.0: a loop of 39.55 × 0.55 takes 0.45 on each side; 39.1 × 0.1 is left between.
    loops = contour_loops(rectangle(40.0, 1.0), 3, WIDTH)
    assert [length_mm(each) for each in loops.closed] == pytest.approx([2 * (39.55 + 0.55)])
    assert [way_mm(gap) for gap in loops.gaps] == pytest.approx([39.1 + 0.1])
    assert loops.gaps_mm2 == pytest.approx(39.1 * 0.1, rel=1e-6)
    assert loops.loops_mm2 + loops.gaps_mm2 == pytest.approx(40.0, rel=1e-6)


def test_where_two_sides_of_a_loop_share_the_room_no_more_is_given_than_there_is() -> None:
    # 40 × 0.6: the loop of 39.55 × 0.15 is 79.4 mm long, 35.7 mm² at full width; the wall has 24 mm².
    loops = contour_loops(rectangle(40.0, 0.6), 3, WIDTH)
    assert [length_mm(each) for each in loops.closed] == pytest.approx([2 * (39.55 + 0.15)])
    assert loops.loops_mm2 == pytest.approx(24.0, rel=1e-6)


def test_what_is_narrower_than_a_line_is_one_thin_line() -> None:
    loops = contour_loops(rectangle(40.0, 0.4), 2, WIDTH)
    assert loops.closed == ()
    assert [way_mm(gap) for gap in loops.gaps] == pytest.approx([40.4])
    assert loops.gaps_mm2 == pytest.approx(16.0, rel=1e-6)


def test_a_gap_that_goes_round_is_drawn_round() -> None:
    # A square tube 1 mm thick: 0.1 mm is left in the middle of the wall, all the way round.
    tube = rectangle(20.0, 20.0) - rectangle(18.0, 18.0).translate((1.0, 1.0))
    loops = contour_loops(tube, 3, WIDTH)
    assert len(loops.closed) == 2
    assert [length_mm(ring) for ring in loops.gap_rings] == pytest.approx([4 * 19.1])
    assert loops.gaps_mm2 == pytest.approx(19.1**2 - 18.9**2, rel=1e-6)


def test_a_bed_edge_has_as_many_loops_as_come_nearest_to_its_width() -> None:
    # 2 mm are 4.4 lines: four loops round a square of 20, each 80 mm and a circle of its distance (24 corners).
    edge = edge_loops(rectangle(20.0, 20.0), 2.0, WIDTH)
    circles = sum(24 * 2 * (i + 0.5) * WIDTH * math.sin(math.pi / 24) for i in range(4))
    assert len(edge.closed) == 4
    assert sum(map(length_mm, edge.closed)) == pytest.approx(4 * 80 + circles, rel=1e-6)
    assert edge_loops(rectangle(20.0, 20.0), 0.2, WIDTH).closed == ()


def test_loops_are_drawn_on_to_the_nearest_from_its_nearest_corner() -> None:
    # Squares of 2 mm at x = 0, 10 and 4: from the origin to the first, 4 mm on to the third, 6 mm on to the second.
    squares = [np.array([(x, 0.0), (x + 2, 0.0), (x + 2, 2.0), (x, 2.0)]) for x in (0.0, 10.0, 4.0)]
    tool = Tool(complex(-3.0, 0.0))
    tool.draw_loops(Loops(tuple(squares), (), (), 0.0, 0.0))
    assert tool.hops_mm == pytest.approx([3.0, 4.0, 6.0])
    assert [path[0].tolist() for path in tool.paths] == [[0.0, 0.0], [4.0, 0.0], [10.0, 0.0]]
    assert all(np.array_equal(path[0], path[-1]) and len(path) == 5 for path in tool.paths)
    assert tool.at == complex(10.0, 0.0)


def test_open_lines_are_drawn_from_their_nearer_end() -> None:
    # Lines 0→9, 10→1 and 5→6 on one axis, 1 mm apart: there, back, and from the nearer end of the last.
    tool = Tool(complex(0.0, 0.0))
    tool.draw_lines(np.array([0j, 10 + 1j, 5 + 2j]), np.array([9 + 0j, 1 + 1j, 6 + 2j]))
    assert tool.hops_mm == pytest.approx([0.0, math.sqrt(2), math.hypot(4.0, 1.0)])
    assert tool.at == 6 + 2j


def test_of_very_many_lines_each_is_drawn_once_and_none_from_afar() -> None:
    # A grid of points with 1 mm between them: none can be reached in less, and strips need little more.
    side = 68
    places = np.array([complex(x, y) for y in range(side) for x in range(side)])
    assert len(places) ** 2 > MOST_COMPARED
    tool = Tool(0j)
    tool.draw_lines(places, places)
    assert len(tool.hops_mm) == side**2
    assert side**2 - 1 <= tool.hops_mm.sum() <= 1.1 * side**2
    loops = Tool(0j)
    loops.draw_loops(Loops(tuple(np.array([[z.real, z.imag]]) for z in places.tolist()), (), (), 0.0, 0.0))
    assert loops.hops_mm.sum() == pytest.approx(tool.hops_mm.sum())
    assert {complex(*path[0]) for path in loops.paths} == set(places.tolist())
