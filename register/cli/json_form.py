"""Views as JSON: the dataclass that a read action gives, key by key."""

import json
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import UTC, date, datetime, time
from enum import Enum
from typing import Any

from register.domain.texts import without_hidden

# A millionth of a mm, g or s: beyond it figures show the computer's rounding, not the part.
DECIMALS = 6


def as_json(view: Any) -> str:
    """`view` as JSON text: times in UTC with Z, floats to six decimals, keys in the order of the dataclass."""
    text = json.dumps(_plain(view), ensure_ascii=False, allow_nan=False)
    # What could drive a terminal stands inside quotes alone, where an escape reads back as the same text.
    return without_hidden(text, _escape)


def _escape(character: str) -> str:
    pair = character.encode("utf-16-be", "surrogatepass").hex()
    return "".join(f"\\u{pair[at : at + 4]}" for at in range(0, len(pair), 4))


def _plain(value: Any) -> Any:
    if is_dataclass(value) and not isinstance(value, type):
        return {each.name: _plain(getattr(value, each.name)) for each in fields(value)}
    if isinstance(value, Mapping):
        return {str(name): _plain(each) for name, each in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(each) for each in value]
    if isinstance(value, datetime):
        return value.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    if isinstance(value, (date, time)):
        return value.isoformat()
    if isinstance(value, float):
        return round(value, DECIMALS)
    return value.value if isinstance(value, Enum) else value
