"""Which layers of a print are drawn alike, and how many of them are worked on at once."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from register.domain.machines import PrintSettings
from register.errors import BadSettings
from register.estimate.hatch_lines import foreseen, hatch_spacings_mm
from register.estimate.print_layers import LayerRegions, LayerStack

if TYPE_CHECKING:
    from manifold3d import CrossSection

Indices = NDArray[np.int64]

# Crossings of hatch lines that are held at once (about 300 bytes each), and layers between two words of progress.
BLOCK_CROSSINGS = 200_000
BLOCK_PLANS = 40
# A layer of more than these would take minutes and gigabytes.
MOST_CROSSINGS = 4_000_000


@dataclass(frozen=True)
class Plan:
    """What is drawn in at least one layer: its cut, its regions by kind of hatch, and on which diagonal they lie.

    `turn` is +1 for hatch at +45° and −1 for −45°; `first` says that it is the first layer of the print.
    """

    cut: int
    regions: dict[str, "CrossSection"]
    turn: float
    first: bool


def plans_of(stack: LayerStack, regions: LayerRegions) -> tuple[list[Plan], Indices]:
    """The plans of a print, lowest first, and which of them each layer has: (m,)."""
    known: dict[tuple[int, ...], int] = {}
    plans: list[Plan] = []
    of_layer = np.zeros(len(stack.run), dtype=np.int64)
    for k, cut in enumerate(stack.run.tolist()):
        hatched = {"support": regions.support[k], "solid": regions.skin[k], "infill": regions.sparse[k]}
        key = (cut, *(id(region) for region in hatched.values()), k % 2, int(k == 0))
        if key not in known:
            known[key] = len(plans)
            plans.append(Plan(cut, hatched, 1.0 - 2.0 * (k % 2), k == 0))
        of_layer[k] = known[key]
    return plans, of_layer


def blocks(plans: Sequence[Plan], settings: PrintSettings) -> Iterator[range]:
    """Runs of plans that are worked on at once.

    Raises
    ------
    BadSettings
        If the hatch of one layer would cross its outlines more than 4 000 000 times.
    """
    spacings = hatch_spacings_mm(settings)
    begin = crossed = 0
    for i, plan in enumerate(plans):
        more = sum(foreseen(plan.regions[kind], spacing) for kind, spacing in spacings.items())
        if more > MOST_CROSSINGS:
            raise BadSettings(
                f"A layer would have about {more // 2:,} lines of hatch.",
                "Give a larger line_width_mm, or do without the exact form.",
            )
        if i > begin and (crossed + more > BLOCK_CROSSINGS or i - begin >= BLOCK_PLANS):
            yield range(begin, i)
            begin, crossed = i, 0
        crossed += more
    yield range(begin, len(plans))
