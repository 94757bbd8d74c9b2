"""Pieces: what is on hand, counted by moves, and what was replaced."""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum


class PieceMove(StrEnum):
    """Why pieces came or went."""

    MADE = "made"
    RECEIVED = "received"
    COUNTED = "counted"
    TAKEN = "taken"
    FITTED = "fitted"
    RETURNED = "returned"
    SCRAPPED = "scrapped"


class Cause(StrEnum):
    """Why a piece was replaced."""

    WORN = "worn"
    BROKEN = "broken"
    WRONG = "wrong"
    PRECAUTION = "precaution"


@dataclass(frozen=True)
class Replacement:
    """One replacement, as it is logged. `removed` and `fitted` are letters, None where the piece was unmarked."""

    part: str
    robot: str
    position: str
    slot: int
    removed: str | None
    fitted: str | None
    cause: Cause
    by: str
    at: datetime
    note: str = ""
