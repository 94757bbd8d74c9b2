"""Drawn pieces joined end to end into closed contours, or a refusal that says where they fail."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from register.errors import BadDrawing
from register.geometry.outlines import Floats, nested

if TYPE_CHECKING:
    from shapely.geometry import Polygon

# Ends closer than this are one point; pieces closer than this are drawn twice. Source: common practice.
SNAP_MM = 0.02
# Different ends within a square of SNAP_MM.
MOST_IN_ONE_PLACE = 64
# Contours that are looked at together for crossings; the search ends with the first that cross.
LOOKED_AT_ONCE = 100
# Pairs of contours whose boxes overlap, each twice and with itself: 700 rings in each other, or 100,000 holes in one.
MOST_OVERLAPS = 500_000


def closed_contours(pieces_mm: Sequence[Floats]) -> tuple[list[Floats], int]:
    """Rings made of pieces, and how many pieces and rings were dropped as drawn twice.

    Parameters
    ----------
    pieces_mm : sequence of (n, 2)
        Polylines; one whose ends meet is a ring by itself.

    Returns
    -------
    Rings (n, 2), the first corner not repeated, and the number dropped.

    Raises
    ------
    BadDrawing
        If a contour is open or forks.
    """
    whole: list[Floats] = []
    loose: list[Floats] = []
    for piece in pieces_mm:
        length = float(np.hypot(*np.diff(piece, axis=0).T).sum())
        if length > SNAP_MM:
            ends_meet = float(np.hypot(*(piece[0] - piece[-1]))) <= SNAP_MM
            (whole if ends_meet and len(piece) > 3 else loose).append(piece)
    chained, doubled = _chained(loose)
    rings, repeated = _without_repeats([ring[:-1] for ring in whole] + chained)
    return rings, doubled + repeated


def one_outline(rings_mm: Sequence[Floats]) -> Polygon:
    """The one part that rings draw: an outer contour with its openings.

    Parameters
    ----------
    rings_mm : sequence of (n, 2)
        The first corner not repeated.

    Raises
    ------
    BadDrawing
        If contours cross or touch, or make more than one part.
    """
    import shapely
    from shapely.geometry import Polygon

    polygons = [Polygon(ring) for ring in rings_mm]
    if not all(polygon.is_valid and polygon.area > SNAP_MM**2 for polygon in polygons):
        raise BadDrawing("A contour crosses or touches itself.", "Redraw it as one clean loop.")
    edges = [polygon.exterior for polygon in polygons]
    tree = shapely.STRtree(edges)
    overlaps = 0
    for begin in range(0, len(edges), LOOKED_AT_ONCE):
        looked_at = edges[begin : begin + LOOKED_AT_ONCE]
        overlaps += tree.query(looked_at).shape[1]
        if overlaps > MOST_OVERLAPS:
            raise BadDrawing("The drawing's contours stand inside each other too often.", "Draw the one part alone.")
        first, second = tree.query(looked_at, predicate="intersects")
        crossing = first[first + begin != second]
        if len(crossing):
            x, y = rings_mm[begin + int(crossing[0])][0]
            raise BadDrawing(
                f"Two contours cross or touch; one of them passes x {x:.2f}, y {y:.2f} mm.", "Trim or move one of them."
            )
    parts = nested(rings_mm)
    if len(parts) == 1:
        return parts[0]
    if Polygon(parts[0].exterior).contains(parts[1]):
        raise BadDrawing(
            "A contour stands around another part, as a drawing frame does.", "Leave the frame out of the file."
        )
    raise BadDrawing(f"The drawing holds {len(parts)} separate parts.", "Save one part a file.")


def _chained(pieces: list[Floats]) -> tuple[list[Floats], int]:
    """Loose pieces joined at their ends into rings, and how many were doubles."""
    nodes = _numbered_ends(pieces)
    kept, doubled = _without_doubles(pieces, nodes)
    if not kept:
        return [], doubled
    pieces, nodes = [pieces[index] for index in kept], nodes[kept]
    degree = np.bincount(nodes.ravel())
    for index, node in np.ndenumerate(nodes):
        x, y = pieces[index[0]][0 if index[1] == 0 else -1]
        if degree[node] == 1:
            raise BadDrawing(f"A contour is open at x {x:.2f}, y {y:.2f} mm.", "Close it in the drawing.")
        if degree[node] > 2:
            raise BadDrawing(f"Contours fork at x {x:.2f}, y {y:.2f} mm.", "Leave one closed line there.")
    return _walked(pieces, nodes), doubled


def _walked(pieces: list[Floats], nodes: NDArray[np.int64]) -> list[Floats]:
    at: dict[int, list[int]] = {}
    for end, node in enumerate(nodes.ravel()):
        at.setdefault(int(node), []).append(end)
    rings: list[Floats] = []
    seen: set[int] = set()
    for first in range(len(pieces)):
        parts, end = [], 2 * first
        while end // 2 not in seen:
            seen.add(end // 2)
            piece = pieces[end // 2] if end % 2 == 0 else pieces[end // 2][::-1]
            leaving = end ^ 1
            one, other = at[int(nodes.ravel()[leaving])]
            end = other if one == leaving else one
            # The end of this piece and the start of the next become one corner half-way.
            following = pieces[end // 2][0 if end % 2 == 0 else -1]
            parts.append(np.vstack([piece[1:-1], (piece[-1] + following)[None] / 2.0]))
        if parts:
            rings.append(np.vstack(parts))
    return rings


def _numbered_ends(pieces: list[Floats]) -> NDArray[np.int64]:
    """Numbers of the points at which pieces begin and end, (n, 2); ends within SNAP_MM share one."""
    every = np.array([piece[[0, -1]] for piece in pieces], dtype=np.float64).reshape(-1, 2)
    # Each place once: thousands of lines may begin in one point.
    ends, places = np.unique(every, axis=0, return_inverse=True)
    parent = list(range(len(ends)))

    def root(index: int) -> int:
        while parent[index] != index:
            parent[index] = parent[parent[index]]
            index = parent[index]
        return index

    cells: dict[tuple[int, int], list[int]] = {}
    for index, (x, y) in enumerate(ends):
        column, row = int(x // SNAP_MM), int(y // SNAP_MM)
        for cell in ((column + i, row + j) for i in (-1, 0, 1) for j in (-1, 0, 1)):
            for other in cells.get(cell, ()):
                if np.hypot(*(ends[other] - ends[index])) <= SNAP_MM:
                    parent[root(other)] = root(index)
        crowd = cells.setdefault((column, row), [])
        crowd.append(index)
        if len(crowd) > MOST_IN_ONE_PLACE:
            raise BadDrawing(f"Too many lines end near x {x:.2f}, y {y:.2f} mm.", "Delete what is drawn over and over.")
    roots = np.array([root(index) for index in range(len(ends))], dtype=np.int64)
    return roots[places.ravel()].reshape(-1, 2)


def _without_doubles(pieces: list[Floats], nodes: NDArray[np.int64]) -> tuple[list[int], int]:
    """Which pieces to keep: one of those that run the same way between the same points."""
    kept: dict[tuple[int, int], list[int]] = {}
    doubled = 0
    for index, (start, end) in enumerate(nodes.tolist()):
        if start == end:
            continue
        rivals = kept.setdefault((min(start, end), max(start, end)), [])
        if any(_same(_measures(pieces[index]), _measures(pieces[rival])) for rival in rivals):
            doubled += 1
        else:
            rivals.append(index)
    return sorted(index for rivals in kept.values() for index in rivals), doubled


def _without_repeats(rings: list[Floats]) -> tuple[list[Floats], int]:
    kept: list[Floats] = []
    measured = np.empty((len(rings), 7))
    for ring in rings:
        measures = _measures(np.vstack([ring, ring[:1]]))
        known = measured[: len(kept)]
        if not (np.abs(known - measures).max(axis=1, initial=0.0) <= SNAP_MM).any():
            measured[len(kept)] = measures
            kept.append(ring)
    return kept, len(rings) - len(kept)


def _measures(line: Floats) -> Floats:
    """Length, centre of mass and reach of a line: equal for two that are drawn on each other."""
    steps = np.hypot(*np.diff(line, axis=0).T)
    middles = (line[1:] + line[:-1]) / 2.0
    centre = (middles * steps[:, None]).sum(axis=0) / steps.sum()
    return np.concatenate([[steps.sum()], centre, line.min(axis=0), line.max(axis=0)])


def _same(one: Floats, other: Floats) -> bool:
    return bool(np.abs(one - other).max() <= SNAP_MM)
