"""The one way to write: all or nothing, signed, under the lock, and in words when the disk or the file fails."""

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError

from register.actions import parts as part_actions
from register.actions.checking import check_register
from register.actions.history import list_operations
from register.domain.parts import Part
from register.errors import BadText, RegisterError, StoreBroken
from register.opening import Register
from register.store import parts, robots
from tests.shops import NOON, STUDENT, again, bare_register, dumped, row_counts
from tests.store.forked import in_child

try:
    import resource
except ImportError:  # Windows
    resource = None  # type: ignore[assignment]


@pytest.fixture
def register(tmp_path: Path) -> Register:
    return bare_register(tmp_path / "register")


def test_block_that_ends_well_keeps_all_of_its_rows_under_one_operation(register: Register) -> None:
    with register.store.writing("Tuva", "add two parts") as tx:
        parts.add_part(tx, Part("P-1", "One"))
        parts.add_part(tx, Part("P-2", "Two"))
    counts = row_counts(register)
    assert (counts["part"], counts["operation"], counts["change"], counts["open_operation"]) == (2, 1, 2, 0)


@pytest.mark.parametrize("fault", [ValueError("bad"), KeyboardInterrupt(), StoreBroken("a", "b")], ids=repr)
def test_block_that_fails_leaves_no_row_and_no_operation(register: Register, fault: BaseException) -> None:
    before = row_counts(register)

    def add_two_then_fail() -> None:
        with register.store.writing("Tuva", "add two parts") as tx:
            parts.add_part(tx, Part("P-1", "One"))
            robots.add_robot(tx, "Basalt", "not flushed yet")
            raise fault

    with pytest.raises(type(fault)):
        add_two_then_fail()
    assert row_counts(register) == before
    with register.store.writing("Tuva", "add one part") as tx:
        parts.add_part(tx, Part("P-1", "One"))
    assert row_counts(register)["part"] == 1


def test_row_that_breaks_a_check_leaves_nothing_of_its_operation(register: Register) -> None:
    before = row_counts(register)
    with pytest.raises(IntegrityError, match="ck_part_number_said"), register.store.writing("Tuva", "add parts") as tx:
        parts.add_part(tx, Part("P-1", "One"))
        parts.add_part(tx, Part(" ", "Blank"))
    assert row_counts(register) == before


def test_operation_says_who_why_when_and_at_which_station(register: Register) -> None:
    with register.store.writing("  Tuva ", "count the drawer") as tx:
        assert (tx.who, tx.at, tx.station, tx.operation) == ("Tuva", NOON, "A", 1)
    with closing(sqlite3.connect(register.folder / "register.db")) as connection:
        kept = connection.execute("SELECT seq, station, at, who, why, undoes FROM operation").fetchall()
    assert kept == [(1, "A", "2031-03-04T12:00:00Z", "Tuva", "count the drawer", None)]


@pytest.mark.parametrize(("who", "why"), [("", "why"), ("Tuva", " "), ("Tu\nva", "why"), ("Tuva", "x" * 2001)])
def test_operation_without_a_name_or_a_reason_is_refused(register: Register, who: str, why: str) -> None:
    with pytest.raises(BadText), register.store.writing(who, why) as tx:
        parts.add_part(tx, Part("P-1", "One"))
    assert row_counts(register)["operation"] == 0


@pytest.mark.parametrize(
    "statement",
    [
        "INSERT INTO part (key, version, number, number_folded, name, wear) VALUES ('k', 1, 'X', 'x', 'X', 0)",
        "UPDATE part SET name = 'other'",
        "DELETE FROM part",
    ],
)
def test_write_outside_an_operation_fails_whoever_makes_it(register: Register, statement: str) -> None:
    part_actions.add_part(register, "P-1", "One", False)
    before = dumped(register)
    with closing(sqlite3.connect(register.folder / "register.db")) as connection:
        with pytest.raises(sqlite3.IntegrityError, match=r"change\.operation"):
            connection.execute(statement)
        connection.rollback()
    with pytest.raises(IntegrityError, match=r"change\.operation"), register.store.reading() as view:
        view.session.connection().execute(text(statement))
    assert dumped(register) == before


def test_reading_sees_one_moment_and_not_what_is_written_meanwhile(register: Register) -> None:
    other = again(register)
    part_actions.add_part(register, "P-1", "One", False)
    with register.store.reading() as view:
        seen = parts.parts(view)
        with closing(sqlite3.connect(other.folder / "register.db", timeout=0)) as writer:
            with pytest.raises(sqlite3.OperationalError, match="locked"):
                writer.executescript("BEGIN IMMEDIATE; DELETE FROM open_operation; COMMIT")
            writer.rollback()
        assert parts.parts(view) == seen
    part_actions.add_part(other, "P-2", "Two", False)
    with register.store.reading() as view:
        assert [each.number for each in parts.parts(view)] == ["P-1", "P-2"]


def test_register_that_another_program_holds_is_said_to_be_held(register: Register) -> None:
    with register.store.reading() as view:
        # The one pooled connection then waits 20 ms, not 5 s.
        view.session.connection().exec_driver_sql("PRAGMA busy_timeout = 20")
    with closing(sqlite3.connect(register.folder / "register.db", isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(StoreBroken, match="another program holds the register") as refused:
            part_actions.add_part(register, "P-1", "One", False)
        assert refused.value.exit_code == 5
    part_actions.add_part(register, "P-1", "One", False)


def test_register_that_breaks_while_it_is_open_is_said_to_be_damaged(register: Register) -> None:
    register.store.close()
    (register.folder / "register.db").write_bytes(b"scribbled over" * 9000)
    with pytest.raises(StoreBroken, match="not a database"):
        part_actions.add_part(register, "P-1", "One", False)


def test_register_that_vanishes_while_it_is_open_is_said_to_be_gone(register: Register) -> None:
    register.store.close()
    (register.folder / "register.db").unlink()
    with pytest.raises(StoreBroken, match="cannot be opened"):
        part_actions.list_parts(register)
    assert not (register.folder / "register.db").exists()


@pytest.mark.skipif(resource is None, reason="needs a limit on the size of files")
@pytest.mark.parametrize("room_bytes", [0, 4096, 40_000, 120_000])
def test_disk_that_fills_up_leaves_whole_operations_and_says_so(register: Register, room_bytes: int) -> None:
    database = register.folder / "register.db"

    def fill() -> tuple[int, BaseException | None]:
        own = again(register)
        limit = database.stat().st_size + room_bytes
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
        for number in range(400):
            try:
                part_actions.add_part(own, f"P-{number}", "x" * 200, False)
            except RegisterError as refused:
                return number, refused
        return 400, None

    register.store.close()
    kept, refused = in_child(fill)
    assert isinstance(refused, StoreBroken)
    assert "disk" in refused.what
    assert "nothing was changed" in refused.cure
    opened = again(register)
    assert check_register(opened).rows == kept
    assert [each.why for each in list_operations(opened, 500)] == [f"add part P-{n}" for n in reversed(range(kept))]
    part_actions.add_part(opened, "P-last", "there is room again", False)


def test_operations_number_on_from_the_last_and_are_listed_newest_first(register: Register) -> None:
    for number in range(5):
        part_actions.add_part(register, f"P-{number}", "Part", False)
    found = list_operations(register, 3)
    assert [(each.number, each.why) for each in found] == [
        (5, "add part P-4"),
        (4, "add part P-3"),
        (3, "add part P-2"),
    ]
    assert {each.who for each in found} == {STUDENT}
