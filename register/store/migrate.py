"""Making a new register and bringing an old one up to date: all steps or none."""

import importlib
import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import Connection
from sqlalchemy.exc import DBAPIError

from register.errors import NotAllowed, StoreBroken
from register.store.column_types import time_text
from register.store.disk import passing_file, put_in_place
from register.store.header import APPLICATION_ID, DATABASE, SCHEMA, broken, in_a_line
from register.store.history import drop_triggers, rebuild_triggers
from register.store.keys import new_key
from register.store.queue import turn
from register.store.tables.history import register_identity
from register.store.transaction import engine_for

if TYPE_CHECKING:
    from alembic.operations import Operations

Step = Callable[["Operations"], None]


def make_database(folder: Path, station: str, now: datetime, runs_from: datetime | None) -> None:
    """Make the database of a new register in `folder`, which must exist and hold none.

    It is made under another name and put in place when it is whole. `runs_from` is where a demo's clock starts.

    Raises
    ------
    NotAllowed
        If another program made one there meanwhile.
    StoreBroken
        If the disk does not take it.
    OSError
        If the folder cannot be written.
    """
    with passing_file(folder, DATABASE) as unfinished:
        with _changing_schema(unfinished) as connection:
            run_steps(connection, 0, steps_after(0))
            connection.exec_driver_sql(f"PRAGMA application_id = {APPLICATION_ID}")
            connection.execute(
                register_identity.insert().values(
                    key=new_key(now),
                    station=station,
                    made_at=time_text(now),
                    runs_from=time_text(runs_from) if runs_from else None,
                )
            )
        if not put_in_place(unfinished, folder / DATABASE):
            raise NotAllowed(
                f"Another program made a register in {folder} meanwhile.", "Open it, or name another folder."
            )


def changes_after(schema: int) -> tuple[str, ...]:
    """What each step after `schema` does, in words."""
    return tuple(
        importlib.import_module(f"register.store.migrations.step_{number:04d}").DOES
        for number in range(schema + 1, SCHEMA + 1)
    )


def steps_after(schema: int) -> tuple[Step, ...]:
    """Every step after `schema`, in order."""
    return tuple(
        importlib.import_module(f"register.store.migrations.step_{number:04d}").upgrade
        for number in range(schema + 1, SCHEMA + 1)
    )


def upgrade_database(folder: Path, schema: int, steps: Sequence[Step], keep_copy: Callable[[], None]) -> None:
    """Bring the database in `folder` up from `schema`: one transaction, so that all of it is done or nothing.

    Parameters
    ----------
    schema
        Where it stands; checked again once nobody else can write.
    steps
        The steps after it.
    keep_copy
        Makes the backup. Called under the write lock, so that nothing is written between the copy and the upgrade.

    Raises
    ------
    StoreBroken
        If the database is of another schema by now, does not hold together afterwards, or the disk does not take it.
    """
    path = folder / DATABASE
    with turn(folder), _changing_schema(path) as connection:
        now = int(connection.exec_driver_sql("PRAGMA user_version").scalar_one())
        if now != schema:
            raise StoreBroken(
                f"The register {path} was upgraded by somebody else meanwhile (to schema {now}).",
                "Open it; nothing is left to do here.",
            )
        keep_copy()
        run_steps(connection, schema, steps)


def run_steps(connection: Connection, schema: int, steps: Sequence[Step]) -> None:
    """Run the steps after `schema` in the open transaction; end with fresh history triggers and a sound database.

    Raises
    ------
    StoreBroken
        If it does not hold together afterwards.
    """
    # Alembic is loaded only where a schema changes.
    from alembic.migration import MigrationContext
    from alembic.operations import Operations

    operations = Operations(MigrationContext.configure(connection))
    drop_triggers(connection)
    for step in steps:
        step(operations)
    rebuild_triggers(connection)
    loose = connection.exec_driver_sql("PRAGMA foreign_key_check").first()
    if loose is not None:
        raise _unsound(f"a row of {loose[0]} would point to a row of {loose[2]} that is not there")
    said = str(connection.exec_driver_sql("PRAGMA integrity_check(1)").scalar_one())
    if said != "ok":
        raise _unsound(f"the database would say {in_a_line(said)}")
    connection.exec_driver_sql(f"PRAGMA user_version = {schema + len(steps)}")


@contextmanager
def _changing_schema(path: Path) -> Iterator[Connection]:
    """The only transaction in which a schema may change; what SQLite says against it becomes a sentence."""
    engine = engine_for(path)
    try:
        with engine.connect() as plain:
            # Before the transaction, since SQLite ignores it inside one: to rebuild a table a step drops the old one,
            # and with foreign keys on that deletes every row that points to it.
            plain.connection.cursor().execute("PRAGMA foreign_keys = OFF")
            connection = plain.execution_options(writes=True)
            with connection.begin():
                yield connection
    except DBAPIError as error:
        if not isinstance(error.orig, sqlite3.Error):
            raise
        raise broken(path, error.orig) from error
    finally:
        engine.dispose()


def _unsound(how: str) -> StoreBroken:
    return StoreBroken(
        f"The upgrade was not done: {how}.",
        "Send a copy of the folder to whoever keeps pitwright here; nothing was changed.",
    )
