"""A register of many seasons, made up from a seed and written straight into its tables, with all of its history."""

import hashlib
import json
import sqlite3
from collections import Counter
from collections.abc import Iterable, Iterator
from contextlib import closing
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from itertools import count, islice
from pathlib import Path
from random import Random

from register.actions.shop import set_up_shop
from register.opening import Register, make_register, open_register
from register.store.header import DATABASE

NOW = datetime(2031, 3, 4, 12, 0, tzinfo=UTC)
LETTERS = ("A", "B", "C")
_STATES = ("superseded", "released", "draft")
_PLACES = ("shelf", "pit box", "van")
_WHAT = ("bracket", "hub", "gusset", "spacer", "pulley", "panel", "lip", "insert", "duct", "tray")
_WHERE = ("left", "right", "front", "rear", "upper", "lower")
# Assemblies lie six deep, each but the deepest holding two more.
_LEVELS = 6
# Rows that one operation writes, as a person's import of a list.
_ROWS_AN_OPERATION = 500
_BY = "Benchmark"


@dataclass(frozen=True)
class Sizes:
    """How large the register is. Each part has three revisions.

    `ledger` is moves of pieces, moves of stock and replacements together; `wear_moves` the share of the moves of pieces
    that wear parts have; `positions` those of one robot, of which `everywhere` hold one part that is everywhere.
    """

    parts: int = 100_000
    wear: int = 500
    ledger: int = 1_000_000
    robots: int = 24
    positions: int = 250
    everywhere: int = 10
    wear_moves: float = 0.1
    files: int = 2_000
    lots: int = 500
    events: int = 20


@dataclass
class _Making:
    """What was written so far, for the rows that refer to it."""

    sizes: Sizes
    folder: Path
    random: Random = field(default_factory=lambda: Random(20310304))
    keys: Iterator[str] = field(default_factory=lambda: (f"{number:032x}" for number in count(1 << 80)))
    files: list[str] = field(default_factory=list)
    parts: list[str] = field(default_factory=list)
    revisions: list[tuple[str, ...]] = field(default_factory=list)
    robots: list[str] = field(default_factory=list)
    assemblies: dict[str, list[str]] = field(default_factory=dict)
    positions: list[tuple[str, int, int]] = field(default_factory=list)
    lots: list[str] = field(default_factory=list)
    events: list[str] = field(default_factory=list)
    seconds: int = 0

    def key(self, kept: list[str] | None = None) -> str:
        """The next row key, kept in a list if one is given."""
        key = next(self.keys)
        if kept is not None:
            kept.append(key)
        return key

    def at(self) -> str:
        """The next moment, all of them before NOW."""
        self.seconds += 3
        return _text(NOW - timedelta(days=2_000) + timedelta(seconds=self.seconds))


_Rows = Iterable[tuple[object, ...]]


def number_at(place: int) -> str:
    """Number of the part at a place in the order of writing, which is not the order of the numbers."""
    return f"P-{(place * 7_919) % 1_000_003:06d}"


def large_register(folder: Path, sizes: Sizes) -> Register:
    """Make the register in `folder`, or open it if it is there."""
    if (folder / DATABASE).exists():
        return open_register(folder, _BY, lambda: NOW)
    register = make_register(folder, _BY, lambda: NOW)
    set_up_shop(register, None, "")
    register.store.close()
    making = _Making(sizes, folder)
    with closing(sqlite3.connect(folder / DATABASE, isolation_level=None)) as connection:
        # Not as the program writes: a half-made benchmark is thrown away.
        connection.execute("PRAGMA synchronous = OFF")
        connection.execute("PRAGMA cache_size = -200000")
        connection.execute("BEGIN IMMEDIATE")
        for table, columns, rows in _tables(making):
            _write(connection, making, f'INSERT INTO "{table}"', columns.split(), rows)
        connection.execute("DELETE FROM open_operation")
        connection.execute("COMMIT")
    return register


def _write(connection: sqlite3.Connection, making: _Making, insert: str, columns: list[str], rows: _Rows) -> None:
    named = ", ".join(f'"{name}"' for name in ("key", *columns, "version"))
    statement = f"{insert} ({named}) VALUES ({', '.join('?' * (len(columns) + 1))}, 1)"
    left = iter(rows)
    while chunk := list(islice(left, _ROWS_AN_OPERATION)):
        number = connection.execute("SELECT coalesce(max(seq), 0) + 1 FROM operation").fetchone()[0]
        connection.execute(
            "INSERT INTO operation (seq, key, station, at, who, why) VALUES (?, ?, 'A', ?, ?, 'import a list')",
            (number, making.key(), making.at(), _BY),
        )
        connection.execute("INSERT OR REPLACE INTO open_operation (one, operation) VALUES (1, ?)", (number,))
        connection.executemany(statement, chunk)


def _tables(making: _Making) -> Iterator[tuple[str, str, _Rows]]:
    replaced = making.sizes.ledger // 50
    stock = (making.sizes.ledger - replaced) * 13 // 100
    yield "stored_file", "sha256 name bytes", _files(making)
    yield "part", "number number_folded name wear", _parts(making)
    columns = "part_key letter place process state stage interchange interchange_why changed material file_sha256"
    yield "revision", f"{columns} unit unit_cost_cents lead_days logged_by logged_at", _revisions(making)
    yield "estimate", "revision_key made_at body", _estimates(making)
    yield "robot", "name note active", _robots(making)
    yield "assembly", "robot_key parent_key name module", _assemblies(making)
    yield "position", "robot_key assembly_key name part_key quantity required_key", _positions(making)
    yield "fitted", "position_key slot revision_key fitted_by fitted_at", _fitted(making)
    yield "competition", "name starts parts_due", _competitions(making)
    yield "entry", "competition_key robot_key matches", _entries(making)
    yield "lot", "label material form note", _lots(making)
    columns = "part_key revision_key place move quantity note at"
    yield "piece_move", columns, _piece_moves(making, making.sizes.ledger - replaced - stock)
    yield "stock_move", "lot_key move amount note at", _stock_moves(making, stock)
    columns = "part_key position_key slot removed_key fitted_key cause note by at"
    yield "replacement", columns, _replacements(making, replaced)


def _files(making: _Making) -> _Rows:
    for number in range(making.sizes.files):
        content = f"a file of the benchmark, number {number}\n".encode() * 50
        sha256 = hashlib.sha256(content).hexdigest()
        path = making.folder / "files" / sha256[:2] / sha256
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
        making.files.append(sha256)
        yield making.key(), sha256, f"part-{number}.stl", len(content)


def _parts(making: _Making) -> _Rows:
    for place in range(making.sizes.parts):
        number = number_at(place)
        name = f"{making.random.choice(_WHERE).title()} {making.random.choice(_WHAT)} {place}"
        yield making.key(making.parts), number, number.casefold(), name, int(place < making.sizes.wear)


def _revisions(making: _Making) -> _Rows:
    for place, part in enumerate(making.parts):
        keys = tuple(making.key() for _ in LETTERS)
        making.revisions.append(keys)
        for step, (key, letter, state) in enumerate(zip(keys, LETTERS, _STATES, strict=True), 1):
            way = making.random.choice(("both ways", "one way", "none"))
            how: tuple[object, ...] = ("bought", None, None, 1_250, 9)
            if place % 10 == 0 and making.files:
                how = ("printed", "PLA", making.random.choice(making.files), None, None)
            yield (
                *(key, part, letter, step, how[0], state, "production", way, "", "as drawn"),
                *(how[1], how[2], "mm", how[3], how[4], _BY, making.at()),
            )


def _estimates(making: _Making) -> _Rows:
    costs = {"unit_cost_cents": 1_250, "lead_days": 9, "needed_on": None, "order_by": None, "mass_g": None}
    body = json.dumps({"process": "bought", **costs, "cost_cents": 1_250, "warnings": []}, sort_keys=True)
    for keys in making.revisions:
        for key in keys:
            yield making.key(), key, making.at(), body


def _robots(making: _Making) -> _Rows:
    for number in range(making.sizes.robots):
        yield making.key(making.robots), f"Robot {number:02d}", "", int(number % 6 != 5)


def _assemblies(making: _Making) -> _Rows:
    for robot in making.robots:
        kept = making.assemblies.setdefault(robot, [])
        for number in range(1, 2**_LEVELS):
            parent = kept[number // 2 - 1] if number > 1 else None
            yield making.key(kept), robot, parent, f"Assembly {number}", int(number in (2, 3))


def _positions(making: _Making) -> _Rows:
    for robot in making.robots:
        for number in range(making.sizes.positions):
            # Behind the part that is everywhere, every other position holds a wear part.
            among = 1 if number < making.sizes.everywhere else (making.sizes.wear, making.sizes.parts)[number % 2]
            part, quantity = making.random.randrange(among), making.random.choice((1, 1, 2, 4))
            key = making.key()
            making.positions.append((key, part, quantity))
            group = making.random.choice(making.assemblies[robot])
            required = making.revisions[part][1]
            yield key, robot, group, f"Position {number}", making.parts[part], quantity, required


def _fitted(making: _Making) -> _Rows:
    for key, part, quantity in making.positions:
        for slot in range(1, quantity + 1):
            fitted = making.random.choice((*making.revisions[part][:2], None))
            yield making.key(), key, slot, fitted, _BY, making.at()


def _competitions(making: _Making) -> _Rows:
    for number in range(making.sizes.events):
        # The last one is to come, the others lie behind.
        starts = NOW + timedelta(days=30 - 60 * (making.sizes.events - 1 - number))
        yield making.key(making.events), f"Event {number:02d}", _text(starts), _text(starts - timedelta(days=2))


def _entries(making: _Making) -> _Rows:
    for event in making.events:
        for robot in making.robots:
            yield making.key(), event, robot, making.random.randrange(4, 12)


def _lots(making: _Making) -> _Rows:
    for number in range(making.sizes.lots):
        yield making.key(making.lots), f"S-{number:04d}", "PLA", "spool", ""


def _piece_moves(making: _Making, rows: int) -> _Rows:
    left: Counter[tuple[int, str | None, str]] = Counter()
    for _ in range(rows):
        worn = making.random.random() < making.sizes.wear_moves
        part = making.random.randrange(making.sizes.wear if worn else making.sizes.parts)
        revision = making.random.choice((*making.revisions[part][:2], None))
        place = making.random.choice(_PLACES)
        takes = left[part, revision, place] > 0 and making.random.random() < 0.8
        quantity = -1 if takes else making.random.randrange(1, 5)
        left[part, revision, place] += quantity
        move = "taken" if takes else "received"
        yield making.key(), making.parts[part], revision, place, move, quantity, "", making.at()


def _stock_moves(making: _Making, rows: int) -> _Rows:
    left: Counter[str] = Counter()
    for _ in range(rows):
        lot = making.random.choice(making.lots)
        takes = left[lot] >= 40
        left[lot] += -40 if takes else 1_000
        yield making.key(), lot, "used" if takes else "received", -40.0 if takes else 1_000.0, "", making.at()


def _replacements(making: _Making, rows: int) -> _Rows:
    worn = [each for each in making.positions if each[1] < making.sizes.wear]
    for _ in range(rows):
        key, part, quantity = making.random.choice(worn)
        removed, fitted = making.random.choice(making.revisions[part]), making.revisions[part][1]
        slot = making.random.randrange(1, quantity + 1)
        yield making.key(), making.parts[part], key, slot, removed, fitted, "worn", "", _BY, making.at()


def _text(moment: datetime) -> str:
    return moment.strftime("%Y-%m-%dT%H:%M:%SZ")
