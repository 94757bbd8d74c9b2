"""A bar on the terminal for one long piece of work, once it has lasted a while."""

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.progress import Progress

# What is done sooner needs no bar.
PATIENCE_S = 1.0


@contextmanager
def share_told(words: str) -> Iterator[Callable[[float], None]]:
    """Something to tell the share done to, 0 to 1; it draws on standard error, if that is a terminal.

    Parameters
    ----------
    words
        What is being done.
    """
    began = time.monotonic()
    drawn: list[Progress] = []

    def tell(share: float) -> None:
        if not drawn and time.monotonic() - began > PATIENCE_S and sys.stderr.isatty():
            drawn.append(_bar(words))
        for bar in drawn:
            bar.update(bar.task_ids[0], completed=share)

    try:
        yield tell
    finally:
        # However it ends, also by Ctrl-C, the line is cleared and the cursor is there again.
        for bar in drawn:
            bar.stop()


def _bar(words: str) -> "Progress":
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeRemainingColumn())
    bar = Progress(*columns, console=Console(stderr=True), transient=True, redirect_stdout=False, redirect_stderr=False)
    bar.add_task(words, total=1.0)
    bar.start()
    return bar
