"""Bringing old registers up to date: everything kept, all or nothing, and a backup whatever happens."""

import json
import os
import sqlite3
import sys
import tempfile
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
import sqlalchemy as sa
from alembic.operations import Operations

from register.actions import history
from register.actions.checking import check_register
from register.actions.parts import show_part
from register.actions.spares import take_spare
from register.errors import NotAllowed, StoreBroken
from register.opening import open_register, upgrade_register
from register.store.header import SCHEMA
from register.store.migrate import steps_after, upgrade_database
from register.store.migrations import step_0001
from register.store.migrations.kept_rows import add_to_kept
from register.store.transaction import engine_for
from tests.benchmarks.upgrade_kills import kill_upgrades
from tests.shops import PART, STUDENT, SetClock, bare_register, dumped
from tests.store.forked import as_nobody, in_child
from tests.store.old_registers import (
    SCHEMAS,
    columns_in,
    literal_rows,
    master,
    old_register,
    schema_of,
    with_added,
)

if sys.platform != "win32":
    import resource


@pytest.fixture(params=SCHEMAS)
def old(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    """A register of each earlier schema."""
    return old_register(tmp_path / "register", request.param)


def whole(database: Path) -> object:
    """All that a database says of itself."""
    return schema_of(database), master(database), literal_rows(database)


def triggers(database: Path) -> set[str]:
    return {name for kind, name in master(database) if kind == "trigger"}


def no_copy() -> None:
    """Where a test looks at the steps alone."""


def test_every_earlier_schema_has_its_register_among_the_fixtures() -> None:
    assert list(SCHEMAS) == list(range(1, SCHEMA))


def test_fixture_of_the_first_schema_is_what_the_first_step_makes(tmp_path: Path) -> None:
    old = old_register(tmp_path / "register", 1)
    alone = tmp_path / "alone.db"
    alone.touch()
    engine = engine_for(alone)
    with engine.connect() as connection, connection.begin():
        from alembic.migration import MigrationContext

        step_0001.upgrade(Operations(MigrationContext.configure(connection)))
    engine.dispose()
    made = master(alone)
    assert {key: sql for key, sql in master(old / "register.db").items() if key[0] != "trigger"} == made
    # Of its 26 tables, operation, change, open_operation and register_identity keep no history of their own.
    assert len(triggers(old / "register.db")) == 3 * 22


def test_upgraded_register_is_the_same_as_a_new_one_in_all_but_its_rows(old: Path, tmp_path: Path) -> None:
    upgrade_register(old)
    new = bare_register(tmp_path / "new").folder
    assert master(old / "register.db") == master(new / "register.db")
    assert schema_of(old / "register.db") == SCHEMA


def test_upgrade_keeps_every_row_byte_for_byte_and_adds_to_the_history_only_what_is_new(old: Path) -> None:
    before, schema = literal_rows(old / "register.db"), schema_of(old / "register.db")
    assert sum(len(rows) for rows in before.values()) > 150
    columns = columns_in(old / "register.db")
    upgrade_register(old)
    assert literal_rows(old / "register.db", columns) == with_added(before, schema)


def test_rows_that_the_history_keeps_are_shaped_as_their_tables_are(old: Path) -> None:
    upgrade_register(old)
    columns = columns_in(old / "register.db")
    with closing(sqlite3.connect(old / "register.db")) as connection:
        kept = connection.execute(
            "SELECT row_table, old FROM change WHERE old IS NOT NULL "
            "UNION ALL SELECT row_table, new FROM change WHERE new IS NOT NULL"
        ).fetchall()
    assert {table for table, _ in kept} >= {"revision", "machine", "material", "lot", "part"}
    for table, text in kept:
        assert list(json.loads(text)) == columns[table], table


def kept_rows(database: Path, operation: int, which: str) -> dict[str, dict[str, object]]:
    """What the history of operation `operation` keeps, by row key."""
    with closing(sqlite3.connect(database)) as connection:
        kept = connection.execute(f"SELECT row_key, {which} FROM change WHERE operation = ?", (operation,)).fetchall()
    return {key: json.loads(text) for key, text in kept}


def row_as_kept(database: Path, table: str, key: str) -> dict[str, object]:
    """A row as the history would keep it: REAL as its literal."""
    with closing(sqlite3.connect(database)) as connection:
        types = {row[1]: row[2] for row in connection.execute(f'PRAGMA table_info("{table}")')}
        shape = ", ".join(f'quote("{name}")' if kind == "REAL" else f'"{name}"' for name, kind in types.items())
        row = connection.execute(f'SELECT {shape} FROM "{table}" WHERE key = ?', (key,)).fetchone()
    return dict(zip(types, row, strict=True))


def test_operation_logged_before_the_upgrade_is_undone_after_it_to_the_last_byte(tmp_path: Path) -> None:
    # Of the fixture of schema 2: 36 read a dearer printer in, 23 logged a bought revision, and 24 took that back.
    old = old_register(tmp_path / "register", 2)
    dearer = kept_rows(old / "register.db", 36, "old")
    logged = kept_rows(old / "register.db", 24, "old")
    upgrade_register(old)
    register = open_register(old, STUDENT, SetClock())
    history.undo(register, 36)
    history.undo(register, 24)
    machines = [key for key, row in dearer.items() if row.get("process") == "printed"]
    assert len(machines) == 1 and dearer[machines[0]]["cost_per_h_cents"] == 900
    assert row_as_kept(old / "register.db", "machine", machines[0]) == dearer[machines[0]] | {"powder": None}
    revisions = [key for key, row in logged.items() if "letter" in row]
    assert len(revisions) == 1 and logged[revisions[0]]["letter"] == "B"
    assert row_as_kept(old / "register.db", "revision", revisions[0]) == logged[revisions[0]] | {"keep_pose": ""}
    check_register(register)


def test_table_that_is_not_as_a_step_made_it_stops_the_upgrade(tmp_path: Path) -> None:
    old = old_register(tmp_path / "register", 2)
    with closing(sqlite3.connect(old / "register.db", isolation_level=None)) as connection:
        connection.execute("PRAGMA writable_schema = ON")
        connection.execute(
            "UPDATE sqlite_master SET sql = replace(sql, 'filament'', ''sheet', 'sheet'', ''filament') "
            "WHERE name = 'material'"
        )
    before = whole(old / "register.db")
    with pytest.raises(StoreBroken, match="The table material is not as pitwright made it"):
        upgrade_register(old)
    assert whole(old / "register.db") == before


def reals_and_texts(op: Operations) -> None:
    """What a next season might add."""
    for column, kind, value in (
        ("width_mm", sa.REAL(), 0.1),
        ("why", sa.Text(), 'as "said", it\'s'),
        ("n", sa.Integer(), 7),
    ):
        default = "'" + str(value).replace("'", "''") + "'" if isinstance(value, str) else str(value)
        op.add_column("robot", sa.Column(column, kind, server_default=sa.text(default), nullable=False))
        add_to_kept(op, "robot", column, value)


def test_kept_rows_grow_by_figures_and_texts_as_the_triggers_write_them(old: Path) -> None:
    schema = schema_of(old / "register.db")
    upgrade_database(old, schema, (*steps_after(schema), reals_and_texts), no_copy)
    with closing(sqlite3.connect(old / "register.db", isolation_level=None)) as connection:
        (standing,) = connection.execute(
            "SELECT new FROM change WHERE row_table = 'robot' AND old IS NULL LIMIT 1"
        ).fetchone()
        key = json.loads(standing)["key"]
        connection.execute("INSERT INTO open_operation VALUES (1, 1)")
        # An update that changes nothing: the trigger writes the row as it writes any other.
        connection.execute("UPDATE robot SET version = version WHERE key = ?", (key,))
        (written,) = connection.execute("SELECT new FROM change ORDER BY seq DESC LIMIT 1").fetchone()
    assert standing == written


def test_upgraded_register_passes_check_and_is_worked_in(old: Path) -> None:
    upgrade_register(old)
    register = open_register(old, STUDENT, SetClock())
    # Of the fixture: 55 rows outside the history when it was written, and three files.
    assert (check_register(register).rows, check_register(register).files) == (55, 3)
    # Estimates that were kept before anything was said of powder are read.
    estimates = show_part(register, PART).estimates
    assert set(estimates) == {"A", "B", "C"}
    assert all(getattr(each, "powder", None) is None for each in estimates.values())
    take_spare(register, PART)
    assert history.list_operations(register, 1)[0].why == f"take a spare {PART}"
    check_register(register)


def test_whole_history_of_an_old_register_is_undone_step_by_step_until_nothing_is_left(old: Path) -> None:
    upgrade_register(old)
    register = open_register(old, STUDENT, SetClock())
    first_newest = history.list_operations(register, 1)[0].number
    undone = {each.undoes for each in history.list_operations(register, 1000)}
    for number in range(first_newest, 0, -1):
        if history.list_operations(register, 1000)[-number].undoes is None and number not in undone:
            history.undo(register, number)
    assert {table for table, rows in dumped(register).items() if rows} == {"register_identity"}
    check_register(register)


def test_undo_of_an_old_operation_that_others_stand_on_is_refused_by_name(old: Path) -> None:
    upgrade_register(old)
    register = open_register(old, STUDENT, SetClock())
    with pytest.raises(NotAllowed, match=r"Operation 2 cannot be undone: operation \d+ \(.+\) stands on it"):
        history.undo(register, 2)


def test_backup_made_before_is_the_old_register(old: Path) -> None:
    before = whole(old / "register.db")
    done = upgrade_register(old)
    assert done.backup is not None
    assert whole(Path(done.backup)) == before
    assert Path(done.backup).parent == old / "backups"


def test_upgrade_of_a_register_that_is_up_to_date_changes_and_copies_nothing(old: Path) -> None:
    upgrade_register(old)
    before, backups = (old / "register.db").read_bytes(), sorted((old / "backups").rglob("*"))
    done = upgrade_register(old)
    assert (done.changes, done.backup) == ((), None)
    assert (old / "register.db").read_bytes() == before
    assert sorted((old / "backups").rglob("*")) == backups


def test_second_terminal_that_comes_late_finds_it_done_and_copies_nothing(old: Path) -> None:
    schema = schema_of(old / "register.db")
    upgrade_register(old)
    before = (old / "register.db").read_bytes()
    copied: list[str] = []
    with pytest.raises(StoreBroken, match="upgraded by somebody else meanwhile"):
        upgrade_database(old, schema, steps_after(schema), lambda: copied.append("copied"))
    assert copied == []
    assert (old / "register.db").read_bytes() == before


def test_nobody_writes_between_the_backup_and_the_upgrade(old: Path) -> None:
    tried: list[str] = []

    def meanwhile() -> None:
        with closing(sqlite3.connect(old / "register.db", timeout=0, isolation_level=None)) as other:
            assert other.execute("SELECT count(*) FROM part").fetchone()[0] > 0
            try:
                other.execute("BEGIN IMMEDIATE")
            except sqlite3.OperationalError as error:
                tried.append(str(error))

    schema = schema_of(old / "register.db")
    upgrade_database(old, schema, steps_after(schema), meanwhile)
    assert tried == ["database is locked"]


def test_upgrade_is_refused_while_another_terminal_reads_and_nothing_is_changed(old: Path) -> None:
    before = whole(old / "register.db")
    with closing(sqlite3.connect(old / "register.db", isolation_level=None)) as reader:
        reader.execute("BEGIN")
        reader.execute("SELECT * FROM part").fetchall()
        with pytest.raises(StoreBroken, match="another program holds the register"):
            upgrade_register(old)
        reader.execute("COMMIT")
    assert whole(old / "register.db") == before
    upgrade_register(old)
    assert schema_of(old / "register.db") == SCHEMA


def test_upgrade_without_a_backup_is_none(old: Path) -> None:
    before = whole(old / "register.db")

    def full() -> None:
        raise StoreBroken("The backup was not made: the disk is full.", "Free some space.")

    schema = schema_of(old / "register.db")
    with pytest.raises(StoreBroken, match="the disk is full"):
        upgrade_database(old, schema, steps_after(schema), full)
    assert whole(old / "register.db") == before


def limited(folder: Path, most_bytes: int) -> object:
    """What an upgrade says where no file may grow over `most_bytes`, as on a full disk."""
    resource.setrlimit(resource.RLIMIT_FSIZE, (most_bytes, most_bytes))
    return upgrade_register(folder)


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs Unix limits")
@pytest.mark.parametrize("more_bytes", [-4096, 0], ids=["for the backup", "for the upgrade"])
def test_upgrade_that_the_disk_does_not_take_changes_nothing(old: Path, more_bytes: int) -> None:
    before = whole(old / "register.db")
    size = (old / "register.db").stat().st_size
    refused = in_child(lambda: limited(old, size + more_bytes))
    assert isinstance(refused, StoreBroken), refused
    assert "nothing was changed" in refused.cure
    assert whole(old / "register.db") == before
    # No half backup stands among the backups; a whole one may.
    backups = list((old / "backups").iterdir())
    assert [whole(path) for path in backups] == [before] * (more_bytes == 0)


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs Unix permissions")
def test_register_that_may_only_be_read_is_not_upgraded_and_says_so() -> None:
    with tempfile.TemporaryDirectory() as passing:
        Path(passing).chmod(0o755)
        old = old_register(Path(passing) / "register", 1)
        before = whole(old / "register.db")
        for path in (*old.rglob("*"), old):
            path.chmod(0o555 if path.is_dir() else 0o444)
        refused = in_child(as_nobody(lambda: upgrade_register(old)))
        for path in (old, *old.rglob("*")):
            path.chmod(0o755)
        assert isinstance(refused, StoreBroken)
        assert "could not be written" in refused.what
        assert whole(old / "register.db") == before
        assert list((old / "backups").iterdir()) == []


# Steps of a next season that go wrong at their end.
def no_such_table(op: Operations) -> None:
    op.create_table("next_season", sa.Column("key", sa.Text(), nullable=False), sqlite_strict=True)
    op.execute("UPDATE part SET name = 'overwritten'")
    op.execute("INSERT INTO nowhere VALUES (1)")


def orphans(op: Operations) -> None:
    op.execute("DELETE FROM robot")


def breaks_a_check(op: Operations) -> None:
    op.execute("UPDATE part SET number = ' '")


def raises(op: Operations) -> None:
    op.drop_table("replacement")
    raise StoreBroken("The step found what it cannot carry over.", "Say so.")


@pytest.mark.parametrize(
    ("bad", "said"),
    [
        (no_such_table, "SQLITE_ERROR"),
        (orphans, "would point to a row of robot that is not there"),
        (breaks_a_check, "SQLITE_CONSTRAINT"),
        (raises, "cannot carry over"),
    ],
)
def test_when_a_step_fails_none_is_done(old: Path, bad: Callable[[Operations], None], said: str) -> None:
    before = whole(old / "register.db")
    schema = schema_of(old / "register.db")
    with pytest.raises(StoreBroken, match=said):
        upgrade_database(old, schema, (*steps_after(schema), bad), no_copy)
    assert whole(old / "register.db") == before
    upgrade_register(old)
    check_register(open_register(old, STUDENT, SetClock()))


def rebuilds_a_table(op: Operations) -> None:
    """What SQLite needs for a changed column: a new table, its rows copied, the old one dropped."""
    with op.batch_alter_table("robot", recreate="always", table_kwargs={"sqlite_strict": True}) as robot:
        robot.add_column(sa.Column("season", sa.Integer(), nullable=False, server_default="2031"))
    op.execute("UPDATE robot SET season = 2032")


def test_step_that_rebuilds_a_table_loses_no_child_row_no_trigger_and_no_strictness(old: Path) -> None:
    database = old / "register.db"
    schema, before = schema_of(database), literal_rows(database)
    columns, kept = columns_in(database), triggers(database)
    # Both robots have rows that point to them: with foreign keys on, dropping the old table deletes or refuses those.
    assert len(before["robot"]) == 2 and len(before["position"]) == 2 and len(before["entry"]) == 1
    upgrade_database(old, schema, (*steps_after(schema), rebuilds_a_table), no_copy)
    assert schema_of(database) == SCHEMA + 1
    assert literal_rows(database, columns) == with_added(before, schema)
    assert literal_rows(database, {"robot": ["season"]})["robot"] == [("2032", "integer")] * 2
    assert triggers(database) == kept
    assert "'season'" in master(database)["trigger", "history_robot_update"]
    assert master(database)["table", "robot"].endswith("STRICT")


def test_killed_upgrades_leave_the_old_or_the_new_register_and_a_backup_with_each_new_one(tmp_path: Path) -> None:
    found = kill_upgrades(tmp_path, kills=20, moves=1500, seed=4)
    assert found.between == 0
    assert found.new_without_backup == 0
    assert found.old + found.new == found.kills == 20
    # Some kills came while the database was being written: their half was rolled back by the next who opened it.
    assert found.in_the_middle >= 1
