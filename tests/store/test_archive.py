"""A whole register in one file: what goes in comes out, and a file that anybody may have made does no harm."""

import hashlib
import io
import json
import os
import shutil
import sqlite3
import stat
import struct
import tracemalloc
import zipfile
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from random import Random

import pytest

from register.actions import parts
from register.actions.checking import check_register
from register.actions.history import undo
from register.errors import BadFile, NotAllowed, RegisterError, StoreBroken
from register.opening import Register, open_register
from register.store import archive, unpacking
from register.store.archive import write_archive
from register.store.unpacking import read_archive
from tests.shops import CLAW_A, CLAW_B, NOON, STUDENT, SetClock, dumped, files_in, logged, printed, wear_register
from tests.store.forked import in_child

try:
    import resource
except ImportError:  # Windows
    resource = None  # type: ignore[assignment]

HASH_A = hashlib.sha256(CLAW_A).hexdigest()
PLACE_A = f"files/{HASH_A[:2]}/{HASH_A}"


@pytest.fixture(scope="module")
def packed(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """An archive of a small register."""
    folder = tmp_path_factory.mktemp("packed")
    register = wear_register(folder / "register")
    write_archive(register.folder, folder / "season.zip", NOON)
    register.store.close()
    return (folder / "season.zip").read_bytes()


@pytest.fixture
def register(tmp_path: Path) -> Register:
    return wear_register(tmp_path / "register")


def opened(folder: Path) -> Register:
    return open_register(folder, STUDENT, SetClock())


def entries_of(content: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        return {name: packed.read(name) for name in packed.namelist()}


def repacked(entries: dict[str, bytes], **told: object) -> bytes:
    """An archive of other entries; what the manifest tells of them is put right, then changed by `told`."""
    manifest = json.loads(entries["manifest.json"])
    files = [content for name, content in entries.items() if name.startswith("files/")]
    manifest |= {
        "database_bytes": len(entries["register.db"]),
        "database_sha256": hashlib.sha256(entries["register.db"]).hexdigest(),
        "files": len(files),
        "files_bytes": sum(map(len, files)),
    }
    sink = io.BytesIO()
    with zipfile.ZipFile(sink, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("manifest.json", json.dumps(manifest | told))
        for name, content in entries.items():
            if name != "manifest.json":
                packed.writestr(name, content)
    return sink.getvalue()


def changed_database(content: bytes, folder: Path, statement: str) -> bytes:
    path = folder / "changed.db"
    path.write_bytes(content)
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.executescript(statement)
    return path.read_bytes()


def refused(tmp_path: Path, content: bytes) -> RegisterError:
    """How an archive is refused; it leaves nothing behind."""
    source, place = tmp_path / "from a stick.zip", tmp_path / "place"
    source.write_bytes(content)
    place.mkdir(exist_ok=True)
    with pytest.raises(RegisterError) as told:
        read_archive(source, place / "register")
    assert list(place.iterdir()) == []
    assert told.value.what.endswith(".") and told.value.cure.endswith(".")
    return told.value


# --- out and in


def test_register_comes_back_with_every_row_every_file_and_its_history(register: Register, tmp_path: Path) -> None:
    written = write_archive(register.folder, tmp_path / "season.zip", NOON)
    made = read_archive(tmp_path / "season.zip", tmp_path / "shelf" / "copy")
    copy = opened(tmp_path / "shelf" / "copy")
    assert dumped(copy) == dumped(register)
    assert files_in(copy) == files_in(register) == {HASH_A}
    assert copy.files.read(HASH_A) == CLAW_A
    assert (made.operations, made.files) == (written.operations, written.files) == (8, 1)
    check_register(copy)
    # The history came along, so that the last operation can be taken back there too.
    undo(copy)
    undo(register)
    assert dumped(copy) == dumped(register)


def test_archive_is_of_one_moment_though_others_go_on(register: Register, tmp_path: Path) -> None:
    with register.store.writing(STUDENT, "still at it") as tx:
        assert tx.operation > 0
        write_archive(register.folder, tmp_path / "season.zip", NOON)
    read_archive(tmp_path / "season.zip", tmp_path / "copy")
    with closing(sqlite3.connect(tmp_path / "copy" / "register.db")) as connection:
        assert connection.execute("SELECT count(*) FROM operation WHERE why = 'still at it'").fetchone() == (0,)


def test_file_that_only_the_history_names_comes_along_so_that_an_undo_can_be_undone(
    register: Register, tmp_path: Path
) -> None:
    logged(register, printed(), CLAW_B)
    undo(register)
    write_archive(register.folder, tmp_path / "season.zip", NOON)
    read_archive(tmp_path / "season.zip", tmp_path / "copy")
    copy = opened(tmp_path / "copy")
    newest = max(row[0] for row in operations(copy))
    undo(copy, newest)
    assert copy.files.read(hashlib.sha256(CLAW_B).hexdigest()) == CLAW_B
    check_register(copy)


def operations(register: Register) -> list[tuple[int, str]]:
    with closing(sqlite3.connect(register.folder / "register.db")) as connection:
        return connection.execute("SELECT seq, why FROM operation").fetchall()


def test_archive_tells_versions_and_hashes_and_any_zip_program_reads_it(packed: bytes) -> None:
    entries = entries_of(packed)
    assert set(entries) == {"manifest.json", "register.db", PLACE_A}
    told = json.loads(entries["manifest.json"])
    assert (told["what"], told["form"], told["files"], told["files_bytes"]) == ("pitwright register", 1, 1, len(CLAW_A))
    assert told["database_sha256"] == hashlib.sha256(entries["register.db"]).hexdigest()
    assert told["made_at"] == "2031-03-04T12:00:00Z"
    with closing(sqlite3.connect(":memory:")) as connection:
        connection.deserialize(entries["register.db"])
        assert connection.execute("PRAGMA user_version").fetchone() == (told["schema"],)


def test_archive_is_written_beside_and_never_over_a_file(register: Register, tmp_path: Path) -> None:
    target = tmp_path / "season.zip"
    target.write_text("last season")
    with pytest.raises(NotAllowed, match="already"):
        write_archive(register.folder, target, NOON)
    assert target.read_text() == "last season"
    assert {path.name for path in tmp_path.iterdir()} == {"register", "season.zip"}


def test_register_without_one_of_its_files_is_not_exported(register: Register, tmp_path: Path) -> None:
    register.files.path(HASH_A).write_bytes(CLAW_A + b" ")
    with pytest.raises(StoreBroken, match=r"no longer what it was\. Run `pitwright check`"):
        write_archive(register.folder, tmp_path / "season.zip", NOON)
    assert [path.name for path in tmp_path.iterdir()] == ["register"]


@pytest.mark.parametrize("name", ["no such folder/season.zip", "register/register.db/season.zip"])
def test_place_that_cannot_be_written_is_told(register: Register, tmp_path: Path, name: str) -> None:
    with pytest.raises(BadFile, match="could not be written"):
        write_archive(register.folder, tmp_path / name, NOON)


@pytest.mark.skipif(resource is None, reason="needs a limit on the size of files")
@pytest.mark.parametrize("most", [50_000, 450_000])
def test_disk_that_is_full_takes_neither_archive_nor_register(packed: bytes, tmp_path: Path, most: int) -> None:
    (tmp_path / "season.zip").write_bytes(packed)
    (tmp_path / "place").mkdir()

    def unpack_on_a_full_disk() -> object:
        resource.setrlimit(resource.RLIMIT_FSIZE, (50_000, 50_000))
        return read_archive(tmp_path / "season.zip", tmp_path / "place" / "register")

    told = in_child(unpack_on_a_full_disk)
    assert isinstance(told, StoreBroken) and "could not be written" in told.what
    assert list((tmp_path / "place").iterdir()) == []
    register = wear_register(tmp_path / "own")
    register.store.close()

    def pack_on_a_full_disk() -> object:
        resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))
        return write_archive(register.folder, tmp_path / "place" / "out.zip", NOON)

    # 50 kB do not hold the copy of the database; 450 kB hold it, and the archive too.
    told = in_child(pack_on_a_full_disk)
    assert isinstance(told, StoreBroken) == (most == 50_000)
    assert [path.name for path in (tmp_path / "place").iterdir()] == ([] if most == 50_000 else ["out.zip"])


@pytest.mark.parametrize("kind", ["a register", "a file", "a folder", "a link"])
def test_nothing_that_stands_there_is_written_over(packed: bytes, tmp_path: Path, kind: str) -> None:
    (tmp_path / "season.zip").write_bytes(packed)
    target = tmp_path / "target"
    if kind == "a file":
        target.write_text("mine")
    elif kind == "a link":
        (tmp_path / "elsewhere").mkdir()
        target.symlink_to(tmp_path / "elsewhere")
    else:
        target.mkdir()
        (target / ("register.db" if kind == "a register" else "mine.txt")).write_text("mine")
    before = {path: path.lstat().st_mtime_ns for path in tmp_path.rglob("*")}
    with pytest.raises(NotAllowed, match="There is something in"):
        read_archive(tmp_path / "season.zip", target)
    assert {path: path.lstat().st_mtime_ns for path in tmp_path.rglob("*")} == before


def test_empty_folder_that_stands_there_is_used(packed: bytes, tmp_path: Path) -> None:
    (tmp_path / "season.zip").write_bytes(packed)
    (tmp_path / "register").mkdir()
    read_archive(tmp_path / "season.zip", tmp_path / "register")
    assert {path.name for path in tmp_path.iterdir()} == {"season.zip", "register"}
    check_register(opened(tmp_path / "register"))


@pytest.mark.skipif(os.name == "nt", reason="needs a umask")
def test_register_out_of_an_archive_has_the_permissions_that_the_umask_gives(packed: bytes, tmp_path: Path) -> None:
    # Whatever the archive says of them: here that everybody may do everything.
    loosened = io.BytesIO()
    with zipfile.ZipFile(loosened, "w") as sink:
        for name, content in entries_of(packed).items():
            entry = zipfile.ZipInfo(name)
            entry.external_attr = 0o106777 << 16
            sink.writestr(entry, content)
    (tmp_path / "season.zip").write_bytes(loosened.getvalue())
    before = os.umask(0o027)
    try:
        read_archive(tmp_path / "season.zip", tmp_path / "copy")
    finally:
        os.umask(before)
    for path in (tmp_path / "copy").rglob("*"):
        assert stat.S_IMODE(path.stat().st_mode) == (0o750 if path.is_dir() else 0o640), path


def test_content_that_packs_very_tightly_still_comes_back(tmp_path: Path) -> None:
    register = wear_register(tmp_path / "register")
    # Deflate packs zeros about 1000 to 1; a comment in a DXF or a mesh may hold as much of nothing.
    empty = bytes(3_000_000)
    with register.files.staged(empty) as staged, register.store.writing(STUDENT, "keep zeros") as tx:
        register.files.settle(staged)
        tx.session.connection().exec_driver_sql(
            "INSERT INTO stored_file (key, version, sha256, name, bytes) VALUES (?, 1, ?, 'zeros.stl', ?)",
            (tx.key(), staged.sha256, staged.bytes),
        )
    write_archive(register.folder, tmp_path / "season.zip", NOON)
    read_archive(tmp_path / "season.zip", tmp_path / "copy")
    assert opened(tmp_path / "copy").files.read(hashlib.sha256(empty).hexdigest()) == empty


# --- what is refused

NAMES = [
    "../outside.txt",
    "/etc/outside.txt",
    "files/../../outside.txt",
    "C:\\outside.txt",
    "files\\ab\\" + "ab" * 32,
    "backups/20310304T120000Z-asked.db",
    "register.db-journal",
    "register.db/",
    "files/",
    f"files/00/{HASH_A}",
    f"files/{HASH_A[:2]}/{HASH_A.upper()}",
    f"FILES/{HASH_A[:2]}/{HASH_A}",
    "notes.txt",
    "\x1b[2J.txt",
]


@pytest.mark.parametrize("name", NAMES)
def test_entry_with_any_other_name_is_refused_and_nothing_is_written(packed: bytes, tmp_path: Path, name: str) -> None:
    told = refused(tmp_path, repacked(entries_of(packed) | {name: b"x"}))
    assert isinstance(told, BadFile) and told.exit_code == 3
    assert "no part of a register" in told.what and "\x1b" not in told.what


def rewritten(content: bytes, change: Callable[[zipfile.ZipInfo], None], name: str = PLACE_A) -> bytes:
    sink = io.BytesIO()
    with zipfile.ZipFile(sink, "w") as packed:
        for each, body in entries_of(content).items():
            entry = zipfile.ZipInfo(each)
            if each == name:
                change(entry)
            packed.writestr(entry, body)
    return sink.getvalue()


def link(entry: zipfile.ZipInfo) -> None:
    entry.external_attr = (stat.S_IFLNK | 0o777) << 16


def pipe(entry: zipfile.ZipInfo) -> None:
    entry.external_attr = (stat.S_IFIFO | 0o644) << 16


def packed_otherwise(entry: zipfile.ZipInfo) -> None:
    entry.compress_type = zipfile.ZIP_LZMA


@pytest.mark.parametrize(
    ("change", "said"),
    [(link, "no plain file"), (pipe, "no plain file"), (packed_otherwise, "unknown way")],
    ids=["link", "pipe", "method"],
)
def test_entry_that_is_no_plain_file_is_refused(
    packed: bytes, tmp_path: Path, change: Callable[[zipfile.ZipInfo], None], said: str
) -> None:
    assert said in refused(tmp_path, rewritten(packed, change)).what


def test_encrypted_entry_is_refused(packed: bytes, tmp_path: Path) -> None:
    content = bytearray(packed)
    # Bit 0 of the general purpose flags: 6 bytes into a local header, 8 into a directory entry.
    # Source: APPNOTE.TXT 4.4.4, from memory.
    for signature, offset in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        at = content.find(signature)
        content[at + offset] |= 1
    assert "encrypted" in refused(tmp_path, bytes(content)).what


def test_name_that_stands_twice_is_refused(packed: bytes, tmp_path: Path) -> None:
    sink = io.BytesIO(packed)
    with pytest.warns(UserWarning, match="Duplicate"), zipfile.ZipFile(sink, "a") as again:
        again.writestr(PLACE_A, b"another")
    assert "twice" in refused(tmp_path, sink.getvalue()).what


@pytest.mark.parametrize("place", ["register.db", PLACE_A])
def test_entry_that_unpacks_to_far_more_than_it_takes_up_is_refused_unread(
    packed: bytes, tmp_path: Path, place: str
) -> None:
    bomb = repacked(entries_of(packed) | {place: bytes(60_000_000)})
    assert len(bomb) < 300_000
    tracemalloc.start()
    told = refused(tmp_path, bomb)
    _, most_bytes = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert "far more than it takes up" in told.what
    assert most_bytes < 20_000_000


def test_entry_that_holds_more_than_it_says_is_refused(packed: bytes, tmp_path: Path) -> None:
    content = bytearray(repacked(entries_of(packed) | {PLACE_A: bytes(100_000)}, files_bytes=900))
    # The size stands 22 bytes into a local header and 24 into a directory entry: APPNOTE.TXT 4.3, from memory.
    for signature, offset, name_offset in ((b"PK\x03\x04", 22, 30), (b"PK\x01\x02", 24, 46)):
        at = content.find(signature + b"")
        while content[at + name_offset : at + name_offset + len(PLACE_A)] != PLACE_A.encode():
            at = content.find(signature, at + 1)
        content[at + offset : at + offset + 4] = struct.pack("<L", 900)
    assert "damaged or cut short" in refused(tmp_path, bytes(content)).what


def test_more_entries_than_any_register_has_are_refused_before_the_list_is_read(
    packed: bytes, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(unpacking, "MOST_ENTRIES", 2)
    assert "more than 2 entries" in refused(tmp_path, packed).what
    monkeypatch.undo()
    # A list that says it is longer than any: the end's own words are believed before a byte of it is read.
    content = bytearray(packed)
    content[-10:-6] = struct.pack("<L", unpacking.MOST_DIRECTORY_BYTES + 1)
    assert "entries" in refused(tmp_path, bytes(content)).what


def test_register_with_more_files_than_an_archive_may_hold_is_not_exported(
    register: Register, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(archive, "MOST_ENTRIES", 2)
    with pytest.raises(NotAllowed, match="has 1 files; one archive holds at most 0"):
        write_archive(register.folder, tmp_path / "season.zip", NOON)


def test_archive_larger_than_the_disk_is_refused_before_it_fills_it(
    packed: bytes, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    usage = shutil.disk_usage(tmp_path)
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage._replace(free=100_000))
    assert "0 MB left" in refused(tmp_path, packed).what


FILES = [
    (lambda entries: entries | {PLACE_A: CLAW_B}, "not what was packed"),
    (lambda entries: {name: body for name, body in entries.items() if name != PLACE_A}, "are not in it"),
    (
        lambda entries: entries | {f"files/{(h := hashlib.sha256(CLAW_B).hexdigest())[:2]}/{h}": CLAW_B},
        "does not name",
    ),
    (lambda entries: entries | {"register.db": b"shopping list\n" * 500}, "no register"),
    (lambda entries: entries | {"register.db": b""}, "not a register"),
]


@pytest.mark.parametrize(("change", "said"), FILES, ids=[said for _, said in FILES])
def test_content_that_is_not_a_registers_is_refused(
    packed: bytes, tmp_path: Path, change: Callable[[dict[str, bytes]], dict[str, bytes]], said: str
) -> None:
    assert said in refused(tmp_path, repacked(change(entries_of(packed)))).what


@pytest.mark.parametrize(
    ("statement", "said"),
    [
        ("PRAGMA user_version = 9999", "newer pitwright"),
        ("PRAGMA application_id = 7", "not a register"),
        ("CREATE TRIGGER t AFTER INSERT ON part BEGIN DELETE FROM revision; END", "other tables"),
        ("CREATE TABLE recipe (name TEXT)", "other tables"),
        ("PRAGMA foreign_keys = OFF; DELETE FROM operation WHERE seq = 2", "damaged"),
    ],
)
def test_database_that_is_no_sound_register_of_ours_is_refused(
    packed: bytes, tmp_path: Path, statement: str, said: str
) -> None:
    entries = entries_of(packed)
    (tmp_path / "passing").mkdir()
    changed = changed_database(entries["register.db"], tmp_path / "passing", statement)
    assert said in refused(tmp_path, repacked(entries | {"register.db": changed})).what


MANIFESTS: list[tuple[dict[str, object], str]] = [
    ({"form": 2}, "newer pitwright"),
    ({"what": "shopping list"}, "does not hold what it says"),
    ({"files": 2}, "does not hold what it says"),
    ({"database_bytes": 17}, "does not hold what it says"),
    ({"database_sha256": "0" * 64}, "not what was packed"),
    ({"files": "1"}, "no export of a register"),
    ({"schema": True}, "no export of a register"),
    ({"extra": 1}, "no export of a register"),
    ({"schema": float("nan")}, "no export of a register"),
]


@pytest.mark.parametrize(("told", "said"), MANIFESTS, ids=[str(told) for told, _ in MANIFESTS])
def test_manifest_that_says_otherwise_is_refused(
    packed: bytes, tmp_path: Path, told: dict[str, object], said: str
) -> None:
    assert said in refused(tmp_path, repacked(entries_of(packed), **told)).what


@pytest.mark.parametrize(
    "body", [b"", b"[]", b"7", b"{}", b"\xff\xfe", b"[" * 60_000, b'{"what": "pitwright register"}']
)
def test_manifest_that_is_none_is_refused(packed: bytes, tmp_path: Path, body: bytes) -> None:
    sink = io.BytesIO()
    with zipfile.ZipFile(sink, "w", zipfile.ZIP_DEFLATED) as again:
        for name, content in entries_of(packed).items():
            again.writestr(name, body if name == "manifest.json" else content)
    assert "no export of a register" in refused(tmp_path, sink.getvalue()).what


@pytest.mark.parametrize("length", [0, 1, 21, 22, 500, 10_000, -1, -22, -23, -100])
def test_archive_that_is_cut_short_is_refused(packed: bytes, tmp_path: Path, length: int) -> None:
    assert "no export of a register, or is cut short" in refused(tmp_path, packed[:length]).what


def test_any_zip_of_something_else_is_refused(tmp_path: Path) -> None:
    sink = io.BytesIO()
    with zipfile.ZipFile(sink, "w") as other:
        other.writestr("holiday.txt", "sun")
    assert isinstance(refused(tmp_path, sink.getvalue()), BadFile)
    assert isinstance(refused(tmp_path, b"PK\x05\x06" + bytes(18)), BadFile)


def test_mutated_archives_are_refused_or_give_the_same_register(packed: bytes, tmp_path: Path) -> None:
    random = Random(4)
    source, target = tmp_path / "mutated.zip", tmp_path / "place" / "register"
    target.parent.mkdir()
    count = 0
    for _ in range(250):
        content = bytearray(packed)
        # The ends are where a zip tells of itself; most of the middle is packed bytes that a checksum guards.
        for _ in range(random.randint(1, 4)):
            at = random.choice([random.randrange(len(content)), -random.randint(1, 400), random.randrange(200)])
            content[at] = random.randrange(256)
        source.write_bytes(content[: random.choice([len(content), len(content) - random.randint(0, 60)])])
        try:
            read_archive(source, target)
        except RegisterError:
            count += 1
            assert list(target.parent.iterdir()) == []
        else:
            check_register(opened(target))
            shutil.rmtree(target)
    assert count > 150


def test_part_that_was_added_after_the_export_is_not_in_it(register: Register, tmp_path: Path) -> None:
    write_archive(register.folder, tmp_path / "season.zip", NOON)
    parts.add_part(register, "RV-1", "Hub", False)
    read_archive(tmp_path / "season.zip", tmp_path / "copy")
    assert {part.number for part in parts.list_parts(opened(tmp_path / "copy"))} == {"CL-1"}
