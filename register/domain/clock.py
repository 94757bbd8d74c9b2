"""Where the time comes from: always passed in, never read behind a caller's back."""

from collections.abc import Callable
from datetime import UTC, datetime

Clock = Callable[[], datetime]


def system_clock() -> datetime:
    """The time now, UTC, to the second."""
    return datetime.now(UTC).replace(microsecond=0)


def running_from(moment: datetime) -> Clock:
    """A clock that stands at `moment` now and runs on from there.

    Parameters
    ----------
    moment
        Aware; kept in UTC.
    """
    began = system_clock()
    base = moment.astimezone(UTC)
    return lambda: base + (system_clock() - began)


def fixed_at(moment: datetime) -> Clock:
    """A clock that stands still at `moment` (aware; kept in UTC)."""
    base = moment.astimezone(UTC)
    return lambda: base
