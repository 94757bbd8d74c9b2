"""The planner of motion against another one, pyGCodeDecode, on programs drawn from rules: durations and CPU of both.

python tests/benchmarks/outside_motion.py --python ENV/bin/python [--limit 0.001] [--repeats 5] [--json]

ENV is an environment of its own with pyGCodeDecode 1.5.1; DEVELOPERS.md says how it is made. Ours is read from the
bytes of the program to its time, the least of the repeats; so is the other one's, once. Exits 1 if a duration differs
by more than the limit, as a share.
"""

import argparse
import json
import os
import sys
import time
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path

if __package__ in (None, ""):
    sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.outside.machine_programs import Program, programs
from tests.outside.other_environment import PYTHON_VARIABLE, python_with, simulated_s
from tests.outside.test_other_planner import estimated_s


@dataclass(frozen=True)
class Compared:
    """One program: blocks, the two durations, how far ours is off as a share, and how many times faster it is."""

    name: str
    blocks: int
    other_s: float
    ours_s: float
    share: float
    faster: float


def compared(python: str, repeats: int) -> Iterator[Compared]:
    """Every program by both."""
    written = programs()
    for name, said in simulated_s(python, written).items():
        program = written[name]
        ours, cpu_s = _timed(program, repeats)
        share = ours / said["duration_s"] - 1.0
        yield Compared(
            name, program.text.count("\n"), said["duration_s"], ours, share, said["cpu_s"] / max(cpu_s, 1e-9)
        )


def _timed(program: Program, repeats: int) -> tuple[float, float]:
    least, found = float("inf"), 0.0
    for _ in range(repeats):
        began = time.process_time()
        found = estimated_s(program)
        least = min(least, time.process_time() - began)
    return found, least


def main() -> None:
    """Compare and print."""
    parser = argparse.ArgumentParser(description=str(__doc__).split("\n\n")[0])
    parser.add_argument("--python", help=f"of the environment with pyGCodeDecode; else ${PYTHON_VARIABLE}")
    parser.add_argument("--limit", type=float, default=0.001, help="of the difference, as a share")
    parser.add_argument("--repeats", type=int, default=5)
    parser.add_argument("--json", action="store_true")
    said = parser.parse_args()
    if said.python:
        os.environ[PYTHON_VARIABLE] = said.python
    python = python_with("pyGCodeDecode")
    if python is None:
        parser.error("pyGCodeDecode is not installed there.")
    rows = list(compared(python, said.repeats))
    if said.json:
        print(json.dumps([asdict(row) for row in rows]))
    else:
        print(f"{'program':38} {'blocks':>6} {'other s':>10} {'ours s':>10} {'off %':>9} {'faster':>7}")
        for row in rows:
            print(
                f"{row.name:38} {row.blocks:6} {row.other_s:10.4f} {row.ours_s:10.4f} {100 * row.share:+9.5f} "
                f"{row.faster:6.0f}×"
            )
    sys.exit(max(abs(row.share) for row in rows) > said.limit)


if __name__ == "__main__":
    main()
