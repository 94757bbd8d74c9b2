"""Stock: lots and their moves."""

from sqlmodel import Session, col, func, select

from register.domain.stock import Lot, StockForm, StockMove
from register.errors import NotAllowed, NotFound
from register.store.jobs import job_row
from register.store.tables.work import LotRow, StockMoveRow
from register.store.transaction import Reading, Writing


def lots(reading: Reading) -> tuple[Lot, ...]:
    """Every lot with what is left of it, by label."""
    return _lots(reading.session)


def lot(reading: Reading, label: str) -> Lot:
    """One lot; raises NotFound."""
    wanted = _lot_row(reading.session, label).label
    return next(each for each in _lots(reading.session) if each.label == wanted)


def add_lot(writing: Writing, wanted: Lot) -> None:
    """Add a lot with its first amount; raises NotAllowed if its label is taken."""
    if writing.session.exec(select(LotRow).where(LotRow.label == wanted.label)).first() is not None:
        raise NotAllowed(f"There is a lot {wanted.label} already.", "Take another label.")
    row = LotRow(
        key=writing.key(),
        label=wanted.label,
        material=wanted.material,
        form=wanted.form.value,
        thickness_mm=wanted.thickness_mm,
        width_mm=wanted.width_mm,
        length_mm=wanted.length_mm,
        arrives=wanted.arrives,
        note=wanted.note,
    )
    writing.session.add(row)
    writing.session.flush()
    move_lot(writing, wanted.label, StockMove.RECEIVED, wanted.amount)


def move_lot(
    writing: Writing, label: str, move: StockMove, amount: float, job: str | None = None, note: str = ""
) -> Lot:
    """Add a move to a lot and give it back as it is then.

    Raises
    ------
    NotFound
        If there is no such lot.
    NotAllowed
        If less than nothing would be left.
    """
    row = _lot_row(writing.session, label)
    writing.session.add(
        StockMoveRow(
            key=writing.key(),
            lot_key=row.key,
            move=move.value,
            amount=amount,
            job_key=job_row(writing.session, job).key if job else None,
            note=note,
            at=writing.at,
        )
    )
    writing.session.flush()
    left = lot(writing, row.label)
    if left.amount < -1e-9:
        raise NotAllowed(
            f"{row.label} holds {left.amount - amount:g}, so {-amount:g} cannot be taken from it.",
            "Take less, or count the lot first.",
        )
    return left


def overdrawn(reading: Reading) -> str | None:
    """Label of a lot whose moves add up to less than nothing, if there is one."""
    return next((each.label for each in _lots(reading.session) if each.amount < -1e-9), None)


def _lot_row(session: Session, label: str) -> LotRow:
    row = session.exec(select(LotRow).where(LotRow.label == label.strip())).first()
    if row is None:
        raise NotFound(f"There is no lot {label!r}.", "See `pitwright stock list`.")
    return row


def _lots(session: Session) -> tuple[Lot, ...]:
    rows = session.exec(
        select(LotRow, func.coalesce(func.sum(StockMoveRow.amount), 0.0))
        .select_from(LotRow)
        .outerjoin(StockMoveRow, col(StockMoveRow.lot_key) == col(LotRow.key))
        .group_by(col(LotRow.key))
        .order_by(col(LotRow.label))
    )
    return tuple(
        Lot(
            row.label,
            row.material,
            StockForm(row.form),
            float(amount),
            row.thickness_mm,
            row.width_mm,
            row.length_mm,
            row.arrives,
            row.note,
        )
        for row, amount in rows
    )
