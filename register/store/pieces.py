"""Pieces on hand: a ledger by part, revision and place; and the log of replacements."""

from sqlmodel import Session, col, func, select

from register.domain.pieces import Cause, PieceMove, Replacement
from register.domain.spares import OnHand
from register.errors import NoSpare
from register.store.jobs import job_row
from register.store.parts import part_row, revision_row
from register.store.robots import position_row
from register.store.tables.parts import PartRow, PositionRow, RevisionRow, RobotRow
from register.store.tables.work import PieceMoveRow, ReplacementRow
from register.store.transaction import Reading, Writing


def on_hand(reading: Reading, part: str | None = None) -> tuple[OnHand, ...]:
    """What is on hand, by part, revision and place; places with nothing left out."""
    return tuple(each for each in _sums(reading.session, part) if each.quantity)


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
    wanted = letter.letter if letter else None
    left = sum(
        each.quantity
        for each in _sums(writing.session, owner.number)
        if each.revision == wanted and each.place == place
    )
    if left < 0:
        marked = f"revision {wanted}" if wanted else "unmarked pieces"
        raise NoSpare(
            f"{place} holds {left - quantity} of {owner.number}, {marked}, so {-quantity} cannot be taken.",
            "See `pitwright spare list`, or count the place first.",
        )
    return left


def overdrawn(reading: Reading) -> OnHand | None:
    """A place that holds fewer than no pieces, if there is one."""
    return next((each for each in _sums(reading.session, None) if each.quantity < 0), None)


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
    letters = dict(reading.session.exec(select(RevisionRow.key, RevisionRow.letter)).all())
    rows = reading.session.exec(
        select(ReplacementRow, PartRow.number, PositionRow.name, RobotRow.name)
        .select_from(ReplacementRow)
        .join(PartRow, col(ReplacementRow.part_key) == col(PartRow.key))
        .join(PositionRow, col(ReplacementRow.position_key) == col(PositionRow.key))
        .join(RobotRow, col(PositionRow.robot_key) == col(RobotRow.key))
        .order_by(col(ReplacementRow.at), col(ReplacementRow.key))
    )
    return tuple(
        Replacement(
            number,
            robot,
            position,
            row.slot,
            letters.get(row.removed_key or ""),
            letters.get(row.fitted_key or ""),
            Cause(row.cause),
            row.by,
            row.at,
            row.note,
        )
        for row, number, position, robot in rows
    )


def _sums(session: Session, part: str | None) -> tuple[OnHand, ...]:
    letters = dict(session.exec(select(RevisionRow.key, RevisionRow.letter)).all())
    wanted = (
        select(PartRow.number, PieceMoveRow.revision_key, PieceMoveRow.place, func.sum(PieceMoveRow.quantity))
        .select_from(PieceMoveRow)
        .join(PartRow)
        .group_by(col(PartRow.number), col(PieceMoveRow.revision_key), col(PieceMoveRow.place))
        .order_by(col(PartRow.number), col(PieceMoveRow.place))
    )
    if part is not None:
        wanted = wanted.where(PartRow.number_folded == part.strip().casefold())
    return tuple(
        OnHand(number, letters[key] if key else None, place, int(quantity))
        for number, key, place, quantity in session.exec(wanted)
    )
