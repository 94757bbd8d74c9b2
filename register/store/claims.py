"""A database that somebody says is a register: taken for one only when all of it has been looked at."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import create_engine
from sqlalchemy.exc import DBAPIError

from register.domain.texts import shown
from register.errors import BadFile
from register.store import health
from register.store.backup import WAIT_S
from register.store.header import APPLICATION_ID, SCHEMA, broken
from register.store.migrate import run_steps, steps_after


@contextmanager
def claimed_register(path: Path) -> Iterator[sqlite3.Connection]:
    """A database that was found to be a whole register, open in a transaction that sees what was looked at.

    It is only read, and nothing that it brings along is run.

    Raises
    ------
    BadFile
        If it is no register, is damaged, was written by a newer version, or cannot be read.
    """
    connection = _opened(path)
    with closing(connection):
        try:
            _refuse_what_is_no_register(connection, shown(path.name))
        except (sqlite3.DatabaseError, UnicodeDecodeError) as error:
            # What SQLite says of a damaged table quotes its bytes, whatever they are.
            raise _not_taken(path, error) from error
        except DBAPIError as error:
            raise _not_taken(path, error.orig) from error
        yield connection


def _opened(path: Path) -> sqlite3.Connection:
    try:
        if not path.is_file():
            raise BadFile(
                f"{shown(str(path))} is no file that can be read.", "Name a backup, or a register's database."
            )
        uri = f"{path.resolve().as_uri()}?mode=ro"
        connection = sqlite3.connect(uri, uri=True, timeout=WAIT_S, isolation_level=None)
        connection.execute("PRAGMA trusted_schema = OFF")
    except OSError as error:
        raise BadFile(
            f"{shown(path.name)} cannot be read: {error.strerror}.", "Check its name and its permissions."
        ) from error
    except ValueError as error:
        raise BadFile("The file's name cannot be used.", "Name a file without hidden signs.") from error
    except sqlite3.DatabaseError as error:
        raise _not_taken(path, error) from error
    return connection


def _refuse_what_is_no_register(connection: sqlite3.Connection, name: str) -> None:
    (application,) = connection.execute("PRAGMA application_id").fetchone()
    (schema,) = connection.execute("PRAGMA user_version").fetchone()
    (version,) = connection.execute("PRAGMA data_version").fetchone()
    if application != APPLICATION_ID or schema < 1:
        raise BadFile(f"{name} is a database, but not a register.", "Name a backup, or a register's database.")
    if schema > SCHEMA:
        raise BadFile(
            f"{name} was written by a newer pitwright (schema {schema}, this one knows {SCHEMA}).",
            "Install the newer version; nothing was changed.",
        )
    if _shape(connection) != _shape_of(schema):
        raise BadFile(f"{name} holds other tables than a register of schema {schema}.", "Take another backup.")
    with health.seen_through(connection) as view:
        fault = next(health.faults(view, ""), None)
    if fault is not None:
        raise BadFile(f"{name} is damaged. {fault.what}", "Take another backup; nothing was changed.")
    connection.execute("BEGIN")
    connection.execute("SELECT count(*) FROM register_identity").fetchone()
    if connection.execute("PRAGMA data_version").fetchone() != (version,):
        raise BadFile(f"{name} is being written just now.", "Back that register up, and take the backup.")


def _shape(connection: sqlite3.Connection) -> set[tuple[Any, ...]]:
    """Every table with its columns, and whatever else runs or stands for a table."""
    return set(
        connection.execute(
            'SELECT t.name, t.type, t.strict, c.name, c.type, c."notnull", c.pk, c.hidden FROM pragma_table_list t '
            "LEFT JOIN pragma_table_xinfo(t.name) c WHERE t.schema = 'main' AND t.name NOT LIKE 'sqlite^_%' ESCAPE '^' "
            "UNION ALL SELECT name, type, tbl_name, '', '', '', '', '' FROM sqlite_master WHERE type = 'trigger'"
        )
    )


def _shape_of(schema: int) -> set[tuple[Any, ...]]:
    """The shape that the steps make."""
    engine = create_engine("sqlite://")
    try:
        with engine.begin() as made:
            run_steps(made, 0, steps_after(0)[:schema])
            raw = made.connection.driver_connection
            assert isinstance(raw, sqlite3.Connection)
            return _shape(raw)
    finally:
        engine.dispose()


def _not_taken(path: Path, error: BaseException | None) -> BadFile:
    code = getattr(error, "sqlite_errorname", "")
    if isinstance(error, sqlite3.Error) and code.startswith(("SQLITE_BUSY", "SQLITE_READONLY", "SQLITE_CANTOPEN")):
        told = broken(path, error)
        return BadFile(told.what, told.cure)
    return BadFile(f"{shown(path.name)} is no register, or is damaged.", "Name a backup, or a register's database.")
