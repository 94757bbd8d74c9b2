"""Processes killed in the middle of writes: every acknowledged operation is there, and none is there by half.

    python tests/benchmarks/kills.py --kills 20000 [--writers 1] [--seed 1] [--folder DIR] [--json]

Each writer is forked from a process that has everything loaded, does what people do, and says over a pipe before and
after each write where it is. Only kills that fell between the two count.
"""

import argparse
import io
import json
import os
import pickle
import random
import signal
import sqlite3
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from contextlib import closing
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from pathlib import Path

if __package__ in (None, ""):
    sys.path.insert(0, str(Path(__file__).parents[2]))

from register.actions import history, jobs, parts, shop, spares
from register.actions.checking import check_register
from register.actions.revisions import log_revision, prepare_revision
from register.domain.pieces import Cause
from register.errors import Refused
from register.opening import Register, open_register
from tests.geometry.stl_bytes import binary, box
from tests.shops import PART, POSITION, ROBOT, SHOP_TOML, STUDENT, SetClock, printed, wear_register
from tests.store.forked import forked

# A register that has grown is left for a new one after so many kills, so that each goes on costing milliseconds.
KILLS_A_REGISTER = 500
MOST_WORDS = 8
LONGEST_WAIT_S = 0.02

Act = Callable[[Register, random.Random], Callable[[], object]]
Shape = tuple[tuple[str, str], ...]


def _log(own: Register, chance: random.Random) -> Callable[[], object]:
    # A file of its own each time; reading it and estimating is done before the write.
    content = binary(box(9.0, 9.0, chance.uniform(4.0, 9.0)))
    prepared = prepare_revision(own, printed(), content)
    return lambda: log_revision(own, prepared, content)


def _new_part(own: Register, chance: random.Random) -> Callable[[], object]:
    return lambda: parts.add_part(own, f"P-{chance.getrandbits(40)}", "Part ½ 零件", chance.random() < 0.5)


def _read_shop(own: Register, chance: random.Random) -> Callable[[], object]:
    # Another printer and another density each time, so that the same rows change each time.
    named = SHOP_TOML.replace(b'"Wren"', b'"Wren %d"' % chance.getrandbits(40))
    content = named.replace(b"density_g_cm3 = 1.24", b"density_g_cm3 = 1.2%06d" % chance.randrange(10**6))
    return lambda: shop.set_up_shop(own, content, "shop.toml")


# What is prepared outside the write, then the write itself: from one row of one table to many of several.
ACTS: dict[str, Act] = {
    "add spares": lambda own, _: lambda: spares.add_spares(own, PART, "A", 3, "shelf"),
    "take a spare": lambda own, _: lambda: spares.take_spare(own, PART),
    "replace": lambda own, _: lambda: spares.log_replacement(own, ROBOT, POSITION, Cause.WORN, 1),
    "queue": lambda own, _: lambda: jobs.add_job(own, PART, "A", 2),
    "add part": _new_part,
    "log revision": _log,
    "read the shop": _read_shop,
    "undo": lambda own, _: lambda: history.undo(own),
}
ROUND = tuple(ACTS)
# How each act's operation begins its note; undo is known by what it undoes.
NOTES = {"add 3 of": "add spares", "read the shop's settings": "read the shop"} | {kind: kind for kind in ACTS}


@dataclass(frozen=True)
class Kills:
    """What came of it."""

    kills: int
    in_the_middle: int
    with_open_journal: int
    rolled_back: int
    writers: int
    acknowledged: int
    kept_unacknowledged: int
    lost: int
    halves: int
    checks: int
    lasted_s: float


def write_on(own: Register, seed: int, tell: Callable[[object], None]) -> None:
    """Write until killed, and tell of each write before it begins and after it is done."""
    chance = random.Random(seed)
    tell("up")
    while True:
        start = chance.randrange(len(ROUND))
        # From any of the acts on, and back to the first: the first writes of a process are as often hit by kills.
        for kind in ("add spares", *ROUND[start:], *ROUND[:start]):
            write = ACTS[kind](own, chance)
            tell(kind)
            try:
                write()
            except Refused:
                # Another writer was faster: its change stands on what is to be undone.
                tell("refused")
            else:
                tell("done")


class TickingClock(SetClock):
    """A second later each time that it is asked, so that no row is written as it stood."""

    def __call__(self) -> datetime:
        self.after(seconds=1)
        return self.now


class Watched:
    """A register that is written to by processes which are killed, and looked into by the standard library alone."""

    def __init__(self, folder: Path) -> None:
        self.register = wear_register(folder, TickingClock(), on_hand=1)
        self.path = folder / "register.db"
        self.shapes: dict[str, set[Shape]] = {}
        self.register.store.close()
        self.seen = self.last()

    def last(self) -> int:
        with closing(self.connect()) as connection:
            return int(connection.execute("SELECT max(seq) FROM operation").fetchone()[0])

    def connect(self) -> sqlite3.Connection:
        return sqlite3.connect(f"file:{self.path}?mode=rw", uri=True)

    def learn(self) -> None:
        """What rows each act changes when nobody is killed; undo mirrors what it takes back."""
        for seed in range(3):
            chance = random.Random(seed)
            for kind in ROUND:
                ACTS[kind](self.register, chance)()
        # Closed before the fork: a child opens connections of its own, and finds the statements compiled already.
        self.register.store.close()
        with closing(self.connect()) as connection:
            for _, kind, shape, _ in self.operations(connection):
                self.shapes.setdefault(kind, set()).add(shape)
        self.seen = self.last()

    def operations(self, connection: sqlite3.Connection) -> list[tuple[str, str, Shape, bool]]:
        """(who, kind, shape, whether it mirrors what it undoes) of each operation since the last look."""
        found = []
        for seq, who, why, undoes in connection.execute(
            "SELECT seq, who, why, undoes FROM operation WHERE seq > ? ORDER BY seq", (self.seen,)
        ).fetchall():
            mirrors = undoes is None or _rows(connection, seq) == _rows(connection, undoes)
            found.append((who, "undo" if undoes else _kind(why), _shape(connection, seq), mirrors))
        return found

    def look(self, told: dict[str, list[str]]) -> tuple[int, int, int]:
        """(kept but unacknowledged, lost, half) among what writers of these names told."""
        with closing(self.connect()) as connection:
            found = self.operations(connection)
            assert connection.execute("SELECT count(*) FROM open_operation").fetchone() == (0,)
        extra = lost = halves = 0
        for who, words in told.items():
            begun = _begun(words)
            done = words.count("done")
            kept = [kind for name, kind, _, _ in found if name == who]
            lost += sum(1 for place in range(done) if place >= len(kept) or kept[place] != begun[place])
            assert kept[done:] in ([], begun[done : done + 1]), f"{who} began {begun}, did {done}, and {kept} is kept"
            extra += max(0, len(kept) - done)
        for _, kind, shape, mirrors in found:
            half = not mirrors or (kind != "undo" and shape not in self.shapes[kind])
            if half:
                print(f"half: {kind} {shape}; whole: {self.shapes[kind]}; mirrors: {mirrors}", file=sys.stderr)
            halves += half
        assert self.last() == self.seen + len(found)
        self.seen += len(found)
        return extra, lost, halves

    def check(self) -> None:
        """Open it as a terminal does, read everything, and hold each row against its history."""
        opened = open_register(self.register.folder, STUDENT, self.register.clock)
        check_register(opened)
        opened.store.close()
        with closing(self.connect()) as connection:
            assert_history_tells_every_row(connection)


def _kind(why: str) -> str:
    return next(kind for note, kind in NOTES.items() if why.startswith(note))


def _begun(words: list[str]) -> list[str]:
    """Kinds of the writes that a writer began, without those that were refused."""
    return [word for word, then in zip(words, [*words[1:], ""], strict=False) if word in ACTS and then != "refused"]


def _shape(connection: sqlite3.Connection, seq: int) -> Shape:
    """What an operation changed: each table and way, as often as it came."""
    rows = connection.execute(
        "SELECT row_table, CASE WHEN old IS NULL THEN 'new' WHEN new IS NULL THEN 'gone' ELSE 'changed' END "
        "FROM change WHERE operation = ? ORDER BY 1, 2",
        (seq,),
    )
    return tuple(rows.fetchall())


def _rows(connection: sqlite3.Connection, seq: int) -> set[tuple[str, str]]:
    rows = connection.execute("SELECT row_table, row_key FROM change WHERE operation = ? AND old IS NOT new", (seq,))
    return set(rows.fetchall())


def assert_history_tells_every_row(connection: sqlite3.Connection) -> None:
    """Each row of each table is what its last change says, and no row is there that the history has as gone."""
    told: dict[tuple[str, str], str | None] = {}
    for table, key, new in connection.execute("SELECT row_table, row_key, new FROM change ORDER BY seq"):
        told[table, key] = new
    standing: dict[tuple[str, str], str | None] = {key: None for key, new in told.items() if new is None}
    for table in sorted({table for table, _ in told}):
        columns = connection.execute(f'PRAGMA table_info("{table}")').fetchall()
        pairs = ", ".join(
            f"'{name}', quote(\"{name}\")" if kind == "REAL" else f"'{name}', \"{name}\""
            for _, name, kind, *_ in columns
        )
        for key, row in connection.execute(f'SELECT "key", json_object({pairs}) FROM "{table}"'):
            standing[table, key] = row
    assert standing == told


def kill_round(watched: Watched, writers: int, chance: random.Random, number: int) -> tuple[dict[str, list[str]], bool]:
    """Let writers write and kill each at a moment of its own; what they told, and whether the journal was open."""
    children = {}
    for each in range(writers):
        who = f"Writer {number}.{each}"
        seed = chance.getrandbits(32)

        def write(tell: Callable[[object], None], who: str = who, seed: int = seed) -> None:
            write_on(replace(watched.register, who=who), seed, tell)

        children[who] = forked(write)
    pipes = {who: os.fdopen(reader, "rb") for who, (_, reader) in children.items()}
    told: dict[str, list[str]] = {}
    for who, (child, _) in children.items():
        # Some writes first, then a moment that is long enough to fall anywhere in the next.
        told[who] = [pickle.load(pipes[who]) for _ in range(1 + chance.randrange(MOST_WORDS))]
        time.sleep(chance.uniform(0, LONGEST_WAIT_S))
        os.kill(child, signal.SIGKILL)
    for who, (child, _) in children.items():
        _, status = os.waitpid(child, 0)
        assert os.WIFSIGNALED(status), f"{who} ended by itself"
        told[who] += _words(pipes[who])
    journal = watched.path.with_name("register.db-journal")
    return told, journal.exists() and journal.stat().st_size > 0


def _words(pipe: io.BufferedReader) -> list[str]:
    words: list[str] = []
    with pipe:
        while pipe.peek(1):
            words.append(pickle.load(pipe))
    return words


def kill_often(folder: Path, kills: int, writers: int, seed: int, check_every: int = 250) -> Kills:
    """Kill until `kills` of them fell in the middle of a write; each register stands in a folder of its own."""
    chance = random.Random(seed)
    counts: Counter[str] = Counter()
    began = time.perf_counter()
    watched: Watched | None = None
    number = 0
    while counts["in_the_middle"] < kills:
        if watched is None or number % KILLS_A_REGISTER == 0:
            if watched is not None:
                watched.check()
            watched = Watched(folder / f"register-{number}")
            watched.learn()
        number += 1
        told, hot = kill_round(watched, writers, chance, number)
        before = watched.path.read_bytes()
        extra, lost, halves = watched.look(told)
        # Pages of the write that was cut off had reached the database, and the first to open took them out again.
        counts["rolled_back"] += watched.path.read_bytes() != before
        counts["kills"] += writers
        counts["in_the_middle"] += sum(words[-1:] != [] and words[-1] in ACTS for words in told.values())
        counts["with_open_journal"] += hot
        counts["acknowledged"] += sum(words.count("done") for words in told.values())
        counts.update(kept_unacknowledged=extra, lost=lost, halves=halves)
        if number % check_every == 0:
            watched.check()
            counts["checks"] += 1
    if watched is not None:
        watched.check()
        counts["checks"] += 1
    fields = {name: counts[name] for name in Kills.__dataclass_fields__ if name not in {"writers", "lasted_s"}}
    return Kills(**fields, writers=writers, lasted_s=round(time.perf_counter() - began, 1))


def main() -> None:
    """Run it and print the figures."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("--kills", type=int, default=20_000, help="in the middle of a write")
    parser.add_argument("--writers", type=int, default=1, help="that write at the same time")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--folder", type=Path, help="where the registers are made; a temporary folder without it")
    parser.add_argument("--json", action="store_true")
    said = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=said.folder) as passing:
        found = kill_often(Path(passing), said.kills, said.writers, said.seed)
    if said.json:
        print(json.dumps(asdict(found)))
    else:
        print(*(f"{name:24} {value}" for name, value in asdict(found).items()), sep="\n")
    sys.exit(found.lost + found.halves != 0)


if __name__ == "__main__":
    main()
