"""Dates and times as a shop writes them, in UTC."""

import re
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

from register.errors import BadQuantity
from register.units.quantities import LONGEST_TEXT, quoted

_MOMENT = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}(?:[T ][0-9]{2}:[0-9]{2}(?::[0-9]{2}(?:\.[0-9]{1,6})?)?(?:Z|[+-][0-9]{2}:[0-9]{2})?)?"
)


def zone_named(name: str) -> ZoneInfo:
    """The zone of the tz database with this name.

    Raises
    ------
    BadQuantity
        If there is none.
    """
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        raise BadQuantity(
            f"The tz database has no zone {quoted(name)}.", "Write a name like Europe/Berlin, or UTC."
        ) from None


def moment(text: str, zone: str) -> datetime:
    """A written moment in UTC: `2031-03-22` (its first moment), `2031-03-22 09:00`, or ISO 8601 with an offset or Z.

    Parameters
    ----------
    text
        As a person wrote it.
    zone
        The tz database name of the zone in which a text without an offset is meant.

    Raises
    ------
    BadQuantity
        For anything else, and for a local time that the clock skips or shows twice.
    """
    cure = "Write it like 2031-03-22 09:00, or 2031-03-22T09:00+01:00."
    plain = text.strip()
    if len(text) > LONGEST_TEXT or not _MOMENT.fullmatch(plain):
        raise BadQuantity(f"{quoted(text)} is no date and time.", cure)
    try:
        read = datetime.fromisoformat(plain)
    except ValueError:
        raise BadQuantity(f"{quoted(text)} is not in the calendar.", cure) from None
    if not 1970 <= read.year < 2200:
        raise BadQuantity(f"The year of {quoted(text)} is not between 1970 and 2199.", cure)
    if read.tzinfo is not None:
        return read.astimezone(UTC)
    local = read.replace(tzinfo=zone_named(zone))
    if local.astimezone(UTC).astimezone(local.tzinfo).replace(tzinfo=None) != read:
        raise BadQuantity(f"The clock in {zone} skips {quoted(text)}.", "Write a time before or after the change.")
    if local.utcoffset() != local.replace(fold=1).utcoffset():
        raise BadQuantity(
            f"The clock in {zone} shows {quoted(text)} twice.", "Add the offset, like 2031-10-26T02:30+01:00."
        )
    return local.astimezone(UTC)


def calendar_day(text: str) -> date:
    """A written day: `2031-03-22`.

    Raises
    ------
    BadQuantity
        For anything else.
    """
    cure = "Write it like 2031-03-22."
    plain = text.strip()
    if not re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", plain):
        raise BadQuantity(f"{quoted(text)} is no day.", cure)
    try:
        day = date.fromisoformat(plain)
    except ValueError:
        raise BadQuantity(f"{quoted(text)} is not in the calendar.", cure) from None
    if not 1970 <= day.year < 2200:
        raise BadQuantity(f"The year of {quoted(text)} is not between 1970 and 2199.", cure)
    return day
