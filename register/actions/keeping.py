"""Keeping the register: backing it up, bringing a backup back, and all of it in one file."""

from datetime import datetime
from pathlib import Path

from register.domain.keeping import Archive, Backup, BackupMade, BackupReason, Restored
from register.domain.texts import clean_text, shown
from register.errors import BadFile, NotAllowed, NotFound
from register.opening import Register
from register.store import archive, backup, restore, unpacking


def back_up(register: Register) -> BackupMade:
    """Back the register up while others go on; raises StoreBroken."""
    made = backup.make_backup(register.folder, register.clock(), BackupReason.ASKED)
    return BackupMade(made.name, backup.list_backups(register.folder))


def list_backups(folder: Path) -> tuple[Backup, ...]:
    """The backups of the register in `folder`, newest first; the register itself need not be sound."""
    return backup.list_backups(folder)


def restore_register(folder: Path, wanted: str, who: str, now: datetime) -> Restored:
    """Make the register in `folder` what a backup holds; what is there now is backed up first.

    Parameters
    ----------
    wanted
        The name of a backup or its beginning, or the path of a register's database.
    now
        Dates the backup of what is there.

    Raises
    ------
    NotFound
        If there is no such backup or file, or no register.
    NotAllowed
        If several backups begin so.
    BadFile
        If it is no whole register of this or an earlier version, or its files are missing.
    StoreBroken
        If the register is held by another program or cannot be written; nothing was changed.
    """
    source = _named(folder, wanted)
    if source.suffix.lower() == ".zip":
        raise BadFile(f"{shown(source.name)} holds a whole register.", "Make a new one of it with `pitwright import`.")
    return restore.restore(folder, source, now, clean_text(who, "name of the person"))


def export_register(register: Register, target: Path) -> Archive:
    """Put the whole register into the one file `target`.

    Raises
    ------
    NotAllowed
        If something stands there.
    StoreBroken
        If a file of the register is missing or changed, or the disk does not take it; nothing is left behind.
    """
    return archive.write_archive(register.folder, target, register.clock())


def import_register(source: Path, folder: Path) -> Archive:
    """Make a new register in `folder` from what `export_register` wrote.

    Raises
    ------
    NotAllowed
        If something is in `folder` already.
    BadFile
        If `source` is no such file, or anything in it is not what it should be; nothing is left behind.
    StoreBroken
        If the disk does not take it.
    """
    return unpacking.read_archive(source, folder)


def _named(folder: Path, wanted: str) -> Path:
    """The file of the backup that begins with `wanted`, else the file at the path `wanted`."""
    names = [each.name for each in backup.list_backups(folder) if each.name.startswith(wanted)]
    exact = [name for name in names if name in {wanted, f"{wanted}.db"}]
    found = exact or names
    if wanted and len(found) == 1:
        return folder / backup.FOLDER / found[0]
    if wanted and len(found) > 1:
        raise NotAllowed(f"{len(found)} backups begin with {wanted}.", f"Say which: {', '.join(found[:5])}.")
    for path in (folder / backup.FOLDER / wanted, Path(wanted)):
        if _is_file(path):
            return path
    raise NotFound(f"There is no backup and no file {shown(wanted)!r}.", "See `pitwright backup --list`.")


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except (OSError, ValueError):
        return False
