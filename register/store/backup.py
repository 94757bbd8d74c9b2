"""Backups: a consistent copy of the database beside it, made while others write, verified, and kept by a rule.

A backup holds no files of the file room: those are written once, and none is taken away that a backup needs.
"""

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from register.domain.keeping import Backup, BackupReason, age, backup_name, backup_named, no_longer_kept
from register.errors import StoreBroken
from register.store.disk import passing_file, put_in_place, sync_file
from register.store.header import APPLICATION_ID, DATABASE, broken, database_uri

FOLDER = "backups"
# How long to wait for one who is writing, seconds; less where a person only wants to write something.
WAIT_S, DAILY_WAIT_S = 30.0, 5.0


@dataclass(frozen=True)
class HistorySize:
    """How much of a history a database holds; a whole copy holds as much."""

    operations: int
    changes: int


def make_backup(folder: Path, now: datetime, why: BackupReason) -> Path:
    """Back the register in `folder` up into its `backups/`; others may go on reading and writing.

    Afterwards older backups are let go by the rule of `register.domain.keeping`.

    Parameters
    ----------
    now
        Stands in the name.

    Returns
    -------
    Path
        The backup, verified and on the disk.

    Raises
    ------
    StoreBroken
        If the database cannot be read or the copy not written; nothing is changed then.
    """
    with reading(folder / DATABASE) as source:
        return backup_of(source, folder, now, why)


def back_up_daily(folder: Path, now: datetime) -> None:
    """Back up what the days before left, if nobody did yet and today's first write is still to come.

    A register without history, or written today already, costs one look at its last operation.

    Raises
    ------
    StoreBroken
        As `make_backup` does.
    """
    with reading(folder / DATABASE, DAILY_WAIT_S) as source:
        last = source.execute("SELECT at FROM operation ORDER BY seq DESC LIMIT 1").fetchone()
        if last is None or str(last[0])[:10] == f"{now.astimezone(UTC):%Y-%m-%d}":
            return
        if _of_the_day(folder / FOLDER, now) is None:
            backup_of(source, folder, now, BackupReason.DAILY)


def backup_of(
    source: sqlite3.Connection, folder: Path, now: datetime, why: BackupReason, spared: Path | None = None
) -> Path:
    """`make_backup` of what an open connection sees; raises sqlite3.Error where that cannot be read.

    `spared` is a backup that is in use, so that the rule does not take it away.
    """
    backups = folder / FOLDER
    try:
        backups.mkdir(exist_ok=True)
        with passing_file(backups, DATABASE) as passing:
            snapshot(source, passing)
            made = _settled(passing, backups, now, why)
    except OSError as error:
        raise StoreBroken(
            f"The backup could not be written to {backups}: {error.strerror}.",
            "Check the space and the permissions; nothing was changed.",
        ) from error
    _let_go(backups, now, {made.name, spared.name if spared else made.name})
    return made


def list_backups(folder: Path) -> tuple[Backup, ...]:
    """The backups that pitwright made in the register of `folder`, newest first; raises StoreBroken."""
    return tuple(sorted(_in(folder / FOLDER), key=age, reverse=True))


def snapshot(source: sqlite3.Connection, target: Path) -> HistorySize:
    """Copy one consistent state of `source` into the empty file `target`, verify it, and wait for the disk.

    Raises
    ------
    StoreBroken
        If the disk does not take the copy, or the copy is not what the source was.
    OSError
        If the copy cannot be brought to the disk.
    """
    # One open transaction for the counts and the copy: they are of the same state. The copy is made in one step,
    # since copying by and by starts afresh at each write of another and never ended among busy writers.
    source.execute("BEGIN")
    try:
        size = history_size(source)
        _copied(source, target)
    finally:
        source.execute("ROLLBACK")
    sync_file(target)
    with reading(target) as copy:
        if not is_sound(copy) or history_size(copy) != size:
            raise StoreBroken(f"The copy {target} is not what was copied.", "Check the disk, and try again.")
    return size


def said_against(path: Path, whole: bool) -> str | None:
    """What is wrong with a backup, in words, if anything.

    Parameters
    ----------
    whole
        Read all of it, not only its head and its history.
    """
    try:
        with reading(path) as connection:
            (application,) = connection.execute("PRAGMA application_id").fetchone()
            if application != APPLICATION_ID:
                return "it is no register"
            history_size(connection)
            if whole and not is_sound(connection):
                return "it is damaged"
    except StoreBroken:
        return "it cannot be read"
    return None


@contextmanager
def reading(path: Path, wait_s: float = WAIT_S) -> Iterator[sqlite3.Connection]:
    """A passing connection for reading; what SQLite says against it becomes a sentence of StoreBroken."""
    try:
        connection = sqlite3.connect(database_uri(path), uri=True, timeout=wait_s, isolation_level=None)
        with closing(connection):
            # Nothing that a foreign file brings along may run.
            connection.execute("PRAGMA trusted_schema = OFF")
            yield connection
    except sqlite3.Error as error:
        raise broken(path, error) from error


def history_size(connection: sqlite3.Connection) -> HistorySize:
    """Rows of the history; raises sqlite3.Error."""
    (operations,) = connection.execute("SELECT count(*) FROM operation").fetchone()
    (changes,) = connection.execute("SELECT count(*) FROM change").fetchone()
    return HistorySize(operations, changes)


def is_sound(connection: sqlite3.Connection) -> bool:
    """Whether a database says of itself that it is a register and whole; raises sqlite3.Error."""
    (application,) = connection.execute("PRAGMA application_id").fetchone()
    (said,) = connection.execute("PRAGMA integrity_check(1)").fetchone()
    return bool(application == APPLICATION_ID and said == "ok")


def _copied(source: sqlite3.Connection, target: Path) -> None:
    try:
        with closing(sqlite3.connect(database_uri(target), uri=True, isolation_level=None)) as copy:
            # A copy that fails is thrown away, so it needs no journal.
            copy.execute("PRAGMA journal_mode = OFF")
            source.backup(copy)
    except sqlite3.Error as error:
        full = getattr(error, "sqlite_errorname", "").startswith(("SQLITE_FULL", "SQLITE_IOERR_WRITE"))
        if not full:
            raise
        raise StoreBroken(
            f"The copy of the register could not be written to {target.parent}: the disk takes no more.",
            "Free some space and do it again; nothing was changed.",
        ) from error


def _settled(passing: Path, backups: Path, now: datetime, why: BackupReason) -> Path:
    # Another terminal may have been faster; one a day is enough.
    standing = _of_the_day(backups, now) if why is BackupReason.DAILY else None
    if standing is not None:
        return backups / standing.name
    again = 1
    while not put_in_place(passing, backups / backup_name(now, why, again)):
        again += 1
    return backups / backup_name(now, why, again)


def _of_the_day(backups: Path, now: datetime) -> Backup | None:
    today = now.astimezone(UTC).date()
    found = (each for each in _in(backups) if each.reason is BackupReason.DAILY and each.made_at.date() == today)
    return next(found, None)


def _let_go(backups: Path, now: datetime, spared: set[str]) -> None:
    for each in no_longer_kept(_in(backups), now):
        # What cannot be taken away now is at the next backup.
        if each.name not in spared:
            with suppress(OSError):
                (backups / each.name).unlink()


def _in(backups: Path) -> Iterator[Backup]:
    try:
        if not backups.is_dir():
            return
        for path in backups.iterdir():
            backup = backup_named(path.name)
            if backup is not None and path.is_file() and not path.is_symlink():
                yield replace(backup, bytes=path.stat().st_size)
    except OSError as error:
        raise StoreBroken(
            f"The folder {backups} cannot be looked into: {error.strerror}.", "Check its permissions."
        ) from error
