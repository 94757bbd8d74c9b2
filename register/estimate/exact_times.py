"""Every line of a print, drawn and planned: how long each layer takes and where the material goes."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from register.domain.estimates import PrintedVolumes
from register.domain.machines import PrintSettings
from register.estimate.exact_hatch import Chords, chords
from register.estimate.exact_order import Places, Tool, as_places
from register.estimate.exact_plans import Plan, blocks, plans_of
from register.estimate.hatch_lines import hatch_spacings_mm
from register.estimate.loop_lines import Loops, contour_loops, edge_loops
from register.estimate.motion import paths_s, straight_s
from register.estimate.print_layers import LayerRegions, LayerStack
from register.estimate.print_times import held_layers_s, kind_speeds_mm_s

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]
Tell = Callable[[float], None]


@dataclass(frozen=True)
class ExactPrint:
    """Time of each layer (m,) with travel, change and least time, and the volume of all that is drawn."""

    layers_s: Floats
    volumes_mm3: PrintedVolumes


@dataclass(frozen=True)
class _Hatched:
    """One hatched region: its time with the travel inside cells, how much line it is, and the ends of its cells."""

    time_s: float
    line_mm: float
    starts: Places
    ends: Places


class _Sums:
    """What is known of each plan: its time, the areas drawn, and where it begins and ends (x + y·i)."""

    def __init__(self, count: int) -> None:
        self.times_s = np.zeros(count)
        self.areas_mm2 = {kind: np.zeros(count) for kind in ("edge", "support", "contours", "solid", "infill")}
        self.begins = np.full(count, np.nan, dtype=np.complex128)
        self.ends = np.full(count, np.nan, dtype=np.complex128)


def exact_print(
    stack: LayerStack, regions: LayerRegions, settings: PrintSettings, tell: Tell | None = None
) -> ExactPrint:
    """Draw every line of a print and plan it.

    Parameters
    ----------
    stack, regions
        As `layer_stack` and `layer_regions` gave them.
    tell
        Called with the share done, 0 to 1; what it raises stops the work.

    Raises
    ------
    BadSettings
        If one layer would have millions of lines.

    Notes
    -----
    A layer is drawn in this order: bed edge, support, contours and gaps, solid hatch, infill; in each, always on to
    what lies nearest, from the layer's front left corner. Hatch lies at +45° in one layer and at −45° in the next, so
    layers that are alike are drawn once for each. Every line and every travel runs from rest to rest; drawing
    filament back before travel is not reckoned. Source: common practice.
    """
    plans, of_layer = plans_of(stack, regions)
    sums = _Sums(len(plans))
    drawing = _Drawing(stack, settings)
    for block in blocks(plans, settings):
        drawing.draw(plans, block, sums)
        if tell is not None:
            tell(block.stop / len(plans))
    times = sums.times_s[of_layer]
    # A layer without a line has no place.
    times[1:] += drawing.travel_s(np.nan_to_num(np.abs(sums.begins[of_layer[1:]] - sums.ends[of_layer[:-1]])))
    thickness = stack.thicknesses_mm
    spent = {kind: float((areas[of_layer] * thickness).sum()) for kind, areas in sums.areas_mm2.items()}
    return ExactPrint(
        held_layers_s(times, settings),
        PrintedVolumes(
            spent["contours"], spent["solid"], spent["infill"], spent["support"], spent["edge"], sum(spent.values())
        ),
    )


class _Drawing:
    """Draws plans with the settings of one print."""

    def __init__(self, stack: LayerStack, settings: PrintSettings) -> None:
        self._cuts = [cut.region for cut in stack.cuts]
        self._settings = settings
        self._spacings = hatch_spacings_mm(settings)
        self._contours: dict[int, Loops] = {}
        # By kind and by whether it is the first layer.
        self._speeds: dict[tuple[str, bool], float] = {}
        for kind, speeds in kind_speeds_mm_s(stack, settings).items():
            self._speeds[kind, True], self._speeds[kind, False] = float(speeds[0]), float(speeds[-1])

    def draw(self, plans: Sequence[Plan], block: range, sums: _Sums) -> None:
        """Draw and time some of the plans."""
        jobs = [(i, kind) for i in block for kind in self._spacings if not plans[i].regions[kind].is_empty()]
        hatched = dict(zip(jobs, self._hatch(plans, jobs), strict=True))
        paths: list[Floats] = []
        owners: list[int] = []
        for i in block:
            drawn = self._draw_one(i, plans[i], hatched, sums)
            paths += drawn
            owners += [i] * len(drawn)
        if paths:
            bounds = np.cumsum([0] + [len(path) for path in paths])
            speeds = np.array([self._speeds["contours", plans[i].first] for i in owners])
            times = self._paths_s(np.concatenate(paths), bounds, np.repeat(speeds, np.diff(bounds))[:-1])
            sums.times_s += np.bincount(owners, weights=times, minlength=len(plans))

    def travel_s(self, ways_mm: Floats) -> Floats:
        """Time of travel from rest to rest."""
        return straight_s(ways_mm, self._settings.travel_speed_mm_s, self._settings.acceleration_mm_s2)

    def _draw_one(
        self, i: int, plan: Plan, hatched: Mapping[tuple[int, str], _Hatched], sums: _Sums
    ) -> Sequence[Floats]:
        """Draw plan i: its loops and gap lines are given back, all else is added up."""
        outline, width = self._cuts[plan.cut], self._settings.line_width_mm
        if outline.is_empty():
            return []
        tool = Tool(complex(*outline.bounds()[:2]))
        sums.begins[i] = tool.at
        if plan.first:
            edge = edge_loops(outline, self._settings.bed_edge_mm, width)
            tool.draw_loops(edge)
            sums.areas_mm2["edge"][i] = edge.loops_mm2
        for kind in ("support", "contours", "solid", "infill"):
            if kind == "contours":
                loops = self._contours_of(plan.cut)
                tool.draw_loops(loops)
                sums.areas_mm2[kind][i] = loops.loops_mm2 + loops.gaps_mm2
            elif (i, kind) in hatched:
                made = hatched[i, kind]
                tool.draw_lines(made.starts, made.ends)
                sums.times_s[i] += made.time_s
                sums.areas_mm2[kind][i] = made.line_mm * width
        sums.ends[i] = tool.at
        sums.times_s[i] += float(self.travel_s(tool.hops_mm).sum())
        return tool.paths

    def _hatch(self, plans: Sequence[Plan], jobs: Sequence[tuple[int, str]]) -> list[_Hatched]:
        """The hatch of some regions, each the number of a plan and a kind."""
        turns = np.array([plans[i].turn for i, _ in jobs])
        spacings = np.array([self._spacings[kind] for _, kind in jobs])
        speeds = np.array([self._speeds[kind, plans[i].first] for i, kind in jobs])
        drawn = chords([plans[i].regions[kind] for i, kind in jobs], turns, spacings, self._settings.line_width_mm)
        times = self._chords_s(drawn, speeds)
        lines = np.bincount(drawn.region, weights=drawn.extruded_mm, minlength=len(jobs))
        firsts = np.flatnonzero(drawn.starts_cell)
        lasts = np.append(firsts[1:], len(drawn.region))[: len(firsts)] - 1
        starts, ends = as_places(drawn.enter_mm[firsts]), as_places(drawn.leave_mm[lasts])
        cells = np.searchsorted(drawn.region[firsts], np.arange(len(jobs) + 1)).tolist()
        parts = [slice(cells[j], cells[j + 1]) for j in range(len(jobs))]
        return [_Hatched(float(times[j]), float(lines[j]), starts[p], ends[p]) for j, p in enumerate(parts)]

    def _chords_s(self, drawn: Chords, speeds: Floats) -> Floats:
        """Time of the chords of each region at its speed (n,), with their links and the travel inside cells."""
        count = len(drawn.region)
        if count == 0:
            return np.zeros(len(speeds))
        points = np.stack([drawn.enter_mm, drawn.leave_mm], axis=1).reshape(-1, 2)
        begins = np.flatnonzero(~drawn.linked)
        times = self._paths_s(points, np.append(begins, count) * 2, np.repeat(speeds[drawn.region], 2)[:-1])
        jumps = np.flatnonzero(~drawn.linked & ~drawn.starts_cell)
        ways = np.linalg.norm(drawn.enter_mm[jumps] - drawn.leave_mm[jumps - 1], axis=1)
        owners = np.concatenate([drawn.region[begins], drawn.region[jumps]])
        taken = np.concatenate([times, self.travel_s(ways)])
        return np.bincount(owners, weights=taken, minlength=len(speeds)).astype(np.float64)

    def _paths_s(self, points_mm: Floats, bounds: Indices, speeds: Floats) -> Floats:
        settings = self._settings
        return paths_s(points_mm, bounds, speeds, settings.acceleration_mm_s2, settings.junction_deviation_mm)

    def _contours_of(self, cut: int) -> Loops:
        if cut not in self._contours:
            settings = self._settings
            self._contours[cut] = contour_loops(self._cuts[cut], settings.contours, settings.line_width_mm)
        return self._contours[cut]
