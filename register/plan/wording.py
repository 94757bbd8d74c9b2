"""How the plan's reasons write a span, a moment, a list of names and an amount."""

import math
from collections.abc import Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from register.domain.plans import Need

NAMES_SHOWN = 4


def span_text(span_s: float) -> str:
    """A span in its two largest units, rounded up to the minute: `2 d 4 h`, `3 h 20 min`, `5 min`."""
    minutes = math.ceil(span_s / 60)
    if minutes >= 24 * 60:
        hours = math.ceil(minutes / 60)
        return _joined_units(hours // 24, "d", hours % 24, "h")
    return _joined_units(minutes // 60, "h", minutes % 60, "min")


def moment_text(moment: datetime, zone: ZoneInfo) -> str:
    """A moment on the wall clock of `zone`: `2031-03-04 17:00 CET`."""
    return f"{moment.astimezone(zone):%Y-%m-%d %H:%M %Z}"


def names_text(names: Sequence[str], joint: str = "and") -> str:
    """`A-1`, `A-1 and A-2`, `A-1, A-2, A-3, A-4 and 3 more`."""
    shown = list(names[:NAMES_SHOWN])
    if len(names) > NAMES_SHOWN:
        return f"{', '.join(shown)} and {len(names) - NAMES_SHOWN} more"
    if len(shown) < 2:
        return "".join(shown)
    return f"{', '.join(shown[:-1])} {joint} {shown[-1]}"


def shortage_text(need: Need, left: float) -> str:
    """What is missing for `need` if `left` can still be had: `needs 310 g of PLA and 120 g is left: order 190 g`.

    The need is rounded up and what is left down, so that what is ordered is enough.
    """
    step = 1.0 if need.unit == "g" else 0.01
    needed, had = _up(need.amount, step), max(0.0, _down(left, step))
    return (
        f"needs {_amount(needed, need.unit)} of {need.material} and {_amount(had, need.unit)} "
        f"{'is' if need.unit == 'g' or had == 1 else 'are'} left: order {_amount(_up(needed - had, step), need.unit)}"
    )


def amount_text(need: Need) -> str:
    """`310 g of PLA`, rounded up."""
    return f"{_amount(_up(need.amount, 1.0 if need.unit == 'g' else 0.01), need.unit)} of {need.material}"


def _joined_units(large: int, large_unit: str, small: int, small_unit: str) -> str:
    parts = [f"{large} {large_unit}"] if large else []
    if small or not large:
        parts.append(f"{small} {small_unit}")
    return " ".join(parts)


def _up(amount: float, step: float) -> float:
    return round(math.ceil(round(amount / step, 6)) * step, 2)


def _down(amount: float, step: float) -> float:
    return round(math.floor(round(amount / step, 6)) * step, 2)


def _amount(amount: float, unit: str) -> str:
    figure = f"{amount:.2f}".rstrip("0").rstrip(".")
    word = "sheet" if unit == "sheets" and amount == 1 else unit
    return f"{figure} {word}"
