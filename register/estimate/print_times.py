"""How long each layer of a print takes."""

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from register.domain.machines import PrintSettings
from register.estimate.hatch_lines import hatch_spacings_mm
from register.estimate.motion import straight_s
from register.estimate.print_contours import HATCH_WAY, LAYER_WAY, contours_s, diagonal_mm
from register.estimate.print_hatch import hatch_s
from register.estimate.print_layers import LayerRegions, LayerStack

if TYPE_CHECKING:
    from manifold3d import CrossSection

Floats = NDArray[np.float64]


def layer_times_s(stack: LayerStack, regions: LayerRegions, edge_mm2: float, settings: PrintSettings) -> Floats:
    """Time of each layer (m,) with its travel, its change and its least time, without heating.

    Notes
    -----
    Contours are planned corner by corner (`contours_s`); hatch is worked out from areas, outlines and a few lines of
    each region (`hatch_s`).
    """
    speeds = kind_speeds_mm_s(stack, settings)
    contour = speeds["contours"]
    total = contours_s(stack, regions, float(contour[0]), float(contour[-1]), settings)
    layers = {"support": regions.support, "solid": regions.skin, "infill": regions.sparse}
    spacings = hatch_spacings_mm(settings)
    hatched = np.array([_hatched_s(layers[kind], spacings[kind], speeds[kind], settings) for kind in spacings])
    diagonals = np.array([diagonal_mm(cut.region) for cut in stack.cuts])[stack.run]
    a, v = settings.acceleration_mm_s2, settings.travel_speed_mm_s
    total += hatched.sum(axis=0) + (hatched > 0.0).sum(axis=0) * straight_s(HATCH_WAY * diagonals, v, a)
    total += (hatched > 0.0).any(axis=0) * straight_s(LAYER_WAY * diagonals, v, a)
    total[0] += edge_mm2 / settings.line_width_mm / float(contour[0])
    return held_layers_s(total, settings)


def held_layers_s(times_s: Floats, settings: PrintSettings) -> Floats:
    """Layers' times (m,) held to the least that a layer needs to cool, with the change to each."""
    return np.maximum(times_s, settings.least_layer_s) + settings.layer_change_s


def kind_speeds_mm_s(stack: LayerStack, settings: PrintSettings) -> dict[str, Floats]:
    """Speed of each kind of line in each layer (m,), held to the flow limit and, in the first, to its own speed."""
    by_flow = settings.flow_limit_mm3_s / (settings.line_width_mm * stack.thicknesses_mm)
    by_flow[0] = min(float(by_flow[0]), settings.first_layer_speed_mm_s)
    wanted = {
        "contours": settings.contour_speed_mm_s,
        "support": settings.support_speed_mm_s,
        "solid": settings.solid_speed_mm_s,
        "infill": settings.infill_speed_mm_s,
    }
    return {kind: np.minimum(speed, by_flow) for kind, speed in wanted.items()}


def _hatched_s(
    layers: tuple["CrossSection", ...], spacing_mm: float, speeds: Floats, settings: PrintSettings
) -> Floats:
    """Time of the hatch of each layer, equal regions at equal speed are worked out once."""
    known: dict[tuple[int, float], int] = {}
    of_layer = [known.setdefault((id(r), v), len(known)) for r, v in zip(layers, speeds.tolist(), strict=True)]
    _, firsts = np.unique(of_layer, return_index=True)
    distinct = [layers[k] for k in firsts.tolist()]
    times = hatch_s(distinct, spacing_mm, speeds[firsts], settings)
    return np.asarray(times[of_layer])
