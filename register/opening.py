"""The one way in: a register's folder and a clock give an open register."""

import os
from dataclasses import dataclass
from pathlib import Path

import platformdirs

from register.domain.clock import Clock
from register.domain.texts import clean_text
from register.errors import NotAllowed, StoreBroken
from register.store.file_room import FileRoom
from register.store.header import DATABASE, SCHEMA, checked_schema
from register.store.migrate import make_database
from register.store.transaction import Store

FOLDER_VARIABLE = "PITWRIGHT_REGISTER"


@dataclass(frozen=True)
class Register:
    """An open register: where it is, its rows, its files, the time, and the person who works in it."""

    folder: Path
    store: Store
    files: FileRoom
    clock: Clock
    who: str


def register_folder(named: Path | None) -> Path:
    """The register's folder: as named, else from the environment, else in the user's data folder."""
    if named is not None:
        return named
    told = os.environ.get(FOLDER_VARIABLE, "")
    return Path(told) if told else Path(platformdirs.user_data_path("pitwright", appauthor=False)) / "register"


def open_register(folder: Path, who: str, clock: Clock) -> Register:
    """Open the register in `folder`; never makes one.

    Raises
    ------
    NotFound
        If there is none.
    StoreBroken
        If it cannot be read, is damaged, is something else, or is of another schema.
    """
    schema = checked_schema(folder)
    if schema < SCHEMA:
        raise StoreBroken(
            f"The register in {folder} is unfinished or of an old schema ({schema}).", "Make a new one elsewhere."
        )
    return Register(folder, Store(folder, clock), FileRoom(folder), clock, clean_text(who, "name of the person"))


def make_register(folder: Path, who: str, clock: Clock, station: str = "A") -> Register:
    """Make a new, empty register in `folder` and open it.

    Raises
    ------
    NotAllowed
        If one is there already.
    StoreBroken
        If the folder cannot be written.
    """
    if (folder / DATABASE).exists():
        raise NotAllowed(f"There is a register in {folder} already.", "Open it, or name another folder.")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "files").mkdir(exist_ok=True)
        (folder / "backups").mkdir(exist_ok=True)
        make_database(folder, station, clock())
    except OSError as error:
        raise StoreBroken(
            f"The folder {folder} cannot be written: {error.strerror}.", "Name a folder that may be written."
        ) from error
    return open_register(folder, who, clock)
