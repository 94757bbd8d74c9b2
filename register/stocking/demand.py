"""How many pieces of a wear part an event will use, and the chance that the spares are enough.

The replacements of a part are taken as a Poisson process whose rate is not known: after r replacements in an exposure
T (matches, hours, any one unit) it is Gamma(a + r, b + T), and the replacements in a further exposure H are negative
binomial with p = (b + T) / (b + T + H). Source: Gelman et al., *Bayesian Data Analysis*, 3rd ed., 2.6, from memory.
With a = 1/2 and b = 0, the prior of Jeffreys, a log without any replacement still leaves some chance of one.
"""

import math
from collections.abc import Iterator

from register.errors import BadQuantity

PRIOR_SHAPE = 0.5
MOST_ADVISED = 999


def expected_use(replacements: int, exposure: float, ahead: float) -> float | None:
    """Replacements to expect in the exposure `ahead`.

    Parameters
    ----------
    replacements
        So far.
    exposure, ahead
        In which they came, and what is to come, in one unit (matches).

    Returns
    -------
    float or None
        (a + r) H / T. None where the exposure is 0: no log, no figure.

    Raises
    ------
    BadQuantity
        If a figure is negative or not finite.
    """
    _check(replacements, exposure, ahead)
    if exposure == 0:
        return None
    return (PRIOR_SHAPE + replacements) * (ahead / exposure)


def chance_of_enough(spares: int, replacements: int, exposure: float, ahead: float) -> float | None:
    """Chance that no more than `spares` are used in the exposure `ahead`, 0…1; parameters as in `expected_use`.

    Raises
    ------
    BadQuantity
        If a figure is negative or not finite.
    """
    _check(replacements, exposure, ahead)
    if spares < 0:
        raise BadQuantity(f"{spares} spares cannot be on hand.", "Count them again.")
    if exposure == 0:
        return None
    total = 0.0
    for used, chance in enumerate(_chances(replacements, exposure, ahead)):
        total += chance
        if used >= spares:
            break
    return min(1.0, total)


def advised(target: float, replacements: int, exposure: float, ahead: float, most: int = MOST_ADVISED) -> int | None:
    """The fewest spares with which the chance of enough reaches `target`, never more than `most`.

    Parameters
    ----------
    target
        Above 0 and below 1.

    Returns
    -------
    int or None
        None where the exposure is 0.

    Raises
    ------
    BadQuantity
        If a figure is out of range.
    """
    _check(replacements, exposure, ahead)
    if not 0 < target < 1:
        raise BadQuantity(f"A chance of enough of {target} cannot be aimed at.", "Give one above 0 and below 1.")
    if exposure == 0:
        return None
    total = 0.0
    for used, chance in enumerate(_chances(replacements, exposure, ahead)):
        total += chance
        if total >= target or used >= most:
            return used
    return most


def _check(replacements: int, exposure: float, ahead: float) -> None:
    if not all(0 <= figure < math.inf for figure in (replacements, exposure, ahead)):
        raise BadQuantity(
            "A count of replacements or an exposure is below 0 or no number.", "Count the matches and pieces again."
        )


def _chances(replacements: int, exposure: float, ahead: float) -> Iterator[float]:
    """Chances of 0, 1, 2 … replacements ahead, until they no longer count.

    By recurrence in logarithms, since the first of them may be too small for a float.
    """
    shape = PRIOR_SHAPE + replacements
    if ahead == 0:
        yield 1.0
        return
    log_more = -math.log1p(exposure / ahead)
    log_chance = -shape * math.log1p(ahead / exposure)
    mean = shape * (ahead / exposure)
    used = 0
    while used <= mean or log_chance > -745:
        yield math.exp(log_chance)
        log_chance += log_more + math.log((used + shape) / (used + 1))
        used += 1
