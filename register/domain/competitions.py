"""Competitions: the dated events that the shop works towards."""

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True)
class Entry:
    """A robot at a competition; `matches` are those it plays (past) or is expected to play (to come)."""

    robot: str
    matches: int


@dataclass(frozen=True)
class Competition:
    """An event. `parts_due` is when parts must be on hand; `starts` when the first match may begin."""

    name: str
    starts: datetime
    parts_due: datetime
    entries: tuple[Entry, ...] = ()
