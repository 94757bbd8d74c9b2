"""Keeping a register: which backup is meant, what a check finds and what helps, and what may be tidied away."""

import os
import sqlite3
import time
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import pytest

from register.actions import checking, keeping, parts, spares
from register.actions.checking import check_register, look_over, look_over_unopened
from register.actions.history import list_operations, undo
from register.domain.keeping import BackupReason
from register.errors import BadFile, NotAllowed, NotFound, StoreBroken
from register.opening import Register
from register.store import health
from register.store.backup import make_backup
from tests.shops import (
    CLAW_A,
    CLAW_B,
    CLAW_C,
    NOON,
    PART,
    STUDENT,
    SetClock,
    again,
    dumped,
    files_in,
    logged,
    printed,
    wear_register,
)

LATER = NOON + timedelta(hours=1)


@pytest.fixture
def register(tmp_path: Path) -> Register:
    return wear_register(tmp_path / "register", SetClock())


def sql(register: Register, statement: str) -> None:
    with closing(sqlite3.connect(register.folder / "register.db", isolation_level=None)) as connection:
        connection.executescript(statement)


def put_old(path: Path, content: bytes, hours: float = 2.0) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content)
    then = time.time() - 3600 * hours
    os.utime(path, (then, then))
    return path


def loose(register: Register, sign: str, hours: float = 2.0) -> Path:
    """A file in the room, by a name that the room gives, that nothing names."""
    return put_old(register.files.folder / (sign * 2) / (sign * 64), b"x" * 100, hours)


def hash_of(register: Register, content: bytes) -> Path:
    with register.files.staged(content) as staged:
        return register.files.path(staged.sha256)


# --- which backup


def test_backup_is_named_by_its_name_or_as_much_of_it_as_tells_it_apart(register: Register) -> None:
    made = [make_backup(register.folder, NOON + timedelta(hours=n), BackupReason.ASKED).name for n in range(3)]
    for wanted in (made[1], made[1].removesuffix(".db"), "20310304T13"):
        source = keeping.restore_register(register.folder, wanted, STUDENT, NOON + timedelta(days=1)).source
        assert Path(source).name == made[1]
    with pytest.raises(NotAllowed, match=r"backups begin with 2031\. Say which: 2031"):
        keeping.restore_register(register.folder, "2031", STUDENT, LATER)


def test_exact_name_is_meant_even_if_another_begins_with_it(register: Register) -> None:
    first = make_backup(register.folder, NOON, BackupReason.ASKED)
    make_backup(register.folder, NOON, BackupReason.ASKED)
    assert first.name == "20310304T120000Z-asked.db"
    done = keeping.restore_register(register.folder, "20310304T120000Z-asked", STUDENT, LATER)
    assert Path(done.source) == first


def test_backup_that_a_person_renamed_or_took_away_is_found_by_its_name_or_path(
    register: Register, tmp_path: Path
) -> None:
    made = make_backup(register.folder, NOON, BackupReason.ASKED)
    renamed = made.rename(made.with_name("before the season.db"))
    done = keeping.restore_register(register.folder, "before the season.db", STUDENT, LATER)
    assert Path(done.source) == renamed
    outside = renamed.rename(tmp_path / "on a stick.db")
    assert keeping.restore_register(register.folder, str(outside), STUDENT, LATER).files == 1


@pytest.mark.parametrize("wanted", ["", "20310305", "nothing.db", "no\0name", "x" * 5000, "../register", "/"])
def test_backup_that_is_not_there_is_not_found(register: Register, wanted: str) -> None:
    make_backup(register.folder, NOON, BackupReason.ASKED)
    with pytest.raises(NotFound, match="no backup and no file"):
        keeping.restore_register(register.folder, wanted, STUDENT, LATER)


def test_whole_register_in_one_file_is_imported_not_restored(register: Register, tmp_path: Path) -> None:
    keeping.export_register(register, tmp_path / "season.zip")
    with pytest.raises(BadFile, match="pitwright import"):
        keeping.restore_register(register.folder, str(tmp_path / "season.zip"), STUDENT, LATER)


def test_backup_made_by_a_person_tells_its_name_and_what_is_kept(register: Register) -> None:
    first = keeping.back_up(register)
    second = keeping.back_up(register)
    assert (first.made, second.made) == ("20310304T120000Z-asked.db", "20310304T120000Z-asked-2.db")
    assert [each.name for each in second.backups] == [second.made, first.made]
    assert second.backups == keeping.list_backups(register.folder)
    assert second.backups[0].bytes == (register.folder / "register.db").stat().st_size


def test_restore_is_not_undone_row_by_row_but_names_the_way_back(register: Register) -> None:
    made = keeping.back_up(register).made
    spares.take_spare(register, PART, "Basalt")
    taken = dumped(register)
    done = keeping.restore_register(register.folder, made, STUDENT, LATER)
    newest = list_operations(register, 1)[0]
    with pytest.raises(NotAllowed, match="brought a backup back"):
        undo(register, newest.number)
    # One's last undo passes it over: the operation before it is meant.
    assert undo(register).number < newest.number
    assert done.before is not None and Path(done.before).name in newest.why
    keeping.restore_register(register.folder, Path(done.before).name, STUDENT, LATER)
    assert dumped(register) == taken


# --- a check


def test_sound_register_has_no_fault_and_everything_was_read(register: Register) -> None:
    keeping.back_up(register)
    report = check_register(register)
    assert (report.files, report.backups, report.newest_backup) == (1, 1, "20310304T120000Z-asked.db")
    assert report.rows == sum(len(rows) for name, rows in dumped(register).items() if name != "register_identity")
    assert report.faults == () and report.removed == () and report.loose_files == 0


def whats(register: Register) -> list[str]:
    report = look_over(register)
    assert all(fault.what.endswith(".") and fault.cure.endswith(".") for fault in report.faults)
    return [fault.what for fault in report.faults]


FAULTS = [
    ("PRAGMA foreign_keys = OFF; DELETE FROM operation WHERE seq = 3", "Of 8 operations the history holds 7."),
    ("PRAGMA foreign_keys = OFF; DELETE FROM operation WHERE seq = 3", "A row of change points to a row of operation"),
    ("DROP TRIGGER history_part_update", "In the history, changes of part are not kept."),
    ("CREATE TRIGGER t AFTER INSERT ON part BEGIN DELETE FROM revision; END", "The trigger t is not of pitwright's"),
    ("CREATE VIEW v AS SELECT 1", "The database holds v,"),
    ("INSERT INTO open_operation VALUES (1, 1)", "A write was left open."),
    (
        "INSERT INTO open_operation VALUES (1, 1); UPDATE piece_move SET quantity = -3; DELETE FROM open_operation",
        "shelf holds -3 CL-1.",
    ),
]


@pytest.mark.parametrize(("statement", "what"), FAULTS, ids=[what for _, what in FAULTS])
def test_check_finds_what_is_wrong_with_the_database(register: Register, statement: str, what: str) -> None:
    sql(register, statement)
    assert [said for said in whats(register) if said.startswith(what)]
    with pytest.raises(StoreBroken, match="The register is not sound: "):
        check_register(again(register))


def test_check_finds_loose_links_though_a_waiting_writer_keeps_a_second_reader_out(register: Register) -> None:
    sql(register, "PRAGMA foreign_keys = OFF; DELETE FROM operation WHERE seq = 3")
    database = register.folder / "register.db"
    with (
        closing(sqlite3.connect(database, timeout=0, isolation_level=None)) as writer,
        register.store.reading() as view,
    ):
        writer.executescript("BEGIN IMMEDIATE; CREATE TABLE later (x)")
        # https://www.sqlite.org/lockingv3.html: who wants to commit while others read holds PENDING, and none may join.
        with pytest.raises(sqlite3.OperationalError, match="locked"):
            writer.execute("COMMIT")
        with closing(sqlite3.connect(database, timeout=0)) as other, pytest.raises(sqlite3.OperationalError):
            other.execute("SELECT count(*) FROM part")
        assert any(fault.what.startswith("A row of change points to") for fault in health.faults(view, "."))


def test_index_that_lacks_a_row_is_found(register: Register) -> None:
    sql(register, "CREATE INDEX extra ON part (name)")
    # An index over other rows: its own pages are sound, and only a whole check sees that they do not fit the table.
    with closing(sqlite3.connect(register.folder / "register.db")) as connection:
        (page,) = connection.execute("SELECT rootpage FROM sqlite_master WHERE name = 'extra'").fetchone()
        (size,) = connection.execute("PRAGMA page_size").fetchone()
    database = register.folder / "register.db"
    register.store.close()
    content = bytearray(database.read_bytes())
    at = content.index(b"Claw", (page - 1) * size, page * size)
    content[at : at + 4] = b"Clow"
    database.write_bytes(content)
    # The opener's quick look passes over it.
    assert any("missing from index extra" in what for what in whats(again(register)))


@pytest.mark.parametrize("damage", ["gone", "changed", "a link", "a folder", "huge"])
def test_check_names_the_file_whose_it_is_and_what_helps(register: Register, tmp_path: Path, damage: str) -> None:
    path = hash_of(register, CLAW_A)
    path.unlink()
    if damage == "changed":
        path.write_bytes(CLAW_A + b" ")
    elif damage == "a link":
        (tmp_path / "elsewhere").write_bytes(CLAW_A)
        path.symlink_to(tmp_path / "elsewhere")
    elif damage == "a folder":
        path.mkdir()
    elif damage == "huge":
        path.touch()
        os.truncate(path, 10_000_000_000)
    report = look_over(register)
    assert path.name in report.faults[0].what
    assert "claw.stl of CL-1 A" in report.faults[0].cure
    with pytest.raises(StoreBroken):
        register.files.read(path.name)


def test_file_that_only_the_history_names_is_read_if_it_is_there(register: Register) -> None:
    logged(register, printed(), CLAW_B)
    undo(register)
    path = hash_of(register, CLAW_B)
    assert check_register(register).files == 1
    path.write_bytes(b"scribble")
    assert [path.name in what for what in whats(register)] == [True]
    # Gone altogether, it is missed by nobody but an undo of that undo.
    path.unlink()
    assert whats(register) == []


def test_folder_of_files_that_leads_away_is_refused(register: Register, tmp_path: Path) -> None:
    path = hash_of(register, CLAW_A)
    path.parent.rename(tmp_path / "elsewhere")
    path.parent.symlink_to(tmp_path / "elsewhere")
    assert any("is a link" in what for what in whats(register))
    with pytest.raises(StoreBroken, match="is a link"):
        register.files.read(path.name)
    # Nothing is written through it either: a new file whose hash begins alike stays out.
    with register.files.staged(CLAW_A) as staged, pytest.raises(StoreBroken, match="is a link"):
        register.files.settle(staged)


@pytest.mark.parametrize("content", [b"", b"shopping list\n" * 500, None])
def test_backup_that_is_no_use_is_named_and_the_sound_one_is_offered(register: Register, content: bytes | None) -> None:
    sound = make_backup(register.folder, NOON, BackupReason.ASKED)
    broken = make_backup(register.folder, LATER, BackupReason.ASKED)
    # None stands for a page of the middle that went wrong, which only reading all of it shows.
    whole = bytearray(broken.read_bytes())
    whole[40 * 4096 : 60 * 4096] = b"\xa5" * (20 * 4096)
    broken.write_bytes(bytes(whole) if content is None else content)
    report = look_over(register)
    assert [fault.what.split(":")[0] for fault in report.faults] == [f"The backup {broken.name} is no use"]
    assert (report.backups, report.newest_backup) == (1, sound.name)


def test_register_that_cannot_be_opened_is_told_with_the_backup_to_bring_back(register: Register) -> None:
    made = keeping.back_up(register).made
    register.store.close()
    with (register.folder / "register.db").open("r+b") as file:
        file.write(b"shopping list\n" * 20)
    with pytest.raises(StoreBroken) as broken:
        again(register)
    report = look_over_unopened(register.folder, broken.value)
    assert report.faults[0].what == broken.value.what
    assert report.faults[0].cure == f"Bring a backup back: `pitwright restore {made}`."


# --- tidying


def test_only_old_files_that_nothing_needs_are_removed(register: Register) -> None:
    gone = [
        loose(register, "a"),
        put_old(register.files.folder / f".{'0' * 16}", b"staged"),
        put_old(register.folder / ".register.db.0123abcd", b"unfinished"),
        put_old(register.folder / "backups" / ".register.db.0123abcd-journal", b"unfinished"),
    ]
    kept = [
        loose(register, "b", hours=0.5),
        put_old(register.files.folder / f".{'1' * 16}", b"staged", hours=0.5),
        put_old(register.files.folder / "cc" / "notes.txt", b"mine"),
        put_old(register.files.folder / "aa" / ("d" * 64), b"in the wrong folder"),
        put_old(register.folder / "notes.txt", b"mine"),
        put_old(register.folder / "backups" / "mine.db.bak", b"mine"),
        hash_of(register, CLAW_A),
    ]
    put_old(hash_of(register, CLAW_A), CLAW_A, hours=9)
    report = look_over(register)
    assert (report.loose_files, report.loose_bytes, report.removed) == (4, 100 + 6 + 10 + 10, ())
    assert all(path.exists() for path in gone)
    report = look_over(register, tidy=True)
    assert sorted(report.removed) == sorted(str(path.relative_to(register.folder)) for path in gone)
    assert report.loose_files == 0
    assert not any(path.exists() for path in gone) and all(path.exists() for path in kept)
    check_register(register)


def test_file_of_an_undone_revision_stays_since_the_undo_may_be_undone(register: Register) -> None:
    logged(register, printed(), CLAW_B)
    undo(register)
    put_old(hash_of(register, CLAW_B), CLAW_B)
    assert look_over(register, tidy=True).removed == ()
    newest = list_operations(register, 1)[0]
    undo(register, newest.number)
    check_register(register)


def test_file_that_a_backup_needs_stays_until_that_backup_is_gone(register: Register) -> None:
    bare = keeping.back_up(register).made
    logged(register, printed(), CLAW_B)
    done = keeping.restore_register(register.folder, bare, STUDENT, LATER)
    # Neither the rows nor the history know the file now; the backup of before the restore does.
    path = put_old(hash_of(register, CLAW_B), CLAW_B)
    assert look_over(register, tidy=True).removed == () and path.exists()
    assert done.before is not None
    keeping.restore_register(register.folder, Path(done.before).name, STUDENT, LATER)
    assert check_register(register).files == 2
    keeping.restore_register(register.folder, bare, STUDENT, LATER)
    for each in (register.folder / "backups").iterdir():
        if each.name != bare:
            each.unlink()
    assert look_over(register, tidy=True).removed == (str(path.relative_to(register.folder)),)
    keeping.restore_register(register.folder, bare, STUDENT, LATER)


def test_nothing_is_removed_while_a_database_in_backups_cannot_say_what_it_needs(register: Register) -> None:
    path = loose(register, "a")
    (register.folder / "backups" / "before the season.db").write_bytes(b"shopping list\n" * 500)
    with pytest.raises(StoreBroken, match=r"before the season\.db in backups/ does not say"):
        look_over(register, tidy=True)
    assert path.exists()
    assert any("before the season.db" in what for what in whats(register))


def test_nothing_is_removed_from_a_register_that_is_not_sound(register: Register) -> None:
    path = loose(register, "a")
    hash_of(register, CLAW_A).unlink()
    assert look_over(register, tidy=True).removed == ()
    assert path.exists()


def test_file_that_is_being_logged_this_very_moment_is_not_taken_for_one_left_behind(register: Register) -> None:
    # It stood there unnamed for a day, from a log that was cut off; the same file is logged again just now.
    path = put_old(hash_of(register, CLAW_C), CLAW_C, hours=24)
    with register.files.staged(CLAW_C) as staged, register.store.writing(STUDENT, "log it") as tx:
        register.files.settle(staged)
        other = sqlite3.connect(register.folder / "register.db", timeout=0, isolation_level=None)
        # What tidies needs this lock, which is held from before the file has its place until its row is kept.
        with closing(other), pytest.raises(sqlite3.OperationalError, match="locked"):
            other.execute("BEGIN IMMEDIATE")
        tx.session.connection().exec_driver_sql(
            "INSERT INTO stored_file (key, version, sha256, name, bytes) VALUES (?, 1, ?, 'c.stl', ?)",
            (tx.key(), staged.sha256, staged.bytes),
        )
    assert look_over(register, tidy=True).removed == ()
    assert path.exists() and len(files_in(register)) == 2


def test_check_may_run_while_others_write(register: Register) -> None:
    with register.store.writing(STUDENT, "still at it"):
        assert checking.look_over(again(register)).faults == ()
    parts.add_part(register, "RV-1", "Hub", False)
    check_register(register)
