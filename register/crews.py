"""Many tasks over all cores: processes that are started once and do one after another, none stopping another."""

import math
import multiprocessing
import os
import signal
import sys
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from contextlib import AbstractContextManager, ExitStack, contextmanager, redirect_stderr, suppress
from dataclasses import dataclass
from multiprocessing import resource_tracker
from multiprocessing.connection import Connection, wait
from pathlib import Path
from threading import Thread
from typing import Any, Generic, TypeVar

from register.errors import Cancelled, Refused, RegisterError
from register.workers import environment, safe_path

Result = TypeVar("Result")
Key = TypeVar("Key")


def cores() -> int:
    """How many cores this program may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


@dataclass(frozen=True)
class Task(Generic[Key]):
    """Something for a crew to do: `load` gives the arguments when its turn has come, `weight` says what it costs."""

    key: Key
    load: Callable[[], tuple[Any, ...]]
    weight: float = 0.0


class Crew(Generic[Key, Result]):
    """Spawned processes that do one task after another, all by the same function; leave it to end them.

    Parameters
    ----------
    function
        Importable by its name; called with a task's arguments and then with `shared`.
    shared
        Picklable; sent once to each process.
    workers
        How many processes, at least 1.
    longest_s
        A task that takes longer is refused, and its process ended and replaced.
    most_weight
        Tasks are at work together up to this weight; a heavier one is at work alone.

    Notes
    -----
    One task never stops another: a process that dies takes its own task along and is replaced. Ctrl-C in the terminal
    does not reach the processes, and they end by themselves when this one is killed.
    """

    def __init__(
        self,
        function: Callable[..., Result],
        *shared: Any,
        workers: int,
        longest_s: float = math.inf,
        most_weight: float = math.inf,
    ) -> None:
        self._work = (function, shared)
        self._longest_s, self._most_weight = longest_s, most_weight
        self._crew: list[_Worker[Key]] = []
        with ExitStack() as if_not_all:
            if_not_all.callback(self.stop)
            for _ in range(max(workers, 1)):
                self._crew.append(_Worker(*self._work))
            if_not_all.pop_all()

    def __enter__(self) -> "Crew[Key, Result]":
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    def stop(self) -> None:
        """End every process, whatever it is doing."""
        for worker in self._crew:
            worker.stop()

    def results(
        self, tasks: Iterable[Task[Key]], stopped: Callable[[], bool] = lambda: False, poll_s: float = 0.05
    ) -> Iterator[tuple[Key, Result | RegisterError]]:
        """What came of each task, as they are done; whoever is free has the next one before a result is given.

        Raises
        ------
        Cancelled
            Once `stopped`, asked every `poll_s` seconds, says True.
        """
        waiting = deque(tasks)
        ready: list[tuple[Key, Result | RegisterError]] = []
        while waiting or ready or any(worker.task for worker in self._crew):
            ready += self._handed_out(waiting)
            yield from ready
            if stopped():
                raise Cancelled("The work was stopped.", "What was done before stands.")
            ready = self._done(poll_s)

    def _handed_out(self, waiting: "deque[Task[Key]]") -> Iterator[tuple[Key, RegisterError]]:
        """Give waiting tasks to who is free; those that cannot even be loaded are given back."""
        for place, worker in enumerate(self._crew):
            while waiting and not worker.task:
                held = sum(other.task.weight for other in self._crew if other.task)
                if held and held + waiting[0].weight > self._most_weight:
                    return
                task = waiting.popleft()
                if worker.dead:
                    worker = self._crew[place] = _Worker(*self._work)  # noqa: PLW2901  # the place has a new one
                try:
                    worker.begin(task, self._longest_s)
                except RegisterError as refused:
                    yield task.key, refused

    def _done(self, poll_s: float) -> list[tuple[Key, Result | RegisterError]]:
        at_work = [worker for worker in self._crew if worker.task]
        heard = set(wait([worker.pipe for worker in at_work], poll_s)) if at_work else set()
        found: list[tuple[Key, Result | RegisterError]] = []
        for worker in at_work:
            if worker.pipe in heard:
                found.append(worker.outcome())
            elif time.monotonic() > worker.until:
                found.append(worker.given_up(self._longest_s))
        return found


class _Worker(Generic[Key]):
    """One process of a crew, and the task that it is at."""

    def __init__(self, function: Callable[..., Any], shared: tuple[Any, ...]) -> None:
        context = multiprocessing.get_context("spawn")
        self.pipe, theirs = context.Pipe()
        self.task: Task[Key] | None = None
        self.until = math.inf
        self.dead = False
        self._process = context.Process(target=_in_a_crew, args=(theirs, function, shared), daemon=True)
        with safe_path(), _one_thread(), _undisturbed(), redirect_stderr(sys.__stderr__):
            self._process.start()
        theirs.close()

    def begin(self, task: Task[Key], longest_s: float) -> None:
        """Send the task over; raises what loading it raises."""
        arguments = task.load()
        self.task, self.until = task, time.monotonic() + longest_s
        # One that died while it had nothing to do is found out when it is listened to.
        with suppress(BrokenPipeError, ConnectionResetError):
            self.pipe.send(arguments)

    def outcome(self) -> tuple[Key, Any]:
        """What came of the task; a process that died is ended for good."""
        try:
            value = self.pipe.recv()
        except (EOFError, ConnectionResetError):
            self.stop()
            return self._free(), RegisterError(
                f"The process at work on it ended by itself (code {self._process.exitcode}).",
                "Try it alone; if it was the memory, close other programs first.",
            )
        return self._free(), value

    def given_up(self, longest_s: float) -> tuple[Key, RegisterError]:
        """End a process that takes too long."""
        self.stop()
        return self._free(), Refused(
            f"It was given up after {longest_s:g} s.", "Make it simpler, or give it more time."
        )

    def stop(self) -> None:
        """End the process, whatever it is doing; it has nothing to clear away."""
        if not self.dead:
            self._process.kill()
            self._process.join()
            self.pipe.close()
            self.dead = True

    def _free(self) -> Key:
        assert self.task is not None
        key, self.task = self.task.key, None
        return key


def _in_a_crew(pipe: Connection, function: Callable[..., Any], shared: tuple[Any, ...]) -> None:
    # Ctrl-C is for the one who is in charge of the crew, where the system could not keep it from here.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    Thread(target=_end_with, args=(multiprocessing.parent_process(),), daemon=True).start()
    with Path(os.devnull).open("w") as nowhere:
        for stream in (1, 2):
            os.dup2(nowhere.fileno(), stream)
    with suppress(EOFError, BrokenPipeError, ConnectionResetError):
        while True:
            arguments = pipe.recv()
            try:
                outcome: Any = function(*arguments, *shared)
            except RegisterError as refused:
                outcome = refused
            del arguments
            pipe.send(outcome)


def _end_with(parent: Any) -> None:
    """End this process when the one that started it is gone, also from the middle of a task."""
    parent.join()
    os._exit(1)


@contextmanager
def _undisturbed() -> Iterator[None]:
    """A process started meanwhile is born deaf to Ctrl-C and to the terminal's end, which come to all in a terminal."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    # What the library starts beside the first process lets Ctrl-C through again, so it comes before.
    resource_tracker.ensure_running()
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT, signal.SIGHUP})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _one_thread() -> AbstractContextManager[None]:
    # The crew has a process for each core already; threads of the arithmetic beside it would only be in the way.
    return environment(OPENBLAS_NUM_THREADS="1", OMP_NUM_THREADS="1")
