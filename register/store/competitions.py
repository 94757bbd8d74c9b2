"""Competitions and the robots entered in them."""

import sqlalchemy as sa
from sqlmodel import select

from register.domain.competitions import Competition, Entry
from register.errors import NotAllowed, NotFound
from register.store.plain import rows, table_of
from register.store.robots import robot_row
from register.store.tables.parts import RobotRow
from register.store.tables.work import CompetitionRow, EntryRow
from register.store.transaction import Reading, Writing


def competitions(reading: Reading) -> tuple[Competition, ...]:
    """Every competition, by date."""
    entry, event, robot = table_of(EntryRow), table_of(CompetitionRow), table_of(RobotRow)
    entries: dict[str, list[Entry]] = {}
    wanted = sa.select(entry.c.competition_key, robot.c.name, entry.c.matches).join(robot).order_by(robot.c.name)
    for key, name, matches in rows(reading, wanted):
        entries.setdefault(key, []).append(Entry(name, matches))
    events = sa.select(event.c.key, event.c.name, event.c.starts, event.c.parts_due).order_by(event.c.starts)
    return tuple(
        Competition(name, starts, parts_due, tuple(entries.get(key, ())))
        for key, name, starts, parts_due in rows(reading, events)
    )


def add_competition(writing: Writing, wanted: Competition) -> None:
    """Add a competition with its entries.

    Raises
    ------
    NotAllowed
        If its name is taken.
    NotFound
        If a robot is not there.
    """
    taken = select(CompetitionRow).where(CompetitionRow.name == wanted.name)
    if writing.session.exec(taken).first() is not None:
        raise NotAllowed(f"There is a competition {wanted.name} already.", "Take another name.")
    row = CompetitionRow(key=writing.key(), name=wanted.name, starts=wanted.starts, parts_due=wanted.parts_due)
    writing.session.add(row)
    writing.session.flush()
    for entry in wanted.entries:
        enter_robot(writing, wanted.name, entry)


def enter_robot(writing: Writing, competition: str, entry: Entry) -> None:
    """Enter a robot in a competition, or change its number of matches; raises NotFound."""
    session = writing.session
    row = session.exec(select(CompetitionRow).where(CompetitionRow.name == competition.strip())).first()
    if row is None:
        raise NotFound(f"There is no competition {competition!r}.", "See `pitwright competition list`.")
    robot = robot_row(session, entry.robot)
    standing = session.exec(
        select(EntryRow).where(EntryRow.competition_key == row.key, EntryRow.robot_key == robot.key)
    ).first()
    standing = standing or EntryRow(
        key=writing.key(), competition_key=row.key, robot_key=robot.key, matches=entry.matches
    )
    standing.matches = entry.matches
    session.add(standing)
