"""Whether a file is a register, told from its first hundred bytes and the standard library alone."""

import sqlite3
from pathlib import Path

from register.errors import NotFound, StoreBroken

APPLICATION_ID = 0x50495457  # "PITW"
SCHEMA = 1
DATABASE = "register.db"


def database_uri(path: Path, mode: str) -> str:
    """A SQLite URI for `path`, opened as `mode` says (`ro`, `rw`, `rwc`)."""
    return f"{path.resolve().as_uri()}?mode={mode}"


def checked_schema(folder: Path) -> int:
    """Schema number of the register in `folder`.

    Raises
    ------
    NotFound
        If there is no register there.
    StoreBroken
        If the file is something else, is damaged, or was written by a newer version.
    """
    path = folder / DATABASE
    if not path.is_file():
        raise NotFound(f"There is no register in {folder}.", "Make one with `pitwright init`, or name another folder.")
    try:
        connection = sqlite3.connect(database_uri(path, "ro"), uri=True, timeout=5)
        try:
            application = connection.execute("PRAGMA application_id").fetchone()[0]
            schema = int(connection.execute("PRAGMA user_version").fetchone()[0])
            sound = connection.execute("PRAGMA quick_check(1)").fetchone()[0]
        finally:
            connection.close()
    except sqlite3.Error as error:
        raise broken(path, error) from error
    if application != APPLICATION_ID:
        raise StoreBroken(f"{path} is a database, but not a register.", "Name the folder of a register.")
    if schema > SCHEMA:
        raise StoreBroken(
            f"{path} was written by a newer pitwright (schema {schema}, this one knows {SCHEMA}).",
            "Install the newer version; nothing was changed.",
        )
    if sound != "ok":
        raise StoreBroken(f"{path} is damaged: {sound}.", "Copy the folder away before anything else.")
    return schema


def own_time(folder: Path) -> str | None:
    """Where the clock of a demo register stands: where it runs from, or its last operation; None for any other."""
    path = folder / DATABASE
    try:
        connection = sqlite3.connect(database_uri(path, "ro"), uri=True, timeout=5)
        try:
            row = connection.execute(
                "SELECT max(runs_from, coalesce((SELECT max(at) FROM operation), '')) "
                "FROM register_identity WHERE runs_from IS NOT NULL"
            ).fetchone()
        finally:
            connection.close()
    except sqlite3.Error as error:
        raise broken(path, error) from error
    return str(row[0]) if row and row[0] else None


_CURES = {
    "SQLITE_BUSY": ("another program holds the register", "Wait a moment and try again."),
    "SQLITE_LOCKED": ("another program holds the register", "Wait a moment and try again."),
    "SQLITE_FULL": ("the disk is full", "Free some space and do it again; nothing was changed."),
    "SQLITE_READONLY": ("it cannot be written", "Check the permissions of the folder; nothing was changed."),
    "SQLITE_CANTOPEN": ("it cannot be opened", "Check that the folder exists and may be read and written."),
    "SQLITE_NOTADB": ("it is not a database", "Name the folder of a register, or bring back a copy of this one."),
    "SQLITE_CORRUPT": ("it is damaged", "Copy the folder away, then bring back the last good copy."),
    "SQLITE_IOERR": ("the disk did not answer", "Check the disk; nothing was changed."),
}


def broken(path: Path | str, error: sqlite3.Error) -> StoreBroken:
    """A sentence and a cure for what SQLite says; told apart by its code, never by its text."""
    name = getattr(error, "sqlite_errorname", "")
    for code, (what, cure) in _CURES.items():
        if name.startswith(code):
            return StoreBroken(f"The register {path} was not reached: {what}.", cure)
    return StoreBroken(f"The register {path} was not reached ({name or error}).", "Nothing was changed.")
