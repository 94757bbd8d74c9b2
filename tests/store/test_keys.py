"""Row keys: the layout of UUID version 7, and their order."""

import secrets
import uuid
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from register.store.keys import new_key

# Source: RFC 9562, appendix A.6: 2022-02-22 14:22:22.00 GMT-05:00, unix_ts_ms 017F22E279B0, rand_a CC3, rand_b
# 0b01 followed by 8C4DC0C0C07398F.
VECTOR = uuid.UUID("017F22E2-79B0-7CC3-98C4-DC0C0C07398F")
VECTOR_TIME = datetime(2022, 2, 22, 19, 22, 22, tzinfo=UTC)
VECTOR_NOISE = 0xCC3 << 62 | 0b01 << 60 | 0x8C4DC0C0C07398F


def test_key_is_the_published_uuid_for_the_published_time_and_noise(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[int] = []

    def noise(bits: int) -> int:
        asked.append(bits)
        return VECTOR_NOISE

    monkeypatch.setattr(secrets, "randbits", noise)
    assert new_key(VECTOR_TIME) == VECTOR.hex
    # 128 bits less 48 of time, 4 of version and 2 of variant.
    assert asked == [74]


@given(st.datetimes(datetime(1970, 1, 1), datetime(9000, 1, 1), timezones=st.just(UTC)))
def test_key_of_any_moment_is_a_version_7_uuid_that_holds_the_millisecond(moment: datetime) -> None:
    key = uuid.UUID(hex=new_key(moment))
    since = moment - datetime(1970, 1, 1, tzinfo=UTC)
    assert (key.version, key.variant) == (7, uuid.RFC_4122)
    assert abs((key.int >> 80) - since / timedelta(milliseconds=1)) <= 1


def test_keys_sort_by_time_and_never_repeat_within_one_moment() -> None:
    moments = [VECTOR_TIME + timedelta(milliseconds=step) for step in range(500)]
    keys = [new_key(moment) for moment in moments]
    assert keys == sorted(keys)
    assert len({new_key(VECTOR_TIME) for _ in range(2000)}) == 2000
    assert {len(key) for key in keys} == {32}
