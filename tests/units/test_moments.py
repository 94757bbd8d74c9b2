"""Dates and times in UTC."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from register.errors import BadQuantity
from register.units.moments import moment

# Berlin is an hour ahead of UTC in winter and two in summer; in 2031 the clock is put forward on 30 March (02:00 to
# 03:00) and back on 26 October (03:00 to 02:00), the last Sundays. Source: Directive 2000/84/EC, in the tz database.
BERLIN = "Europe/Berlin"


@pytest.mark.parametrize(
    ("text", "expected"),
    {
        "2031-03-22": datetime(2031, 3, 21, 23, 0, tzinfo=UTC),
        "2031-03-22 09:00": datetime(2031, 3, 22, 8, 0, tzinfo=UTC),
        "2031-07-22 09:00": datetime(2031, 7, 22, 7, 0, tzinfo=UTC),
        " 2031-03-22T09:00:30 ": datetime(2031, 3, 22, 8, 0, 30, tzinfo=UTC),
        "2031-03-22T09:00Z": datetime(2031, 3, 22, 9, 0, tzinfo=UTC),
        "2031-03-22T09:00:00.250000Z": datetime(2031, 3, 22, 9, 0, 0, 250000, tzinfo=UTC),
        "2031-03-22 09:00-05:30": datetime(2031, 3, 22, 14, 30, tzinfo=UTC),
        "2031-10-26T02:30+01:00": datetime(2031, 10, 26, 1, 30, tzinfo=UTC),
    }.items(),
)
def test_moments_are_read_in_the_shops_zone_unless_they_say_another(text: str, expected: datetime) -> None:
    read = moment(text, BERLIN)
    assert read == expected
    assert read.utcoffset() == timedelta(0)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "tomorrow",
        "22.03.2031",
        "03/22/2031",
        "20310322",
        "2031-3-22",
        "2031-02-30",
        "2031-03-22 9:00",
        "2031-03-22 25:00",
        "2031-03-22 09:00 PM",
        "2031-03-22Z",
        "2031-03-22T09:00+99:00",
        "0001-01-01T00:00+14:00",
        "9999-12-31",
        "2031-W12-6",
        "2031-03-22T09:00Z junk",
        "٢٠٣١-٠٣-٢٢",
    ],
)
def test_any_other_writing_is_refused_with_a_right_example(text: str) -> None:
    with pytest.raises(BadQuantity, match="2031-03-22 09:00"):
        moment(text, BERLIN)


def test_a_time_that_the_clock_skips_or_shows_twice_is_refused() -> None:
    with pytest.raises(BadQuantity, match="skips"):
        moment("2031-03-30 02:30", BERLIN)
    with pytest.raises(BadQuantity, match="twice"):
        moment("2031-10-26 02:30", BERLIN)


@pytest.mark.parametrize("zone", ["", "Mars/Base", "../etc/passwd", "/etc/localtime", "Europe", "\x00"])
def test_a_zone_that_is_not_in_the_tz_database_is_refused(zone: str) -> None:
    with pytest.raises(BadQuantity, match="Europe/Berlin"):
        moment("2031-03-22", zone)


@given(st.datetimes(datetime(1971, 1, 1), datetime(2198, 1, 1)), st.sampled_from(["UTC", BERLIN, "America/New_York"]))
def test_iso_text_in_utc_reads_back_the_same_in_every_zone(when: datetime, zone: str) -> None:
    assert moment(when.isoformat() + "Z", zone) == when.replace(tzinfo=UTC)


@given(st.text(max_size=40) | st.text(alphabet="0123456789-:TZ+. ", max_size=26))
def test_any_text_gives_a_moment_or_a_refusal(text: str) -> None:
    try:
        assert moment(text, BERLIN).tzinfo is UTC
    except BadQuantity:
        return
