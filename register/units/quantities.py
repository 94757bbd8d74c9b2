"""Quantities as a shop writes them: the only user of pint, behind a small grammar of our own.

Notes
-----
What is read: a number and a unit (`0.25 in`, `0,5 mm`, `1-1/2 in`, `1/8"`, `½ in`), or a falling chain of feet and
inches, pounds and ounces, or weeks, days, hours, minutes and seconds (`5' 6-1/2"`, `1 h 30 min`). All else is refused,
because pint alone reads `1 1/2 in` as 0.5 in, `0,5 mm` as 0 mm and `1 h 30 min` as 30 h·min without a word.
Pint is loaded when the first unit has to be converted, never on import: a screen must paint before it.
"""

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from register.errors import BadQuantity

if TYPE_CHECKING:
    import pint

LONGEST_TEXT = 60
# In the base unit of each kind: more than a shop can have, and far from where floats lose a thousandth.
LARGEST = Fraction(10**9)


@dataclass(frozen=True)
class _Kind:
    """A kind of quantity: its words, and the units (pint's names) that may follow one another in a falling chain."""

    noun: str
    example: str
    base: str
    units: Mapping[str, str]
    chains: tuple[tuple[str, ...], ...] = ()


def _words(**names: str) -> dict[str, str]:
    return {word: unit for unit, words in names.items() for word in words.split()}


_LENGTH = _Kind(
    "length",
    "3.175 mm or 1/8 in",
    "millimeter",
    _words(
        millimeter="mm millimetre millimetres millimeter millimeters",
        centimeter="cm centimetre centimetres centimeter centimeters",
        meter="m metre metres meter meters",
        micrometer="µm um micron microns micrometre micrometres micrometer micrometers",
        inch='in inch inches "',
        foot="ft foot feet '",
        thou="thou",
    ),
    (("foot", "inch"),),
)
_MASS = _Kind(
    "mass",
    "1.2 kg or 8 oz",
    "gram",
    _words(
        milligram="mg milligram milligrams",
        gram="g gram grams gramme grammes",
        kilogram="kg kilogram kilograms",
        ounce="oz ounce ounces",
        pound="lb lbs pound pounds",
    ),
    (("pound", "ounce"),),
)
_DURATION = _Kind(
    "duration",
    "1 h 30 min",
    "second",
    _words(
        second="s sec secs second seconds",
        minute="min mins minute minutes",
        hour="h hr hrs hour hours",
        day="d day days",
        week="wk week weeks",
    ),
    (("week", "day", "hour", "minute", "second"),),
)
_SPEED = _Kind(
    "speed",
    "3600 mm/min or 60 mm/s",
    "millimeter/second",
    {
        "mm/s": "millimeter/second",
        "mm/min": "millimeter/minute",
        "cm/s": "centimeter/second",
        "m/s": "meter/second",
        "m/min": "meter/minute",
        "in/s": "inch/second",
        "in/min": "inch/minute",
        "ipm": "inch/minute",
        "ft/min": "foot/minute",
    },
)
_SPINDLE = _Kind(
    "spindle speed",
    "18000 rpm",
    "revolutions_per_minute",
    _words(revolutions_per_minute="rpm r/min rev/min"),
)
_KINDS = (_LENGTH, _MASS, _DURATION, _SPEED, _SPINDLE)

DECIMAL = r"(?:[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)"
FRACTION = r"(?:(?P<whole>[0-9]+)(?:-| +))?(?P<top>[0-9]+)/(?P<bottom>[0-9]+)"
_TERM = re.compile(rf"""(?:{FRACTION}|(?P<decimal>{DECIMAL})) *(?P<unit>["']|µm|[A-Za-z]+(?: ?/ ?[A-Za-z]+)?|(?=$))""")
# Between the terms of a chain: blanks, or the dash that drawings put behind a foot mark.
_BETWEEN = re.compile(r" *| *- *")
_SIGNS = str.maketrans({"″": '"', "”": '"', "“": '"', "′": "'", "’": "'", "‘": "'", "μ": "µ", "\u2044": "/"})


def length_mm(text: str, default_unit: str | None = None) -> float:
    """A written length in mm: `0.25 in`, `1-1/2 in`, `5' 6-1/2"`, `0,5 mm`, `12 thou`.

    Parameters
    ----------
    text
        As a person wrote it.
    default_unit
        The unit of a bare number; without it a bare number is refused.

    Raises
    ------
    BadQuantity
        For anything that cannot be read without guessing.

    Notes
    -----
    1 in = 25.4 mm exactly. Source: NIST SP 811, appendix B.
    """
    return _read(text, _LENGTH, default_unit)


def mass_g(text: str, default_unit: str | None = None) -> float:
    """A written mass in g: `1.2 kg`, `8 oz`, `1 lb 4 oz`; see `length_mm`.

    Notes
    -----
    1 lb = 453.59237 g and 1 oz = 28.349523125 g exactly. Source: NIST SP 811, appendix B.
    """
    return _read(text, _MASS, default_unit)


def duration_s(text: str, default_unit: str | None = None) -> float:
    """A written duration in s: `1 h 30 min`, `90 min`, `2 d`; see `length_mm`. A day has 24 h."""
    return _read(text, _DURATION, default_unit)


def speed_mm_s(text: str, default_unit: str | None = None) -> float:
    """A written speed or feed in mm/s: `3600 mm/min`, `100 in/min`; see `length_mm`."""
    return _read(text, _SPEED, default_unit)


def spindle_rpm(text: str, default_unit: str | None = None) -> float:
    """A written spindle speed in revolutions a minute: `18000 rpm`; see `length_mm`."""
    return _read(text, _SPINDLE, default_unit)


def _read(text: str, kind: _Kind, default_unit: str | None) -> float:
    terms = _terms(_plain(text, kind), text, kind, default_unit)
    total = sum((number * _factor(unit, kind.base) for number, unit in terms), Fraction(0))
    if total > LARGEST:
        raise _refusal(text, kind, "is larger than anything that a shop makes")
    return float(total)


def _plain(text: str, kind: _Kind) -> str:
    """`text` in plain signs, if it may be a quantity at all."""
    if len(text) > LONGEST_TEXT:
        raise _refusal(text, kind, "is too long")
    plain = plain_signs(text)
    if not plain:
        raise BadQuantity(f"The {kind.noun} is empty.", f"Write it like {kind.example}.")
    if re.match(r"[-−–+±]", plain):
        raise _refusal(text, kind, "carries a sign")
    if re.search(r"[0-9]*,[0-9]{3}(?![0-9])", plain) or re.search(r"[.,][0-9]*[.,]", plain):
        raise BadQuantity(
            f"The comma or point in {quoted(text)} may part thousands or decimals.",
            f"Write the {kind.noun} without thousands marks and with a decimal point, like {kind.example}.",
        )
    return plain


def plain_signs(text: str) -> str:
    """`text` with one kind of blank, of quote and of fraction."""
    spelt = "".join(_fraction_spelt(sign) for sign in text).translate(_SIGNS)
    return " ".join(spelt.split())


def _fraction_spelt(sign: str) -> str:
    decomposition = unicodedata.decomposition(sign)
    if not decomposition.startswith("<fraction>"):
        return sign
    return " " + "".join(chr(int(code, 16)) for code in decomposition.split()[1:])


def _terms(plain: str, text: str, kind: _Kind, default_unit: str | None) -> list[tuple[Fraction, str]]:
    """The numbers and pint units in `plain`, checked to be a single one or a falling chain."""
    terms: list[tuple[Fraction, str]] = []
    place = 0
    while place < len(plain):
        if terms:
            between = _BETWEEN.fullmatch(plain, place, _next_figure(plain, place))
            if between is None or ("-" in between[0] and terms[-1][1] != "foot"):
                raise _refusal(text, kind, "is not one quantity")
            place = between.end()
        found = _TERM.match(plain, place)
        if found is None:
            raise _refusal(text, kind, "cannot be read")
        word = found["unit"] or (default_unit if default_unit and not terms else "")
        terms.append((_number(found, text, kind), _unit(word, text, kind)))
        place = found.end()
    _check_chain(terms, text, kind)
    return terms


def _next_figure(plain: str, place: int) -> int:
    found = re.compile(r"[0-9.,]").search(plain, place)
    return found.start() if found else len(plain)


def _number(found: re.Match[str], text: str, kind: _Kind) -> Fraction:
    if found["decimal"]:
        return Fraction(found["decimal"].replace(",", "."))
    top, bottom = int(found["top"]), int(found["bottom"])
    if bottom == 0:
        raise _refusal(text, kind, "divides by zero")
    if found["whole"] and top >= bottom:
        raise _refusal(text, kind, "has a fraction of one or more behind a whole number")
    return int(found["whole"] or 0) + Fraction(top, bottom)


def _unit(word: str, text: str, kind: _Kind) -> str:
    """Pint's name for a unit word of `kind`."""
    plain = word.replace(" ", "")
    if not plain:
        raise _refusal(text, kind, "has no unit")
    if plain in {"mil", "mils"} and kind is _LENGTH:
        raise BadQuantity(f"In {quoted(text)}, mil may mean thou or mm.", "Write thou or mm.")
    name = kind.units.get(plain) or kind.units.get(_lowered(plain))
    if name is not None:
        return name
    others = [other.noun for other in _KINDS if plain in other.units]
    raise _refusal(text, kind, f"is a {others[0]}" if others else f"has an unknown unit {plain!r}")


def _lowered(word: str) -> str:
    """`word` in small letters where its capitals cannot mean another unit (Mm, Mg and single letters can)."""
    return word if len(word) == 1 or word in {"Mm", "Mg"} else word.lower()


def _check_chain(terms: list[tuple[Fraction, str]], text: str, kind: _Kind) -> None:
    if len(terms) == 1:
        return
    units = [unit for _, unit in terms]
    for chain in kind.chains:
        places = [chain.index(unit) for unit in units if unit in chain]
        if len(places) == len(units) and places == sorted(set(places)):
            break
    else:
        raise _refusal(text, kind, "is not one quantity")
    if any(number.denominator != 1 for number, _ in terms[:-1]):
        raise _refusal(text, kind, "has a fraction before its last unit")


@lru_cache(maxsize=1)
def _registry() -> "pint.UnitRegistry[Any]":
    import pint  # Loads here: 0.3 s that a start without quantities need not pay.

    return pint.UnitRegistry(non_int_type=Fraction)


@lru_cache
def _factor(unit: str, base: str) -> Fraction:
    """How many `base` are in one `unit`, exactly."""
    if unit == base:
        return Fraction(1)
    return Fraction(_registry().Quantity(Fraction(1), unit).to(base).magnitude)


def quoted(text: str) -> str:
    """`text` as a message shows it: cut short, with hidden signs written out."""
    return repr(text if len(text) <= LONGEST_TEXT else text[:LONGEST_TEXT] + "…")


def _refusal(text: str, kind: _Kind, why: str) -> BadQuantity:
    return BadQuantity(f"The {kind.noun} {quoted(text)} {why}.", f"Write a {kind.noun} like {kind.example}.")
