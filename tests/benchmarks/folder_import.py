"""A folder of meshes taken in: what a second core brings, and what is left when it is stopped or killed.

    python tests/benchmarks/folder_import.py [--files 240] [--runs 3] [--kills 40] [--seed 1] [--folder DIR] [--json]

The folder holds the demo's printed parts again and again, each a little larger, so that no two files are equal. The
command takes it in with one worker and with two, by turns, each time into a new register; the ratio of the shortest
wall times is held against 1.6. Whatever else runs on this computer meanwhile spoils it; how many cores it took in each
run is told beside.

With --kills the command is interrupted or killed at moments by chance, by turns anywhere and while a batch is written,
and goes on with the same register until everything is in it. After each kill the register has to open and to pass its
check, every part to have its revision, its file and its estimate, and what lies about to be taken by `check --tidy`.
"""

import argparse
import csv
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from dataclasses import asdict, dataclass
from itertools import cycle
from pathlib import Path

if __package__ in (None, ""):
    sys.path.insert(0, str(Path(__file__).parents[2]))

from register.actions.checking import look_over
from register.geometry.stl import stl_triangles
from register.opening import open_register
from tests.geometry.stl_bytes import binary
from tests.shops import DEMO, STUDENT, set_up_register
from tests.whole_parts import files_without_a_row, halves, imported

ROOT = Path(__file__).parents[2]
LIMIT = 1.6
# Each copy is larger than the one before by so much, less than any of them could outgrow a printer's bed by.
LARGER = 1e-4
# From the first file that is put in its place to the end of its batch, and some more.
WRITING_S = 0.25
LONGEST_S = 600.0


@dataclass(frozen=True)
class Times:
    """Wall seconds of each run, and the ratio of the shortest."""

    files: int
    one_worker_s: tuple[float, ...]
    two_workers_s: tuple[float, ...]
    ratio: float
    limit: float
    cores: int
    one_worker_others_cores: tuple[float, ...]
    two_workers_others_cores: tuple[float, ...]


@dataclass(frozen=True)
class Kills:
    """What came of kills; `late` came when the command had ended already and do not count."""

    kills: int
    interrupted: int
    killed: int
    while_writing: int
    late: int
    registers_filled: int
    parts_kept: int
    files_tidied: int
    not_sound: int
    halves: int
    wrong_codes: int


def printed_files() -> list[Path]:
    """The meshes of the demo's printed revisions."""
    with (DEMO / "revisions.csv").open(encoding="utf-8", newline="") as table:
        names = {row["file"] for row in csv.DictReader(table) if row["process"] == "printed"}
    return sorted(DEMO / name for name in names if name.endswith(".stl"))


def make_folder(folder: Path, files: int) -> Path:
    """Copies of the demo's printed parts, each with bytes of its own."""
    folder.mkdir(parents=True)
    shapes = [(path.stem, stl_triangles(path.read_bytes(), path.name)) for path in printed_files()]
    for number, (name, triangles) in zip(range(files), cycle(shapes), strict=False):
        (folder / f"N-{number:04d} {name}.stl").write_bytes(binary(triangles * (1.0 + LARGER * number)))
    return folder


def started(register: Path, meshes: Path, workers: int) -> "subprocess.Popen[bytes]":
    """The command at work, in a group of processes of its own."""
    words = ("part", "import", str(meshes), "--material", "PLA", "--workers", str(workers), "--json")
    return subprocess.Popen(
        [sys.executable, "-m", "register.cli", "--register", str(register), *words],
        cwd=ROOT,
        env=os.environ | {"PITWRIGHT_WHO": STUDENT},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        start_new_session=True,
    )


def measured(place: Path, meshes: Path, empty: Path, files: int, runs: int) -> Times:
    """Take the folder in by one worker and by two, by turns."""
    found: dict[int, list[float]] = {1: [], 2: []}
    others: dict[int, list[float]] = {1: [], 2: []}
    for run in range(runs):
        for workers in (1, 2):
            register = Path(shutil.copytree(empty, place / f"timed-{run}-{workers}"))
            began, busy_s = time.perf_counter(), _busy_with_others_s()
            running = started(register, meshes, workers)
            out, err = running.communicate(timeout=LONGEST_S)
            lasted_s = time.perf_counter() - began
            others[workers].append(round((_busy_with_others_s() - busy_s) / lasted_s, 2))
            found[workers].append(round(lasted_s, 2))
            assert running.returncode == 0, err.decode()
            assert json.loads(out)["added"] == imported(register) == files
            shutil.rmtree(register)
    ratio = round(min(found[1]) / min(found[2]), 2)
    return Times(
        *(files, tuple(found[1]), tuple(found[2]), ratio, LIMIT),
        *(len(os.sched_getaffinity(0)), tuple(others[1]), tuple(others[2])),
    )


def _busy_with_others_s() -> float:
    """Seconds that all cores together have worked for other programs than this one and those that it started."""
    words = Path("/proc/stat").read_text("ascii").split("\n", 1)[0].split()[1:]
    user, nice, system, _, _, irq, soft, stolen = (int(word) for word in words[:8])
    own = os.times()
    used = own.user + own.system + own.children_user + own.children_system
    return (user + nice + system + irq + soft + stolen) / os.sysconf("SC_CLK_TCK") - used


def kill_once(
    register: Path, meshes: Path, how: signal.Signals, in_writing: bool, span_s: float, chance: random.Random
) -> int | None:
    """Start the command and kill it; its code, or None if it had ended before."""
    settled = _settled(register)
    running = started(register, meshes, 2)
    if in_writing:
        while running.poll() is None and _settled(register) == settled:
            time.sleep(0.001)
        time.sleep(chance.uniform(0.0, WRITING_S))
    else:
        time.sleep(chance.uniform(0.0, span_s))
    if running.poll() is not None:
        running.communicate()
        return None
    if how is signal.SIGINT:
        # As a terminal gives it: to all that the command has started too.
        os.killpg(running.pid, how)
    else:
        running.kill()
    running.communicate(timeout=LONGEST_S)
    return running.returncode


def kill_often(place: Path, meshes: Path, empty: Path, files: int, kills: int, seed: int) -> Kills:
    """Kill the command so often, and look at the register after each."""
    chance = random.Random(seed)
    began = time.perf_counter()
    register = Path(shutil.copytree(empty, place / "killed"))
    started(register, meshes, 2).communicate(timeout=LONGEST_S)
    span_s = time.perf_counter() - began
    counts: Counter[str] = Counter()
    ways = cycle((how, writing) for writing in (False, True) for how in (signal.SIGINT, signal.SIGKILL))
    while counts["kills"] < kills:
        if imported(register) == files:
            shutil.rmtree(register)
            register = Path(shutil.copytree(empty, place / "killed"))
            counts["registers_filled"] += 1
        how, writing = next(ways)
        before = imported(register)
        code = kill_once(register, meshes, how, writing, span_s, chance)
        if code is None:
            counts["late"] += 1
        else:
            counts.update(
                kills=1, interrupted=how is signal.SIGINT, killed=how is signal.SIGKILL, while_writing=writing
            )
            # Before it has begun, Python itself ends by the signal; at the very end there is nothing left to stop.
            counts["wrong_codes"] += code not in ({130, 0, -how} if how is signal.SIGINT else {-how})
        counts["parts_kept"] += imported(register) - before
        counts.update(_looked_at(register))
    shutil.rmtree(register)
    return Kills(**{name: counts[name] for name in Kills.__dataclass_fields__})


def _looked_at(register: Path) -> dict[str, int]:
    """Open it as a terminal does, check it, and tidy it up as if an hour had gone by."""
    opened = open_register(register, STUDENT)
    faults = look_over(opened).faults
    broken = halves(register)
    loose = files_without_a_row(register)
    hour_ago = time.time() - 3700
    for path in loose:
        os.utime(path, (hour_ago, hour_ago))
    faults += look_over(opened, tidy=True).faults
    opened.store.close()
    left = [f"not tidied: {path}" for path in files_without_a_row(register)]
    for each in (*(fault.what for fault in faults), *broken, *left):
        print(each, file=sys.stderr)
    return {"not_sound": bool(faults), "halves": len(broken) + len(left), "files_tidied": len(loose)}


def _settled(register: Path) -> int:
    return sum(1 for _ in (register / "files").glob("??/*"))


def main() -> None:
    """Run it and print the figures."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("--files", type=int, default=240)
    parser.add_argument("--runs", type=int, default=3, help="with one worker and with two each; 0 to kill alone")
    parser.add_argument("--kills", type=int, default=0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--folder", type=Path, help="where the registers are made; a temporary folder without it")
    parser.add_argument("--json", action="store_true")
    said = parser.parse_args()
    found: dict[str, object] = {}
    good = True
    with tempfile.TemporaryDirectory(dir=said.folder) as passing:
        place = Path(passing)
        meshes = make_folder(place / "meshes", said.files)
        empty = place / "empty"
        set_up_register(empty).store.close()
        if said.runs:
            times = measured(place, meshes, empty, said.files, said.runs)
            good &= times.ratio >= LIMIT
            found |= asdict(times)
        if said.kills:
            kills = kill_often(place, meshes, empty, said.files, said.kills, said.seed)
            good &= kills.not_sound + kills.halves + kills.wrong_codes == 0
            found |= asdict(kills)
    if said.json:
        print(json.dumps(found))
    else:
        print(*(f"{name:18} {value}" for name, value in found.items()), sep="\n")
    sys.exit(not good)


if __name__ == "__main__":
    main()
