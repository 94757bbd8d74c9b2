"""What each wear part's line is worked out from, gathered in one reading."""

from datetime import datetime

from register.domain.competitions import Competition
from register.domain.robots import Position
from register.domain.spares import WearCase
from register.store import competitions, parts, pieces, robots, shops
from register.store.transaction import Reading


def wear_cases(reading: Reading, now: datetime) -> tuple[WearCase, ...]:
    """One case for each wear part, by number.

    Notes
    -----
    Use is counted in matches times pieces fitted, over the competitions that have begun (past) and over the next one
    (to come), for the robots entered there.
    """
    events = competitions.competitions(reading)
    past = [event for event in events if event.starts <= now]
    to_come = [event for event in events if event.starts > now][:1]
    histories = parts.histories(reading)
    active = robots.positions(reading)
    every = robots.positions(reading, active_only=False)
    on_hand = pieces.on_hand(reading)
    log = pieces.replacements(reading)
    target = shops.shop(reading).chance_target
    return tuple(
        WearCase(
            part,
            histories.get(part.number, ()),
            tuple(each for each in active if each.part == part.number),
            tuple(each for each in on_hand if each.part == part.number),
            sum(each.part == part.number for each in log),
            _use(past, [each for each in every if each.part == part.number]),
            _use(to_come, [each for each in active if each.part == part.number]),
            target,
            bool(to_come),
        )
        for part in parts.parts(reading, wear_only=True)
    )


def _use(events: list[Competition], places: list[Position]) -> float:
    return float(
        sum(
            entry.matches * place.quantity
            for event in events
            for entry in event.entries
            for place in places
            if place.robot == entry.robot
        )
    )
