"""Slow work in a process of its own: its result, its progress, its refusals, its end, and what it may not import."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from register.errors import BadMesh, Cancelled, NoSpare, RegisterError
from register.workers import Work

ROOT = Path(__file__).parents[1]


def added(one: int, other: int) -> int:
    return one + other


def counted(steps: int, tell: Callable[[float], None]) -> str:
    for step in range(steps):
        tell((step + 1) / steps)
    return "counted"


def refuses(what: str) -> None:
    raise BadMesh(f"{what} has no faces.", "Save it again.")


def sleeps(seconds: float) -> None:
    time.sleep(seconds)


def turns(_: object) -> None:
    """Work that never looks up."""
    while True:
        pass


def dies(code: int) -> None:
    os._exit(code)


def is_killed(_: object) -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def fails(_: object) -> None:
    raise ZeroDivisionError("a fault of ours")


def gives_what_cannot_be_sent(_: object) -> object:
    return lambda: None


def is_alive(work: Work[object]) -> bool:
    return work._process.is_alive()


def test_result_comes_back_from_another_process() -> None:
    assert Work(added, 2, 3).wait() == 5
    assert Work(os.getpid).wait() != os.getpid()


def test_progress_is_told_in_order_before_the_result() -> None:
    told: list[float] = []
    assert Work(counted, 4, tells=True).wait(told.append) == "counted"
    assert told == [0.25, 0.5, 0.75, 1.0]


def test_refusal_crosses_the_process_whole() -> None:
    with pytest.raises(BadMesh) as refused:
        Work(refuses, "claw.stl").wait()
    assert (refused.value.what, refused.value.cure) == ("claw.stl has no faces.", "Save it again.")
    assert refused.value.exit_code == NoSpare.exit_code == 3


@pytest.mark.parametrize("work", [sleeps, turns], ids=["that sleeps", "that turns"])
def test_work_ends_within_half_a_second_of_the_stop(work: Callable[[float], None]) -> None:
    slow = Work(work, 600.0)
    begun = time.monotonic()
    # Let it come to its work first: an interpreter starts in some tenths of a second.
    time.sleep(0.6)
    asked_to_stop_at: list[float] = []

    def stopped() -> bool:
        if time.monotonic() - begun < 0.8:
            return False
        asked_to_stop_at.append(time.monotonic())
        return True

    with pytest.raises(Cancelled, match="stopped"):
        slow.wait(stopped=stopped)
    assert time.monotonic() - asked_to_stop_at[0] < 0.5
    assert slow._process.exitcode == -signal.SIGTERM


def test_work_that_is_stopped_before_it_began_ends_too() -> None:
    work = Work(sleeps, 600.0)
    work.stop()
    work.stop()
    assert work._process.exitcode is not None


@pytest.mark.parametrize(
    ("work", "argument", "code"),
    [(dies, 7, "7"), (is_killed, 0, "-9"), (fails, 0, "1"), (gives_what_cannot_be_sent, 0, "1")],
)
def test_process_that_dies_by_itself_gives_a_sentence_and_prints_nothing(
    work: Callable[[int], object], argument: int, code: str, capfd: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(RegisterError) as told:
        Work(work, argument).wait()
    assert told.value.what == f"The process at work ended by itself (code {code})."
    assert told.value.exit_code == 1
    assert told.value.cure
    assert capfd.readouterr() == ("", "")


def test_error_of_the_one_who_listens_ends_the_work() -> None:
    work = Work(counted, 4, tells=True)

    def cannot_show(share: float) -> None:
        raise KeyError(share)

    with pytest.raises(KeyError):
        work.wait(cannot_show)
    assert work._process.exitcode is not None


def test_environment_is_left_as_it_was(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("PYTHONSAFEPATH", raising=False)
    assert Work(added, 1, 1).wait() == 2
    assert "PYTHONSAFEPATH" not in os.environ
    monkeypatch.setenv("PYTHONSAFEPATH", "yes")
    assert Work(added, 1, 1).wait() == 2
    assert os.environ["PYTHONSAFEPATH"] == "yes"


def test_decoys_in_the_folder_of_the_command_are_not_imported_by_the_child(tmp_path: Path) -> None:
    for package in ("register", "multiprocessing"):
        (tmp_path / package).mkdir()
        (tmp_path / package / "__init__.py").write_text(f"raise SystemExit('the decoy {package} was imported')\n")
    # A command's script lies elsewhere than where the command is given.
    scripts = tmp_path / "scripts"
    scripts.mkdir()
    (scripts / "command.py").write_text(
        "import sys\n"
        f"sys.path.append({str(ROOT)!r})\n"
        "from register.domain.revisions import ordinal\n"
        "from register.workers import Work\n"
        "if __name__ == '__main__':\n"
        "    print(Work(ordinal, 'C').wait())\n"
    )
    ran = subprocess.run(
        [sys.executable, str(scripts / "command.py")],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert (ran.stdout, ran.stderr, ran.returncode) == ("3\n", "", 0)
