"""In which order the lines of a layer are drawn: always on to what lies nearest."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from register.estimate.loop_lines import Loops

Floats = NDArray[np.float64]
# Points as x + y·i.
Places = NDArray[np.complex128]

# Beyond so many comparisons of places the lines are taken in strips across the layer instead.
MOST_COMPARED = 20_000_000


class Tool:
    """Where the tool is, what it has drawn of its layer, and how far it has travelled between.

    `at` is its place, x + y·i in mm; `paths` are the loops and gap lines (k, 2) as drawn.
    """

    def __init__(self, at: complex) -> None:
        self.at = at
        self.paths: list[Floats] = []
        self._hops: list[float] = []

    @property
    def hops_mm(self) -> Floats:
        """The length of each travel."""
        return np.array(self._hops)

    def draw_loops(self, loops: Loops) -> None:
        """Draw closed loops, each from its corner nearest to where the tool comes from, then the gap lines."""
        self._draw_closed(loops.closed)
        self._draw_closed(loops.gap_rings)
        if loops.gaps:
            starts = np.array([complex(*line[0]) for line in loops.gaps])
            ends = np.array([complex(*line[-1]) for line in loops.gaps])
            self.draw_lines(starts, ends)
            self.paths += loops.gaps

    def draw_lines(self, starts: Places, ends: Places) -> None:
        """Go over open lines, each from its nearer end."""
        count = len(starts)
        both = np.concatenate([starts, ends])
        strips = _strips(starts) if count * count > MOST_COMPARED else None
        left = both.copy()
        for step in range(count):
            if strips is None:
                nearest = int(np.abs(left - self.at).argmin())
            else:
                line = int(strips[step])
                nearest = line if abs(starts[line] - self.at) <= abs(ends[line] - self.at) else line + count
            self._hops.append(abs(both[nearest] - self.at))
            left[nearest] = left[nearest - count] = np.inf
            self.at = complex(both[nearest - count])

    def _draw_closed(self, loops: Sequence[Floats]) -> None:
        if not loops:
            return
        places = as_places(np.concatenate(loops))
        bounds = np.cumsum([0] + [len(loop) for loop in loops])
        owner = np.repeat(np.arange(len(loops)), np.diff(bounds))
        strips = _strips(places[bounds[:-1]]) if len(places) * len(loops) > MOST_COMPARED else None
        left = places.copy()
        for step in range(len(loops)):
            if strips is None:
                nearest = int(np.abs(left - self.at).argmin())
                chosen = int(owner[nearest])
            else:
                chosen = int(strips[step])
                part = places[bounds[chosen] : bounds[chosen + 1]]
                nearest = int(bounds[chosen] + np.abs(part - self.at).argmin())
            turned = np.roll(loops[chosen], int(bounds[chosen]) - nearest, axis=0)
            self.paths.append(np.concatenate([turned, turned[:1]]))
            self._hops.append(abs(places[nearest] - self.at))
            self.at = complex(places[nearest])
            left[bounds[chosen] : bounds[chosen + 1]] = np.inf


def as_places(points_mm: Floats) -> Places:
    """Points (n, 2) as x + y·i."""
    return np.ascontiguousarray(points_mm, dtype=np.float64).view(np.complex128)[:, 0]


def _strips(places: Places) -> NDArray[np.int64]:
    """An order that goes to and fro over strips, each about as broad as places lie apart."""
    x, y = places.real, places.imag
    area = max(float(np.ptp(x)) * float(np.ptp(y)), 1e-9)
    strip = np.floor((y - y.min()) / np.sqrt(area / len(places))).astype(np.int64)
    return np.lexsort((np.where(strip % 2 == 0, x, -x), strip))
