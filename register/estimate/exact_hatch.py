"""Straight hatch of regions, line by line: where each chord lies, and which are drawn one after the other."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from register.estimate.hatch_lines import (
    LINKED_SPACING,
    LONGEST_LINK,
    SHORTEST_CHORD,
    Crossings,
    chord_ends,
    crossings,
    outlines_of,
    turned,
)

if TYPE_CHECKING:
    from manifold3d import CrossSection

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Chords:
    """Chords of hatch in the order in which they are drawn, cell by cell, from line to line and to and fro.

    `region` (c,); `enter_mm` and `leave_mm` (c, 2) are their drawn ends, in the part's plane; `starts_cell` (c,) marks
    the first of each cell, `linked` (c,) those reached by a drawn link from the one before; `extruded_mm` (c,) is how
    much line of full width each gives, with that link.
    """

    region: Indices
    enter_mm: Floats
    leave_mm: Floats
    starts_cell: Flags
    linked: Flags
    extruded_mm: Floats


def chords(regions: Sequence["CrossSection"], turns: Floats, spacings_mm: Floats, width_mm: float) -> Chords:
    """Every chord of the hatch of n regions, in drawing order.

    Parameters
    ----------
    regions
        n of them.
    turns : (n,)
        +1 for lines at +45° and −1 for −45°.
    spacings_mm : (n,)
        From line to line; lines lie half a spacing off the origin, so they are the same in all layers.
    width_mm
        Of a line.

    Notes
    -----
    A region falls into cells in which one chord follows the other on both sides; a cell is drawn to and fro. Linked
    chords end half a line short of the outline, so that a line's breadth stays inside and the links between them
    cover what they leave; where a chord is shorter than that it shrinks to its middle, and the line through such
    middles is as broad as there is room. Chords that are not linked reach the outline. Source: common practice.
    """
    outlines = outlines_of(regions)
    found = crossings(outlines, turned(outlines.points_mm, turns[outlines.region]), spacings_mm)
    left, right = chord_ends(found)
    cell, rank = _cells(_following(found, left, right))
    order = np.lexsort((rank, cell))
    left, right, cell, rank = left[order], right[order], cell[order], rank[order]
    are_linked = (spacings_mm <= LINKED_SPACING * width_mm)[found.region[left]]
    keep = are_linked | (found.along_mm[right] - found.along_mm[left] >= SHORTEST_CHORD * width_mm)
    left, right, cell, rank, are_linked = left[keep], right[keep], cell[keep], rank[keep], are_linked[keep]
    low, high = _drawn_ends(found, left, right, np.where(are_linked, width_mm / 2.0, 0.0))
    region, back = found.region[left], rank % 2 == 1
    across = (found.line[left] + 0.5) * spacings_mm[region]
    enter, leave = np.where(back, high, low), np.where(back, low, high)
    starts = np.diff(cell, prepend=-1) != 0
    gap = np.hypot(enter[1:] - leave[:-1], np.diff(across))
    link = np.concatenate([np.zeros(min(len(cell), 1)), gap])
    linked = are_linked & ~starts & (link <= LONGEST_LINK * spacings_mm[region])
    length = np.abs(leave - enter)
    # Where a chord has shrunk to its middle the line is only as broad as there is room.
    full = found.along_mm[right] - found.along_mm[left]
    extruded = np.where(length > 0.0, length + np.where(linked, link, 0.0), full)
    return Chords(
        region,
        turned(np.column_stack([enter, across]), -turns[region]),
        turned(np.column_stack([leave, across]), -turns[region]),
        starts,
        linked,
        extruded,
    )


def _following(found: Crossings, left: Indices, right: Indices) -> Indices:
    """For each chord the one on the next line that follows it on both sides, or −1."""
    chord = np.empty(len(found.region), dtype=np.int64)
    chord[left], chord[right] = np.arange(len(left)), np.arange(len(right))
    before = np.empty_like(found.after)
    before[found.after] = np.arange(len(found.after))
    # The inside lies to the left of an outline: it goes up on a chord's right end and down on its left end.
    right_next, left_next = found.after[right], before[left]
    upward = found.up[right] & found.up[right_next] & ~found.up[left] & ~found.up[left_next]
    line = found.line[left] + 1
    adjoins = (found.line[right_next] == line) & (found.line[left_next] == line)
    return np.where(upward & adjoins & (chord[right_next] == chord[left_next]), chord[right_next], -1)


def _cells(following: Indices) -> tuple[Indices, Indices]:
    """The first chord of each chord's cell, and how many lines it lies above it."""
    first = np.arange(len(following))
    rank = np.zeros(len(following), dtype=np.int64)
    below = np.flatnonzero(following >= 0)
    first[following[below]] = below
    rank[following[below]] = 1
    # Each pass doubles the way that is looked back.
    while True:
        further = first[first]
        if np.array_equal(further, first):
            return first, rank
        rank += rank[first]
        first = further


def _drawn_ends(found: Crossings, left: Indices, right: Indices, short_mm: Floats) -> tuple[Floats, Floats]:
    """The ends between which chords are drawn that keep `short_mm` off the outline."""
    low, high = found.along_mm[left], found.along_mm[right]
    drawn_low = low + short_mm * np.hypot(1.0, found.slope[left])
    drawn_high = high - short_mm * np.hypot(1.0, found.slope[right])
    room, middle = drawn_high > drawn_low, (low + high) / 2.0
    return np.where(room, drawn_low, middle), np.where(room, drawn_high, middle)
