"""The file room: files by the sha256 of their bytes, written once, checked when read."""

import hashlib
import os
import secrets
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from register.errors import StoreBroken


@dataclass(frozen=True)
class Staged:
    """A file on the disk under a temporary name, not yet in its place."""

    sha256: str
    bytes: int
    temporary: Path


class FileRoom:
    """The folder `files/` of a register."""

    def __init__(self, register_folder: Path) -> None:
        self.folder = register_folder / "files"

    def path(self, sha256: str) -> Path:
        """Where a file stands. The name is made of the hash alone, so no given name becomes a path."""
        if len(sha256) != 64 or any(sign not in "0123456789abcdef" for sign in sha256):
            raise StoreBroken("A row names a file by something that is not a hash.", "Run `pitwright check`.")
        return self.folder / sha256[:2] / sha256

    @contextmanager
    def staged(self, content: bytes) -> Iterator[Staged]:
        """Write `content` to the disk under a temporary name; gone after the block unless it was settled.

        Raises
        ------
        StoreBroken
            If the disk does not take it.
        """
        sha256 = hashlib.sha256(content).hexdigest()
        temporary = self.folder / f".{secrets.token_hex(8)}"
        try:
            self.folder.mkdir(exist_ok=True)
            with temporary.open("xb") as sink:
                sink.write(content)
                sink.flush()
                os.fsync(sink.fileno())
        except OSError as error:
            with suppress(OSError):
                temporary.unlink()
            raise self._not_taken(error) from error
        try:
            yield Staged(sha256, len(content), temporary)
        finally:
            temporary.unlink(missing_ok=True)

    def settle(self, staged: Staged) -> None:
        """Put a staged file in its place; call it inside the write transaction that adds its row."""
        target = self.path(staged.sha256)
        try:
            target.parent.mkdir(exist_ok=True)
            # A file that was tampered with is put right by its true bytes.
            if not _holds(target, staged.sha256):
                os.replace(staged.temporary, target)  # noqa: PTH105  # atomic on every platform
                _sync_folder(target.parent)
                _sync_folder(self.folder)
        except OSError as error:
            raise self._not_taken(error) from error

    def read(self, sha256: str) -> bytes:
        """The bytes of a file.

        Raises
        ------
        StoreBroken
            If it is missing or no longer what it was.
        """
        path = self.path(sha256)
        try:
            content = path.read_bytes()
        except OSError as error:
            raise StoreBroken(
                f"The file {path} cannot be read: {error.strerror}.", "Bring it back from a copy."
            ) from error
        if hashlib.sha256(content).hexdigest() != sha256:
            raise StoreBroken(f"The file {path} is no longer what it was.", "Bring it back from a copy.")
        return content

    def _not_taken(self, error: OSError) -> StoreBroken:
        return StoreBroken(
            f"The file room {self.folder} did not take the file: {error.strerror}.",
            "Check the space and the permissions; nothing was changed.",
        )


def _holds(path: Path, sha256: str) -> bool:
    return path.exists() and hashlib.sha256(path.read_bytes()).hexdigest() == sha256


def _sync_folder(folder: Path) -> None:
    # Windows has no handle on a folder to sync; its rename is on the disk with the file system's own journal.
    if sys.platform == "win32":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
