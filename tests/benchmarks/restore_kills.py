"""Kill restores and backups in the middle: what is there is what was there or what was brought back, never between.

    python tests/benchmarks/restore_kills.py --kills 500 --rows 20000 --json

Each trial copies a register that moved on since its backup, and brings that backup back in a forked child, which is
killed (SIGKILL) at a random moment. Every fourth trial has a damaged database to put aside. How late a kill may be
grows while restores are killed before their end and shrinks while they are not, so that kills reach every moment.
"""

import argparse
import hashlib
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
from datetime import timedelta
from pathlib import Path
from random import Random

sys.path.insert(0, str(Path(__file__).parents[2]))

from register.domain.keeping import BackupReason
from register.store.backup import list_backups, make_backup, said_against
from register.store.restore import restore
from tests.shops import NOON, STUDENT, wear_register

_TIMED = 3
_LATER, _EARLIER = 1.03, 1 / 1.06
_DAMAGED_EACH = 4


@dataclass
class Found:
    """What was found after the kills; every count is of kills."""

    kills: int = 0
    old: int = 0
    new: int = 0
    between: int = 0
    # The rows of before are in no backup, though they are not in the register any more.
    new_without_backup: int = 0
    # A file that has a backup's name is not whole.
    half_backups: int = 0
    # Of the trials with a damaged database: it is still in its place, or gone from there and from backups/ too.
    damaged_still: int = 0
    damaged_lost: int = 0
    # A journal with pages in it was left: the database was being written just then.
    in_the_middle: int = 0
    database_bytes: int = 0
    whole_restore_s: float = 0.0


def kill_restores(scratch: Path, kills: int, rows: int, seed: int) -> Found:
    """Kill `kills` restores of a register of `rows` parts that has as many more by now."""
    source = wear_register(scratch / "source")
    _add_parts(source.folder / "register.db", "then", rows)
    backup = make_backup(source.folder, NOON, BackupReason.ASKED)
    _add_parts(source.folder / "register.db", "since", rows)
    source.store.close()
    states = {_state(source.folder / "register.db"): "old", _state(backup): "new"}
    trial = scratch / "trial"
    found = Found(database_bytes=(source.folder / "register.db").stat().st_size)
    for _ in range(_TIMED):
        started = time.perf_counter()
        _in_child(_fresh(source.folder, trial, False), backup.name, None)
        found.whole_restore_s = max(found.whole_restore_s, time.perf_counter() - started)
    assert states[_state(trial / "register.db")] == "new"
    chance, latest_s = Random(seed), found.whole_restore_s
    for number in range(kills):
        before, is_damaged = found.new, number % _DAMAGED_EACH == 0
        _in_child(_fresh(source.folder, trial, is_damaged), backup.name, chance.uniform(0, latest_s))
        _look(found, trial, states, is_damaged)
        latest_s *= _EARLIER if found.new > before else _LATER
    return found


def _add_parts(database: Path, stem: str, rows: int) -> None:
    with closing(sqlite3.connect(database, isolation_level=None)) as connection:
        connection.execute("BEGIN")
        connection.execute(
            "INSERT INTO operation (seq, key, station, at, who, why) "
            "SELECT max(seq) + 1, ?, 'A', '2031-03-04T12:00:00Z', 'someone', 'add parts' FROM operation",
            (f"{stem}-key",),
        )
        connection.execute("INSERT INTO open_operation SELECT 1, max(seq) FROM operation")
        connection.executemany(
            "INSERT INTO part (key, version, number, number_folded, name, wear) VALUES (?, 1, ?, ?, 'Plate', 0)",
            ((f"{stem}-{n}", f"{stem}-{n}", f"{stem}-{n}") for n in range(rows)),
        )
        connection.execute("DELETE FROM open_operation")
        connection.execute("COMMIT")


def _state(database: Path) -> str:
    """A hash of all parts; of nothing else, since a restore adds its own line to the history."""
    with closing(sqlite3.connect(database)) as connection:
        if connection.execute("PRAGMA integrity_check(1)").fetchone() != ("ok",):
            return "not sound"
        every = connection.execute("SELECT * FROM part ORDER BY key").fetchall()
    return hashlib.sha256(repr(every).encode()).hexdigest()


def _fresh(source: Path, trial: Path, is_damaged: bool) -> Path:
    shutil.rmtree(trial, ignore_errors=True)
    shutil.copytree(source, trial)
    if is_damaged:
        with (trial / "register.db").open("r+b") as file:
            file.write(b"shopping list\n" * 20)
    return trial


def _in_child(folder: Path, name: str, killed_after_s: float | None) -> None:
    child = os.fork()
    if child == 0:
        code = 1
        try:
            restore(folder, folder / "backups" / name, NOON + timedelta(hours=1), STUDENT)
            code = 0
        finally:
            os._exit(code)
    if killed_after_s is not None:
        time.sleep(killed_after_s)
        os.kill(child, signal.SIGKILL)
    status = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    assert status in {0, -signal.SIGKILL}, status


def _look(found: Found, trial: Path, states: dict[str, str], is_damaged: bool) -> None:
    found.kills += 1
    journal = trial / "register.db-journal"
    found.in_the_middle += journal.exists() and journal.stat().st_size > 0
    backups = trial / "backups"
    whole = [each.name for each in list_backups(trial) if said_against(backups / each.name, whole=True) is None]
    found.half_backups += len(list_backups(trial)) - len(whole)
    if is_damaged:
        _look_at_damaged(found, trial, states)
        return
    state = states.get(_state(trial / "register.db"), "between")
    found.old += state == "old"
    found.new += state == "new"
    found.between += state == "between"
    kept = {states.get(_state(backups / name)) for name in whole}
    found.new_without_backup += state == "new" and "old" not in kept


def _look_at_damaged(found: Found, trial: Path, states: dict[str, str]) -> None:
    """A damaged database stands in its place, or whole in `backups/`; what stands in its place then is the backup."""
    places = [trial / "register.db", *(trial / "backups").glob("*-damaged.db")]
    damaged = [path for path in places if path.exists() and path.read_bytes().startswith(b"shopping list")]
    found.damaged_lost += not damaged
    if trial / "register.db" in damaged or not (trial / "register.db").exists():
        found.damaged_still += 1
        return
    state = states.get(_state(trial / "register.db"), "between")
    found.new += state == "new"
    found.between += state != "new"


def main() -> None:
    """Run it, and fail if anything was lost."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kills", type=int, default=500)
    parser.add_argument("--rows", type=int, default=20_000, help="parts in the backup, and as many since")
    parser.add_argument("--seed", type=int, default=4)
    parser.add_argument("--json", action="store_true")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        found = kill_restores(Path(scratch), asked.kills, asked.rows, asked.seed)
    if asked.json:
        print(json.dumps(asdict(found)))
    else:
        for name, value in asdict(found).items():
            print(f"{name:>20} {value}")
    lost = found.between + found.new_without_backup + found.half_backups + found.damaged_lost
    raise SystemExit(1 if lost else 0)


if __name__ == "__main__":
    main()
