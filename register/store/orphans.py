"""Files that nothing names any more, and what interrupted work left behind: found, and taken away under the lock."""

import os
import re
import sqlite3
import stat
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from register.errors import StoreBroken
from register.store import backup
from register.store.file_room import FILE_NAME, PASSING_NAME, FileRoom
from register.store.header import DATABASE
from register.store.queue import turn

# What `register.store.disk.passing_file` names in the folder and in backups/, and SQLite's journal of such a file.
_UNFINISHED = re.compile(rf"\.{re.escape(DATABASE)}\.[0-9a-f]{{8}}(-journal)?")


@dataclass(frozen=True)
class Loose:
    """A file of the register's folder that may go. `sha256` is empty for what was never finished."""

    path: Path
    bytes: int
    sha256: str = ""


def named_files(connection: sqlite3.Connection) -> dict[str, int]:
    """Hash and size in bytes of every file that a row names; raises sqlite3.Error."""
    return dict(connection.execute("SELECT sha256, bytes FROM stored_file"))


def remembered_files(connection: sqlite3.Connection) -> set[str]:
    """Hashes of the files that the history names: an undo may bring their rows back. Raises sqlite3.Error."""
    rows = connection.execute(
        "SELECT DISTINCT json_extract(coalesce(new, old), '$.sha256') FROM change WHERE row_table = 'stored_file'"
    )
    return {sha256 for (sha256,) in rows if isinstance(sha256, str) and FILE_NAME.fullmatch(sha256)}


def loose_files(folder: Path, before: datetime) -> tuple[Loose, ...]:
    """What neither the register nor a database in `backups/` needs, as it stands just now; nothing is taken away.

    Parameters
    ----------
    before
        Only files last changed before this moment: younger ones may belong to work that is going on.

    Raises
    ------
    StoreBroken
        If the folder or the database cannot be read, or a database in `backups/` does not say what it needs.
    """
    with backup.reading(folder / DATABASE) as connection:
        return _loose(folder, connection, before)


def take_away_loose_files(folder: Path, before: datetime) -> tuple[Loose, ...]:
    """Take away, under the write lock, what `loose_files` finds.

    Raises
    ------
    StoreBroken
        As `loose_files` does, with nothing removed; or if the disk does not let a file go.
    """
    with turn(folder), backup.reading(folder / DATABASE) as connection:
        # A file gets its place and its row under this lock, so that none is between the two now.
        connection.execute("BEGIN IMMEDIATE")
        try:
            return tuple(each for each in _loose(folder, connection, before) if _gone(each.path))
        finally:
            connection.execute("ROLLBACK")


def spare_files(folder: Path) -> tuple[str, ...]:
    """Hashes of the files that stand in their places and that only the history names; raises StoreBroken."""
    room = FileRoom(folder)
    with backup.reading(folder / DATABASE) as connection:
        only_remembered = remembered_files(connection) - named_files(connection).keys()
    return tuple(sorted(sha256 for sha256 in only_remembered if room.path(sha256).is_file()))


def links(folder: Path) -> tuple[Path, ...]:
    """Links among the files, where none may be; raises StoreBroken."""
    room = folder / "files"
    return tuple(Path(entry.path) for entry in _entries(room) if entry.is_symlink())


def _known(connection: sqlite3.Connection) -> set[str]:
    return set(named_files(connection)) | remembered_files(connection)


def _needed_by_backups(folder: Path) -> set[str]:
    needed: set[str] = set()
    for path in sorted((folder / backup.FOLDER).glob("*.db")):
        try:
            with backup.reading(path) as connection:
                needed |= _known(connection)
        except StoreBroken as broken:
            raise StoreBroken(
                f"No file can be removed: {path.name} in backups/ does not say which files it needs.",
                "Move it out of there, then try again.",
            ) from broken
    return needed


def _loose(folder: Path, connection: sqlite3.Connection, before: datetime) -> tuple[Loose, ...]:
    known = _known(connection)
    found = [each for each in _candidates(folder, before) if each.sha256 not in known]
    needed = _needed_by_backups(folder) if any(each.sha256 for each in found) else set()
    return tuple(each for each in found if each.sha256 not in needed)


def _candidates(folder: Path, before: datetime) -> Iterator[Loose]:
    """Plain, old files with names that this program gives."""
    for place in (folder, folder / backup.FOLDER):
        for entry in _listed(place):
            if _UNFINISHED.fullmatch(entry.name):
                yield from _if_old(entry, before)
    for entry in _entries(folder / "files"):
        if PASSING_NAME.fullmatch(entry.name):
            yield from _if_old(entry, before)
        elif FILE_NAME.fullmatch(entry.name) and Path(entry.path).parent.name == entry.name[:2]:
            yield from _if_old(entry, before, entry.name)


def _if_old(entry: os.DirEntry[str], before: datetime, sha256: str = "") -> Iterator[Loose]:
    try:
        found = entry.stat(follow_symlinks=False)
    except FileNotFoundError:
        return
    if stat.S_ISREG(found.st_mode) and datetime.fromtimestamp(found.st_mtime, UTC) < before:
        yield Loose(Path(entry.path), found.st_size, sha256)


def _entries(room: Path) -> Iterator[os.DirEntry[str]]:
    """Everything in the file room and in its folders; no link is followed."""
    for entry in _listed(room):
        yield entry
        if entry.is_dir(follow_symlinks=False):
            yield from _listed(Path(entry.path))


def _listed(folder: Path) -> list[os.DirEntry[str]]:
    try:
        with closing(os.scandir(folder)) as entries:
            return list(entries)
    except FileNotFoundError:
        return []
    except OSError as error:
        raise StoreBroken(
            f"The folder {folder} cannot be looked into: {error.strerror}.", "Check its permissions."
        ) from error


def _gone(path: Path) -> bool:
    try:
        path.unlink()
    except FileNotFoundError:
        return False
    except OSError as error:
        raise StoreBroken(f"{path} could not be removed: {error.strerror}.", "Check its permissions.") from error
    return True
