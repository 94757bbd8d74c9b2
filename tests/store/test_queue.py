"""The queue of those who want to write: in order, bounded, and never in the way of anyone where it cannot be."""

import os
import pickle
import shutil
import signal
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from register.actions import parts, spares
from register.actions.checking import check_register
from register.actions.history import list_operations
from register.errors import NoSpare, NotAllowed, StoreBroken
from register.opening import Register
from register.store import transaction
from register.store.queue import QUEUE, turn
from tests.benchmarks.takes import take_at_once
from tests.shops import PART, again, claws, dumped, wear_register
from tests.store.forked import as_nobody, forked, in_child

forks = pytest.mark.skipif(not hasattr(os, "fork"), reason="kills processes as Unix does")


@pytest.fixture
def register(tmp_path: Path) -> Register:
    return wear_register(tmp_path / "register", on_hand=60)


def tickets(folder: Path) -> list[str]:
    return [path.name for path in (folder / QUEUE).iterdir()] if (folder / QUEUE).exists() else []


def until(holds: Callable[[], bool]) -> None:
    """Wait for what another thread or process does; at most some seconds."""
    end = time.monotonic() + 5
    while not holds() and time.monotonic() < end:
        time.sleep(0.002)
    assert holds()


def test_turns_are_given_in_the_order_of_coming(tmp_path: Path) -> None:
    order: list[int] = []

    def come(number: int) -> None:
        with turn(tmp_path):
            order.append(number)

    threads = [threading.Thread(target=come, args=(number,)) for number in range(8)]
    with turn(tmp_path):
        for number, thread in enumerate(threads):
            thread.start()
            until(lambda coming=number: len(tickets(tmp_path)) == coming + 2)
        assert order == []
    for thread in threads:
        thread.join(5)
    assert order == list(range(8))
    assert tickets(tmp_path) == []


def test_turn_is_given_away_when_its_block_fails(tmp_path: Path) -> None:
    with pytest.raises(KeyError), turn(tmp_path):
        raise KeyError
    with turn(tmp_path, longest_s=0):
        assert len(tickets(tmp_path)) == 1


def test_refused_write_keeps_nobody_waiting(register: Register) -> None:
    parts.add_part(register, "P-1", "One", False)
    for _ in range(2):
        with pytest.raises(NotAllowed):
            parts.add_part(register, "P-1", "One again", False)
    assert tickets(register.folder) == []
    with turn(register.folder, longest_s=0):
        pass


def test_wait_is_bounded_and_said_and_changes_nothing(register: Register, monkeypatch: pytest.MonkeyPatch) -> None:
    # Of ten seconds, 50 ms.
    monkeypatch.setattr(transaction, "turn", lambda folder: turn(folder, longest_s=0.05))
    before = dumped(register)
    with turn(register.folder):
        with pytest.raises(StoreBroken) as refused:
            spares.take_spare(again(register), PART)
        assert len(tickets(register.folder)) == 1
    assert refused.value.what.endswith("was not reached: another terminal has been writing for 0.05 s.")
    assert refused.value.cure == "Wait a moment and try again; nothing was changed."
    assert refused.value.exit_code == 5
    assert dumped(register) == before
    assert spares.take_spare(register, PART).left_there == 59


@forks
def test_process_killed_in_its_turn_keeps_nobody_waiting(register: Register) -> None:
    def take_a_turn_for_ever(tell: Callable[[object], None]) -> None:
        with turn(register.folder):
            tell("mine")
            time.sleep(60)

    child, reader = forked(take_a_turn_for_ever)
    with os.fdopen(reader, "rb") as pipe:
        assert pickle.load(pipe) == "mine"
    with pytest.raises(StoreBroken), turn(register.folder, longest_s=0.05):
        pass
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    assert len(tickets(register.folder)) == 1
    with turn(register.folder, longest_s=0):
        pass
    assert tickets(register.folder) == []


@forks
def test_process_killed_while_it_waits_keeps_nobody_waiting(register: Register) -> None:
    def wait(tell: Callable[[object], None]) -> None:
        with turn(register.folder):
            tell("its turn came")

    with turn(register.folder):
        child, reader = forked(wait)
        until(lambda: len(tickets(register.folder)) == 2)
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        os.close(reader)
    with turn(register.folder, longest_s=0):
        pass
    assert tickets(register.folder) == []


def test_threads_of_one_register_write_in_turn_and_lose_nothing(register: Register) -> None:
    left: list[int] = []

    def take() -> None:
        for _ in range(10):
            left.append(spares.take_spare(register, PART).left_there)

    threads = [threading.Thread(target=take) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    assert sorted(left) == list(range(60))
    with pytest.raises(NoSpare):
        spares.take_spare(register, PART)
    check_register(register)


@forks
def test_hungry_processes_overtake_nobody_more_than_a_few_times(tmp_path: Path) -> None:
    found = take_at_once(tmp_path / "register", processes=4, takes=15)
    assert (found.lost, found.failed) == (0, 0)
    # Only who asks in the same moment may come first; without a queue a whole row of 15 does.
    assert found.most_overtaken <= 9
    assert found.longest_s < 5
    assert tickets(tmp_path / "register") == []


def test_register_is_written_where_no_ticket_can_be_laid(register: Register) -> None:
    (register.folder / QUEUE).rmdir()
    (register.folder / QUEUE).write_text("a file of somebody's own")
    with turn(register.folder, longest_s=0), turn(register.folder, longest_s=0):
        pass
    parts.add_part(register, "P-1", "One", False)
    assert parts.show_part(again(register), "P-1").part.name == "One"
    assert (register.folder / QUEUE).read_text() == "a file of somebody's own"


def test_files_that_are_no_tickets_are_left_alone_and_block_nobody(tmp_path: Path) -> None:
    (tmp_path / QUEUE).mkdir()
    for name in (".hidden", "0000", "notes.txt"):
        (tmp_path / QUEUE / name).write_text("kept")
    with turn(tmp_path, longest_s=0):
        pass
    assert sorted(tickets(tmp_path)) == [".hidden", "0000", "notes.txt"]


@forks
def test_ticket_that_may_not_be_opened_blocks_nobody() -> None:
    # A test's own folder is closed to other users.
    with tempfile.TemporaryDirectory() as passing:
        folder = Path(passing)
        folder.chmod(0o777)

        def come() -> str:
            with turn(folder, longest_s=0):
                return "came"

        with turn(folder):
            (folder / QUEUE).chmod(0o777)
            next((folder / QUEUE).iterdir()).chmod(0o000)
            assert in_child(as_nobody(come)) == "came"
        shutil.rmtree(folder / QUEUE)


def test_operations_of_one_queue_are_in_the_order_of_their_turns(register: Register) -> None:
    def add(number: int) -> None:
        parts.add_part(register, f"P-{number}", "Part", False)

    threads = [threading.Thread(target=add, args=(number,)) for number in range(5)]
    with turn(register.folder):
        for number, thread in enumerate(threads):
            thread.start()
            until(lambda coming=number: len(tickets(register.folder)) == coming + 2)
    for thread in threads:
        thread.join(10)
    assert [each.why for each in list_operations(register, 5)] == [f"add part P-{n}" for n in (4, 3, 2, 1, 0)]
    assert claws(register).usable_now == 60
