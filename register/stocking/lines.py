"""The line of one wear part: what is usable, what the event will take, and the word for it."""

from register.domain.spares import SpareLine, WearCase, signal_for, usability
from register.stocking import demand


def spare_line(case: WearCase) -> SpareLine:
    """How one wear part stands.

    Parameters
    ----------
    case
        What it is worked out from.

    Notes
    -----
    Advice stands on the log of replacements: without an event ahead, or without past use, there is none and only the
    pieces speak.
    """
    found = usability(case.history, case.positions, case.pieces)
    fitted = sum(position.quantity for position in case.positions)
    expected = chance = advised = None
    if case.event_ahead:
        expected = demand.expected_use(case.replacements, case.exposure, case.ahead)
        chance = demand.chance_of_enough(found.now, case.replacements, case.exposure, case.ahead)
        advised = demand.advised(case.target, case.replacements, case.exposure, case.ahead)
    return SpareLine(
        case.part.number,
        case.part.name,
        tuple(sorted({position.robot for position in case.positions})),
        fitted,
        found.now,
        found.after_change,
        found.unusable,
        found.without,
        expected,
        advised,
        chance,
        signal_for(fitted, found, advised),
    )
