"""Hostile files over every reader: each must end in an answer or a refusal, in bounded memory and time.

python tests/benchmarks/hostile.py --files 56000 [--processes 2] [--run 0] [--keep DIR] [--json]
python tests/benchmarks/hostile.py --only "3mf:17"          (one file again, with whatever it raises)
"""

import argparse
import ctypes
import gc
import json
import multiprocessing
import os
import resource
import signal
import sys
import time
import warnings
from collections import Counter
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from multiprocessing.connection import Connection, wait
from pathlib import Path

if __package__ in (None, ""):
    sys.path.insert(0, str(Path(__file__).parents[2]))

from register.domain.texts import shown
from register.errors import RegisterError
from tests.hostile_files import READERS, hostile_file

# The computer is kept from harm by the one, and what is asked for is watched by the other.
ADDRESS_SPACE_BYTES = 6_000_000_000
MOST_MB = 500.0
# A process that has held so much is replaced: what the next file takes would be counted with what is left of it.
REPLACED_MB = 350.0
SETTLED_AFTER = {1, 10, 100, 1000}
# In limits: of the processor's time, and of waiting for what does nothing.
KILLED_AFTER, WAITED_FOR = 3.0, 30.0


@dataclass
class Outcome:
    """What one file came to.

    `seconds` are of the processor, so that what else the computer does is not counted; `peak_mb` is all that the
    process held at most meanwhile, the file and the libraries too.
    """

    reader: str
    number: int
    kind: str
    said: str
    seconds: float
    peak_mb: float


@dataclass
class Tally:
    """What the files of one reader came to."""

    files: int = 0
    answers: int = 0
    refusals: int = 0
    slowest_s: float = 0.0
    slowest: int = -1
    peak_mb: float = 0.0
    heaviest: int = -1
    wrong: list[str] = field(default_factory=list)

    def count(self, outcome: Outcome, limit_s: float) -> None:
        self.files += 1
        self.answers += outcome.kind == "answer"
        self.refusals += outcome.kind == "refusal"
        if outcome.seconds > self.slowest_s:
            self.slowest_s, self.slowest = outcome.seconds, outcome.number
        if outcome.peak_mb > self.peak_mb:
            self.peak_mb, self.heaviest = outcome.peak_mb, outcome.number
        if outcome.kind not in {"answer", "refusal"}:
            self.wrong.append(f"{outcome.reader}:{outcome.number} {outcome.kind}: {outcome.said}")
        elif outcome.peak_mb > MOST_MB:
            self.wrong.append(f"{outcome.reader}:{outcome.number} took {outcome.peak_mb:.0f} MB")
        elif outcome.seconds > limit_s:
            self.wrong.append(f"{outcome.reader}:{outcome.number} took {outcome.seconds:.1f} s")


def read_hostile(name: str, number: int, run: int, limit_s: float = 0.0) -> Outcome:
    """Make one file and read it, in this process."""
    content = hostile_file(name, number, run)
    _reset_peak()
    signal.setitimer(signal.ITIMER_PROF, KILLED_AFTER * limit_s)
    signal.setitimer(signal.ITIMER_REAL, WAITED_FOR * limit_s)
    began = time.process_time()
    kind, said = "answer", ""
    try:
        READERS[name].read(content)
    except RegisterError as refusal:
        kind, said = "refusal", f"{type(refusal).__name__}: {refusal}"
        if type(refusal) is RegisterError or not (refusal.what and refusal.cure):
            kind = "no sentence"
        elif any(shown(text) != text for text in (refusal.what, refusal.cure)):
            kind = "undisarmed"
    except BaseException as fault:  # noqa: BLE001  # whatever it is, it is what is looked for
        kind, said = "fault", f"{type(fault).__name__}: {fault}"[:300]
    seconds = time.process_time() - began
    for timer in (signal.ITIMER_PROF, signal.ITIMER_REAL):
        signal.setitimer(timer, 0.0)
    return Outcome(name, number, kind, said[:400], seconds, _peak_mb())


def _reset_peak() -> None:
    """Give back what earlier files left and begin to watch anew, where the system has a way to."""
    gc.collect()
    with suppress(OSError, AttributeError):
        ctypes.CDLL(None).malloc_trim(0)
    with suppress(OSError):
        Path("/proc/self/clear_refs").write_text("5", encoding="ascii")


def _peak_mb() -> float:
    try:
        status = Path("/proc/self/status").read_text(encoding="ascii")
        return int(status.partition("VmHWM:")[2].split()[0]) / 1000
    except (OSError, ValueError):
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000


def _work(pipe: Connection, run: int, limit_s: float) -> None:
    """Read what the pipe names, until it says None. An alarm that nobody handles ends the process, in C code too."""
    resource.setrlimit(resource.RLIMIT_AS, (ADDRESS_SPACE_BYTES, ADDRESS_SPACE_BYTES))
    # A warning would stand on a person's screen.
    warnings.simplefilter("error")
    served = 0
    while (wanted := pipe.recv()) is not None:
        pipe.send(read_hostile(*wanted, run, limit_s))
        served += 1
        if served in SETTLED_AFTER:
            # The libraries are loaded by now; to look through them for garbage after each file would take longer
            # than the files.
            gc.freeze()


class _Worker:
    """A process that reads one file after another, and is replaced when one of them ends it."""

    def __init__(self, run: int, limit_s: float) -> None:
        context = multiprocessing.get_context("spawn")
        self.pipe, theirs = context.Pipe()
        self.process = context.Process(target=_work, args=(theirs, run, limit_s), daemon=True)
        self.process.start()
        theirs.close()
        self.at: tuple[str, int] | None = None

    def give(self, wanted: tuple[str, int] | None) -> None:
        self.at = wanted
        self.pipe.send(wanted)

    def end(self) -> None:
        self.process.kill()
        self.process.join()
        self.pipe.close()

    def outcome(self) -> Outcome:
        assert self.at is not None
        try:
            made: Outcome = self.pipe.recv()
        except EOFError:
            self.process.join()
            code = self.process.exitcode or 0
            kind = "hang" if code in {-signal.SIGPROF, -signal.SIGALRM} else "crash"
            return Outcome(*self.at, kind, f"the process ended with {code}", 0.0, 0.0)
        return made


def read_many(
    names: list[str], files: int, processes: int, run: int, limit_s: float
) -> tuple[dict[str, Tally], list[Outcome]]:
    """Read hostile files of those kinds in processes of their own; gives back the tallies and what went wrong."""
    weights = sum(READERS[name].weight for name in names)
    wanted = [(name, k) for name in names for k in range(-(-files * READERS[name].weight // weights))]
    wanted.reverse()
    whole, done = len(wanted), 0
    tallies = {name: Tally() for name in names}
    workers = [_Worker(run, limit_s) for _ in range(processes)]
    wrong: list[Outcome] = []
    for worker in workers:
        worker.give(wanted.pop())
    while busy := {worker.pipe: worker for worker in workers if worker.at}:
        for pipe in wait(list(busy)):
            worker = busy[pipe]  # type: ignore[index]
            outcome = worker.outcome()
            done += 1
            if done % 2000 == 0:
                print(f"{done} of {whole} files, {len(wrong)} wrong", file=sys.stderr, flush=True)
            tally = tallies[outcome.reader]
            known = len(tally.wrong)
            tally.count(outcome, limit_s)
            if len(tally.wrong) > known:
                wrong.append(outcome)
            if outcome.kind in {"hang", "crash"} or outcome.peak_mb > REPLACED_MB:
                worker.end()
                workers[workers.index(worker)] = worker = _Worker(run, limit_s)
            worker.give(wanted.pop() if wanted else None)
    return tallies, wrong


def main() -> int:
    """Read the command line, read the files, say what came of it; 1 if anything was neither answer nor refusal."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--files", type=int, default=56_000)
    parser.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--run", type=int, default=0, help="another number gives other files")
    parser.add_argument("--limit-s", type=float, default=10.0, help="processor time that one file may take")
    parser.add_argument("--reader", choices=list(READERS), action="append", help="of these alone; repeat it")
    parser.add_argument("--keep", type=Path, help="folder for the files that went wrong")
    parser.add_argument("--only", help="READER:NUMBER, one file in this process")
    parser.add_argument("--json", action="store_true")
    words = parser.parse_args()
    if words.only:
        name, _, number = words.only.rpartition(":")
        warnings.simplefilter("error")
        print(read_hostile(name, int(number), words.run))
        READERS[name].read(hostile_file(name, int(number), words.run))
        return 0
    began = time.perf_counter()
    tallies, wrong = read_many(words.reader or list(READERS), words.files, words.processes, words.run, words.limit_s)
    seconds = time.perf_counter() - began
    for outcome in wrong if words.keep else ():
        words.keep.mkdir(parents=True, exist_ok=True)
        kept = words.keep / f"{outcome.reader.replace(' ', '-')}-{outcome.number}"
        kept.write_bytes(hostile_file(outcome.reader, outcome.number, words.run))
    if words.json:
        print(
            json.dumps(
                {"seconds": round(seconds, 1), "readers": {name: asdict(each) for name, each in tallies.items()}}
            )
        )
    else:
        _print_page(tallies, seconds)
    return int(bool(wrong))


def _print_page(tallies: dict[str, Tally], seconds: float) -> None:
    print(f"{'reader':12}{'files':>8}{'answers':>9}{'refusals':>10}{'slowest':>16}{'most memory':>20}")
    for name, each in tallies.items():
        slowest, heaviest = f"{each.slowest_s:.2f} s #{each.slowest}", f"{each.peak_mb:.0f} MB #{each.heaviest}"
        print(f"{name:12}{each.files:8}{each.answers:9}{each.refusals:10}{slowest:>16}{heaviest:>20}")
    wrong = [line for each in tallies.values() for line in each.wrong]
    print(f"{sum(each.files for each in tallies.values())} files in {seconds:.0f} s, {len(wrong)} wrong")
    kinds = Counter(line.split(" ", 2)[-1][:100] for line in wrong)
    for kind, count in kinds.most_common(20):
        print(f"{count:6} × {kind}: {next(line for line in wrong if kind in line)[:400]}")


if __name__ == "__main__":
    sys.exit(main())
