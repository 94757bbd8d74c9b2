"""History: who did what, and taking it back."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from register.domain.history import Operation
from register.domain.keeping import is_restore
from register.errors import BadText, NotAllowed, NotFound
from register.opening import Register
from register.store import history, pieces, shops, stock
from register.store.history_filters import Wanted, operations_of
from register.store.transaction import Reading


def list_operations(
    register: Register, most: int = 50, part: str | None = None, who: str | None = None, day: date | None = None
) -> tuple[Operation, ...]:
    """The last operations, newest first: all, or those of a part, a person, a day in the shop's zone, or all of these.

    Parameters
    ----------
    part
        Its number; what was done to its revisions, positions, jobs, pieces and replacements belongs to it.

    Raises
    ------
    NotFound
        If the history knows no such part or person.
    BadText
        If the day is at the end of the calendar.
    """
    with register.store.reading() as view:
        since, until = _bounds(view, day) if day else (None, None)
        return operations_of(view, Wanted(part, who, since, until), most)


def _bounds(view: Reading, day: date) -> tuple[datetime, datetime]:
    """A day's first moment and the next one's, as the shop's clock shows them; UTC before there is a shop."""
    try:
        zone = ZoneInfo(shops.shop(view).zone)
    except NotFound:
        zone = ZoneInfo("UTC")
    try:
        first, next_one = (datetime.combine(each, time(0), zone) for each in (day, day + timedelta(days=1)))
        return first.astimezone(UTC), next_one.astimezone(UTC)
    except OverflowError:
        raise BadText(f"The day {day} is at the end of the calendar.", "Write a day like 2031-03-04.") from None


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
    if is_restore(target.why):
        raise NotAllowed(
            f"Operation {target.number} brought a backup back, which is not undone row by row.",
            "Bring back what was there before: `pitwright history` names that backup.",
        )
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
