"""A crew of processes: every task gets its own answer, and one that dies, hangs or refuses takes no other along."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import suppress
from multiprocessing import active_children
from pathlib import Path

import pytest

from register.crews import Crew, Task, cores
from register.errors import BadMesh, Cancelled, Refused, RegisterError

ROOT = Path(__file__).parents[1]


def does(what: str, number: int, offset: int = 0) -> int:
    """Whatever a test wants of a process."""
    if what == "refuse":
        raise BadMesh(f"{number} has no faces.", "Save it again.")
    if what == "fail":
        raise ZeroDivisionError("a fault of ours")
    if what == "die":
        os.kill(os.getpid(), signal.SIGKILL)
    if what == "sleep":
        time.sleep(600)
    while what == "turn":
        pass
    return number + offset


def names_its_process(seconds: float) -> int:
    time.sleep(seconds)
    return os.getpid()


def says_when(seconds: float) -> tuple[float, float]:
    begun = time.monotonic()
    time.sleep(seconds)
    return begun, time.monotonic()


def prints(text: str) -> str:
    print(text, flush=True)
    os.write(1, text.encode())
    os.write(2, text.encode())
    return text


def tasks(*wanted: str) -> Iterator[Task[int]]:
    return (Task(number, lambda what=what, number=number: (what, number)) for number, what in enumerate(wanted))


def is_gone(process: int) -> bool:
    """Whether a process has ended; one whose parent has not looked yet counts as ended."""
    try:
        return Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0] == "Z"
    except FileNotFoundError:
        return True


def waited_for(condition: object, longest_s: float = 10.0) -> bool:
    until = time.monotonic() + longest_s
    while time.monotonic() < until:
        if condition():  # type: ignore[operator]
            return True
        time.sleep(0.01)
    return False


@pytest.mark.parametrize("workers", [1, 2, 3])
def test_every_task_gets_its_own_answer(workers: int) -> None:
    with Crew(does, 1000, workers=workers) as crew:
        assert dict(crew.results(tasks(*["count"] * 20))) == {number: 1000 + number for number in range(20)}
        # The same processes go on with the next list.
        assert dict(crew.results(tasks("count"))) == {0: 1000}
        assert list(crew.results([])) == []
    assert active_children() == []


@pytest.mark.parametrize(
    ("bad", "kind", "what"),
    [
        ("refuse", BadMesh, "2 has no faces."),
        ("fail", RegisterError, "The process at work on it ended by itself (code 1)."),
        ("die", RegisterError, "The process at work on it ended by itself (code -9)."),
    ],
)
def test_task_that_goes_wrong_is_told_and_the_others_are_done(
    bad: str, kind: type[RegisterError], what: str, capfd: pytest.CaptureFixture[str]
) -> None:
    with Crew(does, workers=2) as crew:
        found = dict(crew.results(tasks("count", "count", bad, "count", bad, "count")))
    refused = found.pop(2)
    assert type(refused) is kind and refused.what == what and refused.cure
    assert type(found.pop(4)) is kind
    assert found == {number: number for number in (0, 1, 3, 5)}
    assert capfd.readouterr() == ("", "")


def test_tasks_that_hang_are_given_up_and_the_others_are_done() -> None:
    # Longer than a process needs to start, on a computer that does other things too.
    with Crew(does, workers=2, longest_s=4.0) as crew:
        begun = time.monotonic()
        found = dict(crew.results(tasks("count", "sleep", "turn", "count")))
        lasted_s = time.monotonic() - begun
    for hung in (1, 2):
        refused = found.pop(hung)
        assert type(refused) is Refused and refused.what == "It was given up after 4 s."
    assert found == {0: 0, 3: 3}
    assert 4.0 < lasted_s < 15.0


def test_task_that_cannot_be_loaded_is_told_and_costs_no_process() -> None:
    def gone() -> tuple[object, ...]:
        raise BadMesh("claw.stl is gone.", "Look for it.")

    with Crew(names_its_process, workers=1) as crew:
        found = dict(crew.results([Task("a", lambda: (0.0,)), Task("b", gone), Task("c", lambda: (0.0,))]))
    assert isinstance(found["b"], BadMesh)
    assert found["a"] == found["c"] != os.getpid()


def test_tasks_at_work_together_stay_below_the_weight_and_a_heavier_one_is_alone() -> None:
    weights = {"huge": 50.0, "a": 6.0, "b": 4.0, "c": 4.0, "d": 2.0}
    with Crew(says_when, workers=4, most_weight=10.0) as crew:
        found = dict(crew.results([Task(key, lambda: (0.5,), weight) for key, weight in weights.items()]))
    spans = {key: span for key, span in found.items() if isinstance(span, tuple)}
    together = [{key for key, (begin, end) in spans.items() if begin <= at < end} for at, _ in spans.values()]
    assert {"huge"} in together
    assert {"a", "b"} in together
    assert all(len(each) == 1 or sum(weights[key] for key in each) <= 10.0 for each in together)


def test_tasks_run_at_the_same_time() -> None:
    with Crew(names_its_process, workers=2) as crew:
        # Both have begun before either is done, so they are done by two.
        found = dict(crew.results([Task(number, lambda: (1.0,)) for number in range(2)]))
    assert len(set(found.values())) == 2


@pytest.mark.parametrize("bad", ["sleep", "turn"])
def test_work_ends_at_once_when_it_is_stopped(bad: str) -> None:
    asked_at: list[float] = []
    done: list[int] = []

    def stopped() -> bool:
        if done:
            asked_at.append(time.monotonic())
        return bool(done)

    with Crew(does, workers=2) as crew:
        with pytest.raises(Cancelled, match="stopped"):
            for key, _ in crew.results(tasks(bad, "count", bad, "count"), stopped):
                done.append(key)
        crew.stop()
        assert time.monotonic() - asked_at[0] < 0.5
    assert done == [1]
    assert active_children() == []


def test_processes_end_when_the_one_who_listens_has_an_error() -> None:
    with pytest.raises(KeyError), Crew(does, workers=2) as crew:
        for key, _ in crew.results(tasks("count", "sleep", "count")):
            raise KeyError(key)
    assert active_children() == []


def test_process_that_dies_with_nothing_to_do_costs_one_task_at_most() -> None:
    with Crew(names_its_process, workers=1) as crew:
        first = dict(crew.results([Task("a", lambda: (0.0,))]))
        os.kill(int(str(first["a"])), signal.SIGKILL)
        assert waited_for(lambda: is_gone(int(str(first["a"]))))
        second = dict(crew.results([Task("b", lambda: (0.0,)), Task("c", lambda: (0.0,))]))
    assert isinstance(second["b"], RegisterError)
    assert isinstance(second["c"], int) and second["c"] != first["a"]


def test_nothing_that_is_printed_at_work_reaches_the_output(capfd: pytest.CaptureFixture[str]) -> None:
    with Crew(prints, workers=1) as crew:
        assert dict(crew.results([Task(0, lambda: ("noise",))])) == {0: "noise"}
    assert capfd.readouterr() == ("", "")


def test_large_arguments_cross_whole() -> None:
    content = os.urandom(20_000_000)
    with Crew(len, workers=2) as crew:
        assert dict(crew.results([Task(n, lambda: (content,)) for n in range(2)])) == {0: 20_000_000, 1: 20_000_000}


# Starts two processes that hang, says which they are, and hangs itself.
HANGS = """
import sys
sys.path.insert(0, {root!r})
from multiprocessing import active_children
from register.crews import Crew, Task
from tests.test_crews import does
if __name__ == "__main__":
    with Crew(does, workers=2) as crew:
        print(*(each.pid for each in active_children()), flush=True)
        for _ in crew.results([Task(n, lambda: (sys.argv[1], n)) for n in range(2)]):
            pass
"""


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="looks for processes as Linux lists them")
@pytest.mark.parametrize("bad", ["sleep", "turn"])
def test_processes_end_when_the_program_is_killed_outright_and_ctrl_c_is_for_the_program_alone(
    tmp_path: Path, bad: str
) -> None:
    script = tmp_path / "hangs.py"
    script.write_text(HANGS.format(root=str(ROOT)))
    running = subprocess.Popen(
        [sys.executable, str(script), bad], stdout=subprocess.PIPE, stderr=subprocess.PIPE, start_new_session=True
    )
    try:
        assert running.stdout is not None
        crew = [int(word) for word in running.stdout.readline().split()]
        assert len(crew) == 2
        # Before they have begun, and when they are long at work.
        for process in crew:
            os.kill(process, signal.SIGINT)
        time.sleep(1.0)
        for process in crew:
            os.kill(process, signal.SIGINT)
        time.sleep(0.2)
        assert not any(is_gone(process) for process in crew)
        running.kill()
        assert waited_for(lambda: all(is_gone(process) for process in crew))
        assert running.communicate(timeout=10) == (b"", b"")
    finally:
        with suppress(ProcessLookupError):
            os.killpg(running.pid, signal.SIGKILL)
        running.wait()


def test_cores_are_those_that_this_program_may_use() -> None:
    assert 1 <= cores() <= (os.cpu_count() or 1)
    if hasattr(os, "sched_setaffinity"):
        before = os.sched_getaffinity(0)
        try:
            os.sched_setaffinity(0, {min(before)})
            assert cores() == 1
        finally:
            os.sched_setaffinity(0, before)
