"""Registers of earlier schemas, each as a program of its day wrote it, kept as SQL and brought back to a folder."""

import hashlib
import sqlite3
from contextlib import closing
from pathlib import Path

from tests.shops import CLAW_A, CLAW_B, CLAW_C

FIXTURES = Path(__file__).parent / "fixtures"
# Every schema before this version's.
SCHEMAS = tuple(int(path.stem.removeprefix("schema_")) for path in sorted(FIXTURES.glob("schema_*.sql")))
FILES = (CLAW_A, CLAW_B, CLAW_C)

Rows = dict[str, list[tuple[object, ...]]]

# What each step adds to the end of the rows that the history keeps: step, table, text.
ADDED_TO_KEPT = ((3, "revision", ',"keep_pose":""'), (3, "machine", ',"powder":null'))


def old_register(folder: Path, schema: int) -> Path:
    """A register of `schema` in `folder`, with its files; gives back the folder."""
    (folder / "files").mkdir(parents=True)
    (folder / "backups").mkdir()
    script = (FIXTURES / f"schema_{schema:04d}.sql").read_text(encoding="utf-8")
    # Made first, since SQLite by itself lets only its owner write, whatever the umask.
    (folder / "register.db").touch()
    with closing(sqlite3.connect(folder / "register.db")) as connection:
        connection.executescript(script)
    for content in FILES:
        sha256 = hashlib.sha256(content).hexdigest()
        (folder / "files" / sha256[:2]).mkdir(exist_ok=True)
        (folder / "files" / sha256[:2] / sha256).write_bytes(content)
    return folder


def literal_rows(database: Path, columns: dict[str, list[str]] | None = None) -> Rows:
    """Every row of every table as SQL literals, so that 1 and 1.0, and the last bit of a REAL, are told apart.

    Parameters
    ----------
    columns
        Tables and columns to read; all that there are if None.
    """
    with closing(sqlite3.connect(database)) as connection:
        kept: Rows = {}
        for table, names in (columns or columns_of(connection)).items():
            shape = ", ".join(f'quote("{name}"), typeof("{name}")' for name in names)
            kept[table] = sorted(connection.execute(f'SELECT {shape} FROM "{table}"'), key=repr)
    return kept


def with_added(rows: Rows, schema: int) -> Rows:
    """Rows as `literal_rows` gave them of a register of `schema`, kept ones with what later steps add to them."""
    added = [(quoted(table), text) for step, table, text in ADDED_TO_KEPT if step > schema]

    def grown(row: tuple[object, ...]) -> tuple[object, ...]:
        kept = list(row)
        for place in (8, 10):  # old and new; every second value is a type
            for table, text in added:
                if row[4] == table and kept[place] != "NULL":
                    kept[place] = str(kept[place]).removesuffix("}'") + text + "}'"
        return tuple(kept)

    return rows | {"change": sorted(map(grown, rows["change"]), key=repr)}


def quoted(text: str) -> str:
    """A text as a SQL literal."""
    return "'" + text.replace("'", "''") + "'"


def columns_of(connection: sqlite3.Connection) -> dict[str, list[str]]:
    """Names of all tables and their columns."""
    names = connection.execute("SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'")
    return {
        table: [row[1] for row in connection.execute(f'PRAGMA table_info("{table}")')] for (table,) in names.fetchall()
    }


def columns_in(database: Path) -> dict[str, list[str]]:
    """Names of all tables and their columns, of a database that nobody has open."""
    with closing(sqlite3.connect(database)) as connection:
        return columns_of(connection)


def schema_of(database: Path) -> int:
    """The schema number in a database's header."""
    with closing(sqlite3.connect(database)) as connection:
        return int(connection.execute("PRAGMA user_version").fetchone()[0])


def master(database: Path) -> dict[tuple[str, str], str]:
    """The SQL of every table, index and trigger, by kind and name, blanks evened out."""
    with closing(sqlite3.connect(database)) as connection:
        rows = connection.execute("SELECT type, name, sql FROM sqlite_master WHERE sql IS NOT NULL").fetchall()
    return {(kind, name): " ".join(sql.split()) for kind, name, sql in rows}
