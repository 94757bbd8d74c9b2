"""The one way in: a register's folder and a clock give an open register."""

import getpass
import os
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

import platformdirs

from register.domain.clock import Clock, running_from, system_clock
from register.domain.keeping import BackupReason
from register.domain.texts import clean_text
from register.domain.upgrades import Upgrade
from register.errors import NotAllowed, StoreBroken
from register.store.backup import make_backup
from register.store.column_types import time_from
from register.store.file_room import FileRoom
from register.store.header import DATABASE, SCHEMA, checked_schema, is_there, own_time, refuse_old
from register.store.migrate import changes_after, make_database, steps_after, upgrade_database
from register.store.place import place_warning
from register.store.transaction import Store

FOLDER_VARIABLE = "PITWRIGHT_REGISTER"
PERSON_VARIABLE = "PITWRIGHT_WHO"


@dataclass(frozen=True)
class Register:
    """An open register: where it is, its rows, its files, the time, and the person who works in it."""

    folder: Path
    store: Store
    files: FileRoom
    clock: Clock
    who: str
    # A sentence if the folder lies where two terminals are not safe, else nothing.
    place_warning: str = ""

    def data_version(self) -> int:
        """A number that differs once anyone has written; cheap enough to ask every second. Raises StoreBroken."""
        return self.store.data_version()

    def backup_trouble(self) -> StoreBroken | None:
        """Why the day's backup could not be made before the first write, if it could not."""
        return self.store.backup_trouble


def register_folder(named: Path | None) -> Path:
    """The register's folder: as named, else from the environment, else in the user's data folder."""
    if named is not None:
        return named
    told = os.environ.get(FOLDER_VARIABLE, "")
    return Path(told) if told else Path(platformdirs.user_data_path("pitwright", appauthor=False)) / "register"


def person_named(named: str | None) -> str:
    """Who works: as named, else from the environment, else the user of this computer."""
    return named or os.environ.get(PERSON_VARIABLE) or _user()


def holds_register(folder: Path) -> bool:
    """Whether a register seems to be in `folder`; raises StoreBroken if it cannot be looked into."""
    return is_there(folder / DATABASE)


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
    NeedsUpgrade
        If it is of an earlier schema; `upgrade_register` brings it up.
    StoreBroken
        If it cannot be read, is damaged, is something else, or was written by a newer version.
    """
    refuse_old(folder, checked_schema(folder))
    who = clean_text(who, "name of the person")
    clock = clock or _own_clock(folder)
    return Register(folder, Store(folder, clock), FileRoom(folder), clock, who, place_warning(folder))


def planned_upgrade(folder: Path) -> Upgrade:
    """What `upgrade_register` would do to the register in `folder`; raises NotFound or StoreBroken."""
    schema = checked_schema(folder)
    return Upgrade(str(folder), schema, SCHEMA, changes_after(schema))


def upgrade_register(folder: Path, clock: Clock | None = None) -> Upgrade:
    """Bring the register in `folder` up to this version's schema, all of it or nothing, after a backup.

    Parameters
    ----------
    clock
        Dates the backup; the register's own if None.

    Raises
    ------
    NotFound
        If there is none.
    StoreBroken
        If it cannot be read or written, is damaged, or others have it open.
    """
    planned = planned_upgrade(folder)
    if not planned.changes:
        return planned
    now = (clock or _own_clock(folder))()
    made: list[str] = []

    def keep_copy() -> None:
        made.append(str(make_backup(folder, now, BackupReason.BEFORE_UPGRADE)))

    upgrade_database(folder, planned.from_schema, steps_after(planned.from_schema), keep_copy)
    return replace(planned, backup=made[0])


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
    if holds_register(folder):
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


def _own_clock(folder: Path) -> Clock:
    own = own_time(folder)
    return running_from(time_from(own)) if own else system_clock


def _user() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):
        return "someone"
