"""Quantities back into the words of a shop."""

import math


def written_duration(duration_s: float) -> str:
    """`45 s`, `1 h 30 min` or `2 d 4 h`: the two largest units, rounded to the smaller of them.

    Parameters
    ----------
    duration_s
        Finite, s; a negative one gets a minus sign.
    """
    for step, limit in ((1, 3600.0), (60, 86400.0), (3600, math.inf)):
        seconds = math.floor(abs(duration_s) / step + 0.5) * step
        if seconds < limit:
            break
    sizes = {"d": 86400, "h": 3600, "min": 60, "s": 1}
    counts: list[str] = []
    for unit, size in sizes.items():
        count, seconds = divmod(seconds, size)
        if count:
            counts.append(f"{count} {unit}")
    return ("-" if duration_s < 0 and counts else "") + (" ".join(counts) or "0 s")


def written_length(length_mm: float) -> str:
    """`3.175 mm`, or `335.2 m` from 10 m on."""
    if abs(length_mm) >= 10_000:
        return f"{_trimmed(length_mm / 1000, 1)} m"
    return f"{_trimmed(length_mm, 3)} mm"


def written_mass(mass_g: float) -> str:
    """`0.35 g`, `3.4 g`, `35 g` or `1.24 kg`."""
    if abs(mass_g) >= 999.5:
        return f"{_trimmed(mass_g / 1000, 2)} kg"
    return f"{_trimmed(mass_g, 0 if abs(mass_g) >= 9.95 else 1 if abs(mass_g) >= 0.995 else 2)} g"


def _trimmed(number: float, decimals: int) -> str:
    text = f"{number:.{decimals}f}"
    trimmed = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if trimmed == "-0" else trimmed
