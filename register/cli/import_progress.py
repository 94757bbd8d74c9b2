"""A bar on the terminal while a folder is taken in, and Ctrl-C that ends it in good order."""

import signal
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from threading import Event

from register.domain.mesh_imports import MeshImportProgress

_STOPS = ("SIGINT", "SIGTERM", "SIGHUP")


@contextmanager
def bar(wanted: bool) -> Iterator[Callable[[MeshImportProgress], None]]:
    """Something to tell the progress to; it draws on standard error, if that is a terminal and a bar is wanted."""
    if not wanted or not sys.stderr.isatty():
        yield lambda progress: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TextColumn("{task.fields[files]}"), TimeRemainingColumn())
    with Progress(
        *columns, console=Console(stderr=True), transient=True, redirect_stdout=False, redirect_stderr=False
    ) as drawn:
        task = drawn.add_task("looking", files="", total=None)

        def show(progress: MeshImportProgress) -> None:
            if progress.step != drawn.tasks[0].description:
                # What is left of one step is not told by how fast the one before went.
                drawn.reset(task)
            # By bytes: a hundred small files are soon done, and a large one is not.
            drawn.update(
                task,
                description=progress.step,
                files=f"{progress.files} of {progress.of_files} files",
                completed=progress.bytes,
                total=progress.of_bytes or None,
            )

        yield show


@contextmanager
def stops() -> Iterator[Callable[[], bool]]:
    """Whether the person asked to stop, by Ctrl-C or by ending the program; asked twice, it stops at once."""
    asked = Event()

    def ask(*_: object) -> None:
        if asked.is_set():
            raise KeyboardInterrupt
        asked.set()

    numbers = [getattr(signal, name) for name in _STOPS if hasattr(signal, name)]
    before = {number: signal.signal(number, ask) for number in numbers}
    try:
        yield asked.is_set
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
