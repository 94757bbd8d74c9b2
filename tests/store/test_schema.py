"""The schema: what the steps make is what the tables say, strict, named and kept in the history."""

import re
import sqlite3
from pathlib import Path

import pytest

import register.store.migrations
import register.store.tables.history
import register.store.tables.parts
import register.store.tables.shop
import register.store.tables.work
from register.store.header import SCHEMA
from register.store.row import metadata
from register.store.tables.history import HISTORY_TABLES
from register.store.transaction import engine_for
from tests.shops import bare_register

Master = dict[tuple[str, str], str]


def master(database: Path) -> Master:
    """The SQL of every table, index and trigger that has one, by kind and name."""
    connection = sqlite3.connect(database)
    rows = connection.execute("SELECT type, name, sql FROM sqlite_master WHERE sql IS NOT NULL").fetchall()
    connection.close()
    return {(kind, name): sql for kind, name, sql in rows}


def split(body: str) -> list[str]:
    """The parts of a table's body: cut at each comma that stands in no bracket."""
    parts, depth = [""], 0
    for sign in body:
        depth += {"(": 1, ")": -1}.get(sign, 0)
        if sign == "," and depth == 0:
            parts.append("")
        else:
            parts[-1] += sign
    return [" ".join(part.replace('"', "").split()) for part in parts]


def clauses(sql: str) -> tuple[set[str], set[str], str]:
    """Columns, constraints, and what follows the body of a table; in any order, since a later step adds at the end."""
    body, _, tail = sql[sql.index("(") + 1 :].rpartition(")")
    each = set(split(body))
    constraints = {clause for clause in each if clause.startswith("CONSTRAINT")}
    return each - constraints, constraints, tail.strip()


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Master:
    """What the steps make."""
    return master(bare_register(tmp_path_factory.mktemp("made") / "register").folder / "register.db")


@pytest.fixture(scope="module")
def said(tmp_path_factory: pytest.TempPathFactory) -> Master:
    """What the tables say."""
    database = tmp_path_factory.mktemp("said") / "said.db"
    database.touch()
    engine = engine_for(database)
    with engine.connect() as connection, connection.begin():
        metadata.create_all(connection)
    engine.dispose()
    return master(database)


def tables(found: Master) -> dict[str, str]:
    return {name: sql for (kind, name), sql in found.items() if kind == "table"}


def test_steps_make_exactly_the_tables_that_the_code_says(made: Master, said: Master) -> None:
    assert {name: clauses(sql) for name, sql in tables(made).items()} == {
        name: clauses(sql) for name, sql in tables(said).items()
    }
    assert len(tables(made)) > 20


def test_steps_make_exactly_the_indexes_that_the_code_says(made: Master, said: Master) -> None:
    def indexes(found: Master) -> Master:
        return {key: " ".join(sql.split()) for key, sql in found.items() if key[0] == "index"}

    assert indexes(made) == indexes(said)
    assert indexes(made)


@pytest.mark.parametrize(
    "changed",
    [
        "CREATE TABLE t (\n\ta TEXT NOT NULL, \n\tCONSTRAINT c CHECK (a <> '')\n)",
        "CREATE TABLE t (\n\ta TEXT, \n\tCONSTRAINT c CHECK (a <> '')\n) STRICT",
        "CREATE TABLE t (\n\ta TEXT NOT NULL, \n\tCONSTRAINT c CHECK (a <> 'x')\n) STRICT",
        "CREATE TABLE t (\n\ta TEXT NOT NULL\n) STRICT",
        "CREATE TABLE t (\n\ta TEXT NOT NULL, \n\tCONSTRAINT d CHECK (a <> '')\n) STRICT",
    ],
)
def test_comparison_sees_a_lost_strict_null_or_check(changed: str) -> None:
    kept = "CREATE TABLE t (\n\ta TEXT NOT NULL, \n\tCONSTRAINT c CHECK (a <> '')\n) STRICT"
    assert clauses(changed) != clauses(kept)


def test_every_table_is_strict(made: Master) -> None:
    assert {name for name, sql in tables(made).items() if not clauses(sql)[2].endswith("STRICT")} == set()


def test_every_check_and_every_other_constraint_is_named(made: Master) -> None:
    for name, sql in tables(made).items():
        columns, constraints, _ = clauses(sql)
        words = ("CHECK", "UNIQUE", "FOREIGN KEY", "PRIMARY KEY", "REFERENCES")
        assert not [each for each in columns if any(word in each for word in words)], name
        assert not [each for each in constraints if not re.match(r"CONSTRAINT \w+ ", each)], name


def test_every_table_has_three_history_triggers_and_the_history_itself_none(made: Master) -> None:
    triggers = {name for kind, name in made if kind == "trigger"}
    kept = set(tables(made)) - set(HISTORY_TABLES)
    assert triggers == {f"history_{table}_{moment}" for table in kept for moment in ("insert", "update", "delete")}


def test_steps_are_numbered_without_a_gap_up_to_the_schema() -> None:
    folder = Path(register.store.migrations.__file__ or "").parent
    assert sorted(path.stem for path in folder.glob("step_*.py")) == [f"step_{n:04d}" for n in range(1, SCHEMA + 1)]


def test_new_register_leaves_nothing_passing_in_its_folder(tmp_path: Path) -> None:
    folder = bare_register(tmp_path / "register").folder
    assert {path.name for path in folder.iterdir()} <= {"register.db", "register.db-journal", "files", "backups"}
