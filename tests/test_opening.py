"""Opening a register: what is told from a wrong, foreign, newer or damaged one, and that nothing is changed by it."""

import os
import shutil
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import pytest

from register.actions import parts
from register.actions.checking import check_register
from register.actions.spares import take_spare
from register.domain.clock import fixed_at
from register.errors import BadFile, BadText, NotAllowed, NotFound, RegisterError, StoreBroken
from register.opening import at_time, make_register, open_register, register_folder
from register.store.claims import claimed_register
from tests.shops import NOON, PART, STUDENT, SetClock, bare_register, claws, dumped, wear_register
from tests.store.forked import as_nobody, in_child

PAGE_BYTES = 4096


def contents(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def sql(folder: Path, statement: str) -> list[tuple[object, ...]]:
    with closing(sqlite3.connect(folder / "register.db", isolation_level=None)) as connection:
        return connection.execute(statement).fetchall()


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A sound register that tests copy."""
    register = wear_register(tmp_path_factory.mktemp("sound") / "register")
    register.store.close()
    return register.folder


@pytest.fixture
def folder(sound: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(sound, tmp_path / "register"))


def text_file(folder: Path) -> None:
    (folder / "register.db").write_text("shopping list\n" * 500)


def empty_file(folder: Path) -> None:
    (folder / "register.db").write_bytes(b"")


def foreign_database(folder: Path) -> None:
    (folder / "register.db").unlink()
    sql(folder, "CREATE TABLE recipe (name TEXT)")


def newer_schema(folder: Path) -> None:
    sql(folder, "PRAGMA user_version = 9999")


def unfinished(folder: Path) -> None:
    sql(folder, "PRAGMA user_version = 0")


def broken_inner_page(folder: Path) -> None:
    ((page,),) = sql(folder, "SELECT rootpage FROM sqlite_master WHERE name = 'revision'")
    with (folder / "register.db").open("r+b") as database:
        database.seek((int(str(page)) - 1) * PAGE_BYTES)
        database.write(b"\xa5" * PAGE_BYTES)


def truncated(folder: Path) -> None:
    database = folder / "register.db"
    database.write_bytes(database.read_bytes()[: 5 * PAGE_BYTES + 100])


def torn_header(folder: Path) -> None:
    database = folder / "register.db"
    database.write_bytes(database.read_bytes()[:60])


DAMAGES: list[Callable[[Path], None]] = [
    text_file,
    empty_file,
    foreign_database,
    newer_schema,
    unfinished,
    broken_inner_page,
    truncated,
    torn_header,
]


@pytest.mark.parametrize("damage", DAMAGES, ids=lambda damage: damage.__name__)
def test_what_is_no_sound_register_is_refused_and_left_as_it_is(folder: Path, damage: Callable[[Path], None]) -> None:
    damage(folder)
    before = contents(folder)
    with pytest.raises(StoreBroken) as refused:
        open_register(folder, STUDENT)
    assert refused.value.exit_code == 5
    assert str(folder) in refused.value.what
    assert refused.value.cure
    assert contents(folder) == before


def test_newer_schema_names_both_numbers_and_the_way_out(folder: Path) -> None:
    newer_schema(folder)
    with pytest.raises(StoreBroken, match=r"newer pitwright \(schema 9999, this one knows \d+\)\. Install the newer"):
        open_register(folder, STUDENT)


def test_foreign_database_is_called_a_database_but_no_register(folder: Path) -> None:
    foreign_database(folder)
    with pytest.raises(StoreBroken, match="is a database, but not a register"):
        open_register(folder, STUDENT)


def test_mistyped_folder_is_not_found_and_not_made(tmp_path: Path) -> None:
    mistyped = tmp_path / "regsiter"
    with pytest.raises(NotFound) as refused:
        open_register(mistyped, STUDENT)
    assert refused.value.exit_code == 4
    assert not mistyped.exists()


@pytest.mark.parametrize("name", ["a file", "a file/within", "x" * 300])
def test_folder_that_cannot_be_one_is_refused_in_words(tmp_path: Path, name: str) -> None:
    (tmp_path / "a file").write_text("")
    for way in (lambda at: open_register(at, STUDENT), lambda at: make_register(at, STUDENT, SetClock())):
        with pytest.raises(RegisterError) as refused:
            way(tmp_path / name)
        assert isinstance(refused.value, NotFound | StoreBroken)


@pytest.mark.parametrize("name", ["with blank", "50 % off?x=1#y", "Werkstatt für Äpfel", "棚", "a'b\"c;--"])
def test_register_works_in_a_folder_of_any_name(tmp_path: Path, name: str) -> None:
    bare_register(tmp_path / name)
    opened = open_register(tmp_path / name, STUDENT, SetClock())
    parts.add_part(opened, "P-1", "Part", False)
    assert (tmp_path / name / "register.db").stat().st_size > 0
    assert [path.name for path in tmp_path.iterdir()] == [name]


def test_second_register_is_never_made_over_the_first(folder: Path) -> None:
    before = contents(folder)
    with pytest.raises(NotAllowed, match="There is a register in"):
        make_register(folder, STUDENT, SetClock())
    assert contents(folder) == before


def test_person_without_a_name_is_refused(folder: Path) -> None:
    with pytest.raises(BadText):
        open_register(folder, "   ")


def test_copied_folder_is_a_whole_register(folder: Path, sound: Path) -> None:
    copied = open_register(folder, STUDENT, SetClock())
    take_spare(copied, PART)
    assert claws(copied).usable_now == 0
    assert claws(open_register(sound, STUDENT, SetClock())).usable_now == 1


def test_folder_comes_from_the_option_then_the_environment_then_the_users_own(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("PITWRIGHT_REGISTER", str(tmp_path / "environment"))
    assert register_folder(tmp_path / "option") == tmp_path / "option"
    assert register_folder(None) == tmp_path / "environment"
    monkeypatch.delenv("PITWRIGHT_REGISTER")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    assert register_folder(None).name == "register"


def test_clock_of_a_demo_runs_on_from_its_last_operation(tmp_path: Path) -> None:
    made = make_register(tmp_path / "demo", STUDENT, fixed_at(NOON), runs_from=NOON)
    assert open_register(made.folder, STUDENT).clock() - NOON < timedelta(minutes=1)
    late = NOON + timedelta(days=3)
    parts.add_part(at_time(made, fixed_at(late)), "P-1", "Part", False)
    assert timedelta(0) <= open_register(made.folder, STUDENT).clock() - late < timedelta(minutes=1)


@pytest.fixture
def open_place(sound: Path) -> Iterator[Path]:
    """A copy of the sound register where every user of the computer may look: tests' own folders are closed to them."""
    with tempfile.TemporaryDirectory() as passing:
        Path(passing).chmod(0o755)
        copy = Path(shutil.copytree(sound, Path(passing) / "register"))
        yield copy
        for path in (copy, *copy.rglob("*")):
            path.chmod(0o755)


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs Unix permissions")
def test_register_that_may_only_be_read_is_read_and_refuses_writes_in_words(open_place: Path) -> None:
    for path in (*open_place.rglob("*"), open_place):
        path.chmod(0o555 if path.is_dir() else 0o444)
    before = contents(open_place)

    def read_then_write() -> tuple[int, str]:
        register = open_register(open_place, STUDENT, SetClock())
        usable = claws(register).usable_now
        try:
            take_spare(register, PART)
        except StoreBroken as refused:
            return usable, str(refused)
        return usable, "taken"

    usable, said = in_child(as_nobody(read_then_write))
    assert usable == 1
    assert "cannot be written" in said
    assert "nothing was changed" in said
    assert contents(open_place) == before


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs Unix permissions")
def test_folder_that_may_not_be_entered_is_refused_in_words(open_place: Path) -> None:
    open_place.chmod(0o000)
    for way in (
        lambda: open_register(open_place, STUDENT, SetClock()),
        lambda: make_register(open_place, STUDENT, SetClock()),
    ):
        refused = in_child(as_nobody(way))
        assert isinstance(refused, StoreBroken)
        assert str(open_place) in refused.what


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs Unix permissions")
def test_register_is_not_made_where_nothing_may_be_written(open_place: Path) -> None:
    open_place.parent.chmod(0o555)
    refused = in_child(as_nobody(lambda: make_register(open_place.parent / "new", STUDENT, SetClock())))
    open_place.parent.chmod(0o755)
    assert isinstance(refused, StoreBroken)
    assert [path.name for path in open_place.parent.iterdir()] == ["register"]


def test_opening_twice_shows_both_the_same(folder: Path) -> None:
    one, two = (open_register(folder, STUDENT, SetClock()) for _ in range(2))
    parts.add_part(one, "P-1", "Part", False)
    assert parts.show_part(two, "P-1").part.name == "Part"
    assert dumped(one) == dumped(two)
    check_register(two)


def test_damage_that_sqlite_tells_in_many_lines_is_told_in_one(folder: Path) -> None:
    with (folder / "register.db").open("r+b") as file:
        # The largest root page, in the header's bytes 52 to 55; source: https://www.sqlite.org/fileformat.html, 1.3.12.
        file.seek(52)
        file.write((5963776).to_bytes(4, "big"))
    with pytest.raises(StoreBroken) as refused:
        open_register(folder, STUDENT, fixed_at(NOON))
    assert "\n" not in refused.value.what and len(refused.value.what) < 300
    with pytest.raises(BadFile, match=r"and \d+ more") as told, claimed_register(folder / "register.db"):
        pass
    assert "\n" not in told.value.what
