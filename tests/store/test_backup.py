"""Backups and restores: consistent while others write, kept by a rule, brought back without losing a write."""

import os
import shutil
import sqlite3
import stat
import threading
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from register.actions import parts, spares
from register.actions.checking import check_register
from register.domain.keeping import Backup, BackupReason, age, backup_name, backup_named, no_longer_kept
from register.errors import BadFile, NotFound, StoreBroken
from register.opening import Register
from register.store import backup
from register.store.backup import back_up_daily, list_backups, make_backup
from register.store.restore import restore
from tests.shops import (
    CLAW_A,
    CLAW_B,
    NOON,
    PART,
    STUDENT,
    SetClock,
    again,
    bare_register,
    claws,
    dumped,
    files_in,
    logged,
    printed,
    row_counts,
    set_up_register,
    wear_register,
)
from tests.store.forked import forked, in_child

try:
    import resource
except ImportError:  # Windows
    resource = None  # type: ignore[assignment]


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    register = wear_register(tmp_path_factory.mktemp("built") / "register", on_hand=5)
    register.store.close()
    return register.folder


@pytest.fixture
def register(built: Path, tmp_path: Path) -> Register:
    from register.opening import open_register

    return open_register(Path(shutil.copytree(built, tmp_path / "register")), STUDENT, SetClock())


def dump(path: Path) -> list[str]:
    with closing(sqlite3.connect(path)) as connection:
        return list(connection.iterdump())


def names_in(folder: Path) -> set[str]:
    return {path.name for path in (folder / "backups").iterdir()}


def made_at(hours: float) -> Backup:
    moment = NOON + timedelta(hours=hours)
    return Backup(backup_name(moment, BackupReason.DAILY), moment, BackupReason.DAILY)


# --- the backup itself


def test_backup_holds_every_row_and_says_its_utc_time_and_its_reason(register: Register) -> None:
    # 14:30 at two hours east of Greenwich is 12:30 UTC.
    made = make_backup(register.folder, datetime.fromisoformat("2031-03-04T14:30:05+02:00"), BackupReason.ASKED)
    assert made == register.folder / "backups" / "20310304T123005Z-asked.db"
    assert dump(made) == dump(register.folder / "register.db")
    assert names_in(register.folder) == {made.name}


def test_backups_of_one_second_stand_beside_each_other(register: Register) -> None:
    first = make_backup(register.folder, NOON, BackupReason.ASKED)
    parts.add_part(register, "RV-1", "Hub", False)
    second = make_backup(register.folder, NOON, BackupReason.ASKED)
    assert (first.name, second.name) == ("20310304T120000Z-asked.db", "20310304T120000Z-asked-2.db")
    assert dump(first) != dump(second) == dump(register.folder / "register.db")
    assert [each.name for each in list_backups(register.folder)] == [second.name, first.name]


def test_disk_without_hard_links_takes_backups_too_and_none_is_written_over(
    register: Register, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_links(*_: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", no_links)
    first, second = (make_backup(register.folder, NOON, BackupReason.ASKED) for _ in range(2))
    assert names_in(register.folder) == {first.name, second.name} and first != second
    (register.folder / "register.db").write_bytes(b"shopping list\n" * 20)
    done = restore(register.folder, first, NOON, STUDENT)
    assert done.before is not None and Path(done.before).read_bytes() == b"shopping list\n" * 20
    check_register(again(register))


def test_backup_among_writers_ends_and_is_of_one_moment(register: Register) -> None:
    stop = threading.Event()

    def write() -> None:
        own, count = again(register), 0
        while not stop.is_set():
            # Two rows in one operation: a backup between them would be half an operation.
            with own.store.writing(STUDENT, "two parts") as tx:
                for name in ("left", "right"):
                    tx.session.connection().exec_driver_sql(
                        "INSERT INTO part (key, version, number, number_folded, name, wear) VALUES (?, 1, ?, ?, ?, 0)",
                        (tx.key(), f"W-{count}-{name}", f"w-{count}-{name}", name),
                    )
            count += 1
        own.store.close()

    writer = threading.Thread(target=write)
    writer.start()
    try:
        made = [make_backup(register.folder, NOON + timedelta(seconds=n), BackupReason.ASKED) for n in range(3)]
    finally:
        stop.set()
        writer.join()
    held = []
    for path in made:
        with closing(sqlite3.connect(path)) as connection:
            pairs, odd = connection.execute(
                "SELECT count(*), count(*) % 2 FROM part WHERE number LIKE 'W-%'"
            ).fetchone()
            operations = connection.execute("SELECT count(*) FROM operation WHERE why = 'two parts'").fetchone()[0]
            assert odd == 0 and pairs == 2 * operations
            assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
            held.append(pairs)
    assert held == sorted(held) and held[-1] > held[0]


def test_backup_is_made_while_another_has_the_write_lock(register: Register) -> None:
    with register.store.writing(STUDENT, "still at it") as tx:
        made = make_backup(register.folder, NOON, BackupReason.ASKED)
        assert tx.operation == row_counts(register)["operation"] + 1
    with closing(sqlite3.connect(made)) as connection:
        assert connection.execute("SELECT count(*) FROM operation WHERE why = 'still at it'").fetchone() == (0,)


def test_killed_backup_leaves_no_name_that_a_backup_has(register: Register) -> None:
    def back_up_and_die(tell: object) -> None:
        def die(*_: object) -> None:
            os._exit(9)

        backup.sync_file = die  # type: ignore[assignment]
        make_backup(register.folder, NOON, BackupReason.ASKED)

    register.store.close()
    child, reader = forked(back_up_and_die)
    os.close(reader)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 9
    left = names_in(register.folder)
    assert len(left) == 1 and all(backup_named(name) is None for name in left)
    assert list_backups(register.folder) == ()


@pytest.mark.skipif(resource is None, reason="needs a limit on the size of files")
def test_disk_that_is_full_takes_no_backup_and_loses_none(register: Register) -> None:
    before = make_backup(register.folder, NOON, BackupReason.ASKED)

    def back_up_on_a_full_disk() -> object:
        resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000))
        return make_backup(register.folder, NOON, BackupReason.ASKED)

    register.store.close()
    refused = in_child(back_up_on_a_full_disk)
    assert isinstance(refused, StoreBroken)
    assert "takes no more" in refused.what and "nothing was changed" in refused.cure
    assert names_in(register.folder) == {before.name}


def test_damaged_register_is_not_backed_up_as_if_it_were_sound(register: Register) -> None:
    register.store.close()
    break_inner_page(register.folder)
    with pytest.raises(StoreBroken):
        make_backup(register.folder, NOON, BackupReason.ASKED)
    assert names_in(register.folder) == set()


@pytest.mark.skipif(os.name == "nt", reason="needs a umask")
@pytest.mark.parametrize(("umask", "file_mode", "folder_mode"), [(0o077, 0o600, 0o700), (0o007, 0o660, 0o770)])
def test_backup_has_the_permissions_that_the_umask_gives(
    tmp_path: Path, umask: int, file_mode: int, folder_mode: int
) -> None:
    before = os.umask(umask)
    try:
        register = set_up_register(tmp_path / "register")
        parts.add_part(register, PART, "Claw", True)
        logged(register, printed(), CLAW_A)
        (tmp_path / "register" / "backups").rmdir()
        made = make_backup(register.folder, NOON, BackupReason.ASKED)
    finally:
        os.umask(before)
    assert stat.S_IMODE(made.stat().st_mode) == file_mode
    for path in tmp_path.joinpath("register").rglob("*"):
        assert stat.S_IMODE(path.stat().st_mode) == (folder_mode if path.is_dir() else file_mode), path


# --- which are kept


def test_last_ten_are_kept_and_of_the_weeks_before_the_last_each() -> None:
    # 4 March 2031 is a Tuesday. One each day for 40 days: the last ten are of days 30 to 39; of days 0 to 29 the last
    # of each week is a Sunday: days 5, 12, 19, 26, and day 29 for the week that is cut off by the ten.
    days = [made_at(24.0 * day) for day in range(40)]
    kept = {0 + day for day, each in enumerate(days) if each not in no_longer_kept(days, NOON + timedelta(days=60))}
    assert kept == {5, 12, 19, 26, 29} | set(range(30, 40))


@given(st.lists(st.floats(0, 5000), max_size=60), st.floats(0, 6000))
def test_rule_never_lets_one_of_the_last_ten_go_nor_a_whole_week(hours: list[float], now_h: float) -> None:
    found = sorted({made_at(each).made_at: made_at(each) for each in hours}.values(), key=age)
    now = NOON + timedelta(hours=now_h)
    gone = no_longer_kept(found, now)
    past = [each for each in found if each.made_at <= now]
    assert not set(gone) & set(past[-10:])
    assert set(gone) <= set(past)
    left = {each.made_at.isocalendar()[:2] for each in found if each not in gone}
    assert left == {each.made_at.isocalendar()[:2] for each in found}
    # Once applied, it has nothing more to do.
    assert no_longer_kept([each for each in found if each not in gone], now) == ()


@given(st.datetimes(datetime(1990, 1, 1), datetime(2900, 1, 1)), st.sampled_from(BackupReason), st.integers(1, 999))
def test_name_of_a_backup_says_again_what_went_into_it(moment: datetime, reason: BackupReason, again: int) -> None:
    at = moment.replace(microsecond=0, tzinfo=UTC)
    name = backup_name(at, reason, again)
    assert backup_named(name) == Backup(name, at, reason)
    assert set(name) <= set("0123456789TZ-abcdefghijklmnopqrstuvwxyz.")


@pytest.mark.parametrize(
    "name",
    ["before the season.db", "20310304T120000Z-asked.db.old", "20310304T120000Z-mine.db", "20319904T120000Z-asked.db"],
)
def test_file_that_pitwright_did_not_name_is_never_removed(register: Register, name: str) -> None:
    first = make_backup(register.folder, NOON, BackupReason.ASKED)
    first.rename(first.with_name(name))
    for hour in range(1, 15):
        make_backup(register.folder, NOON + timedelta(hours=hour), BackupReason.ASKED)
    # The last ten, and of the four before them, all of one week, the last.
    assert names_in(register.folder) == {name, *(f"20310304T{12 + hour}0000Z-asked.db" for hour in range(4, 12))} | {
        f"20310305T0{hour}0000Z-asked.db" for hour in range(3)
    }
    assert name not in {each.name for each in list_backups(register.folder)}


# --- the day's own


def test_first_write_of_a_day_is_preceded_by_a_backup_and_no_other_is(register: Register) -> None:
    clock = register.clock
    assert isinstance(clock, SetClock)
    parts.add_part(register, "RV-1", "Hub", False)
    assert names_in(register.folder) == set()
    clock.after(days=1)
    spares.list_spares(register)
    assert names_in(register.folder) == set()
    left = dump(register.folder / "register.db")
    parts.add_part(register, "RV-2", "Hub", False)
    assert names_in(register.folder) == {"20310305T120000Z-daily.db"}
    assert dump(register.folder / "backups" / "20310305T120000Z-daily.db") == left
    clock.after(hours=3)
    parts.add_part(again(register), "RV-3", "Hub", False)
    assert names_in(register.folder) == {"20310305T120000Z-daily.db"}
    clock.after(days=2)
    parts.add_part(register, "RV-4", "Hub", False)
    assert names_in(register.folder) == {"20310305T120000Z-daily.db", "20310307T150000Z-daily.db"}


def test_new_register_has_nothing_to_back_up(tmp_path: Path) -> None:
    register = bare_register(tmp_path / "register")
    back_up_daily(register.folder, NOON)
    parts.add_part(register, "RV-1", "Hub", False)
    assert names_in(register.folder) == set()


def test_day_that_another_terminal_began_is_not_begun_again(register: Register) -> None:
    tomorrow = NOON + timedelta(days=1)
    make_backup(register.folder, tomorrow - timedelta(hours=2), BackupReason.DAILY)
    back_up_daily(register.folder, tomorrow)
    assert names_in(register.folder) == {"20310305T100000Z-daily.db"}


def test_spare_is_taken_even_if_the_days_backup_cannot_be_made(register: Register) -> None:
    (register.folder / "backups").rmdir()
    (register.folder / "backups").write_text("in the way")
    clock = register.clock
    assert isinstance(clock, SetClock)
    clock.after(days=1)
    assert spares.take_spare(register, PART, "Basalt").left_there == 4
    trouble = register.backup_trouble()
    assert trouble is not None and str(register.folder / "backups") in trouble.what


# --- bringing one back


def test_restored_register_is_the_backup_and_what_was_before_is_a_backup_too(register: Register) -> None:
    then = dumped(register)
    source = make_backup(register.folder, NOON, BackupReason.ASKED)
    parts.add_part(register, "RV-1", "Hub", False)
    now = dumped(register)
    done = restore(register.folder, source, NOON + timedelta(hours=1), STUDENT)
    assert dumped(register) == then
    assert done.before == str(register.folder / "backups" / "20310304T130000Z-before-restore.db")
    restore(register.folder, Path(done.before), NOON + timedelta(hours=2), STUDENT)
    assert dumped(register) == now
    check_register(register)


def test_terminal_that_is_open_sees_the_restored_rows_and_that_something_changed(register: Register) -> None:
    source = make_backup(register.folder, NOON, BackupReason.ASKED)
    other = again(register)
    spares.take_spare(other, PART, "Basalt")
    seen = other.data_version()
    assert claws(other).usable_now == 4
    restore(register.folder, source, NOON, STUDENT)
    assert other.data_version() != seen
    assert claws(other).usable_now == 5
    assert spares.take_spare(other, PART, "Basalt").left_there == 4


def test_restore_is_noted_in_the_history_with_the_backup_of_before(register: Register) -> None:
    source = make_backup(register.folder, NOON, BackupReason.ASKED)
    restore(register.folder, source, NOON + timedelta(hours=1), "Ragna Kvarts")
    with closing(sqlite3.connect(register.folder / "register.db")) as connection:
        who, at, why = connection.execute("SELECT who, at, why FROM operation ORDER BY seq DESC LIMIT 1").fetchone()
    assert (who, at) == ("Ragna Kvarts", "2031-03-04T13:00:00Z")
    assert why == (
        "restore the register from 20310304T120000Z-asked.db; what was before is 20310304T130000Z-before-restore.db"
    )


def test_restore_waits_for_a_reader_and_leaves_no_half_state_to_see(register: Register) -> None:
    source = make_backup(register.folder, NOON, BackupReason.ASKED)
    spares.take_spare(register, PART, "Basalt")
    done = threading.Event()

    def bring_back() -> None:
        restore(register.folder, source, NOON, STUDENT)
        done.set()

    with register.store.reading() as view:
        count = "SELECT count(*) FROM operation"
        first = view.session.connection().exec_driver_sql(count).scalar_one()
        restoring = threading.Thread(target=bring_back)
        restoring.start()
        assert not done.wait(0.5)
        assert view.session.connection().exec_driver_sql(count).scalar_one() == first
    restoring.join(20)
    assert done.is_set() and claws(register).usable_now == 5


@pytest.mark.skipif(os.name == "nt", reason="needs a fork")
def test_no_write_is_lost_between_the_backup_of_before_and_the_restore(register: Register) -> None:
    source = make_backup(register.folder, NOON, BackupReason.ASKED)
    register.store.close()

    def add_parts(tell: object) -> None:
        own = again(register)
        for number in range(40):
            parts.add_part(own, f"W-{number}", "Wheel", False)
            tell(number)  # type: ignore[operator]

    child, reader = forked(add_parts)
    os.read(reader, 1)
    done = restore(register.folder, source, NOON, STUDENT)
    with os.fdopen(reader, "rb") as pipe:
        pipe.read()
    os.waitpid(child, 0)
    assert done.before is not None
    found = []
    for path in (Path(done.before), register.folder / "register.db"):
        with closing(sqlite3.connect(path)) as connection:
            found += [name for (name,) in connection.execute("SELECT number FROM part WHERE number LIKE 'W-%'")]
    # Each stands in what was before or in what came after, and none in both.
    assert sorted(found) == sorted(f"W-{number}" for number in range(40))
    check_register(again(register))


@pytest.mark.skipif(os.name == "nt", reason="needs a fork")
@pytest.mark.parametrize("pages", [1, 5, 40])
def test_killed_restore_leaves_the_register_as_it_was(register: Register, pages: int) -> None:
    source = make_backup(register.folder, NOON, BackupReason.ASKED)
    with register.store.writing(STUDENT, "more") as tx:
        for number in range(300):
            tx.session.connection().exec_driver_sql(
                "INSERT INTO part (key, version, number, number_folded, name, wear) VALUES (?, 1, ?, ?, ?, 0)",
                (tx.key(), f"W-{number}", f"w-{number}", "Wheel" * 20),
            )
    before = dumped(register)
    register.store.close()

    def die_in_the_middle(tell: object) -> None:
        from register.store import restore as room

        def write_some(copy: sqlite3.Connection, live: sqlite3.Connection) -> None:
            live.execute("PRAGMA cache_size = 5")
            copy.backup(live, pages=pages, progress=lambda *_: os._exit(9))

        room._write_into = write_some
        room.restore(register.folder, source, NOON, STUDENT)

    child, reader = forked(die_in_the_middle)
    os.close(reader)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 9
    opened = again(register)
    assert dumped(opened) == before
    check_register(opened)


def break_inner_page(folder: Path) -> None:
    path = folder / "register.db"
    with closing(sqlite3.connect(path)) as connection:
        (page,) = connection.execute("SELECT rootpage FROM sqlite_master WHERE name = 'revision'").fetchone()
        (size,) = connection.execute("PRAGMA page_size").fetchone()
    with path.open("r+b") as file:
        file.seek((page - 1) * size)
        file.write(b"\xa5" * size)


def overwrite_header(folder: Path) -> None:
    with (folder / "register.db").open("r+b") as file:
        file.write(b"shopping list\n" * 20)


def cut_short(folder: Path) -> None:
    with (folder / "register.db").open("r+b") as file:
        file.truncate(20_000)


@pytest.mark.parametrize("damage", [break_inner_page, overwrite_header, cut_short], ids=lambda each: each.__name__)
def test_damaged_database_is_put_aside_byte_for_byte_and_the_backup_takes_its_place(
    register: Register, damage: object
) -> None:
    then = dumped(register)
    source = make_backup(register.folder, NOON, BackupReason.ASKED)
    register.store.close()
    damage(register.folder)  # type: ignore[operator]
    broken = (register.folder / "register.db").read_bytes()
    done = restore(register.folder, source, NOON, STUDENT)
    assert done.damaged and done.before == str(register.folder / "backups" / "20310304T120000Z-damaged.db")
    assert Path(done.before).read_bytes() == broken
    opened = again(register)
    assert dumped(opened) == then
    assert check_register(opened).backups == 1


def test_stale_journal_of_a_damaged_database_is_not_played_into_the_new_one(register: Register) -> None:
    then = dumped(register)
    source = make_backup(register.folder, NOON, BackupReason.ASKED)
    register.store.close()
    overwrite_header(register.folder)
    journal = register.folder / "register.db-journal"
    journal.write_bytes(b"\xd9\xd5\x05\xf9\x20\xa1\x63\xd7" + bytes(600))
    restore(register.folder, source, NOON, STUDENT)
    assert not journal.exists() or journal.stat().st_size == 0
    assert dumped(again(register)) == then


def test_register_whose_database_is_gone_is_brought_back(register: Register) -> None:
    then = dumped(register)
    source = make_backup(register.folder, NOON, BackupReason.ASKED)
    register.store.close()
    (register.folder / "register.db").unlink()
    assert restore(register.folder, source, NOON, STUDENT).before is None
    assert dumped(again(register)) == then


def test_backup_in_use_is_not_let_go_by_the_rule_that_its_restore_applies(register: Register) -> None:
    oldest = make_backup(register.folder, NOON, BackupReason.ASKED)
    for minute in range(1, 11):
        make_backup(register.folder, NOON + timedelta(minutes=minute), BackupReason.ASKED)
    restore(register.folder, oldest, NOON + timedelta(hours=1), STUDENT)
    assert oldest.exists()


# --- what is not brought back


def not_a_database(path: Path) -> None:
    path.write_bytes(b"shopping list\n" * 500)


def empty(path: Path) -> None:
    path.write_bytes(b"")


def folder_instead(path: Path) -> None:
    path.unlink()
    path.mkdir()


def half(path: Path) -> None:
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])


def sql(statement: str) -> object:
    def run(path: Path) -> None:
        with closing(sqlite3.connect(path, isolation_level=None)) as connection:
            connection.executescript(statement)

    run.__name__ = statement[:30]
    return run


REFUSED = [
    (not_a_database, "is no register"),
    (empty, "not a register"),
    (folder_instead, "is no file"),
    (half, "is damaged|is no register, or is damaged"),
    (sql("PRAGMA application_id = 7"), "a database, but not a register"),
    (sql("PRAGMA user_version = 0"), "a database, but not a register"),
    (sql("PRAGMA user_version = 9999"), "newer pitwright"),
    (sql("DROP TABLE replacement"), "other tables"),
    (sql("CREATE TABLE recipe (name TEXT)"), "other tables"),
    (sql("CREATE VIEW parts AS SELECT 1"), "other tables"),
    (sql("DROP TRIGGER history_part_delete"), "other tables"),
    (
        sql(
            "DROP TRIGGER history_part_delete; "
            "CREATE TRIGGER history_part_delete AFTER DELETE ON part BEGIN DELETE FROM revision; END"
        ),
        "not of pitwright's making",
    ),
    (sql("CREATE TRIGGER extra AFTER INSERT ON part BEGIN DELETE FROM revision; END"), "other tables"),
    (sql("PRAGMA foreign_keys = OFF; DELETE FROM operation WHERE seq = 2"), "is damaged"),
    (sql('CREATE TABLE "x""); DROP TABLE part; --" (name TEXT)'), "other tables"),
]


@pytest.mark.parametrize(("spoil", "said"), REFUSED, ids=lambda each: getattr(each, "__name__", None))
def test_what_is_no_whole_register_is_refused_and_nothing_is_changed(
    register: Register, tmp_path: Path, spoil: object, said: str
) -> None:
    source = tmp_path / "from a stick.db"
    shutil.copy(make_backup(register.folder, NOON, BackupReason.ASKED), source)
    spoil(source)  # type: ignore[operator]
    before, files = dump(register.folder / "register.db"), names_in(register.folder)
    with pytest.raises(BadFile, match=said) as refused:
        restore(register.folder, source, NOON, STUDENT)
    assert refused.value.exit_code == 3 and refused.value.cure
    assert dump(register.folder / "register.db") == before and names_in(register.folder) == files


def test_backup_whose_files_are_missing_is_refused_with_their_number(register: Register) -> None:
    logged(register, printed(), CLAW_B)
    source = make_backup(register.folder, NOON, BackupReason.ASKED)
    for sha256 in files_in(register):
        register.files.path(sha256).unlink()
    before = dump(register.folder / "register.db")
    with pytest.raises(BadFile, match=r"Of 2 files that .* names, 2 are not in .*files\. Bring them back"):
        restore(register.folder, source, NOON, STUDENT)
    assert dump(register.folder / "register.db") == before


def test_database_of_another_program_in_the_registers_place_is_left_alone(register: Register) -> None:
    source = make_backup(register.folder, NOON, BackupReason.ASKED)
    register.store.close()
    (register.folder / "register.db").unlink()
    sql("CREATE TABLE recipe (name TEXT)")(register.folder / "register.db")  # type: ignore[operator]
    with pytest.raises(StoreBroken, match="not a register"):
        restore(register.folder, source, NOON, STUDENT)
    assert "recipe" in "".join(dump(register.folder / "register.db"))


def test_register_is_not_restored_from_itself(register: Register) -> None:
    with pytest.raises(BadFile, match="is the register itself"):
        restore(register.folder, register.folder / "backups" / ".." / "register.db", NOON, STUDENT)


def test_folder_that_is_no_registers_is_not_made_one(register: Register, tmp_path: Path) -> None:
    source = make_backup(register.folder, NOON, BackupReason.ASKED)
    (tmp_path / "empty").mkdir()
    for folder in (tmp_path / "empty", tmp_path / "regsiter"):
        with pytest.raises(NotFound):
            restore(folder, source, NOON, STUDENT)
    assert list((tmp_path / "empty").iterdir()) == [] and not (tmp_path / "regsiter").exists()


def test_backup_of_an_earlier_version_is_brought_back_for_an_upgrade(register: Register, tmp_path: Path) -> None:
    from register.errors import NeedsUpgrade

    fixture = Path(__file__).parent / "fixtures" / "schema_0001.sql"
    old = tmp_path / "old.db"
    with closing(sqlite3.connect(old, isolation_level=None)) as connection:
        connection.executescript(fixture.read_text(encoding="utf-8"))
        for sha256, size in connection.execute("SELECT sha256, bytes FROM stored_file").fetchall():
            path = register.files.path(sha256)
            path.parent.mkdir(exist_ok=True)
            path.write_bytes(bytes(size))
    restore(register.folder, old, NOON, STUDENT)
    with pytest.raises(NeedsUpgrade):
        again(register)
    # The terminal that was open does not go on by the new rules.
    with pytest.raises(StoreBroken):
        parts.add_part(register, "RV-1", "Hub", False)
