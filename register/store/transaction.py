"""The one way to read and the one way to write."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, func, insert, select
from sqlalchemy.exc import DBAPIError
from sqlalchemy.pool import QueuePool
from sqlmodel import Session

from register.domain.clock import Clock
from register.domain.texts import NOTE_LENGTH, clean_text
from register.errors import RegisterError, StoreBroken
from register.store.backup import back_up_daily
from register.store.column_types import time_text
from register.store.header import DATABASE, broken, database_uri, refuse_moved_schema
from register.store.keys import new_key
from register.store.queue import turn
from register.store.tables.history import open_operation, operation, register_identity

# What every connection is told first. The simulated power cuts of the tests run on these.
CONNECTION_SETTINGS = (
    "PRAGMA foreign_keys = ON",
    "PRAGMA journal_mode = TRUNCATE",
    "PRAGMA synchronous = FULL",
    # 16 MB of pages, so that finding in 100,000 parts does not read their index anew each time; 2 MB is SQLite's own.
    "PRAGMA cache_size = -16000",
)


@dataclass(frozen=True)
class Reading:
    """A consistent view of the register, for as long as the block lasts."""

    session: Session


@dataclass(frozen=True)
class Writing(Reading):
    """One operation: all of its rows or none.

    `operation` is its number in this register, `at` its time (UTC), `who` the person.
    """

    operation: int
    station: str
    at: datetime
    who: str

    def key(self) -> str:
        """A fresh row key."""
        return new_key(self.at)


class Store:
    """The database of one register folder.

    Parameters
    ----------
    folder
        Holds `register.db`, checked by `register.store.header` before.
    clock
        Gives the time of each operation.
    """

    def __init__(self, folder: Path, clock: Clock) -> None:
        self.path = folder / DATABASE
        self.clock = clock
        # Why today's backup could not be made, if it could not.
        self.backup_trouble: StoreBroken | None = None
        self._begun_on: date | None = None

    @cached_property
    def engine(self) -> Engine:
        """The engine, made when first needed."""
        return engine_for(self.path)

    @cached_property
    def _watching(self) -> sqlite3.Connection:
        """A connection that never writes: SQLite counts for it what all others write, this program's too."""
        return sqlite3.connect(database_uri(self.path), uri=True, timeout=5, check_same_thread=False)

    def data_version(self) -> int:
        """A number that differs once anyone has written; no lock outlasts the call."""
        try:
            return int(self._watching.execute("PRAGMA data_version").fetchone()[0])
        except sqlite3.Error as error:
            raise broken(self.path, error) from error

    def close(self) -> None:
        """Let the file go; it is opened again when next needed."""
        self.engine.dispose()
        if "_watching" in self.__dict__:
            self._watching.close()
            del self._watching

    @contextmanager
    def reading(self) -> Iterator[Reading]:
        """A read-only view. Keep it short: an open reader holds writers up."""
        with self._translated(), self.engine.connect() as connection, Session(bind=connection) as session:
            self._refuse_moved_schema(connection)
            yield Reading(session)

    @contextmanager
    def writing(self, who: str, why: str, undoes: int | None = None) -> Iterator[Writing]:
        """One operation under the write lock; kept if the block ends well, gone if it does not.

        Parameters
        ----------
        who
            The person's name.
        why
            What is done, in words that a person reads in the history.
        undoes
            The operation that this one takes back, if any.
        """
        who = clean_text(who, "name of the person")
        why = clean_text(why, "note of the operation", NOTE_LENGTH)
        self._begin_day()
        with self._translated(), self.engine.connect() as plain:
            # Lock first, so that the second terminal waits instead of failing; stand in line, so that none starves.
            connection = plain.execution_options(writes=True)
            with turn(self.path.parent), connection.begin(), Session(bind=connection) as session:
                self._refuse_moved_schema(connection)
                at = self.clock()
                station = str(connection.scalar(select(register_identity.c.station)))
                number = _begin_operation(connection, station, at, who, why, undoes)
                yield Writing(session, number, station, at, who)
                session.flush()
                connection.execute(open_operation.delete())

    def _begin_day(self) -> None:
        """Before the day's first write, and outside its lock: keep what the days before left.

        Whoever only reads never waits for it; a write goes on without it, since a spare may have to be taken now.
        """
        now = self.clock()
        if self._begun_on != now.date():
            self._begun_on = now.date()
            self.backup_trouble = None
            try:
                back_up_daily(self.path.parent, now)
            except StoreBroken as broken:
                self.backup_trouble = broken

    def _refuse_moved_schema(self, connection: Connection) -> None:
        # Asked inside each transaction: another terminal may have upgraded the register since this one opened it.
        refuse_moved_schema(self.path, int(connection.exec_driver_sql("PRAGMA user_version").scalar_one()))

    @contextmanager
    def _translated(self) -> Iterator[None]:
        try:
            yield
        except RegisterError:
            raise
        except DBAPIError as error:
            if isinstance(error.orig, sqlite3.IntegrityError) or not isinstance(error.orig, sqlite3.Error):
                raise
            raise broken(self.path, error.orig) from error


def engine_for(path: Path) -> Engine:
    """An engine whose transactions begin as readers or, with the option `writes`, under the write lock.

    The file must exist. A commit is on the disk when it returns: journal TRUNCATE with synchronous FULL lost nothing
    in simulated power cuts, where SQLite's own default lost the last commit.
    """

    def connect() -> sqlite3.Connection:
        connection = sqlite3.connect(database_uri(path), uri=True, timeout=5, check_same_thread=False)
        connection.isolation_level = None
        for setting in CONNECTION_SETTINGS:
            connection.execute(setting)
        return connection

    # The pool is named, because the bare address would be taken for a database in memory, one for each thread.
    engine = create_engine("sqlite://", creator=connect, poolclass=QueuePool)

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        writes: Any = connection.get_execution_options().get("writes")
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def _begin_operation(connection: Connection, station: str, at: datetime, who: str, why: str, undoes: int | None) -> int:
    number = int(connection.scalar(select(func.coalesce(func.max(operation.c.seq), 0))) or 0) + 1
    connection.execute(
        insert(operation).values(
            seq=number, key=new_key(at), station=station, at=time_text(at), who=who, why=why, undoes=undoes
        )
    )
    connection.execute(insert(open_operation).values(one=1, operation=number))
    return number
