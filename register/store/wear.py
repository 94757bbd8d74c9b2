"""What each wear part's line is worked out from, gathered in one reading."""

from collections.abc import Collection, Iterable
from datetime import datetime

from register.domain.competitions import Competition
from register.domain.robots import Position
from register.domain.spares import WearCase
from register.store import competitions, part_lists, pieces, position_lists, shops
from register.store.transaction import Reading


def wear_cases(reading: Reading, now: datetime, numbers: Collection[str] | None = None) -> tuple[WearCase, ...]:
    """One case for each wear part, by number; only for those of `numbers` if given.

    Notes
    -----
    Use is counted in matches times pieces fitted, over the competitions that have begun (past) and over the next one
    (to come), for the robots entered there. Each kind of row is read once, and only the rows of these parts.
    """
    wearing = part_lists.wear_parts(reading, numbers)
    if not wearing:
        return ()
    events = competitions.competitions(reading)
    played = _matches(event for event in events if event.starts <= now)
    to_come = [event for event in events if event.starts > now][:1]
    ahead = _matches(to_come)
    histories = part_lists.histories_of(reading, wearing)
    places = position_lists.positions_of_many(reading, wearing)
    on_hand = pieces.on_hand_of(reading, wearing)
    replaced = pieces.replaced_counts(reading, wearing)
    target = shops.chance_target(reading)
    cases = []
    for key, part in wearing.items():
        every = [position for position, _ in places.get(key, ())]
        active = tuple(position for position, robot_is_active in places.get(key, ()) if robot_is_active)
        cases.append(
            WearCase(
                part,
                histories[key],
                active,
                on_hand.get(key, ()),
                replaced.get(key, 0),
                _use(played, every),
                _use(ahead, active),
                target,
                bool(to_come),
            )
        )
    return tuple(cases)


def _matches(events: Iterable[Competition]) -> dict[str, int]:
    """Matches of all events together, by robot."""
    matches: dict[str, int] = {}
    for event in events:
        for entry in event.entries:
            matches[entry.robot] = matches.get(entry.robot, 0) + entry.matches
    return matches


def _use(matches: dict[str, int], places: Iterable[Position]) -> float:
    return float(sum(matches.get(place.robot, 0) * place.quantity for place in places))
