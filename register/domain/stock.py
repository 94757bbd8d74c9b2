"""Stock: spools, sheets and offcuts, counted by moves and never by a number that is overwritten."""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum


class StockForm(StrEnum):
    """A spool is counted in grams; sheets and offcuts in pieces."""

    SPOOL = "spool"
    SHEET = "sheet"
    OFFCUT = "offcut"


@dataclass(frozen=True)
class Lot:
    """One lot of stock, with what its moves add up to: grams for a spool, pieces for sheet and offcut.

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


class StockMove(StrEnum):
    """Why stock came or went."""

    RECEIVED = "received"
    USED = "used"
    COUNTED = "counted"
    SCRAPPED = "scrapped"
