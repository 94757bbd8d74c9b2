"""The queue in front of the write lock: who comes first writes first, whichever process or thread it is.

SQLite's own lock keeps two from writing at once, but whoever asks at the right moment gets it, so that one terminal may
starve. Here each that wants to write lays down a ticket, an empty file that it holds locked, and waits until nobody who
came before holds one. The queue is a courtesy and never the guard: where tickets cannot be laid or locked (some network
shares, a folder that may not be written) all goes on without it, and SQLite's own wait remains.
"""

import os
import secrets
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from register.errors import StoreBroken

QUEUE = "queue"
LONGEST_S = 10.0
# How often the one next in line looks; who stands further back looks less often.
_LOOK_S = 0.002
_LONGEST_LOOK_S = 0.02
_TRIES = 5

if sys.platform == "win32":
    import msvcrt

    def _locked(handle: int) -> bool:
        """Lock an open ticket unless another has it locked; closing it lets it go, and so does the end of a process."""
        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        except PermissionError:
            return False
        return True
else:
    import fcntl

    def _locked(handle: int) -> bool:
        """Lock an open ticket unless another has it locked; closing it lets it go, and so does the end of a process."""
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True


@dataclass(frozen=True)
class _Ticket:
    path: Path
    handle: int


@contextmanager
def turn(folder: Path, longest_s: float = LONGEST_S) -> Iterator[None]:
    """Wait until all who came before have written, and hold the place for as long as the block lasts.

    Parameters
    ----------
    folder
        The register's folder; the tickets lie in `queue/` there.
    longest_s
        How long to wait at most, seconds.

    Raises
    ------
    StoreBroken
        If others have been writing all that time.

    Notes
    -----
    The system lets a lock go with the process that held it, so one that was killed keeps nobody waiting.
    """
    ticket = _ticket(folder / QUEUE)
    try:
        if ticket is not None:
            _wait(ticket, longest_s)
        yield
    finally:
        if ticket is not None:
            _give_up(ticket)


def _ticket(room: Path) -> _Ticket | None:
    """A new ticket, locked; None where there can be none."""
    try:
        room.mkdir(exist_ok=True)
        for _ in range(_TRIES):
            # Names order by time; the noise tells those of one moment apart.
            path = room / f"{time.time_ns():020d}-{secrets.token_hex(4)}"
            ticket = _Ticket(path, os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o666))
            # Another that looked between the two steps took it for one left behind, and removed it.
            if _held(ticket):
                return ticket
            _give_up(ticket)
    except OSError:
        return None
    return None


def _held(ticket: _Ticket) -> bool:
    try:
        return _locked(ticket.handle) and ticket.path.exists()
    except OSError:
        _give_up(ticket)
        raise


def _give_up(ticket: _Ticket) -> None:
    # Removed while it is locked, so that nobody takes it for one left behind.
    with suppress(OSError):
        ticket.path.unlink()
    os.close(ticket.handle)
    if sys.platform == "win32":
        # There, an open file stays; whoever has it open just now removes it.
        with suppress(OSError):
            ticket.path.unlink()


def _wait(ticket: _Ticket, longest_s: float) -> None:
    until = time.monotonic() + longest_s
    while ahead := _ahead(ticket.path):
        if time.monotonic() >= until:
            raise StoreBroken(
                f"The register {ticket.path.parent.parent} was not reached: another terminal has been writing "
                f"for {longest_s:g} s.",
                "Wait a moment and try again; nothing was changed.",
            )
        time.sleep(min(_LOOK_S * ahead * ahead, _LONGEST_LOOK_S))


def _ahead(own: Path) -> int:
    """How many stand before `own`; tickets that were left behind are removed on the way."""
    try:
        names = os.listdir(own.parent)  # noqa: PTH208  # names are all that is asked
    except OSError:
        return 0
    before = sorted(name for name in names if len(name) == len(own.name) and name < own.name)
    for place, name in enumerate(before):
        if _in_use(own.parent / name):
            return len(before) - place
    return 0


def _in_use(path: Path) -> bool:
    """Whether a living process holds a ticket; one that cannot be told does not count, so that it never blocks."""
    try:
        handle = os.open(path, os.O_RDWR)
    except OSError:
        return False
    left_behind = False
    try:
        left_behind = _locked(handle)
    except OSError:
        return False
    finally:
        if left_behind:
            _give_up(_Ticket(path, handle))
        else:
            os.close(handle)
    return not left_behind
