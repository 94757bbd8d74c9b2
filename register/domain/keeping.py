"""Keeping the register: backups, what a restore and an archive hold, and what a check found."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum

# So many of the newest backups are kept, and of those before them one for each week.
NEWEST_KEPT = 10

RESTORE_WORDS = "restore the register from "


class BackupReason(StrEnum):
    """Why a backup was made; it stands in the backup's name."""

    ASKED = "asked"
    DAILY = "daily"
    BEFORE_UPGRADE = "before-upgrade"
    BEFORE_RESTORE = "before-restore"


_TIME = "%Y%m%dT%H%M%SZ"
_NAME = re.compile(rf"(\d{{8}}T\d{{6}}Z)-({'|'.join(BackupReason)})(?:-(\d{{1,3}}))?\.db")


@dataclass(frozen=True)
class Backup:
    """A backup in the register's folder. `name` is its file's name."""

    name: str
    made_at: datetime
    reason: BackupReason
    bytes: int = 0


def backup_name(made_at: datetime, reason: BackupReason, again: int = 1) -> str:
    """Name of a backup's file: its UTC time and why; `again` counts those of the same second."""
    count = "" if again == 1 else f"-{again}"
    return f"{made_at.astimezone(UTC):{_TIME}}-{reason}{count}.db"


def backup_named(name: str) -> Backup | None:
    """What the name of a backup says; None if the name is not one that `backup_name` gives."""
    found = _NAME.fullmatch(name)
    if found is None:
        return None
    try:
        made_at = datetime.strptime(found[1], _TIME).replace(tzinfo=UTC)
    except ValueError:
        return None
    return Backup(name, made_at, BackupReason(found[2]))


def no_longer_kept(backups: Iterable[Backup], now: datetime) -> tuple[Backup, ...]:
    """The backups that the rule lets go: all but the last ten and, of those before, the newest of each week.

    One made later than `now`, by a clock that was set otherwise, is left alone and does not count.
    """
    newest_first = sorted((each for each in backups if each.made_at <= now), key=age, reverse=True)
    kept_weeks: set[tuple[int, int]] = set()
    let_go = []
    for each in newest_first[NEWEST_KEPT:]:
        year, week, _ = each.made_at.isocalendar()
        if (year, week) in kept_weeks:
            let_go.append(each)
        kept_weeks.add((year, week))
    return tuple(let_go)


def age(backup: Backup) -> tuple[datetime, int, str]:
    """What backups are sorted by: their time, and within one second the count in their name."""
    return backup.made_at, len(backup.name), backup.name


@dataclass(frozen=True)
class Fault:
    """A thing that is wrong with the register, and what can be done about it; one sentence each."""

    what: str
    cure: str


@dataclass(frozen=True)
class CheckReport:
    """What was read of a register, and every fault that was found.

    `loose_files` are files that no row, no history and no backup names, and what interrupted work left behind, all
    older than an hour; `removed` are those of them that were taken away.
    """

    rows: int
    files: int
    backups: int
    newest_backup: str | None
    loose_files: int
    loose_bytes: int
    removed: tuple[str, ...]
    faults: tuple[Fault, ...]


@dataclass(frozen=True)
class BackupMade:
    """A backup that was made just now, and those that are kept, newest first."""

    made: str
    backups: tuple[Backup, ...]


@dataclass(frozen=True)
class Restored:
    """What a restore did.

    `before` names the backup of what was there before, None if nothing was; `damaged` says that it is damaged and was
    only put aside. The operations and rows are those of the register now.
    """

    source: str
    before: str | None
    damaged: bool
    operations: int
    files: int


@dataclass(frozen=True)
class Archive:
    """A whole register in one file, or unpacked from it. `path` is the file or the register's folder."""

    path: str
    schema: int
    operations: int
    files: int
    bytes: int


def is_restore(why: str) -> bool:
    """Whether an operation of the history notes a restore; it changed no row of its own."""
    return why.startswith(RESTORE_WORDS)
