"""What each layer of a print consists of: contours, solid layers, infill and support, as polygons."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

from register.domain.machines import PrintSettings
from register.errors import BadMesh, BadSettings
from register.geometry.layers import crossings, same_as_below
from register.geometry.rings import Section, sections, sections_work
from register.geometry.topology import bounds_of

if TYPE_CHECKING:
    from manifold3d import CrossSection

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]
Result = TypeVar("Result")

# Cuts beyond this number are not made: neighbouring layers then share a polygon.
MOST_CUTS = 4_000_000
MOST_CORNERS = 600_000
# A cut of more corners than this is rough: offsets of it take seconds where they run into one another.
MANY_CORNERS, ROUGH_SIMPLER_MM = 8_000, 0.02
# What the polygons of all cuts may cost, as `sections_work` counts; the layers at which it is looked up, and the
# fewest cuts that still say what a part is like.
MOST_WORK = 2e7
WORK_LAYERS = 24
FEWEST_CUTS = 8
MOST_LAYERS = 20_000
# Support needs no finer outline than this; without it the arcs of hundreds of layers pile up.
SUPPORT_SIMPLER_MM = 0.03
# Corners of round outlines of support and bed edge.
ROUND_SEGMENTS = 24


@dataclass(frozen=True)
class LayerStack:
    """The layers of a print: `heights_mm` of their middles above the mesh's own zero, `thicknesses_mm`, both (m,).

    Layers whose outlines are alike share one entry of `cuts`: layer k has `cuts[run[k]]`. `stride` above 1 says
    that unlike neighbours had to share one too.
    """

    heights_mm: Floats
    thicknesses_mm: Floats
    run: Indices
    cuts: tuple[Section, ...]
    stride: int


@dataclass(frozen=True)
class LayerRegions:
    """Regions of a print; where two layers have the same region it is the same object.

    One a cut: `inner`, what the contours enclose; `loops`, their middle lines, each closed; `thin_mm2`, the area
    that no line of full width can reach. One a layer: `sparse`, `skin` (solid layers) and `support`.
    """

    inner: tuple["CrossSection", ...]
    loops: tuple[tuple[Floats, ...], ...]
    thin_mm2: Floats
    sparse: tuple["CrossSection", ...]
    skin: tuple["CrossSection", ...]
    support: tuple["CrossSection", ...]


def layer_stack(triangles_mm: Floats, settings: PrintSettings) -> LayerStack:
    """The layers that a mesh (n, 3, 3) is printed in, and their cuts.

    Raises
    ------
    BadSettings
        If they would be more than 20 000.
    BadMesh
        If the mesh is so rough that the polygons of a few layers would take minutes.

    Notes
    -----
    A layer is printed if the middle of its thickness lies inside the part's height.
    """
    low, high = (float(each[2]) for each in bounds_of(triangles_mm))
    first, rest = settings.first_layer_height_mm, settings.layer_height_mm
    above = int(max(0.0, np.ceil((high - low - first) / rest - 0.5 - 1e-6)))
    if above >= MOST_LAYERS:
        raise BadSettings(
            f"A layer height of {rest:g} mm makes {above + 1} layers.", "Give a layer height that suits the part."
        )
    thickness = np.full(above + 1, rest)
    thickness[0] = first
    heights = low + np.cumsum(thickness) - thickness / 2.0
    heights[0] = min(heights[0], (low + high) / 2.0)
    run = np.cumsum(~same_as_below(triangles_mm, heights)) - 1
    starts = np.flatnonzero(np.diff(run, prepend=-1))
    stride = _stride(triangles_mm, heights[starts])
    run = run // stride
    chosen = starts[np.minimum(np.arange(run[-1] + 1) * stride + stride // 2, len(starts) - 1)]
    cuts = [_smoothed(cut) for cut in sections(triangles_mm, heights[chosen])]
    # How many corners are left is known only now; each is kept in a dozen regions.
    while len(cuts) > 1 and sum(cut.region.num_vert() for cut in cuts) > MOST_CORNERS:
        stride, run, cuts = 2 * stride, run // 2, cuts[::2]
    return LayerStack(heights, thickness, run, tuple(cuts), stride)


def _smoothed(cut: Section) -> Section:
    if cut.region.num_vert() <= MANY_CORNERS:
        return cut
    return replace(cut, region=cut.region.simplify(ROUGH_SIMPLER_MM))


def _stride(triangles_mm: Floats, heights_mm: Floats) -> int:
    """How many neighbouring layers have to share a cut, so that time and memory stay bounded."""
    count = len(heights_mm)
    stride = max(1, int(np.ceil(crossings(triangles_mm, heights_mm).sum() / MOST_CUTS)))
    sample = heights_mm[np.unique(np.linspace(0, count - 1, WORK_LAYERS).astype(np.int64))]
    most = MOST_WORK / max(float(sections_work(triangles_mm, sample).mean()), 1.0)
    if most < min(FEWEST_CUTS, count):
        raise BadMesh(
            "The mesh is so rough that cuts through it cannot be worked with.", "Smooth it, or export it coarser."
        )
    return max(stride, int(np.ceil(count / most)))


def layer_regions(stack: LayerStack, settings: PrintSettings) -> LayerRegions:
    """Where contours, infill, solid layers and support lie in each layer."""
    from manifold3d import JoinType  # loads where polygons are first needed

    width = settings.line_width_mm
    outlines = [cut.region for cut in stack.cuts]
    inner, loops, thin = [], [], []
    for outline in outlines:
        lines = [outline.offset(-(i + 0.5) * width, JoinType.Miter) for i in range(settings.contours)]
        loops.append(tuple(_closed(ring) for line in lines for ring in line.to_polygons()))
        inner.append(outline.offset(-settings.contours * width, JoinType.Miter) if lines else outline)
        thin.append(outline.area() - lines[0].offset(width / 2.0, JoinType.Miter).area() if lines else 0.0)
    layered = [outlines[i] for i in stack.run]
    windows = shared_windows(layered, settings.solid_bottom_layers, settings.solid_top_layers)
    fill = _Reused(lambda region, window: (region ^ window, region - window))
    pairs = [fill(inner[i], window) for i, window in zip(stack.run, windows, strict=True)]
    return LayerRegions(
        tuple(inner),
        tuple(loops),
        np.maximum(np.array(thin), 0.0),
        tuple(sparse for sparse, _ in pairs),
        tuple(skin for _, skin in pairs),
        tuple(support_columns(layered, stack.thicknesses_mm, settings.support_angle_deg, width)),
    )


def shared_windows(layered: Sequence["CrossSection"], below: int, above: int) -> list["CrossSection"]:
    """For each layer, what it has in common with the `below` layers under it and the `above` layers over it.

    Notes
    -----
    Running intersections from both ends of blocks as long as the window, so each layer costs three, whatever the
    window. Outside the stack there is nothing. Source: van Herk 1992, for running minima (from memory).
    """
    from manifold3d import CrossSection  # loads where polygons are first needed

    nothing = CrossSection()
    size = below + above + 1
    padded = [nothing] * below + list(layered) + [nothing] * above
    forward, backward = list(padded), list(padded)
    for i in range(1, len(padded)):
        if i % size:
            forward[i] = _common(forward[i - 1], padded[i])
    for i in range(len(padded) - 2, -1, -1):
        if (i + 1) % size:
            backward[i] = _common(backward[i + 1], padded[i])
    meet = _Reused(_common)
    return [meet(backward[k], forward[k + size - 1]) for k in range(len(layered))]


def _common(one: "CrossSection", other: "CrossSection") -> "CrossSection":
    if one is other or one.is_empty():
        return one
    if other.is_empty():
        return other
    return one ^ other


class _Reused(Generic[Result]):
    """A function of two regions that gives the same object for the same two objects."""

    def __init__(self, function: Callable[["CrossSection", "CrossSection"], Result]) -> None:
        self._function = function
        # The regions are kept beside the result, so that their ids stay theirs.
        self._known: dict[tuple[int, int], tuple[object, object, Result]] = {}

    def __call__(self, one: "CrossSection", other: "CrossSection") -> Result:
        key = (id(one), id(other))
        if key not in self._known:
            self._known[key] = (one, other, self._function(one, other))
        return self._known[key][2]


def support_columns(
    layered: Sequence["CrossSection"], thicknesses_mm: Floats, angle_deg: float, width_mm: float
) -> list["CrossSection"]:
    """Where support stands in each layer: under what overhangs by more than the angle, down to the next surface.

    Parameters
    ----------
    layered
        Outline of each layer, lowest first.
    thicknesses_mm : (m,)
    angle_deg
        From the vertical; 0 means no support anywhere.
    width_mm
        Of a line.
    """
    from manifold3d import CrossSection  # loads where polygons are first needed

    nothing = CrossSection()
    columns = [nothing] * len(layered)
    standing = printable = nothing
    if angle_deg <= 0.0:
        return columns
    reach = np.tan(np.radians(angle_deg)) * thicknesses_mm
    for k in range(len(layered) - 2, -1, -1):
        if layered[k + 1] is not layered[k]:
            beyond = layered[k + 1] - _grown(layered[k], float(reach[k + 1]))
            # What is beyond reach hangs on a strip that is within reach: the strip is held up with it.
            overhang = _grown(beyond, float(reach[k + 1])) ^ (layered[k + 1] - layered[k])
            standing = ((standing + overhang) - layered[k]).simplify(SUPPORT_SIMPLER_MM)
            # Nothing narrower than a line is printed; it also clears the splinters that rounding leaves.
            printable = _grown(_grown(standing, -width_mm / 2.0), width_mm / 2.0)
        columns[k] = printable
    return columns


def area_mm2(region: "CrossSection") -> float:
    """Area of a region; the rounding of a splinter can make it a hair less than nothing."""
    return max(float(region.area()), 0.0)


def bed_edge_mm2(foot: "CrossSection", width_mm: float) -> float:
    """Area of an edge of that width round the part's foot."""
    return float(_grown(foot, width_mm).area() - foot.area()) if width_mm > 0.0 else 0.0


def _grown(region: "CrossSection", by_mm: float) -> "CrossSection":
    from manifold3d import JoinType  # loads where polygons are first needed

    return region.offset(by_mm, JoinType.Round, circular_segments=ROUND_SEGMENTS)


def _closed(ring: Floats) -> Floats:
    return np.concatenate([ring, ring[:1]])
