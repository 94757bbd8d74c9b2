"""Many processes that take spares from one register at once: none is lost, and how long each had to wait.

python tests/benchmarks/takes.py --processes 8 --takes 1000 [--without-queue] [--json]
"""

import argparse
import json
import os
import pickle
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import nullcontext
from dataclasses import asdict, dataclass
from pathlib import Path

if __package__ in (None, ""):
    sys.path.insert(0, str(Path(__file__).parents[2]))

from register.actions.checking import check_register
from register.actions.spares import take_spare
from register.opening import Register, open_register
from register.store import transaction
from tests.shops import PART, SetClock, again, claws, row_counts, wear_register
from tests.store.forked import forked

LEFT_OVER = 3


@dataclass(frozen=True)
class Takes:
    """What came of it. Times are of whole calls, from asking to the answer, in seconds.

    `most_overtaken` is the most takes that others asked for later than somebody, and got earlier.
    """

    processes: int
    takes: int
    queue: bool
    lost: int
    failed: int
    longest_s: float
    mean_s: float
    most_overtaken: int
    takes_per_s: float
    cpu_s: float


def take_at_once(folder: Path, processes: int, takes: int, queue: bool = True) -> Takes:
    """Take `takes` spares in each of `processes` processes that start in the same moment, in a new register."""
    register = wear_register(folder, on_hand=processes * takes + LEFT_OVER)
    before = row_counts(register)
    register.store.close()
    began = time.perf_counter()
    children = [forked(_taker(register, number, takes, queue)) for number in range(processes)]
    spans_s: list[tuple[float, float]] = []
    refused: list[str] = []
    for child, reader in children:
        with os.fdopen(reader, "rb") as pipe:
            told_s, told = pickle.load(pipe)
        os.waitpid(child, 0)
        spans_s += told_s
        refused += told
    lasted_s = time.perf_counter() - began
    opened = again(register)
    check_register(opened)
    after = row_counts(opened)
    whole = {"operation": 1, "change": 1, "piece_move": 1}
    done = len(spans_s)
    waits_s = [end - start for start, end in spans_s]
    # Each take is one operation with one row and its change; no more and no less of any table.
    assert {name: after[name] - before[name] for name in after} == {name: done * whole.get(name, 0) for name in after}
    left = claws(opened).usable_now
    times = os.times()
    return Takes(
        processes,
        takes,
        queue,
        processes * takes + LEFT_OVER - done - left,
        len(refused),
        round(max(waits_s), 4),
        round(sum(waits_s) / done, 4),
        _most_overtaken(spans_s),
        round(done / lasted_s, 1),
        round(times.children_user + times.children_system, 1),
    )


def _taker(register: Register, number: int, takes: int, queue: bool) -> Callable[[Callable[[object], None]], object]:
    # All start half a second from now, when the last of them is up.
    start = time.monotonic() + 0.5

    def take(tell: Callable[[object], None]) -> None:
        if not queue:
            transaction.turn = lambda folder: nullcontext()  # type: ignore[assignment]
        own = open_register(register.folder, f"Terminal {number}", SetClock())
        time.sleep(max(0.0, start - time.monotonic()))
        spans_s: list[tuple[float, float]] = []
        refused: list[str] = []
        for _ in range(takes):
            # One clock for all processes.
            began = time.monotonic()
            try:
                take_spare(own, PART)
                spans_s.append((began, time.monotonic()))
            except transaction.RegisterError as error:
                refused.append(str(error))
        tell((spans_s, refused))

    return take


def _most_overtaken(spans_s: list[tuple[float, float]]) -> int:
    asked = sorted(spans_s)
    most = 0
    for place, (_, end) in enumerate(asked):
        overtaken = 0
        for later, earlier_end in asked[place + 1 :]:
            if later > end:
                break
            overtaken += earlier_end < end
        most = max(most, overtaken)
    return most


def main() -> None:
    """Run it and print the figures."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("--processes", type=int, default=8)
    parser.add_argument("--takes", type=int, default=1000, help="of each process")
    parser.add_argument("--without-queue", action="store_true", help="with SQLite's own wait alone, to compare")
    parser.add_argument("--folder", type=Path, help="where the register is made; a temporary folder without it")
    parser.add_argument("--json", action="store_true")
    said = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=said.folder) as passing:
        found = take_at_once(Path(passing) / "register", said.processes, said.takes, not said.without_queue)
    if said.json:
        print(json.dumps(asdict(found)))
    else:
        print(*(f"{name:16} {value}" for name, value in asdict(found).items()), sep="\n")
    sys.exit(found.lost != 0)


if __name__ == "__main__":
    main()
