"""Small registers made up at random, and beside each the plain lists of what it was told."""

from dataclasses import dataclass, field
from datetime import timedelta
from random import Random

from register.domain.competitions import Competition, Entry
from register.domain.parts import Part, Process
from register.domain.pieces import Cause, PieceMove, Replacement
from register.domain.revisions import Interchange, Revision, RevisionState, Stage, letter_at
from register.domain.robots import Assembly, Position
from register.domain.spares import OnHand, WearCase
from register.domain.stock import Lot, StockForm, StockMove
from register.estimate.bought import estimate_bought
from register.store import competitions, parts, pieces, robots, stock
from register.store.transaction import Writing
from tests.shops import NOON

PLACES = ("shelf", "van")


@dataclass
class Said:
    """What a register was told, kept beside it as plain lists."""

    random: Random
    parts: list[Part] = field(default_factory=list)
    revisions: list[Revision] = field(default_factory=list)
    inactive: set[str] = field(default_factory=set)
    assemblies: list[Assembly] = field(default_factory=list)
    positions: list[Position] = field(default_factory=list)
    moves: list[OnHand] = field(default_factory=list)
    replaced: list[Replacement] = field(default_factory=list)
    events: list[Competition] = field(default_factory=list)
    lots: dict[str, float] = field(default_factory=dict)

    def history(self, number: str) -> tuple[Revision, ...]:
        return tuple(each for each in self.revisions if each.part == number)

    def on_hand(self, number: str) -> set[OnHand]:
        sums: dict[tuple[str | None, str], int] = {}
        for move in self.moves:
            if move.part == number:
                sums[move.revision, move.place] = sums.get((move.revision, move.place), 0) + move.quantity
        return {OnHand(number, letter, place, left) for (letter, place), left in sums.items() if left}

    def matches(self, robot: str, past: bool) -> int:
        coming = sorted((event for event in self.events if event.starts > NOON), key=lambda event: event.starts)
        counted = [event for event in self.events if event.starts <= NOON] if past else coming[:1]
        return sum(entry.matches for event in counted for entry in event.entries if entry.robot == robot)

    def wear_case(self, part: Part) -> WearCase:
        every = [each for each in self.positions if each.part == part.number]
        active = [each for each in every if each.robot not in self.inactive]
        return WearCase(
            part,
            self.history(part.number),
            tuple(sorted(active, key=lambda each: (each.robot, each.name))),
            tuple(sorted(self.on_hand(part.number), key=lambda each: (each.place, each.revision or ""))),
            sum(each.part == part.number for each in self.replaced),
            float(sum(self.matches(each.robot, True) * each.quantity for each in every)),
            float(sum(self.matches(each.robot, False) * each.quantity for each in active)),
            0.9,
            any(event.starts > NOON for event in self.events),
        )

    def within(self, position: Position) -> tuple[str, ...]:
        known = {each.name: each for each in self.assemblies if each.robot == position.robot}
        names: list[str] = []
        at = position.assembly
        while at is not None:
            names.append(at)
            at = known[at].parent
        return tuple(reversed(names))


def tell_parts(said: Said, tx: Writing) -> None:
    for number in said.random.sample(range(100), 9):
        part = Part(f"P-{number}", said.random.choice(("Hub", "hub 1", "Lip [left]")), said.random.random() < 0.5)
        parts.add_part(tx, part)
        said.parts.append(part)
        for place in range(1, said.random.randrange(5)):
            revision = Revision(
                part.number,
                letter_at(place),
                Process.BOUGHT,
                RevisionState.DRAFT,
                Stage.PRODUCTION,
                said.random.choice(list(Interchange)),
                unit_cost_cents=100,
                lead_days=2,
                logged_by=tx.who,
                logged_at=tx.at,
            )
            parts.add_revision(tx, revision, None, estimate_bought(100, 2, None))
            said.revisions.append(revision)


def tell_robots(said: Said, tx: Writing) -> None:
    for robot in ("Basalt", "Gneiss", "Slate"):
        robots.add_robot(tx, robot, "")
        tx.session.flush()
        groups: list[str] = []
        for name in ("Base", "Arm", "Wrist", "Hand", "Finger", "Tip")[: said.random.randrange(7)]:
            parent = said.random.choice([None, *groups, *groups[-1:] * 3])
            group = Assembly(robot, name, parent, said.random.random() < 0.3)
            robots.add_assembly(tx, group)
            tx.session.flush()
            said.assemblies.append(group)
            groups.append(name)
        for number in range(said.random.randrange(8)):
            tell_position(said, tx, Assembly(robot, said.random.choice([*groups, ""])), number)
    row = robots.robot_row(tx.session, "Slate")
    row.active = False
    tx.session.add(row)
    said.inactive.add("Slate")


def tell_position(said: Said, tx: Writing, group: Assembly, number: int) -> None:
    if not said.revisions:
        return
    required = said.random.choice(said.revisions)
    letters = [each.letter for each in said.history(required.part)]
    quantity = said.random.randrange(1, 4)
    place = Position(group.robot, group.name or None, f"at {number}", required.part, quantity, required.letter)
    robots.add_position(tx, place)
    tx.session.flush()
    fitted: list[str | None] = []
    for slot in range(1, quantity + 1):
        letter = said.random.choice([*letters, None, "nothing"])
        if letter != "nothing":
            robots.fit(tx, place.robot, place.name, slot, letter)
            fitted += [None] * (slot - 1 - len(fitted)) + [letter]
        tx.session.flush()
    said.positions.append(
        Position(place.robot, place.assembly, place.name, place.part, quantity, place.required, tuple(fitted))
    )


def tell_ledgers(said: Said, tx: Writing) -> None:
    for _ in range(30):
        part = said.random.choice(said.parts)
        letter = said.random.choice([*(each.letter for each in said.history(part.number)), None])
        place = said.random.choice(PLACES)
        there = sum(
            each.quantity for each in said.on_hand(part.number) if (each.revision, each.place) == (letter, place)
        )
        move = OnHand(part.number, letter, place, said.random.choice([1, 2, 3, *[-there] * (there > 0)]))
        kind = PieceMove.RECEIVED if move.quantity > 0 else PieceMove.TAKEN
        left = pieces.move_pieces(tx, part.number.lower(), letter, place, kind, move.quantity)
        said.moves.append(move)
        assert left == there + move.quantity
    for _ in range(6 if said.positions else 0):
        at = said.random.choice(said.positions)
        letter = said.random.choice([None, at.required])
        done = Replacement(at.part, at.robot, at.name, 1, None, letter, Cause.WORN, tx.who, tx.at)
        pieces.add_replacement(tx, done)
        said.replaced.append(done)
    for label in ("S-1", "S-2"):
        stock.add_lot(tx, Lot(label, "PLA", StockForm.SPOOL, 1000.0))
        said.lots[label] = 1000.0
        for grams in said.random.sample(range(1, 300), said.random.randrange(3)):
            said.lots[label] -= grams
            assert stock.move_lot(tx, label, StockMove.USED, -grams).amount == said.lots[label]


def tell_events(said: Said, tx: Writing) -> None:
    for number, days in enumerate(said.random.sample((-90, -30, 0, 20, 60), said.random.randrange(6))):
        starts = NOON + timedelta(days=days)
        entered = said.random.sample(("Basalt", "Gneiss", "Slate"), said.random.randrange(4))
        entries = tuple(Entry(robot, said.random.randrange(9)) for robot in sorted(entered))
        event = Competition(f"Event {number}", starts, starts - timedelta(days=1), entries)
        competitions.add_competition(tx, event)
        said.events.append(event)
