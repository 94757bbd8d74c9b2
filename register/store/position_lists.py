"""Positions: where parts sit, what is fitted there, and the assemblies around."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from functools import cache
from typing import Any

import sqlalchemy as sa

from register.domain.robots import Position, Use
from register.store.parts import part_row
from register.store.plain import among, rows, table_of
from register.store.tables.parts import AssemblyRow, FittedRow, PartRow, PositionRow, RevisionRow, RobotRow
from register.store.transaction import Reading

_ROBOT, _ASSEMBLY, _POSITION = table_of(RobotRow), table_of(AssemblyRow), table_of(PositionRow)
_FITTED, _PART, _REVISION = table_of(FittedRow), table_of(PartRow), table_of(RevisionRow)
ON_ACTIVE_ROBOTS = _ROBOT.c.active.is_(True)


def positions(reading: Reading, *conditions: sa.ColumnElement[bool]) -> tuple[Position, ...]:
    """Positions by robot and name, with what is fitted there now.

    Parameters
    ----------
    conditions
        On columns of robot, part and position; all of them must hold.
    """
    return tuple(position for _, position in _with_rows(reading, *conditions))


def positions_of(reading: Reading, number: str, active_only: bool = True) -> tuple[Position, ...]:
    """Every position of one part, by robot and name; those of robots that are not active only if asked for."""
    of_it = _PART.c.number_folded == number.strip().casefold()
    return positions(reading, of_it, ON_ACTIVE_ROBOTS) if active_only else positions(reading, of_it)


def positions_of_many(reading: Reading, part_keys: Collection[str]) -> dict[str, list[tuple[Position, bool]]]:
    """Every position of some parts, by the part's row key; with each, whether its robot is active."""
    found: dict[str, list[tuple[Position, bool]]] = {}
    for (_, part_key, _, active, *_), position in _with_rows(reading, among(_POSITION.c.part_key, part_keys)):
        found.setdefault(part_key, []).append((position, active))
    return found


def where_used(reading: Reading, number: str) -> tuple[Use, ...]:
    """Every position of a part on any robot, by robot and name, with the assemblies around it; raises NotFound."""
    key = part_row(reading.session, number).key
    found = rows(reading, _assemblies_around(), part=key)
    ways = _ways_in({assembly: (name, parent) for assembly, name, parent in found})
    return tuple(Use(position, ways[row[2]]) for row, position in _with_rows(reading, _POSITION.c.part_key == key))


def _with_rows(reading: Reading, *conditions: sa.ColumnElement[bool]) -> Iterator[tuple[Sequence[Any], Position]]:
    """Positions, each with the row of `_positions` that it was read from."""
    found = rows(reading, _positions().where(*conditions))
    filled = _filled(reading, [row[0] for row in found])
    for row in found:
        key, _, _, _, robot, assembly, name, number, quantity, required = row
        yield row, Position(robot, assembly, name, number, quantity, required, tuple(filled.get(key, ())))


def _filled(reading: Reading, position_keys: Collection[str]) -> dict[str, list[str | None]]:
    """What is fitted at each position, by its row key: a letter a slot, None where the piece is unmarked or missing."""
    slots: dict[str, list[str | None]] = {}
    for key, slot, letter in rows(reading, _fitted().where(among(_FITTED.c.position_key, position_keys))):
        filled = slots.setdefault(key, [])
        if slot > len(filled) + 1:
            filled += [None] * (slot - 1 - len(filled))
        filled.append(letter)
    return slots


def _ways_in(around: Mapping[str, tuple[str, str | None]]) -> dict[str | None, tuple[str, ...]]:
    """For each assembly by row key the names of those around it, the outermost first and its own last; None: none."""
    ways: dict[str | None, tuple[str, ...]] = {None: ()}
    for key in around:
        chain: list[str] = []
        at: str | None = key
        while at is not None and at in around and at not in ways and at not in chain:
            chain.append(at)
            at = around[at][1]
        for inner in reversed(chain):
            name, parent = around[inner]
            ways[inner] = (*ways.get(parent, ()), name)
    return ways


# Statements with many joins take longer to put together than to run, so each is put together once.


@cache
def _positions() -> sa.Select[Any]:
    required = _REVISION.alias("required")
    return (
        sa.select(
            *(_POSITION.c.key, _POSITION.c.part_key, _POSITION.c.assembly_key, _ROBOT.c.active),
            *(_ROBOT.c.name.label("robot"), _ASSEMBLY.c.name.label("assembly"), _POSITION.c.name.label("place")),
            *(_PART.c.number, _POSITION.c.quantity, required.c.letter),
        )
        .select_from(
            _POSITION.join(_ROBOT)
            .join(_PART, _POSITION.c.part_key == _PART.c.key)
            .join(required, _POSITION.c.required_key == required.c.key)
            .outerjoin(_ASSEMBLY, _POSITION.c.assembly_key == _ASSEMBLY.c.key)
        )
        .order_by(_ROBOT.c.name, _POSITION.c.name)
    )


@cache
def _fitted() -> sa.Select[Any]:
    return (
        sa.select(_FITTED.c.position_key, _FITTED.c.slot, _REVISION.c.letter)
        .select_from(_FITTED.outerjoin(_REVISION, _FITTED.c.revision_key == _REVISION.c.key))
        .order_by(_FITTED.c.position_key, _FITTED.c.slot)
    )


@cache
def _assemblies_around() -> sa.Select[Any]:
    """Every assembly that holds the part `part`, at any depth: row key, name, row key of the one around it."""
    columns = (_ASSEMBLY.c.key, _ASSEMBLY.c.name, _ASSEMBLY.c.parent_key)
    inner = sa.select(*columns).join(_POSITION, _POSITION.c.assembly_key == _ASSEMBLY.c.key)
    around = inner.where(_POSITION.c.part_key == sa.bindparam("part")).cte("around", recursive=True)
    outer = sa.select(*columns).join(around, _ASSEMBLY.c.key == around.c.parent_key)
    # UNION, not UNION ALL: each assembly once, so that even a ring comes to an end.
    every = around.union(outer)
    return sa.select(every.c.key, every.c.name, every.c.parent_key)
