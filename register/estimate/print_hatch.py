"""How long the hatch of many regions takes, from their areas and outlines and a few lines of each."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from register.domain.machines import PrintSettings
from register.estimate.hatch_lines import (
    LINKED_SPACING,
    LONGEST_LINK,
    SHORTEST_CHORD,
    Outlines,
    chord_ends,
    crossings,
    outlines_of,
    turned,
)
from register.estimate.motion import paths_s, straight_s
from register.estimate.print_contours import ways_apart_mm

if TYPE_CHECKING:
    from manifold3d import CrossSection

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]
Flags = NDArray[np.bool_]

# Lines looked at in each region on each diagonal.
SAMPLE_LINES = 10
# Periods that a sampled zigzag is planned for; the difference of the two leaves its ends out.
PERIODS = (1, 3)
# Way from one cell of hatch to the next, in square roots of a cell's area: found by comparing with every line drawn,
# over the parts and settings of the accuracy benchmark.
CELL_WAY = 0.8


@dataclass(frozen=True)
class Measures:
    """Of each of n regions: area, chords and cells of its hatch (means of both diagonals), and separate pieces.

    `apart_mm` is the whole way from one piece to the next.
    """

    areas_mm2: Floats
    chords: Floats
    cells: Floats
    pieces: Floats
    apart_mm: Floats


def hatch_s(
    regions: Sequence["CrossSection"], spacing_mm: float, speeds_mm_s: Floats, settings: PrintSettings
) -> Floats:
    """Time of the hatch of each region (n,) at its speed (n,), with the travel inside it.

    Notes
    -----
    N chords have a length of A/s together, and N is half the outline seen along the hatch over the spacing s; both are
    exact on average over where the lines fall. What a chord takes beyond length over speed is the mean over the chords
    of a few lines: linked chords are planned in a zigzag with the slopes of the outline at their ends, others run from
    rest to rest and travel to the next. Each cell beyond those is a travel more. Source: Cauchy's crossing formula.
    """
    outlines = outlines_of(regions)
    count = len(regions)
    if len(outlines.points_mm) == 0:
        return np.zeros(count)
    ways = [turned(outlines.points_mm, turn) for turn in (1.0, -1.0)]
    measures = _measures(outlines, ways, spacing_mm, count)
    beyond, links = _sampled(outlines, ways, spacing_mm, speeds_mm_s, settings)
    cells, pieces = measures.cells, measures.pieces
    way = CELL_WAY * np.sqrt(measures.areas_mm2 / np.maximum(cells, 1.0))
    a, v = settings.acceleration_mm_s2, settings.travel_speed_mm_s
    between = np.maximum(cells - pieces, 0.0) * straight_s(way, v, a)
    apart = np.maximum(pieces - 1.0, 0.0)
    between += apart * straight_s(measures.apart_mm / np.maximum(apart, 1.0), v, a)
    drawn = measures.areas_mm2 / (spacing_mm * speeds_mm_s) + measures.chords * beyond
    return np.asarray(np.maximum(drawn - cells * links, 0.0) + between)


def _measures(outlines: Outlines, ways: Sequence[Floats], spacing_mm: float, count: int) -> Measures:
    """What is known of n regions from their outlines, seen along the hatch both `ways`."""
    rings = outlines.areas_mm2()
    areas = np.maximum(_by(outlines.boxes()[2], rings, count), 0.0)
    chords, cells = np.zeros(count), np.zeros(count)
    for points in ways:
        steps = points[outlines.after] - points
        lines = _by(outlines.region, np.abs(steps[:, 1]), count) / (2.0 * spacing_mm)
        chords += lines / 2.0
        cells += np.minimum(_cells(outlines, points, steps, spacing_mm, count), np.maximum(lines, 1.0)) / 2.0
    pieces, apart = _pieces(outlines, rings > 0.0, count)
    return Measures(areas, chords, np.where(areas > 0.0, np.maximum(cells, pieces), 0.0), pieces, apart)


def _cells(outlines: Outlines, points: Floats, steps: Floats, spacing_mm: float, count: int) -> Floats:
    """Cells of each region's hatch: they begin where its outline turns back across the lines."""
    after = outlines.after
    up = steps[:, 1] >= 0.0
    turns = np.flatnonzero(up != up[after])
    corners, ring = after[turns], outlines.ring[turns]
    # A notch or a tip that is lower than a spacing may lie between two lines, and is then not seen.
    height = points[corners, 1]
    rise = np.abs(np.diff(height, append=height[:1]))
    last = np.flatnonzero(np.diff(ring, append=-1))
    first = np.concatenate([[0], last[:-1] + 1])[: len(last)]
    rise[last] = np.abs(height[first] - height[last])
    before = np.concatenate([rise[-1:], rise[:-1]])
    before[first] = rise[last]
    seen = np.minimum(np.minimum(rise, before) / spacing_mm, 1.0)
    # Where the outline turns left the inside is a tip, and one cell begins at its foot; else it parts or joins cells.
    left = _crossed(steps[turns], steps[corners]) > 0.0
    begun = np.where(up[turns], np.where(left, 0.0, 1.0), np.where(left, 1.0, 2.0))
    return _by(outlines.region[turns], begun * seen, count)


def _pieces(outlines: Outlines, solid: Flags, count: int) -> tuple[Floats, Floats]:
    """Pieces of each region, and the ways between them; `solid` (k,) tells rings from holes."""
    low, high, region = outlines.boxes()
    low, high, region = low[solid], high[solid], region[solid]
    pieces = np.bincount(region, minlength=count).astype(np.float64)
    apart = np.zeros(count)
    bounds = np.searchsorted(region, np.arange(count + 1))
    for i in np.flatnonzero(pieces > 1.0).tolist():
        part = slice(bounds[i], bounds[i + 1])
        apart[i] = ways_apart_mm(low[part], high[part])
    return pieces, apart


def _sampled(
    outlines: Outlines, ways: Sequence[Floats], spacing_mm: float, speeds_mm_s: Floats, settings: PrintSettings
) -> tuple[Floats, Floats]:
    """What a chord of each region takes beyond its length over its speed, and its link alone: means over samples."""
    count, width = len(speeds_mm_s), settings.line_width_mm
    linked = spacing_mm <= LINKED_SPACING * width
    beyond, links, seen = np.zeros(count), np.zeros(count), np.zeros(count)
    for points in ways:
        found = crossings(outlines, points, _sample_spacings(outlines, points, spacing_mm, count))
        left, right = chord_ends(found)
        region = found.region[left]
        length = found.along_mm[right] - found.along_mm[left]
        slopes = np.column_stack([found.slope[left], found.slope[right]])
        timed = _zigzag_s if linked else _hopped_s
        times, link = timed(length, slopes, spacing_mm, speeds_mm_s[region], settings)
        beyond += _by(region, times - length / speeds_mm_s[region], count)
        links += _by(region, link, count)
        seen += np.bincount(region, minlength=count)
    seen = np.maximum(seen, 1.0)
    return beyond / seen, links / seen


def _sample_spacings(outlines: Outlines, points: Floats, spacing_mm: float, count: int) -> Floats:
    firsts = np.flatnonzero(np.diff(outlines.region, prepend=-1))
    reach = np.zeros(count)
    across = points[:, 1]
    reach[outlines.region[firsts]] = np.maximum.reduceat(across, firsts) - np.minimum.reduceat(across, firsts)
    return np.maximum(spacing_mm, reach / SAMPLE_LINES)


def _hopped_s(
    length: Floats, slopes: Floats, spacing_mm: float, speeds: Floats, settings: PrintSettings
) -> tuple[Floats, Floats]:
    """A chord from rest to rest and the travel to the next line, and that travel alone."""
    a = settings.acceleration_mm_s2
    # Where the ends draw together or apart, no faster than that nothing is left of the chord.
    mean, reach = slopes.mean(axis=1)[:, None], length[:, None] / spacing_mm
    way = spacing_mm * np.hypot(1.0, mean + np.clip(slopes - mean, -reach, reach))
    hop = straight_s(way, settings.travel_speed_mm_s, a).mean(axis=1)
    drawn = length >= SHORTEST_CHORD * settings.line_width_mm
    return np.where(drawn, straight_s(length, speeds, a) + hop, 0.0), np.where(drawn, hop, 0.0)


def _zigzag_s(
    length: Floats, slopes: Floats, spacing_mm: float, speeds: Floats, settings: PrintSettings
) -> tuple[Floats, Floats]:
    """A chord and its link in a zigzag of chords like it, and such a link from rest to rest."""
    a = settings.acceleration_mm_s2
    drawn = length - settings.line_width_mm / 2.0 * np.hypot(1.0, slopes).sum(axis=1)
    # Where there is no room for a zigzag the line runs through the middles.
    shrunk = drawn <= 0.0
    drawn = np.maximum(drawn, 0.0)
    slopes = np.where(shrunk[:, None], slopes.mean(axis=1)[:, None], slopes)
    link = spacing_mm * np.hypot(1.0, slopes)
    straight = straight_s(np.minimum(link, drawn[:, None] + spacing_mm), speeds[:, None], a)
    joined = (link <= LONGEST_LINK * spacing_mm).all(axis=1)
    broken = straight_s(drawn, speeds, a) + straight.mean(axis=1)
    times = [_periods_s(n, drawn, slopes * spacing_mm, spacing_mm, speeds, settings) for n in PERIODS]
    period = (times[1] - times[0]) / (2.0 * (PERIODS[1] - PERIODS[0]))
    return np.where(joined, period, broken), straight.mean(axis=1)


def _periods_s(
    periods: int, drawn: Floats, moved: Floats, spacing_mm: float, speeds: Floats, settings: PrintSettings
) -> Floats:
    """Time of `periods` times to and fro over each chord, its ends moving by `moved` (n, 2) from line to line."""
    count, corners = len(drawn), 4 * periods + 1
    steps = np.zeros((count, corners, 2))
    for i in range(periods):
        steps[:, 4 * i + 1, 0], steps[:, 4 * i + 3, 0] = drawn, -drawn
        steps[:, 4 * i + 2, 0], steps[:, 4 * i + 4, 0] = moved[:, 1], moved[:, 0]
        steps[:, 4 * i + 2, 1] = steps[:, 4 * i + 4, 1] = spacing_mm
    points = np.cumsum(steps, axis=1).reshape(-1, 2)
    along = np.repeat(speeds, corners)[:-1]
    bounds = np.arange(count + 1) * corners
    return paths_s(points, bounds, along, settings.acceleration_mm_s2, settings.junction_deviation_mm)


def _crossed(one: Floats, other: Floats) -> Floats:
    return one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0]


def _by(region: Indices, figures: Floats, count: int) -> Floats:
    return np.bincount(region, weights=figures, minlength=count).astype(np.float64)
