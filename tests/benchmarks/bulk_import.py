"""Taking 100,000 parts in from a table, against the same rows by raw sqlite3: `python tests/benchmarks/bulk_import.py`.

The reference is the barest that SQLite allows: rows that lie in memory already, written by one executemany in one
transaction with the register's own settings, once with its history triggers and once without. Ours is all that a
person waits for: the file read and checked, held against the register, and written with its history. Each is measured
on a register of its own, by turns; the least of each is told, and the ratio of the two.
"""

import argparse
import json
import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from random import Random

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from register.actions import history  # noqa: E402
from register.actions.exchange import import_table  # noqa: E402
from register.domain.clock import fixed_at  # noqa: E402
from register.domain.table_columns import Subject, TableForm, Values  # noqa: E402
from register.opening import Register, make_register  # noqa: E402
from register.settings.tables_text import written_table  # noqa: E402
from register.store.header import DATABASE  # noqa: E402
from register.store.keys import new_key  # noqa: E402

NOW = datetime(2031, 3, 4, 12, 0, tzinfo=UTC)
LIMIT = 3.0
WORDS = ("bracket", "hub", "gusset", "spacer", "pulley", "panel", "left", "right", "upper", "lower")


def part_rows(count: int) -> list[Values]:
    """Parts, from a fixed seed."""
    chance = Random(20310304)
    return [(f"P-{number:06d}", " ".join(chance.sample(WORDS, 3)), chance.random() < 0.1) for number in range(count)]


def timed(work: Callable[[], object]) -> dict[str, float]:
    """CPU and wall seconds of one call."""
    wall, cpu = time.perf_counter(), time.process_time()
    work()
    return {"cpu_s": time.process_time() - cpu, "wall_s": time.perf_counter() - wall}


def raw(folder: Path, rows: list[Values], triggers: bool) -> dict[str, float]:
    """The same rows by sqlite3 alone; what it needs lies ready."""
    make_register(folder, "Benchmark", fixed_at(NOW)).store.close()
    keys = sorted(new_key(NOW) for _ in rows)
    ready = [
        (key, 1, number, str(number).casefold(), name, int(bool(wear)))
        for key, (number, name, wear) in zip(keys, rows, strict=True)
    ]
    with closing(sqlite3.connect(folder / DATABASE, isolation_level=None)) as connection:
        for pragma in ("foreign_keys = ON", "journal_mode = TRUNCATE", "synchronous = FULL"):
            connection.execute(f"PRAGMA {pragma}")
        if not triggers:
            for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
                connection.execute(f'DROP TRIGGER "{name}"')

        def write() -> None:
            connection.execute("BEGIN IMMEDIATE")
            connection.execute("INSERT INTO operation VALUES (1, 'key', 'A', '2031-03-04T12:00:00Z', 'B', 'C', NULL)")
            connection.execute("INSERT INTO open_operation VALUES (1, 1)")
            connection.executemany(
                "INSERT INTO part (key, version, number, number_folded, name, wear) VALUES (?, ?, ?, ?, ?, ?)", ready
            )
            connection.execute("DELETE FROM open_operation")
            connection.execute("COMMIT")

        return timed(write)


def ours(folder: Path, content: bytes, form: TableForm) -> tuple[Register, dict[str, float]]:
    """The import of a file, all of it."""
    register = make_register(folder, "Benchmark", fixed_at(NOW))
    with register.store.reading():
        pass  # Connecting is no part of it.
    return register, timed(lambda: import_table(register, Subject.PARTS, content, form))


def measured(count: int, turns: int, undo: bool) -> dict[str, object]:
    """Every figure, the least of `turns`."""
    rows = part_rows(count)
    contents = {form: written_table(Subject.PARTS, rows, form) for form in TableForm}
    runs: dict[str, list[dict[str, float]]] = {}
    with tempfile.TemporaryDirectory() as name:
        for turn in range(turns):
            folder = Path(name) / str(turn)
            for triggers, said in ((True, "raw with triggers"), (False, "raw without triggers")):
                runs.setdefault(said, []).append(raw(folder / said, rows, triggers))
            for form, content in contents.items():
                register, run = ours(folder / form, content, form)
                runs.setdefault(f"import of {form}", []).append(run)
                again = timed(lambda: import_table(register, Subject.PARTS, content, form))  # noqa: B023
                runs.setdefault(f"same {form} again", []).append(again)
                if undo and turn == 0 and form is TableForm.CSV:
                    runs["undo"] = [timed(lambda: history.undo(register))]  # noqa: B023
                register.store.close()
    least = {said: {key: min(run[key] for run in each) for key in each[0]} for said, each in runs.items()}
    ratios = {
        f"import of {form} / {said}": {key: least[f"import of {form}"][key] / least[said][key] for key in least[said]}
        for form in TableForm
        for said in ("raw with triggers", "raw without triggers")
    }
    return {"parts": count, "turns": turns, "least": least, "ratios": ratios, "limit": LIMIT}


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--parts", type=int, default=100_000, help="rows of the table (100000)")
    parser.add_argument("--turns", type=int, default=3, help="how often each is measured (3)")
    parser.add_argument("--undo", action="store_true", help="also take one import back")
    parser.add_argument("--json", action="store_true", help="print JSON")
    said = parser.parse_args()
    found = measured(said.parts, said.turns, said.undo)
    if said.json:
        print(json.dumps(found))
        return
    print(
        f"{found['parts']} parts, least of {found['turns']}; limit {LIMIT:g} times raw sqlite3 with the same triggers"
    )
    for group, unit in (("least", " s"), ("ratios", " x")):
        for name, figures in found[group].items():  # type: ignore[attr-defined]
            told = ", ".join(f"{key.removesuffix('_s')} {value:.2f}{unit}" for key, value in figures.items())
            print(f"  {name}: {told}")


if __name__ == "__main__":
    main()
