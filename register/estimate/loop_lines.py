"""Lines that follow an outline: contours, the thin lines that fill what lies between them, and the edge on the bed."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from register.estimate.print_layers import ROUND_SEGMENTS, area_mm2

if TYPE_CHECKING:
    from manifold3d import CrossSection

Floats = NDArray[np.float64]

# A gap is filled if its area is at least that of a line so many widths long; smaller ones are corners of loops.
SMALLEST_GAP_WIDTHS = 0.5
# What is narrower is no gap but rounding, or less than a nozzle can give.
NARROWEST_GAP_MM = 0.04


@dataclass(frozen=True)
class Loops:
    """Lines along one outline.

    `closed` are closed loops (k, 2), without their first point again; `gaps` are open lines and `gap_rings` closed
    ones that fill what no loop covers; `loops_mm2` and `gaps_mm2` are the areas that they cover, each place counted
    once.
    """

    closed: tuple[Floats, ...]
    gaps: tuple[Floats, ...]
    gap_rings: tuple[Floats, ...]
    loops_mm2: float
    gaps_mm2: float


def contour_loops(outline: "CrossSection", contours: int, width_mm: float) -> Loops:
    """The contours inside an outline and the thin lines between them.

    Notes
    -----
    Loop i lies i + ½ widths inside. It gives its length times its width, but where two of its sides run closer than
    a width no more than there is room for. What a loop cannot reach is a gap; its line follows half of the gap's
    outline, or the outer one where it goes round, and is as broad as the gap. Source: common practice.
    """
    from manifold3d import JoinType  # loads where polygons are first needed

    closed: list[Floats] = []
    gaps: list[CrossSection] = []
    loops_mm2 = 0.0
    remaining = outline
    for i in range(contours):
        if remaining.is_empty():
            break
        line = outline.offset(-(i + 0.5) * width_mm, JoinType.Miter)
        covered = line.offset(width_mm / 2.0, JoinType.Miter)
        rings = line.to_polygons()
        swept_mm2 = max(area_mm2(covered) - area_mm2(line.offset(-width_mm / 2.0, JoinType.Miter)), 0.0)
        loops_mm2 += min(sum(length_mm(ring) for ring in rings) * width_mm, swept_mm2)
        closed += rings
        gaps += _gaps(remaining - covered, width_mm)
        remaining = outline.offset(-(i + 1.0) * width_mm, JoinType.Miter)
    outlines = [gap.to_polygons() for gap in gaps]
    return Loops(
        tuple(closed),
        tuple(_middle_line(rings[0]) for rings in outlines if len(rings) == 1),
        tuple(max(rings, key=length_mm) for rings in outlines if len(rings) > 1),
        loops_mm2,
        sum(area_mm2(gap) for gap in gaps),
    )


def edge_loops(foot: "CrossSection", edge_mm: float, width_mm: float) -> Loops:
    """The loops of the edge on the bed: as many as come nearest to its width."""
    from manifold3d import JoinType  # loads where polygons are first needed

    closed: list[Floats] = []
    for i in range(round(edge_mm / width_mm)):
        line = foot.offset((i + 0.5) * width_mm, JoinType.Round, circular_segments=ROUND_SEGMENTS)
        closed += line.to_polygons()
    return Loops(tuple(closed), (), (), sum(length_mm(ring) for ring in closed) * width_mm, 0.0)


def length_mm(ring: Floats) -> float:
    """Length of a closed loop (k, 2)."""
    steps = np.diff(ring, axis=0, append=ring[:1])
    return float(np.sqrt(np.einsum("ij,ij->i", steps, steps)).sum())


def _gaps(uncovered: "CrossSection", width_mm: float) -> list["CrossSection"]:
    """The pieces of what no loop covers that are worth a line."""
    from manifold3d import JoinType  # loads where polygons are first needed

    half = NARROWEST_GAP_MM / 2.0
    clean = uncovered.offset(-half, JoinType.Miter).offset(half, JoinType.Miter)
    return [gap for gap in clean.decompose() if area_mm2(gap) >= SMALLEST_GAP_WIDTHS * width_mm**2]


def _middle_line(outer: Floats) -> Floats:
    """The line through a thin piece without a hole: half of its outline."""
    # The ends of a thin piece lie furthest from its middle.
    begin = int(np.argmax(np.linalg.norm(outer - outer.mean(axis=0), axis=1)))
    walked = np.roll(outer, -begin, axis=0)
    steps = np.linalg.norm(np.diff(walked, axis=0, append=walked[:1]), axis=1)
    far = np.cumsum(steps) - steps
    half = steps.sum() / 2.0
    end = [np.interp(half, far, walked[:, axis]) for axis in (0, 1)]
    return np.concatenate([walked[far < half], [end]])
