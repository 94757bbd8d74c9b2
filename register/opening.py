"""The one way in: a register's folder and a clock give an open register."""

import os
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

import platformdirs

from register.domain.clock import Clock, running_from, system_clock
from register.domain.texts import clean_text
from register.errors import NotAllowed, StoreBroken
from register.store.column_types import time_from
from register.store.file_room import FileRoom
from register.store.header import DATABASE, SCHEMA, checked_schema, own_time
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


def holds_register(folder: Path) -> bool:
    """Whether a register seems to be in `folder`."""
    return (folder / DATABASE).exists()


def open_register(folder: Path, who: str, clock: Clock | None = None) -> Register:
    """Open the register in `folder`; never makes one.

    Parameters
    ----------
    clock
        The register's own if None: the computer's time, or for a demo the time that it runs on from.

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
    if clock is None:
        own = own_time(folder)
        clock = running_from(time_from(own)) if own else system_clock
    return Register(folder, Store(folder, clock), FileRoom(folder), clock, clean_text(who, "name of the person"))


def make_register(
    folder: Path, who: str, clock: Clock, station: str = "A", runs_from: datetime | None = None
) -> Register:
    """Make a new, empty register in `folder` and open it with `clock`.

    Parameters
    ----------
    station
        The letter of this register's job numbers.
    runs_from
        Where the clock starts whenever it is opened later; for a demo.

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
        make_database(folder, station, clock(), runs_from)
    except OSError as error:
        raise StoreBroken(
            f"The folder {folder} cannot be written: {error.strerror}.", "Name a folder that may be written."
        ) from error
    return open_register(folder, who, clock)


def at_time(register: Register, clock: Clock) -> Register:
    """The same register seen at another time."""
    return replace(register, store=Store(register.folder, clock), clock=clock)
