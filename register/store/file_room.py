"""The file room: files by the sha256 of their bytes, written once, checked when read."""

import hashlib
import os
import re
import secrets
import stat
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from io import BufferedReader
from pathlib import Path

from register.errors import BadFile, StoreBroken
from register.store.disk import sync_folder

# Larger than any part's mesh or drawing; a file is held in memory while it is read.
LARGEST_BYTES = 200_000_000
_SYNCS_AT_ONCE = 8
# The names that this room gives: a file's, and a passing one.
FILE_NAME = re.compile(r"[0-9a-f]{64}")
PASSING_NAME = re.compile(r"\.[0-9a-f]{16}")


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
        if not FILE_NAME.fullmatch(sha256):
            raise StoreBroken("A row names a file by something that is not a hash.", "Run `pitwright check`.")
        return self.folder / sha256[:2] / sha256

    @contextmanager
    def staged(self, content: bytes) -> Iterator[Staged]:
        """Write `content` to the disk under a temporary name; gone after the block unless it was settled.

        Raises
        ------
        BadFile
            If it is too large.
        StoreBroken
            If the disk does not take it.
        """
        if len(content) > LARGEST_BYTES:
            raise BadFile(f"The file is larger than {LARGEST_BYTES // 1_000_000} MB.", "Save it coarser.")
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

    def settle(self, *staged: Staged) -> None:
        """Put staged files in their places; call it inside the write transaction that adds their rows."""
        moved: set[Path] = set()
        try:
            for each in staged:
                target = self.path(each.sha256)
                if target.parent.is_symlink():
                    raise self._leads_away(target.parent)
                target.parent.mkdir(exist_ok=True)
                # A file that was tampered with is put right by its true bytes.
                if not _holds(target, each.sha256):
                    os.replace(each.temporary, target)  # noqa: PTH105  # atomic on every platform
                    moved |= {target.parent, self.folder}
            _sync_folders(moved)
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
        with self._opened(path) as file:
            content = file.read(LARGEST_BYTES + 1)
        if hashlib.sha256(content).hexdigest() != sha256:
            raise _changed(path)
        return content

    def verify(self, sha256: str) -> None:
        """Read a file whole without keeping it; raises StoreBroken as `read` does."""
        path = self.path(sha256)
        with self._opened(path) as file:
            found = hashlib.file_digest(file, "sha256").hexdigest()
        if found != sha256:
            raise _changed(path)

    def holds(self, sha256: str, size_bytes: int) -> bool:
        """Whether a file of that size stands in its place; its bytes are not read."""
        if not FILE_NAME.fullmatch(sha256):
            return False
        path = self.path(sha256)
        try:
            found = path.lstat()
            return stat.S_ISREG(found.st_mode) and found.st_size == size_bytes and not path.parent.is_symlink()
        except OSError:
            return False

    @contextmanager
    def _opened(self, path: Path) -> Iterator[BufferedReader]:
        """An open file of this room: no link, no folder, no pipe, and no larger than a file may be."""
        try:
            if path.parent.is_symlink() or path.is_symlink():
                raise self._leads_away(path if path.is_symlink() else path.parent)
            # Where the system knows how, also a link that was put there this very moment is not followed.
            unlinked = getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0) | getattr(os, "O_NONBLOCK", 0)
            with open(path, "rb", opener=lambda name, flags: os.open(name, flags | unlinked)) as file:
                found = os.fstat(file.fileno())
                if not stat.S_ISREG(found.st_mode) or found.st_size > LARGEST_BYTES:
                    raise _changed(path)
                yield file
        except OSError as error:
            raise StoreBroken(
                f"The file {path} cannot be read: {error.strerror}.", "Bring it back from a copy."
            ) from error

    def _leads_away(self, path: Path) -> StoreBroken:
        return StoreBroken(
            f"In the file room {self.folder}, {path.relative_to(self.folder)} is a link.",
            "Put the files themselves there.",
        )

    def _not_taken(self, error: OSError) -> StoreBroken:
        return StoreBroken(
            f"The file room {self.folder} did not take the file: {error.strerror}.",
            "Check the space and the permissions; nothing was changed.",
        )


def _sync_folders(folders: set[Path]) -> None:
    if len(folders) <= 2:
        for folder in folders:
            sync_folder(folder)
        return
    # Many at once cost the disk little more than one, and the lock is held meanwhile.
    with ThreadPoolExecutor(_SYNCS_AT_ONCE) as together:
        list(together.map(sync_folder, folders))


def _changed(path: Path) -> StoreBroken:
    return StoreBroken(f"The file {path} is no longer what it was.", "Bring it back from a copy.")


def _holds(path: Path, sha256: str) -> bool:
    if path.is_symlink() or not path.is_file() or path.stat().st_size > LARGEST_BYTES:
        return False
    return hashlib.sha256(path.read_bytes()).hexdigest() == sha256
