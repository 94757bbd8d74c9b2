"""Whether the database is sound, read whole."""

import sqlite3
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, create_engine, text
from sqlalchemy.pool import StaticPool
from sqlmodel import Session

from register.domain.keeping import Fault
from register.store.header import SCHEMA, database_uri, in_a_line
from register.store.history import tables_with_history, trigger_statements
from register.store.transaction import Reading

# More faults of one kind than these are not told one by one.
_MOST = 20
_CACHE_KB = 100_000
_LOOSE = "PRAGMA foreign_key_check"


def faults(reading: Reading, cure: str) -> Iterator[Fault]:
    """Each thing that is wrong with the database.

    Parameters
    ----------
    cure
        What helps where nothing but another copy does.
    """
    connection = reading.session.connection()
    said_of_pages, loose = _read_whole(connection)
    for (said,) in said_of_pages:
        if said != "ok":
            yield Fault(f"The database says {in_a_line(said).rstrip('.')}.", cure)
    for row in loose:
        yield Fault(f"A row of {row[0]} points to a row of {row[2]} that is not there.", cure)
    yield from _faults_of_triggers(connection, cure)
    yield from _faults_of_history(connection, cure)


def row_count(reading: Reading) -> int:
    """Rows of the register, its history left out."""
    connection = reading.session.connection()
    return sum(
        int(connection.execute(text(f'SELECT count(*) FROM "{table}"')).scalar_one())
        for table in tables_with_history(connection)
    )


@contextmanager
def seen_through(connection: sqlite3.Connection) -> Iterator[Reading]:
    """An open connection, outside any transaction, as what the queries of this room take."""
    engine = create_engine("sqlite://", creator=lambda: connection, poolclass=StaticPool)
    with engine.connect() as view, Session(bind=view) as session:
        yield Reading(session)


def _read_whole(connection: Connection) -> tuple[Sequence[Any], Sequence[Any]]:
    """What SQLite says of the pages and indexes, and the rows that point to none.

    Inside a transaction both at a time: `connection` keeps all writers out, so a second reader sees the same.
    """
    path = connection.exec_driver_sql("SELECT file FROM pragma_database_list WHERE name = 'main'").scalar()
    driver: Any = connection.connection.driver_connection
    with ThreadPoolExecutor(1) as beside:
        links = beside.submit(_loose_links_of, Path(path)) if path and driver.in_transaction else None
        # Every index is held against its table, every link against its row: that is out of order on the disk.
        (cache,) = connection.exec_driver_sql("PRAGMA cache_size").one()
        connection.exec_driver_sql(f"PRAGMA cache_size = -{_CACHE_KB}")
        said_of_pages = connection.exec_driver_sql(f"PRAGMA integrity_check({_MOST})").all()
        loose = links.result() if links is not None else None
        if loose is None:
            loose = connection.exec_driver_sql(_LOOSE).fetchmany(_MOST)
        connection.exec_driver_sql(f"PRAGMA cache_size = {cache}")
    return said_of_pages, loose


def _loose_links_of(path: Path) -> Sequence[Any] | None:
    """Rows that point to none; None where a second reader is not let in, as while a writer waits for the first."""
    try:
        with closing(sqlite3.connect(database_uri(path), uri=True, timeout=0)) as connection:
            connection.execute("PRAGMA trusted_schema = OFF")
            connection.execute(f"PRAGMA cache_size = -{_CACHE_KB}")
            return connection.execute(_LOOSE).fetchmany(_MOST)
    except sqlite3.Error:
        return None


def _faults_of_triggers(connection: Connection, cure: str) -> Iterator[Fault]:
    rows = connection.exec_driver_sql("SELECT type, name, sql FROM sqlite_master").all()
    triggers = {name: sql for kind, name, sql in rows if kind == "trigger"}
    wanted = trigger_statements(connection)
    for table in tables_with_history(connection):
        if any(f"history_{table}_{moment}" not in triggers for moment in ("insert", "update", "delete")):
            yield Fault(f"In the history, changes of {table} are not kept.", cure)
    (schema,) = connection.exec_driver_sql("PRAGMA user_version").one()
    for name, sql in triggers.items():
        # A trigger of an earlier schema may have been written otherwise; an upgrade writes all of them anew.
        if name not in wanted or (schema == SCHEMA and sql != wanted[name]):
            yield Fault(f"The trigger {name} is not of pitwright's making.", cure)
    for kind, name, sql in rows:
        if kind == "view" or (kind == "table" and str(sql).upper().startswith("CREATE VIRTUAL")):
            yield Fault(f"The database holds {name}, which a register does not.", cure)


def _faults_of_history(connection: Connection, cure: str) -> Iterator[Fault]:
    count, last = connection.exec_driver_sql("SELECT count(*), coalesce(max(seq), 0) FROM operation").one()
    if count != last:
        yield Fault(f"Of {last} operations the history holds {count}.", cure)
    if connection.exec_driver_sql("SELECT count(*) FROM open_operation").scalar_one():
        yield Fault("A write was left open.", cure)
