"""Kill upgrades in the middle: the register is the old one or the new one, never between, and a backup is there.

    python tests/benchmarks/upgrade_kills.py --kills 500 --moves 40000 --json

Each trial upgrades a copy of a schema 1 register in a forked child, which is killed (SIGKILL) at a random moment. How
late that may be grows while upgrades are killed before their end and shrinks while they are not, so that kills reach
from the first moment to just after the last, however busy the machine is.
"""

import argparse
import json
import os
import shutil
import signal
import sqlite3
import sys
import tempfile
import time
from contextlib import closing
from dataclasses import asdict, dataclass
from pathlib import Path
from random import Random

sys.path.insert(0, str(Path(__file__).parents[2]))

from register.domain.clock import fixed_at
from register.opening import upgrade_register
from register.store.backup import list_backups
from register.store.header import SCHEMA, checked_schema
from register.store.migrate import steps_after
from tests.shops import NOON
from tests.store.old_registers import columns_in, literal_rows, master, old_register, schema_of, with_added

# A whole upgrade is timed this often, and the longest counts.
_TIMED = 3
_LATER, _EARLIER = 1.03, 1 / 1.06


@dataclass
class Found:
    """What was found after the kills; every count is of kills."""

    kills: int = 0
    old: int = 0
    new: int = 0
    between: int = 0
    new_without_backup: int = 0
    # A journal with pages in it was left: the database was being written just then.
    in_the_middle: int = 0
    # Old registers beside which a whole backup stood already.
    old_with_backup: int = 0
    database_bytes: int = 0
    whole_upgrade_s: float = 0.0


def kill_upgrades(scratch: Path, kills: int, moves: int, seed: int) -> Found:
    """Kill `kills` upgrades of a register with `moves` piece moves more than the small one has."""
    # Loaded here, so that no child spends its time on that, and all run the same steps.
    steps_after(1)
    source = old_register(scratch / "source", 1)
    _add_moves(source / "register.db", moves)
    rows = literal_rows(source / "register.db")
    old = (1, master(source / "register.db"), rows)
    trial = scratch / "trial"
    found = Found(database_bytes=(source / "register.db").stat().st_size)
    for _ in range(_TIMED):
        started = time.perf_counter()
        _in_child(_fresh(source, trial), None)
        found.whole_upgrade_s = max(found.whole_upgrade_s, time.perf_counter() - started)
    new = (SCHEMA, master(trial / "register.db"), literal_rows(trial / "register.db"))
    assert new != old and checked_schema(trial) == SCHEMA
    # What a whole upgrade makes of the rows that were there; a killed one must make the same or nothing.
    standing = literal_rows(trial / "register.db", columns_in(source / "register.db"))
    assert standing == with_added(rows, 1)
    chance, latest_s = Random(seed), found.whole_upgrade_s
    for _ in range(kills):
        before = found.new
        _in_child(_fresh(source, trial), chance.uniform(0, latest_s))
        _look(found, trial, old, new)
        latest_s *= _EARLIER if found.new > before else _LATER
    return found


def _look(found: Found, trial: Path, old: object, new: object) -> None:
    database = trial / "register.db"
    journal = trial / "register.db-journal"
    found.kills += 1
    found.in_the_middle += journal.exists() and journal.stat().st_size > 0
    checked_schema(trial)
    state = (schema_of(database), master(database), literal_rows(database))
    has_backup = any(_is_backup(trial / "backups" / each.name, old) for each in list_backups(trial))
    found.old += state == old
    found.new += state == new
    found.between += state not in (old, new)
    found.new_without_backup += state == new and not has_backup
    found.old_with_backup += state == old and has_backup


def _is_backup(path: Path, old: object) -> bool:
    """Whether `path` is a whole backup that holds the old register."""
    try:
        return (schema_of(path), master(path), literal_rows(path)) == old
    except sqlite3.Error:
        return False


def _in_child(folder: Path, kill_after_s: float | None) -> None:
    child = os.fork()
    if child == 0:
        code = 1
        try:
            upgrade_register(folder, fixed_at(NOON))
            code = 0
        finally:
            os._exit(code)
    if kill_after_s is not None:
        time.sleep(kill_after_s)
        os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    # Not reaped before the kill, so the number was the child's own; a failure of its own is none of the outcomes.
    assert status in (0, signal.SIGKILL), f"the upgrade failed by itself ({status})"


def _fresh(source: Path, trial: Path) -> Path:
    shutil.rmtree(trial, ignore_errors=True)
    return Path(shutil.copytree(source, trial))


def _add_moves(database: Path, moves: int) -> None:
    """More piece moves, under one operation, so that the triggers keep each in the history."""
    with closing(sqlite3.connect(database)) as connection, connection:
        part, revision = connection.execute("SELECT part_key, key FROM revision WHERE letter = 'A' LIMIT 1").fetchone()
        number = connection.execute("SELECT max(seq) + 1 FROM operation").fetchone()[0]
        connection.execute(
            "INSERT INTO operation VALUES (?, 'k', 'A', '2031-03-07T17:00:00Z', 'Tuva Skifer', 'add many', NULL)",
            (number,),
        )
        connection.execute("INSERT INTO open_operation VALUES (1, ?)", (number,))
        connection.executemany(
            "INSERT INTO piece_move (key, version, part_key, revision_key, place, move, quantity, job_key, note, at) "
            "VALUES (?, 1, ?, ?, 'shelf', 'received', 1, NULL, '', '2031-03-07T17:00:00Z')",
            ((f"{place:032x}", part, revision) for place in range(moves)),
        )
        connection.execute("DELETE FROM open_operation")


def main() -> None:
    """Run it and print the figures."""
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("--kills", type=int, default=500)
    words.add_argument("--moves", type=int, default=40_000, help="piece moves in the register that is upgraded")
    words.add_argument("--seed", type=int, default=1)
    words.add_argument("--json", action="store_true", help="print JSON")
    said = words.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        found = asdict(kill_upgrades(Path(scratch), said.kills, said.moves, said.seed))
    print(json.dumps(found) if said.json else "\n".join(f"{name}: {value}" for name, value in found.items()))
    sys.exit(1 if found["between"] or found["new_without_backup"] else 0)


if __name__ == "__main__":
    main()
