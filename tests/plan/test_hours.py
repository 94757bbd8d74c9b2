"""Attended hours, and the two days a year that do not have 24 h."""

from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from register.domain.plans import Window
from register.domain.shop import HoursException, OpenHours, Shop
from register.errors import BadSettings
from register.plan.hours import attended_windows, zone_named

EVERY_DAY = tuple(OpenHours(weekday, time(9), time(17)) for weekday in range(7))


def utc(*fields: int) -> datetime:
    return datetime(*fields, tzinfo=UTC)  # type: ignore[misc]


def test_weekly_hours_become_spans_of_utc() -> None:
    shop = Shop("invented", "UTC", hours=(OpenHours(0, time(16), time(20)), OpenHours(2, time(9), time(12))))
    # 3 March 2031 is a Monday.
    assert attended_windows(shop, utc(2031, 3, 3), 7) == (
        Window(utc(2031, 3, 3, 16), utc(2031, 3, 3, 20)),
        Window(utc(2031, 3, 5, 9), utc(2031, 3, 5, 12)),
    )


def test_the_day_the_clock_goes_forward_has_an_hour_less() -> None:
    # Source: tz database, Rule US 2007 max: second Sunday of March at 2:00 to 3:00, so 10 March 2024.
    # EST is UTC−5, EDT UTC−4.
    night = tuple(OpenHours(weekday, time(0), time(6)) for weekday in range(7))
    shop = Shop("invented", "America/New_York", hours=EVERY_DAY + night)
    assert attended_windows(shop, utc(2024, 3, 9, 5), 2) == (
        Window(utc(2024, 3, 9, 5), utc(2024, 3, 9, 11)),
        Window(utc(2024, 3, 9, 14), utc(2024, 3, 9, 22)),
        Window(utc(2024, 3, 10, 5), utc(2024, 3, 10, 10)),  # 0:00 EST to 6:00 EDT: 5 h
        Window(utc(2024, 3, 10, 13), utc(2024, 3, 10, 21)),
    )


def test_the_day_the_clock_goes_back_has_an_hour_more() -> None:
    # Source: tz database, Rule US 2007 max: first Sunday of November at 2:00 to 1:00, so 3 November 2024.
    night = tuple(OpenHours(weekday, time(0), time(6)) for weekday in range(7))
    shop = Shop("invented", "America/New_York", hours=EVERY_DAY + night)
    assert attended_windows(shop, utc(2024, 11, 2, 4), 2) == (
        Window(utc(2024, 11, 2, 4), utc(2024, 11, 2, 10)),
        Window(utc(2024, 11, 2, 13), utc(2024, 11, 2, 21)),
        Window(utc(2024, 11, 3, 4), utc(2024, 11, 3, 11)),  # 0:00 EDT to 6:00 EST: 7 h
        Window(utc(2024, 11, 3, 14), utc(2024, 11, 3, 22)),
    )


def test_an_hour_that_comes_twice_means_its_first_coming() -> None:
    # 1:30 comes twice on 3 November 2024 in New York; the first is EDT, 5:30 UTC. Source: tz database, PEP 495.
    shop = Shop("invented", "America/New_York", hours=(OpenHours(6, time(0, 30), time(1, 30)),))
    assert attended_windows(shop, utc(2024, 11, 3, 4), 1) == (Window(utc(2024, 11, 3, 4, 30), utc(2024, 11, 3, 5, 30)),)


def test_hours_within_the_hour_left_out_end_before_they_begin_and_are_dropped() -> None:
    # 2:30 is left out on 10 March 2024: read in EST it is 7:30 UTC, and 3:15 EDT is 7:15 UTC. Source: PEP 495.
    shop = Shop("invented", "America/New_York", hours=(OpenHours(6, time(2, 30), time(3, 15)),))
    assert attended_windows(shop, utc(2024, 3, 10, 5), 1) == ()


def test_a_day_off_a_moved_day_and_a_split_day_take_the_place_of_the_week() -> None:
    shop = Shop(
        "invented",
        hours=EVERY_DAY,
        exceptions=(
            HoursException(date(2031, 3, 4)),
            HoursException(date(2031, 3, 5), time(12), time(13)),
            HoursException(date(2031, 3, 6), time(18), time(20)),
            HoursException(date(2031, 3, 6), time(8), time(10)),
        ),
    )
    assert attended_windows(shop, utc(2031, 3, 3), 4) == (
        Window(utc(2031, 3, 3, 9), utc(2031, 3, 3, 17)),
        Window(utc(2031, 3, 5, 12), utc(2031, 3, 5, 13)),
        Window(utc(2031, 3, 6, 8), utc(2031, 3, 6, 10)),
        Window(utc(2031, 3, 6, 18), utc(2031, 3, 6, 20)),
    )


def test_hours_that_touch_or_overlap_are_one_span() -> None:
    hours = (OpenHours(0, time(9), time(12)), OpenHours(0, time(12), time(14)), OpenHours(0, time(10), time(11)))
    found = attended_windows(Shop("invented", hours=hours), utc(2031, 3, 3), 1)
    assert found == (Window(utc(2031, 3, 3, 9), utc(2031, 3, 3, 14)),)


def test_a_shop_that_never_closes_has_one_span() -> None:
    hours = tuple(OpenHours(weekday, time(0), time(0)) for weekday in range(7))
    found = attended_windows(Shop("invented", hours=hours), utc(2031, 3, 3, 4), 3)
    assert found == (Window(utc(2031, 3, 3, 4), utc(2031, 3, 6)),)


def test_nothing_before_the_start_is_given() -> None:
    found = attended_windows(Shop("invented", hours=EVERY_DAY), utc(2031, 3, 3, 12), 2)
    assert found[0] == Window(utc(2031, 3, 3, 12), utc(2031, 3, 3, 17))
    late = attended_windows(Shop("invented", hours=EVERY_DAY), utc(2031, 3, 3, 17), 1)
    assert late == ()


def test_the_first_day_is_the_shops_own() -> None:
    # 23:00 UTC on Sunday is 8:00 on Monday in Tokyo (UTC+9, no summer time). Source: tz database.
    shop = Shop("invented", "Asia/Tokyo", hours=(OpenHours(0, time(9), time(10)),))
    assert attended_windows(shop, utc(2031, 3, 2, 23), 1) == (Window(utc(2031, 3, 3, 0), utc(2031, 3, 3, 1)),)


@pytest.mark.parametrize("name", ["", "Mars/Base", "Europe", "../etc/passwd", "/etc/localtime", "UT\0C", "\ud800"])
def test_an_unknown_zone_is_refused_by_name(name: str) -> None:
    with pytest.raises(BadSettings) as refusal:
        zone_named(name)
    assert repr(name) in refusal.value.what


@given(
    zone=st.sampled_from(["UTC", "Europe/Berlin", "America/St_Johns", "Australia/Lord_Howe", "Asia/Kathmandu"]),
    start=st.datetimes(datetime(2024, 1, 1), datetime(2026, 12, 1)),
    hours=st.lists(st.tuples(st.integers(0, 6), st.integers(5, 20), st.integers(1, 3)), max_size=9),
)
def test_a_moment_is_attended_where_the_wall_clock_says_so(
    zone: str, start: datetime, hours: list[tuple[int, int, int]]
) -> None:
    # Hours from 5:00 on keep clear of the hours that clock changes leave out or repeat.
    shop = Shop(
        "invented", zone, hours=tuple(OpenHours(day, time(opens), time(opens + length)) for day, opens, length in hours)
    )
    begin = start.replace(tzinfo=UTC)
    found = attended_windows(shop, begin, 4)
    assert all(one.closes < later.opens for one, later in pairwise(found))
    last_day = begin.astimezone(ZoneInfo(zone)).date() + timedelta(days=3)
    for quarter in range(4 * 24 * 4):
        moment = begin + timedelta(minutes=15 * quarter)
        local = moment.astimezone(ZoneInfo(zone))
        by_clock = local.date() <= last_day and any(
            local.weekday() == day and time(opens) <= local.time() < time(opens + length)
            for day, opens, length in hours
        )
        assert by_clock == any(each.opens <= moment < each.closes for each in found)
