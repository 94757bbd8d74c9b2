"""History: who did what, and taking it back."""

from register.domain.history import Operation
from register.errors import NotAllowed
from register.opening import Register
from register.store import history, pieces, stock


def list_operations(register: Register, most: int = 50) -> tuple[Operation, ...]:
    """The last operations, newest first."""
    with register.store.reading() as view:
        return history.operations(view, most)


def undo(register: Register, number: int | None = None) -> Operation:
    """Take operation `number` back, one's own newest if None; undoing an undo does it again.

    Raises
    ------
    NotFound
        If there is no such operation, or nothing to undo.
    NotAllowed
        If a later operation stands on it, or more than there is would be gone.
    """
    with register.store.reading() as view:
        target = history.operation_at(view, number) if number is not None else history.last_undoable(view, register.who)
    with register.store.writing(register.who, f"undo {target.number}: {target.why}"[:2000], target.number) as tx:
        if target.number in history.undone_by(tx, before=tx.operation):
            raise NotAllowed(f"Operation {target.number} is undone already.", "See `pitwright history`.")
        history.take_back(tx, target.number)
        short = pieces.overdrawn(tx)
        if short is not None:
            raise NotAllowed(
                f"Operation {target.number} cannot be undone: {short.place} would hold {short.quantity} {short.part}.",
                "Undo what was taken since, first.",
            )
        lot = stock.overdrawn(tx)
        if lot is not None:
            raise NotAllowed(
                f"Operation {target.number} cannot be undone: lot {lot} would hold less than nothing.",
                "Undo what was used since, first.",
            )
    return target
