"""Bringing a backup back, into the open file under its lock: whoever has it open sees the change or waits for it."""

import os
import sqlite3
from contextlib import closing
from datetime import datetime
from pathlib import Path

from register.domain.keeping import RESTORE_WORDS, BackupReason, Restored
from register.domain.texts import NAME_LENGTH, shown
from register.errors import BadFile, NotFound, StoreBroken
from register.store import backup
from register.store.claims import claimed_register
from register.store.column_types import time_text
from register.store.disk import passing_file, put_in_place, sync_file, sync_folder
from register.store.file_room import FileRoom
from register.store.header import APPLICATION_ID, DATABASE, SCHEMA, broken, database_uri
from register.store.keys import new_key
from register.store.orphans import named_files
from register.store.queue import turn

_DAMAGED = ("SQLITE_NOTADB", "SQLITE_CORRUPT")


def restore(folder: Path, source: Path, now: datetime, who: str) -> Restored:
    """Make the register in `folder` what the database `source` holds.

    What is there now is backed up first, under the same lock, so that no write is lost between the two. Others that
    have the register open see the change, or are told to wait. A damaged database is put aside in `backups/` instead.

    Parameters
    ----------
    now
        Dates the backup of what is there.

    Raises
    ------
    NotFound
        If `folder` is no register's.
    BadFile
        If `source` is no whole register of this or an earlier version, or files that it names are not in the register.
    StoreBroken
        If what is there is another program's, is held by another program, or the disk does not take the change; then
        nothing was changed.
    """
    room = FileRoom(folder)
    if not (folder / DATABASE).exists() and not (folder / backup.FOLDER).is_dir():
        raise NotFound(f"There is no register in {folder}.", "Name the folder of a register.")
    if _is_same(source, folder / DATABASE):
        raise BadFile(
            f"{shown(str(source))} is the register itself.", "Name a backup; `pitwright backup --list` has them."
        )
    with claimed_register(source) as copy:
        files = named_files(copy)
        missing = sum(not room.holds(sha256, size) for sha256, size in files.items())
        if missing:
            raise BadFile(
                f"Of {len(files)} files that {shown(source.name)} names, {missing} are not in {room.folder}.",
                "Bring them back from a copy of that folder first; nothing was changed.",
            )
        try:
            before, damaged = _brought_back(folder, copy, source, now, who)
        except sqlite3.Error as error:
            raise broken(folder / DATABASE, error) from error
        except OSError as error:
            raise StoreBroken(
                f"The register in {folder} could not be replaced: {error.strerror}.",
                "Check the space and the permissions.",
            ) from error
        operations = backup.history_size(copy).operations
    return Restored(str(source), str(before) if before else None, damaged, operations, len(files))


def _brought_back(
    folder: Path, copy: sqlite3.Connection, source: Path, now: datetime, who: str
) -> tuple[Path | None, bool]:
    """The copy of what was there before, and whether that was damaged."""
    path = folder / DATABASE
    with turn(folder, backup.WAIT_S):
        if not path.exists():
            with passing_file(folder, DATABASE) as passing:
                _write_whole(copy, passing)
                if not put_in_place(passing, path):
                    raise StoreBroken(f"Another program made {path} meanwhile.", "Restore again.")
            return None, False
        with closing(_opened(path)) as live:
            before = _backed_up_and_locked(live, path, now, source)
            if before is not None:
                _write_into(copy, live)
                why = f"{RESTORE_WORDS}{shown(source.name)[:NAME_LENGTH]}; what was before is {before.name}"
                _note(live, now, who, why)
                return before, False
        return _put_aside(folder, copy, now), True


def _opened(path: Path) -> sqlite3.Connection:
    return sqlite3.connect(database_uri(path), uri=True, timeout=backup.WAIT_S, isolation_level=None)


def _backed_up_and_locked(live: sqlite3.Connection, path: Path, now: datetime, source: Path) -> Path | None:
    """Back `live` up, and keep everybody else out until it closes; None if it is damaged, with nothing done."""
    try:
        (application,) = live.execute("PRAGMA application_id").fetchone()
        if application == APPLICATION_ID:
            return _locked_after_backup(live, path.parent, now, source)
    except (StoreBroken, sqlite3.DatabaseError) as error:
        # A copy is looked over whole; only where it fails is it asked whether the register itself is the reason.
        if _is_damaged(live, error):
            return None
        raise
    raise StoreBroken(f"{path} is a database, but not a register.", "Move it out of there first.")


def _is_damaged(live: sqlite3.Connection, error: Exception) -> bool:
    try:
        return not backup.is_sound(live)
    except sqlite3.DatabaseError as again:
        names = {getattr(each, "sqlite_errorname", "") for each in (again, error)}
        return any(name.startswith(_DAMAGED) for name in names)


def _locked_after_backup(live: sqlite3.Connection, folder: Path, now: datetime, source: Path) -> Path:
    def version() -> int:
        return int(live.execute("PRAGMA data_version").fetchone()[0])

    def back_up() -> Path:
        return backup.backup_of(live, folder, now, BackupReason.BEFORE_RESTORE, spared=source)

    seen = version()
    before = back_up()
    # In this mode the lock outlasts the transaction that takes it, so that another backup can be read in under it.
    live.execute("PRAGMA locking_mode = EXCLUSIVE")
    live.execute("PRAGMA journal_mode = TRUNCATE")
    live.execute("PRAGMA synchronous = FULL")
    live.execute("BEGIN EXCLUSIVE")
    live.execute("ROLLBACK")
    # Somebody who does not stand in line may have written meanwhile.
    return before if version() == seen else back_up()


def _write_into(copy: sqlite3.Connection, live: sqlite3.Connection) -> None:
    """Read all pages of `copy` into `live`, by its journal: cut off in the middle, it is what it was before."""
    copy.backup(live)
    if backup.history_size(live) != backup.history_size(copy):
        raise StoreBroken("The register is not what was restored.", "Check the disk, then restore again.")


def _note(live: sqlite3.Connection, now: datetime, who: str, why: str) -> None:
    """Note the restore in the history, unless it is one of an earlier schema: an upgrade follows then."""
    if live.execute("PRAGMA user_version").fetchone() != (SCHEMA,):
        return
    live.execute(
        "INSERT INTO operation (seq, key, station, at, who, why) "
        "SELECT (SELECT coalesce(max(seq), 0) + 1 FROM operation), ?, station, ?, ?, ? FROM register_identity",
        (new_key(now), time_text(now), who, why),
    )


def _is_same(one: Path, other: Path) -> bool:
    try:
        return one.samefile(other)
    except (OSError, ValueError):
        return False


def _put_aside(folder: Path, copy: sqlite3.Connection, now: datetime) -> Path:
    """Put the damaged database and its journal into `backups/`, and a new one in its place."""
    path = folder / DATABASE
    journal = path.with_name(f"{DATABASE}-journal")
    backups = folder / backup.FOLDER
    backups.mkdir(exist_ok=True)
    with passing_file(folder, DATABASE) as passing:
        _write_whole(copy, passing)
        aside = _free_name(backups, f"{now:%Y%m%dT%H%M%SZ}-damaged")
        # Its journal would be played back into the new one.
        if journal.exists():
            journal.rename(aside.with_name(f"{aside.name}-journal"))
        try:
            os.link(path, aside)
        except OSError:
            path.rename(aside)
        os.replace(passing, path)  # noqa: PTH105  # atomic on every platform
        sync_folder(folder)
        sync_folder(backups)
    return aside


def _free_name(folder: Path, stem: str) -> Path:
    again = 1
    while (path := folder / (f"{stem}.db" if again == 1 else f"{stem}-{again}.db")).exists():
        again += 1
    return path


def _write_whole(copy: sqlite3.Connection, target: Path) -> None:
    with closing(_opened(target)) as made:
        made.execute("PRAGMA synchronous = FULL")
        copy.backup(made)
    sync_file(target)
