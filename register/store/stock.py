"""Stock: lots and their moves."""

import sqlalchemy as sa
from sqlmodel import Session, select

from register.domain.stock import Lot, StockForm, StockMove
from register.errors import NotAllowed, NotFound
from register.store.jobs import job_row
from register.store.plain import rows, table_of
from register.store.tables.work import LotRow, StockMoveRow
from register.store.transaction import Reading, Writing

_LOT, _MOVE = table_of(LotRow), table_of(StockMoveRow)
_LEFT = sa.func.coalesce(sa.func.sum(_MOVE.c.amount), 0.0)


def lots(reading: Reading) -> tuple[Lot, ...]:
    """Every lot with what is left of it, by label."""
    return _lots(reading)


def lot(reading: Reading, label: str) -> Lot:
    """One lot; raises NotFound."""
    return _lots(reading, _LOT.c.key == _lot_row(reading.session, label).key)[0]


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
    return next((each.label for each in _lots(reading) if each.amount < -1e-9), None)


def _lot_row(session: Session, label: str) -> LotRow:
    row = session.exec(select(LotRow).where(LotRow.label == label.strip())).first()
    if row is None:
        raise NotFound(f"There is no lot {label!r}.", "See `pitwright stock list`.")
    return row


def _lots(reading: Reading, *conditions: sa.ColumnElement[bool]) -> tuple[Lot, ...]:
    about = ("thickness_mm", "width_mm", "length_mm", "arrives", "note")
    wanted = (
        sa.select(_LOT.c.label, _LOT.c.material, _LOT.c.form, _LEFT, *(_LOT.c[name] for name in about))
        .select_from(_LOT.outerjoin(_MOVE, _MOVE.c.lot_key == _LOT.c.key))
        .where(*conditions)
        .group_by(_LOT.c.key)
        .order_by(_LOT.c.label)
    )
    return tuple(
        Lot(label, material, StockForm(form), float(amount), *rest)
        for label, material, form, amount, *rest in rows(reading, wanted)
    )
