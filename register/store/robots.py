"""Robots, their assemblies and positions, and what is fitted: rows out, rows in."""

import sqlalchemy as sa
from sqlmodel import Session, select

from register.domain.robots import Assembly, Position, Robot
from register.errors import NotAllowed, NotFound
from register.store.parts import part_row, revision_row
from register.store.plain import rows, table_of
from register.store.position_lists import positions
from register.store.tables.parts import AssemblyRow, FittedRow, PartRow, PositionRow, RevisionRow, RobotRow
from register.store.transaction import Reading, Writing

_ROBOT, _ASSEMBLY = table_of(RobotRow), table_of(AssemblyRow)


def robot_row(session: Session, name: str) -> RobotRow:
    """The row of a robot; raises NotFound."""
    row = session.exec(select(RobotRow).where(RobotRow.name == name.strip())).first()
    if row is None:
        raise NotFound(f"There is no robot {name!r}.", "See `pitwright robot list`.")
    return row


def robots(reading: Reading) -> tuple[Robot, ...]:
    """Every robot with its structure, by name."""
    return _robots(reading)


def robot(reading: Reading, name: str) -> Robot:
    """One robot with its structure; raises NotFound."""
    return _robots(reading, _ROBOT.c.key == robot_row(reading.session, name).key)[0]


def add_robot(writing: Writing, name: str, note: str) -> None:
    """Add a robot; raises NotAllowed if its name is taken."""
    if writing.session.exec(select(RobotRow).where(RobotRow.name == name)).first() is not None:
        raise NotAllowed(f"There is a robot {name} already.", "Take another name.")
    writing.session.add(RobotRow(key=writing.key(), name=name, note=note, active=True))


def add_assembly(writing: Writing, wanted: Assembly) -> None:
    """Add an assembly to a robot.

    Raises
    ------
    NotFound
        If the robot or the parent assembly is not there.
    NotAllowed
        If the robot has an assembly of that name.
    """
    owner = robot_row(writing.session, wanted.robot)
    parent = _assembly_row(writing.session, owner, wanted.parent) if wanted.parent else None
    taken = select(AssemblyRow).where(AssemblyRow.robot_key == owner.key, AssemblyRow.name == wanted.name)
    if writing.session.exec(taken).first() is not None:
        raise NotAllowed(f"{owner.name} has an assembly {wanted.name} already.", "Take another name.")
    writing.session.add(
        AssemblyRow(
            key=writing.key(),
            robot_key=owner.key,
            parent_key=parent.key if parent else None,
            name=wanted.name,
            module=wanted.module,
        )
    )


def add_position(writing: Writing, wanted: Position) -> None:
    """Add a position with what it requires; nothing is fitted yet.

    Raises
    ------
    NotFound
        If the robot, assembly, part or revision is not there.
    NotAllowed
        If the robot has a position of that name.
    """
    owner = robot_row(writing.session, wanted.robot)
    group = _assembly_row(writing.session, owner, wanted.assembly) if wanted.assembly else None
    required, _ = revision_row(writing.session, wanted.part, wanted.required)
    taken = select(PositionRow).where(PositionRow.robot_key == owner.key, PositionRow.name == wanted.name)
    if writing.session.exec(taken).first() is not None:
        raise NotAllowed(f"{owner.name} has a position {wanted.name} already.", "Take another name.")
    writing.session.add(
        PositionRow(
            key=writing.key(),
            robot_key=owner.key,
            assembly_key=group.key if group else None,
            name=wanted.name,
            part_key=part_row(writing.session, wanted.part).key,
            quantity=wanted.quantity,
            required_key=required.key,
        )
    )


def position_row(session: Session, robot: str, name: str) -> PositionRow:
    """The row of a position; raises NotFound."""
    owner = robot_row(session, robot)
    row = session.exec(
        select(PositionRow).where(PositionRow.robot_key == owner.key, PositionRow.name == name.strip())
    ).first()
    if row is None:
        raise NotFound(f"{owner.name} has no position {name!r}.", f"See `pitwright robot show {owner.name}`.")
    return row


def require(writing: Writing, robot: str, name: str, letter: str) -> None:
    """Change the revision that a position is meant to carry; raises NotFound."""
    row = position_row(writing.session, robot, name)
    number = writing.session.exec(select(PartRow.number).where(PartRow.key == row.part_key)).one()
    row.required_key = revision_row(writing.session, number, letter)[0].key
    writing.session.add(row)


def fit(writing: Writing, robot: str, name: str, slot: int, letter: str | None, empty: bool = False) -> str | None:
    """Record what sits in one slot now and give back the letter that sat there before.

    Parameters
    ----------
    slot
        1 to the position's quantity.
    letter
        None for an unmarked piece.
    empty
        Nothing is fitted; `letter` must be None.

    Raises
    ------
    NotFound
        If the position or the revision is not there.
    NotAllowed
        If the position has no such slot.
    """
    place = position_row(writing.session, robot, name)
    if not 1 <= slot <= place.quantity:
        raise NotAllowed(f"{name} on {robot} holds {place.quantity}, so there is no piece {slot}.", "Count from 1.")
    number = writing.session.exec(select(PartRow.number).where(PartRow.key == place.part_key)).one()
    revision = revision_row(writing.session, number, letter)[0] if letter else None
    row = writing.session.exec(
        select(FittedRow).where(FittedRow.position_key == place.key, FittedRow.slot == slot)
    ).first()
    before = None
    if row is not None and row.revision_key:
        before = writing.session.exec(select(RevisionRow.letter).where(RevisionRow.key == row.revision_key)).one()
    if empty:
        if row is not None:
            writing.session.delete(row)
        return before
    row = row or FittedRow(
        key=writing.key(), position_key=place.key, slot=slot, fitted_by=writing.who, fitted_at=writing.at
    )
    row.revision_key = revision.key if revision else None
    row.fitted_by, row.fitted_at = writing.who, writing.at
    writing.session.add(row)
    return before


def _assembly_row(session: Session, owner: RobotRow, name: str) -> AssemblyRow:
    row = session.exec(
        select(AssemblyRow).where(AssemblyRow.robot_key == owner.key, AssemblyRow.name == name.strip())
    ).first()
    if row is None:
        raise NotFound(f"{owner.name} has no assembly {name!r}.", f"See `pitwright robot show {owner.name}`.")
    return row


def _robots(reading: Reading, *conditions: sa.ColumnElement[bool]) -> tuple[Robot, ...]:
    places: dict[str, list[Position]] = {}
    for position in positions(reading, *conditions):
        places.setdefault(position.robot, []).append(position)
    groups: dict[str, list[Assembly]] = {}
    for group in _assemblies(reading, *conditions):
        groups.setdefault(group.robot, []).append(group)
    wanted = sa.select(_ROBOT.c.name, _ROBOT.c.note, _ROBOT.c.active).where(*conditions).order_by(_ROBOT.c.name)
    return tuple(
        Robot(name, note, active, tuple(groups.get(name, ())), tuple(places.get(name, ())))
        for name, note, active in rows(reading, wanted)
    )


def _assemblies(reading: Reading, *conditions: sa.ColumnElement[bool]) -> tuple[Assembly, ...]:
    parent = _ASSEMBLY.alias("parent")
    wanted = (
        sa.select(_ROBOT.c.name, _ASSEMBLY.c.name, parent.c.name, _ASSEMBLY.c.module)
        .select_from(_ASSEMBLY.join(_ROBOT).outerjoin(parent, _ASSEMBLY.c.parent_key == parent.c.key))
        .where(*conditions)
        .order_by(_ASSEMBLY.c.name)
    )
    return tuple(Assembly(*row) for row in rows(reading, wanted))
