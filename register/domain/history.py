"""Operations: who did what, when and why."""

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True)
class Operation:
    """One operation. `undoes` is the one that it takes back, `undone_by` the one that took it back."""

    number: int
    at: datetime
    who: str
    why: str
    undoes: int | None = None
    undone_by: int | None = None
