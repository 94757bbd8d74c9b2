"""Pieces on hand: a ledger by part, revision and place; and the log of replacements."""

from collections.abc import Collection, Mapping
from operator import itemgetter

import sqlalchemy as sa

from register.domain.parts import Part
from register.domain.pieces import Cause, PieceMove, Replacement
from register.domain.spares import OnHand
from register.errors import NoSpare
from register.store.jobs import job_row
from register.store.parts import part_row, revision_row
from register.store.plain import among, rows, table_of
from register.store.robots import position_row
from register.store.tables.parts import PartRow, PositionRow, RevisionRow, RobotRow
from register.store.tables.work import PieceMoveRow, ReplacementRow
from register.store.transaction import Reading, Writing

_MOVE, _REPLACEMENT = table_of(PieceMoveRow), table_of(ReplacementRow)
_PART, _REVISION = table_of(PartRow), table_of(RevisionRow)
_LEFT = sa.func.sum(_MOVE.c.quantity)


def on_hand(reading: Reading, part: str | None = None) -> tuple[OnHand, ...]:
    """What is on hand, by part, place and revision; places with nothing left out."""
    of_it = []
    if part is not None:
        keys = sa.select(_PART.c.key).where(_PART.c.number_folded == part.strip().casefold())
        of_it.append(_MOVE.c.part_key == keys.scalar_subquery())
    return _on_hand(reading, _LEFT != 0, *of_it)


def on_hand_of(reading: Reading, wanted: Mapping[str, Part]) -> dict[str, tuple[OnHand, ...]]:
    """What is on hand of some parts, by place and revision; by the part's row key, a part without any left out."""
    sums = _sums(_LEFT != 0, among(_MOVE.c.part_key, wanted))
    letters = sums.outerjoin(_REVISION, sums.c.revision_key == _REVISION.c.key)
    # A number that no letter has sorts unmarked pieces first.
    of_revision = sa.func.coalesce(_REVISION.c.place, 0)
    statement = sa.select(sums.c.part_key, sums.c.place, of_revision, _REVISION.c.letter, sums.c.left)
    found: dict[str, list[OnHand]] = {}
    for key, place, _, letter, left in sorted(rows(reading, statement.select_from(letters)), key=itemgetter(0, 1, 2)):
        found.setdefault(key, []).append(OnHand(wanted[key].number, letter, place, int(left)))
    return {key: tuple(there) for key, there in found.items()}


def counts(reading: Reading, numbers: Collection[str] | None = None) -> dict[str, int]:
    """How many pieces are on hand of each part, by part number; only of `numbers` if given."""
    sums = sa.select(_MOVE.c.part_key, _LEFT.label("left")).group_by(_MOVE.c.part_key)
    if numbers is not None:
        folded = among(_PART.c.number_folded, {number.casefold() for number in numbers})
        sums = sums.where(_MOVE.c.part_key.in_(sa.select(_PART.c.key).where(folded)))
    left = sums.having(_LEFT != 0).subquery("sums")
    wanted = sa.select(_PART.c.number, left.c.left).join(left, left.c.part_key == _PART.c.key)
    return {number: int(quantity) for number, quantity in rows(reading, wanted)}


def move_pieces(
    writing: Writing,
    part: str,
    revision: str | None,
    place: str,
    move: PieceMove,
    quantity: int,
    job: str | None = None,
    note: str = "",
) -> int:
    """Add a move to the ledger and give back what is left at that place.

    Parameters
    ----------
    revision
        A letter, or None for unmarked pieces.
    quantity
        Pieces that come (above zero) or go (below zero).

    Raises
    ------
    NotFound
        If the part or the revision is not there.
    NoSpare
        If fewer than `-quantity` are there.
    """
    owner = part_row(writing.session, part)
    letter = revision_row(writing.session, part, revision)[0] if revision else None
    writing.session.add(
        PieceMoveRow(
            key=writing.key(),
            part_key=owner.key,
            revision_key=letter.key if letter else None,
            place=place,
            move=move.value,
            quantity=quantity,
            job_key=job_row(writing.session, job).key if job else None,
            note=note,
            at=writing.at,
        )
    )
    writing.session.flush()
    there = (_MOVE.c.part_key == owner.key, _MOVE.c.revision_key.is_(letter.key if letter else None))
    left = int(rows(writing, sa.select(_LEFT).where(*there, _MOVE.c.place == place))[0][0])
    if left < 0:
        marked = f"revision {letter.letter}" if letter else "unmarked pieces"
        raise NoSpare(
            f"{place} holds {left - quantity} of {owner.number}, {marked}, so {-quantity} cannot be taken.",
            "See `pitwright spare list`, or count the place first.",
        )
    return left


def overdrawn(reading: Reading) -> OnHand | None:
    """A place that holds fewer than no pieces, if there is one."""
    return next(iter(_on_hand(reading, _LEFT < 0)), None)


def add_replacement(writing: Writing, wanted: Replacement) -> None:
    """Log a replacement; raises NotFound."""
    session = writing.session
    removed = revision_row(session, wanted.part, wanted.removed)[0].key if wanted.removed else None
    fitted = revision_row(session, wanted.part, wanted.fitted)[0].key if wanted.fitted else None
    session.add(
        ReplacementRow(
            key=writing.key(),
            part_key=part_row(session, wanted.part).key,
            position_key=position_row(session, wanted.robot, wanted.position).key,
            slot=wanted.slot,
            removed_key=removed,
            fitted_key=fitted,
            cause=wanted.cause.value,
            note=wanted.note,
            by=wanted.by,
            at=wanted.at,
        )
    )


def replacements(reading: Reading) -> tuple[Replacement, ...]:
    """Every replacement, oldest first."""
    position, robot = table_of(PositionRow), table_of(RobotRow)
    removed, fitted = _REVISION.alias("removed"), _REVISION.alias("fitted")
    log = _REPLACEMENT.c
    joined = (
        _REPLACEMENT.join(_PART, log.part_key == _PART.c.key)
        .join(position, log.position_key == position.c.key)
        .join(robot, position.c.robot_key == robot.c.key)
        .outerjoin(removed, log.removed_key == removed.c.key)
        .outerjoin(fitted, log.fitted_key == fitted.c.key)
    )
    wanted = sa.select(
        *(_PART.c.number, robot.c.name.label("robot"), position.c.name, log.slot, removed.c.letter.label("removed")),
        *(fitted.c.letter.label("fitted"), log.cause, log.by, log.at, log.note),
    )
    found = rows(reading, wanted.select_from(joined).order_by(log.at, log.key))
    return tuple(
        Replacement(part, robot_name, place, slot, before, now, Cause(cause), by, at, note)
        for part, robot_name, place, slot, before, now, cause, by, at, note in found
    )


def replaced_counts(reading: Reading, part_keys: Collection[str]) -> dict[str, int]:
    """How often some parts were replaced, by the part's row key; one that never was is left out."""
    key = _REPLACEMENT.c.part_key
    wanted = sa.select(key, sa.func.count()).where(among(key, part_keys)).group_by(key)
    return {part_key: int(count) for part_key, count in rows(reading, wanted)}


def _on_hand(
    reading: Reading, having: sa.ColumnElement[bool], *conditions: sa.ColumnElement[bool]
) -> tuple[OnHand, ...]:
    sums = _sums(having, *conditions)
    wanted = (
        sa.select(_PART.c.number, _REVISION.c.letter, sums.c.place, sums.c.left)
        .select_from(
            sums.join(_PART, sums.c.part_key == _PART.c.key).outerjoin(
                _REVISION, sums.c.revision_key == _REVISION.c.key
            )
        )
        .order_by(_PART.c.number, sums.c.place, _REVISION.c.place)
    )
    return tuple(OnHand(number, letter, place, int(left)) for number, letter, place, left in rows(reading, wanted))


def _sums(having: sa.ColumnElement[bool], *conditions: sa.ColumnElement[bool]) -> sa.Subquery:
    """What the ledger adds up to, by the row keys of part and revision, and place."""
    there = (_MOVE.c.part_key, _MOVE.c.revision_key, _MOVE.c.place)
    return sa.select(*there, _LEFT.label("left")).where(*conditions).group_by(*there).having(having).subquery("sums")
