"""JSON: a list of flat objects, each found before it is read, so that nothing in it can nest or grow without bound."""

import json
import math
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, NoReturn

from register.domain.table_columns import LONGEST_CELL, MOST_COLUMNS, MOST_ROWS
from register.errors import BadFile
from register.settings.csv_rows import decoded
from register.units.quantities import quoted

Scalar = str | int | float | bool | None

_BLANKS = re.compile(r"[ \t\r\n]*+")
# Possessive throughout, so that no text makes it go back and try again.
_FLAT_OBJECT = re.compile(r'\{(?:[^"{}\[\]]++|"(?:[^"\\]++|\\.)*+")*+\}', re.DOTALL)
_LONGEST_OBJECT = 1_000_000
_LONGEST_FIGURE = 40


# The line where an object begins, counted from 1, and its values by key.
ObjectRow = tuple[int, dict[str, Scalar]]


def json_bytes(rows: Iterable[Mapping[str, Scalar]]) -> bytes:
    """A list of objects as JSON, one a line."""
    lines = ",\n".join(json.dumps(row, ensure_ascii=False, allow_nan=False) for row in rows)
    return f"[\n{lines}\n]\n".encode()


def object_rows(content: bytes) -> Iterator[ObjectRow]:
    """The objects of a JSON list.

    Raises
    ------
    BadFile
        If it is too large, no UTF-8, no list of objects without lists and objects in them, holds a key twice, NaN, an
        infinity or a number beyond all measure, or has too many objects, keys or signs in a value.
    """
    text = decoded(content)
    at = _past(text, 0)
    if text[at : at + 1] != "[":
        raise BadFile("The table is no JSON list.", 'Write it as [{"…": …}, …], one object a row.')
    line, counted, count = 1, 0, 0
    at = _past(text, at + 1)
    closed = text[at : at + 1] == "]"
    while not closed:
        line, counted = line + text.count("\n", counted, at), at
        found = _FLAT_OBJECT.match(text, at)
        if found is None or len(found[0]) > _LONGEST_OBJECT:
            raise BadFile(
                f"Line {line} should begin an object that is closed again, without lists and objects in it.",
                "Write one object a row, of texts, numbers, true, false and null.",
            )
        count += 1
        if count > MOST_ROWS:
            raise BadFile(f"The table has more than {MOST_ROWS} rows.", "Split it into several files.")
        yield line, _Object(line).read(found[0])
        at = _past(text, found.end())
        after = text[at : at + 1]
        if after not in {",", "]"}:
            raise BadFile(f"After the object of line {line} stands no comma.", "Part objects with commas.")
        closed = after == "]"
        at = _past(text, at + 1) if not closed else at
    if text[at + 1 :].strip():
        raise BadFile("Something follows the list.", "End the file where the list ends.")


def _past(text: str, at: int) -> int:
    found = _BLANKS.match(text, at)
    return found.end() if found else at


@dataclass(frozen=True)
class _Object:
    """Reads one object that begins at `line`."""

    line: int

    def read(self, text: str) -> dict[str, Scalar]:
        try:
            values: dict[str, Scalar] = json.loads(
                text,
                object_pairs_hook=self._pairs,
                parse_int=self._whole,
                parse_float=self._figure,
                parse_constant=self._constant,
            )
        except json.JSONDecodeError as error:
            where = self.line + text.count("\n", 0, error.pos)
            raise BadFile(
                f"Line {where} is not written as JSON.",
                "Put keys and texts in double quotes, and a comma between pairs.",
            ) from None
        if any(isinstance(value, str) and len(value) > LONGEST_CELL for value in values.values()):
            raise self._refusal(f"a text has more than {LONGEST_CELL} characters", "Shorten it.")
        return values

    def _refusal(self, what: str, cure: str) -> BadFile:
        return BadFile(f"Line {self.line}: {what}.", cure)

    def _pairs(self, found: list[tuple[str, Any]]) -> dict[str, Scalar]:
        if len(found) > MOST_COLUMNS:
            raise self._refusal(f"the object has {len(found)} keys", f"Use at most {MOST_COLUMNS}.")
        values: dict[str, Scalar] = {}
        for key, value in found:
            if key in values:
                raise self._refusal(f"the key {quoted(key)} stands there twice", "Take one out.")
            values[key] = value
        return values

    def _whole(self, figures: str) -> int:
        if len(figures) > _LONGEST_FIGURE:
            raise self._refusal(f"a number has {len(figures)} figures", "Write a number that the shop can have.")
        return int(figures)

    def _figure(self, figures: str) -> float:
        value = float(figures) if len(figures) <= _LONGEST_FIGURE else math.inf
        if not math.isfinite(value):
            raise self._refusal(f"{quoted(figures)} is beyond all measure", "Write a number that the shop can have.")
        return value

    def _constant(self, name: str) -> NoReturn:
        raise self._refusal(f"{name} is no number", "Write a number, or null.")
