"""When somebody is in the shop: its weekly hours and exceptions as spans of UTC."""

from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from register.domain.plans import Window
from register.domain.shop import Shop
from register.errors import BadSettings


def zone_named(name: str) -> ZoneInfo:
    """The time zone that the tz database holds under `name`.

    Raises
    ------
    BadSettings
        If it holds none.
    """
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise BadSettings(
            f"There is no time zone {name!r}.", "Name one of the tz database, such as UTC or Europe/Lisbon."
        ) from error


def attended_windows(shop: Shop, start: datetime, days: int) -> tuple[Window, ...]:
    """The attended hours of `days` calendar days of the shop, the day of `start` being the first.

    Parameters
    ----------
    shop
        Its hours are wall-clock times in its zone. A closing time of 00:00 means the end of that day; exceptions
        take the place of all hours of their day, and several for one day add up.
    start
        Aware; nothing before it is given.
    days
        Number of days.

    Returns
    -------
    tuple of Window
        UTC, ascending; spans that touch or overlap are joined.

    Raises
    ------
    BadSettings
        If the shop's zone is unknown.

    Notes
    -----
    Where the clock is put back, an hour that comes twice means its first coming; an hour that is left out when the
    clock is put forward is read in the time before the change. Source: PEP 495, fold = 0.
    """
    zone = zone_named(shop.zone)
    first = start.astimezone(zone).date()
    joined: list[Window] = []
    spans = (span for offset in range(days) for span in _spans_on(shop, first + timedelta(days=offset), zone))
    for opening, closes in sorted(spans):
        opens = max(opening, start.astimezone(UTC))
        if closes <= opens:
            continue
        if joined and opens <= joined[-1].closes:
            joined[-1] = Window(joined[-1].opens, max(joined[-1].closes, closes))
        else:
            joined.append(Window(opens, closes))
    return tuple(joined)


def _spans_on(shop: Shop, day: date, zone: ZoneInfo) -> Iterator[tuple[datetime, datetime]]:
    exceptions = [each for each in shop.exceptions if each.day == day]
    hours: list[tuple[time | None, time | None]] = [(each.opens, each.closes) for each in exceptions]
    if not exceptions:
        hours = [(each.opens, each.closes) for each in shop.hours if each.weekday == day.weekday()]
    for opens, closes in hours:
        if opens is None or closes is None:
            continue
        last_day = day + timedelta(days=1) if closes == time(0) else day
        yield (
            datetime.combine(day, opens, zone).astimezone(UTC),
            datetime.combine(last_day, closes, zone).astimezone(UTC),
        )
