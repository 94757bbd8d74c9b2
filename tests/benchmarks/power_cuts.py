"""Simulated power cuts: what a disk may have kept of the writes, at any moment, and what the register makes of it.

    python tests/benchmarks/power_cuts.py --cuts 10000 [--seed 1] [--settings "PRAGMA …; PRAGMA …"] [--json]

Real actions write to a real register, and every statement of theirs is noted. The same statements then run once more,
on the same settings, over a layer between SQLite and the disk (apsw, for development only) that notes each write, sync,
truncation and removal. A cut takes these up to any moment and builds a disk on which whatever was not yet synced is
there, lost, torn or filled with noise, piece by piece and in any order; sometimes the power goes again during the
recovery. The register is then opened by pitwright's own SQLite, and must hold what it held after the last acknowledged
operation, or after the one under way, row by row.
"""

import argparse
import hashlib
import json
import random
import shutil
import sqlite3
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import apsw
from sqlalchemy import event

if __package__ in (None, ""):
    sys.path.insert(0, str(Path(__file__).parents[2]))

from register.actions.checking import check_register
from register.opening import Register, open_register
from register.store.header import DATABASE
from register.store.transaction import CONNECTION_SETTINGS
from tests.benchmarks.kills import ACTS, ROUND, TickingClock, assert_history_tells_every_row
from tests.benchmarks.simulated_disk import JOURNAL, KeptFile, NotingVfs, Step, disk_before, left_over
from tests.shops import STUDENT, wear_register

OPERATIONS_A_RECORDING = 24

Statement = tuple[str, Any]


@dataclass
class Recording:
    """What went to the disk while some operations were written."""

    database: bytes
    steps: list[Step]
    # What the register held at first and after each operation, and the statements of each.
    held: list[str]
    operations: list[list[Statement]]


@dataclass(frozen=True)
class Cuts:
    """What came of it."""

    cuts: int
    during_a_write: int
    cut_again_in_recovery: int
    rolled_back: int
    kept_unacknowledged: int
    lost: int
    half: int
    broken: int
    whole_checks: int
    settings: str
    lasted_s: float


def holds(connection: sqlite3.Connection) -> str:
    """A digest of every row of every table, the history's too."""
    digest = hashlib.sha256()
    for (table,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name").fetchall():
        digest.update(repr((table, connection.execute(f'SELECT * FROM "{table}" ORDER BY 1').fetchall())).encode())
    return digest.hexdigest()


@contextmanager
def statements_of(register: Register) -> Iterator[list[Statement]]:
    """Every statement that the store issues while the block lasts, its own commits and rollbacks too."""
    noted: list[Statement] = []
    engine = register.store.engine

    def execute(_c: object, _k: object, statement: str, given: Any, _x: object, many: bool) -> None:
        noted.extend((statement, each) for each in (given if many else [given]))

    def commit(_: object) -> None:
        noted.append(("COMMIT", ()))

    def rollback(_: object) -> None:
        noted.append(("ROLLBACK", ()))

    listeners = (("before_cursor_execute", execute), ("commit", commit), ("rollback", rollback))
    for name, listener in listeners:
        event.listen(engine, name, listener)
    try:
        yield noted
    finally:
        for name, listener in listeners:
            event.remove(engine, name, listener)


def recorded(folder: Path, settings: Sequence[str], seed: int) -> Recording:
    """Let people write in `folder`, then send what they wrote to the noting disk."""
    chance = random.Random(seed)
    register = wear_register(folder / "written", TickingClock(), on_hand=2 * OPERATIONS_A_RECORDING)
    register.store.close()
    path = register.folder / DATABASE
    database = path.read_bytes()
    held, operations = [], []
    with closing(sqlite3.connect(path)) as watching:
        held.append(holds(watching))
        with statements_of(register) as noted:
            for number in range(OPERATIONS_A_RECORDING):
                kind = ROUND[number % len(ROUND)] if number < len(ROUND) else chance.choice(ROUND)
                write = ACTS[kind](register, chance)
                noted.clear()
                write()
                operations.append(list(noted))
                held.append(holds(watching))
    register.store.close()
    steps: list[Step] = []
    replayed = folder / "replayed"
    replayed.mkdir()
    (replayed / DATABASE).write_bytes(database)
    vfs = NotingVfs(f"noting-{folder.name}", steps)
    connection = apsw.Connection(
        str(replayed / DATABASE), flags=apsw.SQLITE_OPEN_READWRITE, vfs=f"noting-{folder.name}"
    )
    try:
        # A cache of a few pages spills into the file before the end, as a large operation does.
        spill = chance.choice([(), ("PRAGMA cache_size = 2",), ("PRAGMA cache_size = 10",)])
        for setting in (*settings, *spill):
            connection.execute(setting).fetchall()
        for each in operations:
            for statement, given in each:
                connection.execute(statement, given).fetchall()
            steps.append(Step("acknowledged", ""))
    finally:
        connection.close()
        vfs.unregister()
    with closing(sqlite3.connect(replayed / DATABASE)) as again:
        assert holds(again) == held[-1], "the statements did not write the same once more"
    return Recording(database, steps, held, operations)


def cut(files: dict[str, KeptFile], folder: Path, chance: random.Random) -> None:
    """Lay what is left of the files into `folder`."""
    share = chance.choice([0.0, 1.0, chance.random(), chance.random()])
    for name in (DATABASE, JOURNAL):
        left = left_over(files[name], chance, share) if name in files else None
        if left is None:
            (folder / name).unlink(missing_ok=True)
        else:
            (folder / name).write_bytes(left)


def cut_in_recovery(folder: Path, settings: Sequence[str], chance: random.Random) -> None:
    """Open what the first cut left, and cut again while SQLite rolls back."""
    files = {
        name: KeptFile(bytearray((folder / name).read_bytes()), named=True)
        for name in (DATABASE, JOURNAL)
        if (folder / name).exists()
    }
    steps: list[Step] = []
    vfs = NotingVfs("noting-recovery", steps)
    connection = apsw.Connection(str(folder / DATABASE), flags=apsw.SQLITE_OPEN_READWRITE, vfs="noting-recovery")
    try:
        for statement in (*settings, "SELECT count(*) FROM operation"):
            connection.execute(statement).fetchall()
    except apsw.Error:
        # A broken one is told apart by the look at what is left.
        pass
    finally:
        connection.close()
        vfs.unregister()
    disk_before(files, steps[: chance.randint(0, len(steps))])
    cut(files, folder, chance)


def look(folder: Path, held: list[str], acknowledged: int, under_way: bool) -> str:
    """What became of the register: `kept`, `kept unacknowledged`, `lost`, `half` or `broken`."""
    with closing(sqlite3.connect(f"file:{folder / DATABASE}?mode=rw", uri=True, isolation_level=None)) as connection:
        try:
            # What is looked at is thrown away.
            connection.execute("PRAGMA synchronous = OFF")
            if connection.execute("PRAGMA integrity_check(1)").fetchone() != ("ok",):
                return "broken"
            now = holds(connection)
        except sqlite3.DatabaseError:
            return "broken"
    if now == held[acknowledged]:
        return "kept"
    if under_way and now == held[acknowledged + 1]:
        return "kept unacknowledged"
    return "lost" if now in held else "half"


def cut_often(
    folder: Path, cuts: int, seed: int, settings: Sequence[str] = CONNECTION_SETTINGS, recordings: int = 20
) -> Cuts:
    """Cut `cuts` times, in equal parts in `recordings` recordings of different operations."""
    began = time.perf_counter()
    chance = random.Random(seed)
    counts: Counter[str] = Counter()
    for number in range(recordings):
        place = folder / f"recording-{number}"
        place.mkdir()
        recording = recorded(place, settings, chance.getrandbits(32))
        left = place / "left"
        shutil.copytree(place / "written", left)
        for each in range(number, cuts, recordings):
            counts.update(_cut_once(recording, left, settings, chance, whole=each % 50 == 0))
        shutil.rmtree(place)
    return Cuts(
        cuts,
        counts["during a write"],
        counts["cut again"],
        counts["rolled back"],
        counts["kept unacknowledged"],
        counts["lost"],
        counts["half"],
        counts["broken"],
        counts["whole"],
        "; ".join(settings),
        round(time.perf_counter() - began, 1),
    )


def moment(steps: Sequence[Step], chance: random.Random) -> int:
    """How many steps were done when the power went: any number, and often one close to the end of a commit."""
    if chance.random() < 0.7:
        return chance.randint(0, len(steps))
    commits = [place for place, step in enumerate(steps) if step.what == "acknowledged"]
    return min(len(steps), chance.choice(commits) + chance.randint(-6, 6))


def _cut_once(
    recording: Recording, left: Path, settings: Sequence[str], chance: random.Random, whole: bool
) -> Iterator[str]:
    at = moment(recording.steps, chance)
    files = {DATABASE: KeptFile(bytearray(recording.database), named=True)}
    acknowledged = disk_before(files, recording.steps[:at])
    under_way = at < len(recording.steps) and at > 0 and recording.steps[at - 1].what != "acknowledged"
    if under_way:
        yield "during a write"
    cut(files, left, chance)
    if chance.random() < 0.2:
        yield "cut again"
        cut_in_recovery(left, settings, chance)
    before = (left / DATABASE).read_bytes()
    found = look(left, recording.held, acknowledged, under_way)
    yield found
    if (left / DATABASE).read_bytes() != before:
        yield "rolled back"
    if whole and found.startswith("kept"):
        yield "whole"
        opened = open_register(left, STUDENT, TickingClock())
        check_register(opened)
        opened.store.close()
        with closing(sqlite3.connect(left / DATABASE)) as connection:
            assert_history_tells_every_row(connection)


def main() -> None:
    """Run it and print the figures."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("--cuts", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--settings", help="other settings than the store's, split by semicolons, to compare")
    parser.add_argument("--folder", type=Path, help="where the registers are made; a temporary folder without it")
    parser.add_argument("--json", action="store_true")
    said = parser.parse_args()
    settings = tuple(said.settings.split(";")) if said.settings else CONNECTION_SETTINGS
    with tempfile.TemporaryDirectory(dir=said.folder) as passing:
        found = cut_often(Path(passing), said.cuts, said.seed, settings)
    if said.json:
        print(json.dumps(asdict(found)))
    else:
        print(*(f"{name:24} {value}" for name, value in asdict(found).items()), sep="\n")
    sys.exit(found.lost + found.half + found.broken != 0)


if __name__ == "__main__":
    main()
