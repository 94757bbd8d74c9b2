"""Whether a file is a register, told with the standard library alone, so that a wrong folder costs nothing."""

import shlex
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from register.errors import NeedsUpgrade, NotFound, StoreBroken

APPLICATION_ID = 0x50495457  # "PITW"
SCHEMA = 3
DATABASE = "register.db"


def database_uri(path: Path) -> str:
    """A SQLite URI for `path`, which must exist.

    Opened to write even where only reads follow: what a killed program left half-written is rolled back by whoever
    opens next, and SQLite refuses to read until that is done. A file that may not be written is still read.
    """
    return f"{path.resolve().as_uri()}?mode=rw"


def in_a_line(said: object) -> str:
    """What SQLite says of damage, which may be hundreds of lines, as the first of them and how many more there are."""
    lines = [line.strip() for line in str(said).splitlines() if line.strip() and not line.startswith("***")]
    more = len(lines) - 1
    return " ".join(lines[:1]) + (f", and {more} more" if more > 0 else "")


def is_there(path: Path) -> bool:
    """Whether `path` is a file that can be seen.

    Raises
    ------
    StoreBroken
        If the computer does not say: the folder may not be entered, or its name cannot be a name.
    """
    try:
        return path.is_file()
    except OSError as error:
        raise StoreBroken(
            f"{path.parent} cannot be looked into: {error.strerror}.", "Name another folder, or ask for permission."
        ) from error


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
    if not is_there(path):
        raise NotFound(f"There is no register in {folder}.", "Make one with `pitwright init`, or name another folder.")
    with _plain(path) as connection:
        application = connection.execute("PRAGMA application_id").fetchone()[0]
        schema = int(connection.execute("PRAGMA user_version").fetchone()[0])
        sound = connection.execute("PRAGMA quick_check(1)").fetchone()[0]
    if application != APPLICATION_ID:
        raise StoreBroken(f"{path} is a database, but not a register.", "Name the folder of a register.")
    if schema > SCHEMA:
        raise StoreBroken(
            f"{path} was written by a newer pitwright (schema {schema}, this one knows {SCHEMA}).",
            "Install the newer version; nothing was changed.",
        )
    if schema < 1:
        raise StoreBroken(f"The register in {folder} is unfinished.", "Make a new one elsewhere.")
    if sound != "ok":
        raise StoreBroken(f"{path} is damaged: {in_a_line(sound)}.", "Copy the folder away before anything else.")
    return schema


def refuse_old(folder: Path, schema: int) -> None:
    """Refuse a register of an earlier schema: none is upgraded unasked.

    Raises
    ------
    NeedsUpgrade
        With the way to upgrade it.
    """
    if schema < SCHEMA:
        raise NeedsUpgrade(
            f"The register in {folder} was written by an earlier pitwright (schema {schema}, this one needs {SCHEMA}).",
            f"Run `pitwright upgrade --register {shlex.quote(str(folder))}`: it keeps a backup and asks first.",
        )


def refuse_moved_schema(path: Path, schema: int) -> None:
    """Refuse a register whose schema is no longer what it was when this program opened it.

    Raises
    ------
    StoreBroken
        If another program upgraded it meanwhile, or put an old copy back.
    """
    if schema > SCHEMA:
        raise StoreBroken(
            f"The register {path} was upgraded meanwhile (to schema {schema}, this pitwright knows {SCHEMA}).",
            "Close this one and open the register with the newer pitwright; nothing was changed.",
        )
    if schema < SCHEMA:
        raise StoreBroken(
            f"The register {path} was put back to schema {schema} meanwhile (this pitwright needs {SCHEMA}).",
            "Close this one, then run `pitwright upgrade`; nothing was changed.",
        )


def own_time(folder: Path) -> str | None:
    """Where the clock of a demo register stands: where it runs from, or its last operation; None for any other."""
    with _plain(folder / DATABASE) as connection:
        row = connection.execute(
            "SELECT max(runs_from, coalesce((SELECT max(at) FROM operation), '')) "
            "FROM register_identity WHERE runs_from IS NOT NULL"
        ).fetchone()
    return str(row[0]) if row and row[0] else None


@contextmanager
def _plain(path: Path) -> Iterator[sqlite3.Connection]:
    """A passing connection; what SQLite says against it becomes a sentence."""
    try:
        connection = sqlite3.connect(database_uri(path), uri=True, timeout=5)
        try:
            yield connection
        finally:
            connection.close()
    except sqlite3.Error as error:
        raise broken(path, error) from error
    except UnicodeDecodeError as error:
        # What SQLite says of a damaged table quotes its bytes, whatever they are.
        what, cure = _CURES["SQLITE_CORRUPT"]
        raise StoreBroken(f"The register {path} was not reached: {what}.", cure) from error


_CURES = {
    "SQLITE_BUSY": ("another program holds the register", "Wait a moment and try again."),
    "SQLITE_LOCKED": ("another program holds the register", "Wait a moment and try again."),
    "SQLITE_FULL": ("the disk is full", "Free some space and do it again; nothing was changed."),
    "SQLITE_READONLY": ("it cannot be written", "Check the permissions of the folder; nothing was changed."),
    "SQLITE_CANTOPEN": ("it cannot be opened", "Check that the folder exists and may be read and written."),
    "SQLITE_NOTADB": ("it is not a database", "Name the folder of a register, or bring back a copy of this one."),
    "SQLITE_CORRUPT": ("it is damaged", "Copy the folder away, then give `pitwright check`: it names the way back."),
    # The last sync of a commit comes after the operation is kept; SQLite does not say which one failed.
    "SQLITE_IOERR_FSYNC": ("the disk did not answer", "Check the disk, then `pitwright history`: is it kept or not?"),
    "SQLITE_IOERR": ("the disk did not answer", "Check the disk; nothing was changed."),
}


def broken(path: Path | str, error: sqlite3.Error) -> StoreBroken:
    """A sentence and a cure for what SQLite says; told apart by its code, never by its text."""
    name = getattr(error, "sqlite_errorname", "")
    for code, (what, cure) in _CURES.items():
        if name.startswith(code):
            return StoreBroken(f"The register {path} was not reached: {what}.", cure)
    return StoreBroken(f"The register {path} was not reached ({name or error}).", "Nothing was changed.")
