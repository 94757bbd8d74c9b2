"""Straight hatch: how it is drawn, and where its lines cross the outlines of regions."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from register.domain.machines import PrintSettings

if TYPE_CHECKING:
    from manifold3d import CrossSection

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]
Flags = NDArray[np.bool_]

# A link along the outline leads on to the next chord if it is no longer than so many spacings.
LONGEST_LINK = 4.0
# Lines further apart than so many line widths are not linked: the tool travels from one to the next.
LINKED_SPACING = 1.5
# A chord without links is drawn if it is at least so many line widths long.
SHORTEST_CHORD = 0.5


@dataclass(frozen=True)
class Outlines:
    """The rings of many regions: corners (n, 2), the corner that follows each, and each one's ring and region."""

    points_mm: Floats
    after: Indices
    ring: Indices
    region: Indices

    def boxes(self) -> tuple[Floats, Floats, Indices]:
        """Lowest and highest corner of each ring's box, (k, 2) and (k, 2), and its region."""
        if len(self.ring) == 0:
            return np.zeros((0, 2)), np.zeros((0, 2)), self.region
        firsts = np.flatnonzero(np.diff(self.ring, prepend=-1))
        low, high = (np.asarray(each.reduceat(self.points_mm, firsts)) for each in (np.minimum, np.maximum))
        return low, high, self.region[firsts]

    def areas_mm2(self) -> Floats:
        """Area inside each ring (k,), below 0 for holes."""
        ahead = self.points_mm[self.after]
        parts = self.points_mm[:, 0] * ahead[:, 1] - self.points_mm[:, 1] * ahead[:, 0]
        return np.bincount(self.ring, weights=parts / 2.0).astype(np.float64)


@dataclass(frozen=True)
class Crossings:
    """Where hatch lines cross outlines, in the order of the outlines.

    `along_mm` lies along the hatch line, `line` is the line's number, `slope` how far `along_mm` moves per millimetre
    across, `up` whether the outline goes to the next line there; `after` is the crossing that follows on the outline.
    """

    region: Indices
    line: Indices
    along_mm: Floats
    slope: Floats
    up: Flags
    after: Indices


def hatch_spacings_mm(settings: PrintSettings) -> dict[str, float]:
    """From line to line in each kind of hatch that is drawn at all: support, solid layers, infill."""
    width = settings.line_width_mm
    spacings = {"solid": width}
    if settings.infill_share > 0.0:
        spacings["infill"] = width / settings.infill_share
    if settings.support_angle_deg > 0.0:
        spacings["support"] = width / settings.support_share
    return spacings


def outlines_of(regions: Sequence["CrossSection"]) -> Outlines:
    """The outlines of regions; the inside lies to their left."""
    rings = [(i, ring) for i, region in enumerate(regions) for ring in region.to_polygons()]
    if not rings:
        none = np.zeros(0, dtype=np.int64)
        return Outlines(np.zeros((0, 2)), none, none, none)
    sizes = np.array([len(ring) for _, ring in rings])
    ends = np.cumsum(sizes)
    after = np.arange(1, ends[-1] + 1)
    after[ends - 1] = ends - sizes
    ring = np.repeat(np.arange(len(rings)), sizes)
    region = np.repeat(np.array([i for i, _ in rings], dtype=np.int64), sizes)
    return Outlines(np.concatenate([points for _, points in rings]), after, ring, region)


def turned(points_mm: Floats, turns: Floats | float) -> Floats:
    """Points (n, 2) turned by −45° where `turns` is +1 and by +45° where it is −1; one for all or (n,)."""
    points: Floats = points_mm / np.sqrt(2.0)
    made: Floats = np.empty_like(points)
    np.add(points[:, 0], turns * points[:, 1], out=made[:, 0])
    np.subtract(points[:, 1], turns * points[:, 0], out=made[:, 1])
    return made


def crossings(outlines: Outlines, points: Floats, spacings_mm: Floats) -> Crossings:
    """Cross all outlines with the hatch of their regions.

    Parameters
    ----------
    outlines
        Of n regions.
    points
        Their corners, turned so that hatch lies along x.
    spacings_mm : (n,)
        From line to line; lines lie half a spacing off the origin, so they are the same in all layers.
    """
    across = points[:, 1] / spacings_mm[outlines.region]
    first = np.ceil(across - 0.5).astype(np.int64)
    last = first[outlines.after]
    count = np.abs(last - first)
    edge = np.repeat(np.arange(len(points)), count)
    step = np.arange(len(edge)) - np.repeat(np.cumsum(count) - count, count)
    up = last[edge] > first[edge]
    line = np.where(up, first[edge] + step, first[edge] - 1 - step)
    rise = (across[outlines.after] - across)[edge]
    run = (points[outlines.after, 0] - points[:, 0])[edge]
    region, ring = outlines.region[edge], outlines.ring[edge]
    along = points[edge, 0] + (line + 0.5 - across[edge]) / rise * run
    after = np.arange(1, len(edge) + 1)
    closes = np.flatnonzero(np.diff(ring, append=-1))
    after[closes] = np.concatenate([[0], closes[:-1] + 1])[: len(closes)]
    return Crossings(region, line, along, run / (rise * spacings_mm[region]), up, after)


def chord_ends(found: Crossings) -> tuple[Indices, Indices]:
    """The crossings at the left and at the right end of each chord, by region, line and place."""
    order = np.lexsort((found.along_mm, found.line, found.region))
    return order[0::2], order[1::2]


def foreseen(region: "CrossSection", spacing_mm: float) -> int:
    """About how many times hatch of that spacing crosses the outlines of a region: no more than once more an edge."""
    spans = [np.abs(np.diff(ring, axis=0, append=ring[:1])).sum() + spacing_mm for ring in region.to_polygons()]
    return int(sum(spans) / np.sqrt(2.0) / spacing_mm)
