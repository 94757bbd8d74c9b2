"""A material with its thickness, as a shop writes them in one breath."""

import re

from register.errors import BadQuantity
from register.units.quantities import DECIMAL, FRACTION, LONGEST_TEXT, length_mm, plain_signs, quoted

_UNIT = r"""(?:["']|mm|cm|m|in|inch|inches|ft|thou|mils?)"""
_LENGTH = rf"(?:{FRACTION}|{DECIMAL}) ?{_UNIT}"
_LENGTH_ALONE = re.compile(_LENGTH, re.IGNORECASE)
_SHEET = re.compile(rf"(?P<name>.+?)[, ] ?(?P<length>{_LENGTH})", re.IGNORECASE)
_ENDS_IN_LENGTH = re.compile(rf".*[0-9] ?{_UNIT}", re.IGNORECASE)
_BARE_END = re.compile(r"(?:.* )?(?:[0-9]*[.,][0-9]+|[0-9]+/[0-9]+)")
_CURE = "Write it like 6061 3.175 mm, or birch plywood 1-1/4 in."


def split_material(text: str) -> tuple[str, float | None]:
    """A material and its thickness in mm: `6061 3.175 mm` is ("6061", 3.175), `PLA` is ("PLA", None).

    Raises
    ------
    BadQuantity
        If no name, no unit or no thickness stands there, or if it cannot be told where the name ends:
        `PA 12 1/2 in` may be 1/2 in of PA 12 or 12-1/2 in of PA.
    """
    if len(text) > 4 * LONGEST_TEXT:
        raise BadQuantity(f"The material {quoted(text)} is too long.", _CURE)
    plain = plain_signs(text)
    alone = _LENGTH_ALONE.fullmatch(plain)
    if not plain or (alone and not _is_name(alone)):
        raise BadQuantity(f"{quoted(text)} names no material.", _CURE)
    if _BARE_END.fullmatch(plain):
        raise BadQuantity(f"The thickness in {quoted(text)} has no unit.", _CURE)
    found = _SHEET.fullmatch(plain)
    if found is not None:
        return _parted(found, text)
    if _ENDS_IN_LENGTH.fullmatch(plain):
        raise BadQuantity(f"The thickness in {quoted(text)} cannot be read.", _CURE)
    return plain, None


def _is_name(found: re.Match[str]) -> bool:
    """Whether the whole number before a fraction is a name's: no sheet is a hundred inches thick (5052 1/4 in)."""
    return bool(found["whole"]) and len(found["whole"]) > 2 and not _dashed(found)


def _dashed(found: re.Match[str]) -> bool:
    return found.string[found.end("whole")] == "-"


def _parted(found: re.Match[str], text: str) -> tuple[str, float]:
    name, length = found["name"].rstrip(", "), found["length"]
    if found["whole"] and not _dashed(found):
        if not _is_name(found):
            raise BadQuantity(f"In {quoted(text)} it cannot be told where the name ends.", _CURE)
        name, length = f"{name} {found['whole']}", found.string[found.start("top") :]
    elif found["top"] and re.fullmatch(r"[0-9]{1,2}", name):
        raise BadQuantity(f"{quoted(text)} names no material.", _CURE)
    thickness_mm = length_mm(length)
    if not name or thickness_mm <= 0 or _ENDS_IN_LENGTH.fullmatch(name):
        raise BadQuantity(f"{quoted(text)} names no material with one thickness.", _CURE)
    return name, thickness_mm
