"""Amounts of money as a shop writes them, and back."""

import re

from register.errors import BadQuantity
from register.units.quantities import LONGEST_TEXT, quoted

_AMOUNT = re.compile(
    r"(?P<before>[A-Z]{3}|[€$£])? *(?P<whole>[0-9]{1,9})(?:[.,](?P<part>[0-9]+))? *(?P<after>[A-Z]{3}|[€$£])?"
)
_MONEY_SIGNS = {"€": ("EUR",), "£": ("GBP",), "$": ("USD", "CAD", "AUD", "NZD", "SGD", "HKD", "TWD", "MXN")}


def money_cents(text: str, currency: str) -> int:
    """A written amount of money in hundredths: `12.50`, `12,50 EUR`, `€ 12`.

    Parameters
    ----------
    text
        As a person wrote it; a currency in it must be the shop's.
    currency
        The shop's, three capitals of ISO 4217.

    Raises
    ------
    BadQuantity
        For anything else, such as thousands marks, a sign, more than two decimals or another currency.
    """
    cure = f"Write an amount like 12.50 {currency}, without thousands marks."
    found = _AMOUNT.fullmatch(text.strip()) if len(text) <= LONGEST_TEXT else None
    if found is None or (found["before"] and found["after"]):
        raise BadQuantity(f"{quoted(text)} is no amount of money.", cure)
    mark = found["before"] or found["after"]
    if mark and currency not in _MONEY_SIGNS.get(mark, (mark,)):
        raise BadQuantity(f"{quoted(text)} is in {mark}, and the shop counts in {currency}.", cure)
    part = found["part"] or ""
    if len(part) > 2:
        raise BadQuantity(f"{quoted(text)} has more than two decimals.", cure)
    return int(found["whole"]) * 100 + int(part.ljust(2, "0"))


def written_money(cents: int, currency: str) -> str:
    """`12.50 EUR`."""
    sign = "-" if cents < 0 else ""
    return f"{sign}{abs(cents) // 100}.{abs(cents) % 100:02d} {currency}"
