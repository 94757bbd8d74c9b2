"""The file room: bytes stored once under their hash, checked when read, and nothing left over by what fails."""

import hashlib
import tempfile
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from register.actions import parts, revisions
from register.actions.checking import check_register
from register.errors import BadText, StoreBroken
from register.opening import Register
from register.store.file_room import FileRoom
from tests.shops import CLAW_A, CLAW_B, PART, files_in, logged, printed, row_counts, set_up_register
from tests.store.forked import as_nobody, in_child

try:
    import resource
except ImportError:  # Windows
    resource = None  # type: ignore[assignment]

HASH = hashlib.sha256(CLAW_A).hexdigest()


@pytest.fixture
def register(tmp_path: Path) -> Register:
    register = set_up_register(tmp_path / "register")
    parts.add_part(register, PART, "Claw", True)
    return register


@pytest.fixture
def room(tmp_path: Path) -> FileRoom:
    return FileRoom(tmp_path)


def put(room: FileRoom, content: bytes) -> str:
    with room.staged(content) as staged:
        room.settle(staged)
    return staged.sha256


@given(content=st.binary(min_size=1, max_size=300))
def test_any_bytes_come_back_as_they_went_in(tmp_path_factory: pytest.TempPathFactory, content: bytes) -> None:
    room = FileRoom(tmp_path_factory.mktemp("room"))
    assert put(room, content) == hashlib.sha256(content).hexdigest()
    assert room.read(hashlib.sha256(content).hexdigest()) == content


def test_file_stands_under_its_hash_in_a_folder_of_its_first_figures(room: FileRoom) -> None:
    put(room, CLAW_A)
    assert [path.relative_to(room.folder).as_posix() for path in room.folder.rglob("*") if path.is_file()] == [
        f"{HASH[:2]}/{HASH}"
    ]


def test_same_bytes_are_stored_once_whatever_they_are_called(register: Register) -> None:
    logged(register, printed(file_name="claw.stl"), CLAW_A)
    logged(register, printed(file_name="the same claw.stl"), CLAW_A)
    assert files_in(register) == {HASH}
    assert row_counts(register)["stored_file"] == 1
    assert [each.file_name for each in revisions.identify_file(register, CLAW_A)] == ["claw.stl", "the same claw.stl"]
    assert revisions.identify_file(register, CLAW_B) == ()


@pytest.mark.parametrize("damage", [b"", CLAW_A[:-1], CLAW_A[:-1] + b"\x01"], ids=["emptied", "cut", "one bit"])
def test_file_that_was_tampered_with_is_never_given_out(register: Register, damage: bytes) -> None:
    logged(register, printed(), CLAW_A)
    assert check_register(register).files == 1
    register.files.path(HASH).write_bytes(damage)
    with pytest.raises(StoreBroken, match="is no longer what it was") as refused:
        register.files.read(HASH)
    assert refused.value.exit_code == 5
    with pytest.raises(StoreBroken, match=r"not sound: The file .* is no longer what it was"):
        check_register(register)


def test_tampered_file_is_put_right_by_logging_the_true_one_again(register: Register) -> None:
    logged(register, printed(), CLAW_A)
    register.files.path(HASH).write_bytes(b"scribble")
    logged(register, printed(), CLAW_A)
    assert register.files.read(HASH) == CLAW_A
    assert files_in(register) == {HASH}


def test_file_that_is_gone_is_said_to_be_gone(register: Register) -> None:
    logged(register, printed(), CLAW_A)
    register.files.path(HASH).unlink()
    with pytest.raises(StoreBroken, match="cannot be read"):
        register.files.read(HASH)
    with pytest.raises(StoreBroken, match="not sound"):
        check_register(register)


@pytest.mark.parametrize("name", ["../../outside.stl", "/etc/outside.stl", "..", "C:\\outside.stl", "~/outside.stl"])
def test_given_name_never_becomes_a_path(register: Register, tmp_path: Path, name: str) -> None:
    def outside() -> set[Path]:
        return {path for path in tmp_path.rglob("*") if register.files.folder not in path.parents}

    before = outside()
    assert logged(register, printed(file_name=name), CLAW_A).file_name == name
    assert files_in(register) == {HASH}
    assert outside() == before


@pytest.mark.parametrize("name", ["nul\0.stl", "line\nend.stl", "bell\x07.stl", "lts.\u202eexe", "x" * 201 + ".stl"])
def test_name_that_cannot_be_kept_is_refused_before_anything_is_stored(register: Register, name: str) -> None:
    with pytest.raises(BadText):
        logged(register, printed(file_name=name), CLAW_A)
    assert files_in(register) == set()


@pytest.mark.parametrize(
    "asked", ["", "../../../etc/passwd", HASH.upper(), HASH[:-1], HASH + "0", "g" * 64, "../" * 21 + "a"]
)
def test_only_a_hash_is_looked_up(room: FileRoom, asked: str) -> None:
    with pytest.raises(StoreBroken, match="not a hash"):
        room.read(asked)


def test_staged_file_is_gone_when_its_block_fails(room: FileRoom) -> None:
    def fail() -> None:
        with room.staged(CLAW_A) as staged:
            assert staged.temporary.read_bytes() == CLAW_A
            raise ValueError

    with pytest.raises(ValueError):
        fail()
    assert list(room.folder.iterdir()) == []


def test_room_that_is_no_folder_is_refused_in_words(tmp_path: Path) -> None:
    (tmp_path / "files").write_text("in the way")
    with pytest.raises(StoreBroken, match="did not take the file"):
        put(FileRoom(tmp_path), CLAW_A)


@pytest.mark.skipif(resource is None, reason="needs a limit on the size of files")
def test_disk_that_is_full_takes_no_file_and_no_row(register: Register) -> None:
    def log_on_a_full_disk() -> object:
        resource.setrlimit(resource.RLIMIT_FSIZE, (100, 100))
        return logged(register, printed(), CLAW_A)

    register.store.close()
    before = row_counts(register)
    refused = in_child(log_on_a_full_disk)
    assert isinstance(refused, StoreBroken)
    assert "did not take the file" in refused.what
    assert files_in(register) == set()
    assert row_counts(register) == before


@pytest.mark.skipif(resource is None, reason="needs Unix permissions")
def test_room_that_may_not_be_written_is_refused_in_words() -> None:
    # Not under tmp_path: nobody else may even enter that.
    with tempfile.TemporaryDirectory() as passing:
        Path(passing).chmod(0o755)
        room = FileRoom(Path(passing))
        room.folder.mkdir(mode=0o555)
        refused = in_child(as_nobody(lambda: put(room, CLAW_A)))
        assert isinstance(refused, StoreBroken)
        assert "Permission denied" in refused.what
        assert list(room.folder.iterdir()) == []
