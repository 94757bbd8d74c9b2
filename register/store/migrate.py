"""Making a new register and bringing an old one up to date: all steps or none."""

import importlib
import os
import secrets
import sqlite3
from datetime import datetime
from pathlib import Path

from sqlalchemy import Connection
from sqlalchemy.exc import DBAPIError

from register.store.column_types import time_text
from register.store.header import APPLICATION_ID, DATABASE, SCHEMA, broken
from register.store.history import rebuild_triggers
from register.store.keys import new_key
from register.store.tables.history import register_identity
from register.store.transaction import engine_for


def make_database(folder: Path, station: str, now: datetime, runs_from: datetime | None) -> None:
    """Make the database of a new register in `folder`, which must exist and hold none.

    It is made under another name and put in place when it is whole. `runs_from` is where a demo's clock starts.

    Raises
    ------
    StoreBroken
        If the disk does not take it.
    """
    path = folder / DATABASE
    unfinished = folder / f".{DATABASE}.{secrets.token_hex(4)}"
    try:
        unfinished.touch()
        engine = engine_for(unfinished)
        with engine.connect() as plain, plain.execution_options(writes=True).begin():
            run_steps(plain, 0)
            plain.exec_driver_sql(f"PRAGMA application_id = {APPLICATION_ID}")
            plain.execute(
                register_identity.insert().values(
                    key=new_key(now),
                    station=station,
                    made_at=time_text(now),
                    runs_from=time_text(runs_from) if runs_from else None,
                )
            )
        engine.dispose()
        os.replace(unfinished, path)  # noqa: PTH105  # replace is atomic on every platform; rename is not on Windows
    except DBAPIError as error:
        if not isinstance(error.orig, sqlite3.Error):
            raise
        raise broken(path, error.orig) from error
    finally:
        unfinished.unlink(missing_ok=True)


def run_steps(connection: Connection, schema: int) -> None:
    """Run every step after `schema` inside the open transaction and end with fresh history triggers."""
    # Alembic is loaded only where a schema changes.
    from alembic.migration import MigrationContext
    from alembic.operations import Operations

    steps = Operations(MigrationContext.configure(connection))
    for number in range(schema + 1, SCHEMA + 1):
        importlib.import_module(f"register.store.migrations.step_{number:04d}").upgrade(steps)
    rebuild_triggers(connection)
    connection.exec_driver_sql(f"PRAGMA user_version = {SCHEMA}")
