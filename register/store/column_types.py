"""How the register keeps times, flags, choices and JSON, in the few types that a STRICT table takes."""

import json
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Dialect, Integer, Text
from sqlalchemy.types import TypeDecorator

_TIME_LENGTH = len("2031-03-04T15:40:00Z")


def time_text(moment: datetime) -> str:
    """A moment as the register keeps it: UTC to the second, `2031-03-04T15:40:00Z`; sorts as time does."""
    if moment.tzinfo is None:
        raise TypeError("a moment needs its zone")
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def time_from(text: str) -> datetime:
    """The inverse of `time_text`."""
    moment = datetime.fromisoformat(text)
    # ISO 8601 has other ways to write a moment, and `fromisoformat` takes them; it is six times faster than `strptime`.
    if len(text) != _TIME_LENGTH or text[7] + text[10] != "-T" or moment.tzinfo is not UTC:
        raise ValueError(f"{text!r} is no time of the register")
    return moment


class UtcTime(TypeDecorator[datetime]):
    """Aware datetimes as text."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> str | None:
        """Python to SQL."""
        return None if value is None else time_text(value)

    def process_result_value(self, value: str | None, dialect: Dialect) -> datetime | None:
        """SQL to Python."""
        return None if value is None else time_from(value)


class Json(TypeDecorator[Any]):
    """Plain lists, dicts, texts and numbers as text. Replace the whole value: edits in place are not seen."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: Any, dialect: Dialect) -> str | None:
        """Python to SQL."""
        return None if value is None else json.dumps(value, ensure_ascii=False, allow_nan=False, sort_keys=True)

    def process_result_value(self, value: str | None, dialect: Dialect) -> Any:
        """SQL to Python."""
        return None if value is None else json.loads(value)


class Flag(TypeDecorator[bool]):
    """True and false as 1 and 0."""

    impl = Integer
    cache_ok = True

    def process_bind_param(self, value: bool | None, dialect: Dialect) -> int | None:
        """Python to SQL."""
        return None if value is None else int(value)

    def process_result_value(self, value: int | None, dialect: Dialect) -> bool | None:
        """SQL to Python."""
        return None if value is None else bool(value)
