"""Slow work in a process of its own: it tells how far it is, can be stopped at any time, and never blocks a screen."""

import multiprocessing
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, redirect_stderr
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any, Generic, TypeVar

from register.errors import Cancelled, RegisterError

Result = TypeVar("Result")
Tell = Callable[[float], None]


class Work(Generic[Result]):
    """A function at work in a spawned process.

    Parameters
    ----------
    function
        Importable by its name.
    arguments
        Picklable.
    tells
        Whether the function takes `tell` by name: a call `tell(share)` says how far it is, 0 to 1.
    """

    def __init__(self, function: Callable[..., Result], *arguments: Any, tells: bool = False) -> None:
        context = multiprocessing.get_context("spawn")
        self._ours, theirs = context.Pipe(duplex=False)
        self._process = context.Process(target=_at_work, args=(theirs, function, arguments, tells), daemon=True)
        # While screens are open standard error is theirs and has no descriptor, which the new process would be given.
        with safe_path(), redirect_stderr(sys.__stderr__):
            self._process.start()
        theirs.close()

    def wait(
        self, on_progress: Tell = lambda share: None, stopped: Callable[[], bool] = lambda: False, poll_s: float = 0.05
    ) -> Result:
        """Wait for the result.

        Parameters
        ----------
        on_progress
            Called with each share told.
        stopped
            Asked every `poll_s` seconds; the process ends at once when it says True.

        Raises
        ------
        Cancelled
            If it was stopped.
        RegisterError
            What the function refused, or that its process died.
        """
        try:
            while not stopped():
                if not self._ours.poll(poll_s):
                    continue
                kind, value = self._received()
                if kind == "done":
                    return value  # type: ignore[no-any-return]
                if kind == "failed":
                    raise value
                on_progress(value)
            raise Cancelled("The work was stopped.", "Nothing was written.")
        finally:
            self.stop()

    def stop(self) -> None:
        """End the process, whatever it is doing."""
        if self._process.is_alive():
            self._process.terminate()
        self._process.join()
        self._ours.close()

    def _received(self) -> tuple[str, Any]:
        try:
            kind, value = self._ours.recv()
        except EOFError:
            self._process.join()
            raise RegisterError(
                f"The process at work ended by itself (code {self._process.exitcode}).",
                "Try again; if it was the memory, close other programs first.",
            ) from None
        return kind, value


def _at_work(pipe: Connection, function: Callable[..., Any], arguments: tuple[Any, ...], tells: bool) -> None:
    # What a fault or a library prints here would run across the screens.
    with Path(os.devnull).open("w") as nowhere:
        os.dup2(nowhere.fileno(), 2)
    words = {"tell": lambda share: pipe.send(("told", share))} if tells else {}
    try:
        pipe.send(("done", function(*arguments, **words)))
    except RegisterError as refused:
        pipe.send(("failed", refused))
    except BrokenPipeError:
        pass
    finally:
        pipe.close()


def safe_path() -> AbstractContextManager[None]:
    """A process started meanwhile imports nothing from the folder where the command was given."""
    # A child must not import a `register/` that happens to lie in the folder where the command was given.
    return environment(PYTHONSAFEPATH="1")


@contextmanager
def environment(**words: str) -> Iterator[None]:
    """Variables of the environment as given, and afterwards as before."""
    before = {name: os.environ.get(name) for name in words}
    os.environ.update(words)
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value
