"""Competitions: adding one and entering robots."""

from datetime import datetime

from register.domain.competitions import Competition, Entry
from register.domain.texts import clean_text
from register.errors import NotAllowed
from register.opening import Register
from register.store import competitions

MOST_MATCHES = 1000


def add_competition(
    register: Register, name: str, starts: datetime, parts_due: datetime | None, entries: tuple[Entry, ...]
) -> Competition:
    """Add a competition.

    Parameters
    ----------
    parts_due
        When parts must be on hand; when it starts if None.

    Raises
    ------
    NotAllowed
        If the name is taken, or parts would be due after the start.
    NotFound
        If a robot is not there.
    """
    wanted = Competition(clean_text(name, "competition's name"), starts, parts_due or starts, entries)
    if wanted.parts_due > starts:
        raise NotAllowed("Parts would be due after the competition starts.", "Give an earlier time.")
    for entry in entries:
        if not 0 <= entry.matches <= MOST_MATCHES:
            raise NotAllowed(f"{entry.robot} cannot play {entry.matches} matches.", f"Give 0 to {MOST_MATCHES}.")
    with register.store.writing(register.who, f"add competition {wanted.name}") as tx:
        competitions.add_competition(tx, wanted)
    return wanted


def list_competitions(register: Register) -> tuple[Competition, ...]:
    """Every competition, by date."""
    with register.store.reading() as view:
        return competitions.competitions(view)
