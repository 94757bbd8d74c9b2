"""Files outside the register that a person wants taken in: what lies in a folder, and the bytes of one."""

import hashlib
import os
import stat
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from io import BufferedReader
from pathlib import Path

from register.domain.mesh_imports import FoundFile
from register.errors import BadFile
from register.store.file_room import LARGEST_BYTES

# More than any shop draws; a whole disk that was named by mistake is refused before it is walked through.
MOST_ENTRIES = 50_000
DEEPEST = 32


@dataclass(frozen=True)
class Looked:
    """What lies in a folder: files of the endings wanted, and each other thing with why it is left. Paths have `/`."""

    files: tuple[FoundFile, ...]
    left: tuple[tuple[str, str], ...]


def look_through(folder: Path, endings: tuple[str, ...]) -> Looked:
    """Every plain file with one of the endings, in the folder and in those within; by path.

    Parameters
    ----------
    endings
        In small letters, with their point.

    Raises
    ------
    BadFile
        If it is no folder, cannot be looked into, or holds too much.

    Notes
    -----
    Hidden files and folders are passed over. Links are not followed.
    """
    if not folder.is_dir():
        what = "is a file" if folder.exists() else "does not exist"
        raise BadFile(f"{folder} {what}.", "Name a folder with mesh files in it.")
    files: list[FoundFile] = []
    left: list[tuple[str, str]] = []
    for seen, (path, entry, why) in enumerate(_entries(folder)):
        if seen >= MOST_ENTRIES:
            raise BadFile(f"{folder} holds more than {MOST_ENTRIES} files.", "Import the folders in it one by one.")
        if why:
            left.append((path, why))
        elif not path.casefold().endswith(endings):
            left.append((path, ""))
        else:
            files.append(FoundFile(path, entry.stat(follow_symlinks=False).st_size))
    return Looked(tuple(sorted(files, key=lambda each: each.path)), tuple(sorted(left)))


def outside_hash(path: Path) -> str:
    """The sha256 of a file, which is not kept in memory; raises BadFile."""
    with _opened(path) as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def outside_bytes(path: Path) -> bytes:
    """A file whole; raises BadFile."""
    with _opened(path) as file:
        return file.read(LARGEST_BYTES + 1)


def _entries(folder: Path) -> Iterator[tuple[str, "os.DirEntry[str]", str]]:
    """(path below the folder, entry, why it is left or "") of everything but folders that could be looked into."""
    try:
        waiting = [("", entry) for entry in _listed(str(folder))]
    except OSError as error:
        raise BadFile(f"{folder} cannot be looked into: {error.strerror}.", "Check its permissions.") from error
    while waiting:
        below, entry = waiting.pop()
        path = f"{below}{entry.name}"
        if entry.is_symlink():
            yield path, entry, "is a link"
        elif not entry.is_dir(follow_symlinks=False):
            yield path, entry, "" if entry.is_file(follow_symlinks=False) else "is no plain file"
        elif path.count("/") >= DEEPEST:
            yield path, entry, f"lies more than {DEEPEST} folders deep"
        else:
            try:
                waiting += [(f"{path}/", each) for each in _listed(entry.path)]
            except OSError as error:
                yield path, entry, f"cannot be looked into ({error.strerror})"


def _listed(place: str) -> list["os.DirEntry[str]"]:
    with closing(os.scandir(place)) as entries:
        return [entry for entry in entries if not entry.name.startswith(".")]


@contextmanager
def _opened(path: Path) -> Iterator[BufferedReader]:
    # Neither a link nor a pipe that was put there meanwhile is followed or waited for.
    safely = getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0) | getattr(os, "O_NONBLOCK", 0)
    try:
        with open(path, "rb", opener=lambda name, flags: os.open(name, flags | safely)) as file:
            found = os.fstat(file.fileno())
            if not stat.S_ISREG(found.st_mode):
                raise BadFile(f"{path.name} is no plain file.", "Put the file itself there.")
            if found.st_size > LARGEST_BYTES:
                raise BadFile(f"{path.name} is larger than {LARGEST_BYTES // 1_000_000} MB.", "Save it coarser.")
            yield file
    except OSError as error:
        raise BadFile(f"{path.name} cannot be read: {error.strerror}.", "Check its permissions.") from error
