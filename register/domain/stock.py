"""Stock: spools, powder, sheets and offcuts, counted by moves and never by a number that is overwritten."""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from register.domain.materials import Form


class StockForm(StrEnum):
    """A spool and a lot of powder are counted in grams; sheets and offcuts in pieces."""

    SPOOL = "spool"
    SHEET = "sheet"
    OFFCUT = "offcut"
    POWDER = "powder"

    @property
    def weighed(self) -> bool:
        """Whether it is counted in grams."""
        return self in (StockForm.SPOOL, StockForm.POWDER)

    @property
    def material_form(self) -> Form:
        """The form of material that it is of."""
        return {StockForm.SPOOL: Form.FILAMENT, StockForm.POWDER: Form.POWDER}.get(self, Form.SHEET)


@dataclass(frozen=True)
class Lot:
    """One lot of stock, with what its moves add up to: grams for a spool and for powder, pieces for sheet and offcut.

    A lot that is on order carries the time at which it arrives.
    """

    label: str
    material: str
    form: StockForm
    amount: float
    thickness_mm: float | None = None
    width_mm: float | None = None
    length_mm: float | None = None
    arrives: datetime | None = None
    note: str = ""

    def there(self, moment: datetime) -> bool:
        """Whether it has arrived by `moment`."""
        return self.arrives is None or self.arrives <= moment


@dataclass(frozen=True)
class LotUse:
    """What is taken of one lot, g: what it holds now, what goes, what stays."""

    lot: str
    holds_g: float
    takes_g: float
    left_g: float


@dataclass(frozen=True)
class SpoolAdvice:
    """Which lots on hand suffice for so much of a material.

    `uses` names the one lot that is enough, or the two that are together, in the order in which they are used up;
    nothing if neither one nor two hold it. `lots` counts those on hand, which hold `on_hand_g` together, `short_g` less
    than is needed.
    """

    material: str
    form: StockForm
    need_g: float
    uses: tuple[LotUse, ...]
    lots: int
    on_hand_g: float
    short_g: float
    cautions: tuple[str, ...] = ()


class StockMove(StrEnum):
    """Why stock came or went."""

    RECEIVED = "received"
    USED = "used"
    COUNTED = "counted"
    SCRAPPED = "scrapped"
