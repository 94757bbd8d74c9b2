"""Many processes at one register, and processes that are killed in the middle of a write."""

import os
import pickle
import random
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from register.actions import robots, spares
from register.actions.checking import check_register
from register.actions.history import list_operations
from register.actions.parts import show_part
from register.opening import Register, open_register
from register.store import robots as robot_rows
from tests.geometry.stl_bytes import binary, box
from tests.shops import PART, ROBOT, STUDENT, SetClock, again, claws, logged, printed, wear_register
from tests.store.forked import forked

ROOT = Path(__file__).parents[2]
# What a spawned terminal does: it says that it is ready, waits for the start, takes, and says how often it got one.
TAKER = """
import sys
from pathlib import Path
from register.actions.spares import take_spare
from register.errors import NoSpare
from register.opening import open_register

register = open_register(Path(sys.argv[1]), "Terminal " + sys.argv[2])
print("ready", flush=True)
sys.stdin.readline()
got = none = 0
for _ in range(int(sys.argv[3])):
    try:
        take_spare(register, sys.argv[4])
        got += 1
    except NoSpare:
        none += 1
print(got, none, flush=True)
"""
pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="kills processes as Unix does")


def take_at_once(register: Register, processes: int, times: int) -> list[tuple[int, int]]:
    """Spawn terminals that start taking in the same moment; gives (taken, refused) of each."""
    register.store.close()
    terminals = [
        subprocess.Popen(
            [sys.executable, "-c", TAKER, str(register.folder), str(number), str(times), PART],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            cwd=ROOT,
        )
        for number in range(processes)
    ]
    for each in terminals:
        assert each.stdout is not None
        assert each.stdout.readline() == "ready\n"
    for each in terminals:
        assert each.stdin is not None
        each.stdin.write("go\n")
        each.stdin.flush()
    told = [each.communicate(timeout=60)[0].split() for each in terminals]
    assert [each.returncode for each in terminals] == [0] * processes
    return [(int(got), int(none)) for got, none in told]


def test_last_spare_goes_to_one_of_many_takers(tmp_path: Path) -> None:
    register = wear_register(tmp_path / "register", on_hand=1)
    told = take_at_once(register, processes=5, times=1)
    assert sorted(told) == [(0, 1)] * 4 + [(1, 0)]
    assert claws(again(register)).usable_now == 0
    check_register(again(register))


def test_four_terminals_that_take_fifty_each_lose_none(tmp_path: Path) -> None:
    register = wear_register(tmp_path / "register", on_hand=203)
    told = take_at_once(register, processes=4, times=50)
    assert told == [(50, 0)] * 4
    opened = again(register)
    assert claws(opened).usable_now == 3
    taken = [each for each in list_operations(opened, 1000) if each.why.startswith("take a spare")]
    assert len(taken) == 200
    assert {each.who for each in taken} == {f"Terminal {number}" for number in range(4)}
    check_register(opened)


def killed_after(folder: Path, wait_s: float, act: Callable[[Register, int], object]) -> int:
    """How many times `act` was acknowledged by a process that was killed `wait_s` after its first acknowledgement."""

    def write_on(tell: Callable[[object], None]) -> None:
        own = open_register(folder, STUDENT, SetClock())
        for number in range(10_000):
            act(own, number)
            tell(number)

    child, reader = forked(write_on)
    with os.fdopen(reader, "rb") as pipe:
        pickle.load(pipe)
        time.sleep(wait_s)
        os.kill(child, signal.SIGKILL)
        _, status = os.waitpid(child, 0)
        assert os.WIFSIGNALED(status)
        acknowledged = 1
        while pipe.peek(1):
            pickle.load(pipe)
            acknowledged += 1
    return acknowledged


def test_killed_processes_leave_a_sound_register_with_every_acknowledged_write(tmp_path: Path) -> None:
    folder = wear_register(tmp_path / "register", on_hand=0).folder
    chance = random.Random(1)
    acknowledged = 0
    for _ in range(30):
        acknowledged += killed_after(
            folder, chance.uniform(0, 0.02), lambda own, _: spares.add_spares(own, PART, "A", 1, "shelf")
        )
        opened = open_register(folder, STUDENT, SetClock())
        # The write that was under way may be whole or gone; what was acknowledged is there.
        assert acknowledged <= claws(opened).usable_now <= acknowledged + 1
        acknowledged = claws(opened).usable_now
        check_register(opened)
        opened.store.close()
    assert acknowledged >= 30


def test_kills_while_files_are_logged_leave_no_row_without_its_file(tmp_path: Path) -> None:
    register = wear_register(tmp_path / "register", on_hand=0)
    register.store.close()
    chance = random.Random(2)
    acknowledged = 1
    for kill in range(1, 11):

        def log_another(own: Register, number: int, kill: int = kill) -> None:
            # A file of its own each time: blocks of different heights.
            logged(own, printed(), binary(box(9.0, 9.0, 5 + kill + number / 1000)))

        acknowledged += killed_after(register.folder, chance.uniform(0, 0.04), log_another)
        opened = again(register)
        kept = len(show_part(opened, PART).revisions)
        assert acknowledged <= kept <= acknowledged + 1
        acknowledged = kept
        # Every row's file is read and found whole.
        assert check_register(opened).files == kept
        opened.store.close()


def test_write_that_had_reached_the_file_when_it_was_killed_is_rolled_back_by_the_next_to_open(tmp_path: Path) -> None:
    register = wear_register(tmp_path / "register")
    register.store.close()

    def die_in_the_middle(tell: Callable[[object], None]) -> None:
        own = again(register)
        with own.store.writing(STUDENT, "add many robots") as tx:
            # A cache of one page spills the rows into the file before the end.
            tx.session.connection().exec_driver_sql("PRAGMA cache_size = 1")
            for number in range(60):
                robot_rows.add_robot(tx, f"robot {number}", "x" * 2000)
                tx.session.flush()
            os.kill(os.getpid(), signal.SIGKILL)

    sound_bytes = (register.folder / "register.db").stat().st_size
    child, reader = forked(die_in_the_middle)
    os.waitpid(child, 0)
    os.close(reader)
    assert (register.folder / "register.db").stat().st_size > sound_bytes
    assert (register.folder / "register.db-journal").stat().st_size > 0
    opened = again(register)
    assert [each.name for each in robots.list_robots(opened)] == [ROBOT]
    assert claws(opened).usable_now == 1
    check_register(opened)
    spares.take_spare(opened, PART)
