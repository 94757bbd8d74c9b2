"""Tables with something done to them, and the largest that are let in: each ends in a report or a refusal.

python tests/benchmarks/table_faults.py --tables 50000 [--seed 1] [--json]

Each table is taken in (dry, and every tenth in earnest) by a register that holds what the table is about. The largest
are files of just under 20 MB, made to cost the reader most; each is read in a process of its own, whose memory is told.
"""

import argparse
import json
import os
import pickle
import resource
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from random import Random

if __package__ in (None, ""):
    sys.path.insert(0, str(Path(__file__).parents[2]))

from register.actions import competitions, parts, stock
from register.actions.checking import check_register
from register.actions.exchange import export_table, import_table
from register.domain.competitions import Entry
from register.domain.table_columns import MOST_BYTES, ONLY_OUT, Subject, TableForm
from register.errors import RegisterError
from register.opening import Register
from register.settings.tables_text import read_table
from tests.shops import NOON, ROBOT, add_sheet, add_spool, wear_register
from tests.store.forked import forked
from tests.table_values import NASTY_TEXTS, mutated

TAKEN_IN = [subject for subject in Subject if subject not in ONLY_OUT]
MOST_MB, MOST_S = 500, 60.0


def filled(folder: Path) -> Register:
    """A register with something in each table."""
    register = wear_register(folder, on_hand=3)
    for number, name in enumerate(NASTY_TEXTS):
        parts.add_part(register, f"N-{number}", name, False)
    add_spool(register, "PLA-1", 1000.0, arrives=NOON)
    stock.use_stock(register, "PLA-1", 0.1)
    add_sheet(register, "AL-1", 2.0, (610.0, 305.0))
    competitions.add_competition(register, "Trials", NOON, None, (Entry(ROBOT, 6),))
    return register


def take_in(folder: Path, count: int, seed: int) -> dict[str, object]:
    """Count how tables of chance end; anything but a report or a refusal goes on up."""
    register = filled(folder)
    chance = Random(seed)
    whole = {(each, form): export_table(register, each, form) for each in TAKEN_IN for form in TableForm}
    ends: Counter[str] = Counter()
    longest_s = 0.0
    for turn in range(count):
        subject, form = chance.choice(list(whole))
        content = mutated(whole[subject, form], chance)
        began = time.perf_counter()
        try:
            report = import_table(register, subject, content, form, dry_run=turn % 10 != 0)
            ends["report" if report.operation is None else "written"] += 1
        except RegisterError as refused:
            ends[type(refused).__name__] += 1
        longest_s = max(longest_s, time.perf_counter() - began)
    check_register(register)
    return {"tables": count, "ends": dict(ends), "longest_s": round(longest_s, 3)}


def largest() -> dict[str, tuple[TableForm, Callable[[], bytes]]]:
    """Files of just under the bound, each costly in its own way."""
    room = MOST_BYTES - 100
    csv_head = b"number,name,wear\n"
    return {
        "csv, good rows": (TableForm.CSV, lambda: csv_head + b"".join(_lines(199_000))),
        "csv, faults only": (TableForm.CSV, lambda: csv_head + b"P 1,,x\n" * 200_000),
        "csv, delimiters": (TableForm.CSV, lambda: csv_head + b"," * room),
        "csv, header of delimiters": (TableForm.CSV, lambda: b"," * room),
        "csv, short cells over lines": (TableForm.CSV, lambda: csv_head + b'"\n",' * (room // 4)),
        "csv, open quote": (TableForm.CSV, lambda: csv_head + b'"' + b"x\n" * (room // 2 - 10)),
        "csv, blank lines": (TableForm.CSV, lambda: csv_head + b"\n" * (room - 20)),
        "json, good rows": (TableForm.JSON, lambda: b"[" + b",\n".join(_objects(180_000)) + b"]"),
        "json, lists": (TableForm.JSON, lambda: b"[" * room),
        "json, objects": (TableForm.JSON, lambda: b"[" + b'{"a":' * (room // 5)),
        "json, one long text": (TableForm.JSON, lambda: b'[{"number": "' + b"x" * (room - 30)),
        "json, escapes": (TableForm.JSON, lambda: b'[{"number": "' + b"\\u0041" * (room // 6 - 10) + b'"}]'),
        "json, keys": (TableForm.JSON, lambda: b"[{" + b'"a":1,' * (room // 6 - 10) + b'"b":1}]'),
        "json, empty objects": (TableForm.JSON, lambda: b"[" + b"{}," * (room // 3 - 10) + b"{}]"),
        "json, figures": (TableForm.JSON, lambda: b'[{"number": ' + b"9" * (room - 30) + b"}]"),
    }


def _lines(count: int) -> list[bytes]:
    return [b"P-%d,%s,no\n" % (number, b"n" * 80) for number in range(count)]


def _objects(count: int) -> list[bytes]:
    return [b'{"number": "P-%d", "name": "%s", "wear": false}' % (number, b"n" * 50) for number in range(count)]


def read_largest() -> list[dict[str, object]]:
    """Read each of the largest in a process of its own."""
    found = []
    for name, (form, made) in largest().items():

        def read(tell: Callable[[object], None], form: TableForm = form, made: Callable[[], bytes] = made) -> None:
            content = made()
            began = time.perf_counter()
            try:
                end = f"{len(read_table(Subject.PARTS, content, form, 'UTC'))} rows"
            except RegisterError as refused:
                end = refused.what[:90]
            memory_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
            tell((len(content), end, round(time.perf_counter() - began, 2), round(memory_mb)))

        size, end, lasted_s, memory_mb = told_by(read)
        found.append({"file": name, "bytes": size, "end": end, "s": lasted_s, "memory_mb": memory_mb})
    return found


def told_by(work: Callable[[Callable[[object], None]], object]) -> tuple[int, str, float, int]:
    """What a child told before it ended."""
    child, reader = forked(work)
    with os.fdopen(reader, "rb") as pipe:
        told: tuple[int, str, float, int] = pickle.load(pipe)
    os.waitpid(child, 0)
    return told


def main() -> int:
    """Run, print, and leave with 1 if a limit is passed."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--tables", type=int, default=50_000, help="how many are taken in (50000)")
    parser.add_argument("--seed", type=int, default=1, help="what the chance starts from (1)")
    parser.add_argument("--json", action="store_true", help="print JSON")
    said = parser.parse_args()
    large = read_largest()
    with tempfile.TemporaryDirectory() as folder:
        tables = take_in(Path(folder) / "register", said.tables, said.seed)
    if said.json:
        print(json.dumps({"tables": tables, "largest": large, "limits": {"memory_mb": MOST_MB, "s": MOST_S}}))
    else:
        print(f"{tables['tables']} tables: {tables['ends']}, the longest {tables['longest_s']} s")
        for each in large:
            print(f"  {each['file']}: {each['end']} ({each['s']} s, {each['memory_mb']} MB)")
    return int(any(each["memory_mb"] > MOST_MB or each["s"] > MOST_S for each in large))  # type: ignore[operator]


if __name__ == "__main__":
    sys.exit(main())
