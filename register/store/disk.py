"""What must be on the disk before it counts, and putting a finished file in its place."""

import os
import secrets
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path


def sync_folder(folder: Path) -> None:
    """Wait until the names in `folder` are on the disk; raises OSError."""
    # Windows has no handle on a folder to sync; its rename is on the disk with the file system's own journal.
    if sys.platform == "win32":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def sync_file(path: Path) -> None:
    """Wait until the bytes of a file are on the disk; raises OSError."""
    with path.open("r+b") as file:
        os.fsync(file.fileno())


@contextmanager
def passing_file(folder: Path, name: str) -> Iterator[Path]:
    """A new, empty file under a passing name beside where it is to stand; gone after the block unless it was moved.

    Its permissions are those that the umask gives. Raises OSError.
    """
    path = folder / f".{name}.{secrets.token_hex(4)}"
    try:
        path.open("xb").close()
        yield path
    finally:
        for left in (path, path.with_name(f"{path.name}-journal")):
            with suppress(OSError):
                left.unlink(missing_ok=True)


def put_in_place(path: Path, target: Path) -> bool:
    """Move a finished file to `target` if nothing stands there; False if something does. Raises OSError."""
    try:
        os.link(path, target)
    except FileExistsError:
        return False
    except OSError:
        # A disk without hard links, as most sticks are.
        if target.exists():
            return False
        path.rename(target)
    else:
        path.unlink()
    sync_folder(target.parent)
    return True
