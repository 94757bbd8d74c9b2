"""The checked reading of one table of a shop.toml: every value comes out right, or BadSettings says what to write."""

import difflib
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from register.domain.texts import NAME_LENGTH, clean_text, shown
from register.errors import BadSettings, BadText

# Endings of keys, longest first, and what they mean to a person.
UNITS = {
    "_per_kg_cents": "in hundredths of the currency for 1 kg",
    "_per_m2_mm_cents": "in hundredths of the currency for 1 m² of 1 mm",
    "_per_h_cents": "in hundredths of the currency for 1 h",
    "_mm3_s": "in mm³/s",
    "_mm_s2": "in mm/s²",
    "_g_cm3": "in g/cm³",
    "_m_min": "in m/min",
    "_mm_s": "in mm/s",
    "_share": "as a share from 0 to 1",
    "_rpm": "in revolutions a minute",
    "_deg": "in degrees",
    "_mm": "in mm",
    "_s": "in seconds",
    "_d": "in multiples of the tool's diameter",
}
_UNIT_WORD = (
    r"(?:mm|cm|m|in|inch|inches|ft|thou|um|g|mg|kg|oz|lb|s|ms|min|h|hr|d|days?|sec|seconds|minutes|hours|percent|pct|"
    r"rpm|hz|rps|deg|degrees|rad|s2|min2|mm2|m2|cm2|mm3|cm3|m3|in3|ft3|ml|l|per|cents|eur|usd|gbp|share)"
)
_OTHER_UNIT = re.compile(rf"{_UNIT_WORD}(?:_{_UNIT_WORD})*")
_PERMISSION_WORDS = ("unattended", "permission", "longest_h")
_LONGEST_LIST = 1000


@dataclass(frozen=True)
class Span:
    """The numbers that a key may hold; `open_low` leaves `low` itself out."""

    low: float
    high: float
    open_low: bool = False

    def holds(self, number: float) -> bool:
        """Whether `number` lies in the span."""
        return self.low <= number <= self.high and not (self.open_low and number == self.low)

    def __str__(self) -> str:
        return (
            f"more than {self.low:g} and at most {self.high:g}" if self.open_low else f"{self.low:g} to {self.high:g}"
        )


class Table:
    """One table of the file.

    Parameters
    ----------
    where
        How messages name it: `[shop]`, `[[machine]] 'router'`.
    content
        As tomllib gave it.
    known
        The keys that it may have.
    cures
        For keys that belong elsewhere: what to do instead.

    Raises
    ------
    BadSettings
        If it is no table or has an unknown key.
    """

    def __init__(
        self, where: str, content: object, known: Sequence[str], cures: Mapping[str, str] | None = None
    ) -> None:
        self.where = where
        if not isinstance(content, dict):
            raise BadSettings(f"{where} is {_kind_of(content)}, not a table.", "Give it a heading and keys below it.")
        self._content: dict[str, object] = content
        for key in content:
            if key not in known:
                raise self._unknown(key, known, cures or {})

    def __contains__(self, key: str) -> bool:
        return key in self._content

    def given(self) -> tuple[str, ...]:
        """The keys that are there, in order."""
        return tuple(self._content)

    def raw(self, key: str) -> object:
        """The value of a key that is there, unchecked."""
        return self._content[key]

    def refusal(self, key: str, why: str, cure: str) -> BadSettings:
        """What to raise about the value of `key`."""
        return BadSettings(f"In {self.where}, {key} {why}.", cure)

    def need(self, key: str) -> object:
        """The value of a key that must be there.

        Raises
        ------
        BadSettings
            If it is not.
        """
        if key not in self._content:
            raise BadSettings(f"{self.where} has no {key}.", f"Add a line {key} = …{_unit_note(key)}.")
        return self._content[key]

    def text(self, key: str, default: str | None = None, longest: int = NAME_LENGTH) -> str:
        """A text of one line; without `default` the key must be there."""
        if default is not None and key not in self._content:
            return default
        return self._clean(key, self.need(key), longest)

    def texts(self, key: str) -> tuple[str, ...]:
        """A list of texts, each once; empty where the key is missing."""
        found = tuple(self._clean(key, each, NAME_LENGTH) for each in self._list(key))
        if len(set(found)) < len(found):
            raise self.refusal(key, "names one thing twice", "Name each once.")
        return found

    def flag(self, key: str) -> bool:
        """True or false; false where the key is missing."""
        value = self._content.get(key, False)
        if not isinstance(value, bool):
            raise self.refusal(key, f"is {_kind_of(value)}", f"Write {key} = true or {key} = false, without quotes.")
        return value

    def number(self, key: str, span: Span, default: float | None = None) -> float:
        """A finite number in `span`; without `default` the key must be there."""
        if default is not None and key not in self._content:
            return default
        return self._number(key, self.need(key), span)

    def whole(self, key: str, span: Span, default: int | None = None) -> int:
        """A whole number in `span`; without `default` the key must be there."""
        if default is not None and key not in self._content:
            return default
        value = self.need(key)
        if isinstance(value, bool) or not isinstance(value, int):
            raise self.refusal(
                key, f"is {_kind_of(value)}", f"Write a whole number{_unit_note(key)} ({span}), without quotes."
            )
        return int(self._number(key, value, span))

    def numbers(self, key: str, span: Span, count: int) -> tuple[float, ...]:
        """A list of `count` numbers, each in `span`."""
        self.need(key)
        values = self._list(key)
        if len(values) != count:
            raise self.refusal(key, f"has {len(values)} entries", f"Write {count} numbers{_unit_note(key)}.")
        return tuple(self._number(key, value, span) for value in values)

    def pairs(self, key: str, first: Span, second: Span) -> tuple[tuple[float, float], ...]:
        """A list of pairs of numbers, ascending in the first of each."""
        self.need(key)
        found: list[tuple[float, float]] = []
        for value in self._list(key):
            if not isinstance(value, list) or len(value) != 2:
                raise self.refusal(key, "is not made of pairs", f"Write {key} = [[3.175, 0.05], [6.35, 0.1]].")
            found.append((self._number(key, value[0], first), self._number(key, value[1], second)))
        if not found or any(later[0] <= sooner[0] for sooner, later in pairwise(found)):
            raise self.refusal(
                key, "does not ascend", "Write the pairs with the smaller diameter first, each diameter once."
            )
        return tuple(found)

    def _list(self, key: str) -> list[object]:
        value = self._content.get(key, [])
        if not isinstance(value, list):
            raise self.refusal(key, f"is {_kind_of(value)}, not a list", f"Write {key} = [ … ] with brackets.")
        if len(value) > _LONGEST_LIST:
            raise self.refusal(key, f"has {len(value)} entries", f"Write at most {_LONGEST_LIST}.")
        return value

    def _clean(self, key: str, value: object, longest: int) -> str:
        if not isinstance(value, str):
            raise self.refusal(key, f"holds {_kind_of(value)}, not a text", f"Write {key} in quotes.")
        try:
            return clean_text(value, key, longest)
        except BadText as bad:
            raise BadSettings(f"In {self.where}: {bad.what}", bad.cure) from None

    def _number(self, key: str, value: object, span: Span) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            example = f"Write the number alone{_unit_note(key)}, without quotes ({span})."
            raise self.refusal(key, f"is {_kind_of(value)}, not a number", example)
        # Compared before it is turned into a float: a whole number of the file may be too large for one.
        if (isinstance(value, float) and not math.isfinite(value)) or not span.holds(value):
            told = f"{value:g}" if isinstance(value, float) or abs(value) < 10**15 else "far too large"
            raise self.refusal(key, f"is {told}", f"Write a number{_unit_note(key)}: {span}.")
        return float(value)

    def _unknown(self, key: str, known: Sequence[str], cures: Mapping[str, str]) -> BadSettings:
        name = shown(key)[:80]
        if any(word in key for word in _PERMISSION_WORDS):
            return BadSettings(
                f"{self.where} has a key {name!r}, but leave to run unattended is not given in this file.",
                "Take the line out; a responsible adult records the leave with `pitwright machine`.",
            )
        what = f"{self.where} has no key {name!r}."
        if key in cures:
            return BadSettings(what, cures[key])
        same = [each for each in known if _same_quantity(key, each)]
        if same:
            right = max(same, key=lambda each: len(_stem(each) or each))
            return BadSettings(what, f"Write {right}{_unit_note(right)}.")
        near = difflib.get_close_matches(key[:80], known, n=1)
        return BadSettings(what, f"The nearest one is {near[0]}." if near else f"Its keys are: {', '.join(known)}.")


def _stem(key: str) -> str | None:
    """`key` without its unit, None if it carries none."""
    return next((key.removesuffix(ending) for ending in UNITS if key.endswith(ending)), None)


def _same_quantity(key: str, known: str) -> bool:
    """Whether `key` is `known` in another unit or in none: `line_width_in`, `line_width`."""
    stem = _stem(known)
    if stem is None:
        return False
    start = f"{stem}_"
    return key == stem or (key.startswith(start) and _OTHER_UNIT.fullmatch(key, len(start)) is not None)


def _unit_note(key: str) -> str:
    return next((f" {unit}" for ending, unit in UNITS.items() if key.endswith(ending)), "")


def _kind_of(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f"the text {shown(value[:40])!r}"
    names = {dict: "a table", list: "a list", int: "a whole number", float: "a number with decimals"}
    return names.get(type(value), "a date or time")
