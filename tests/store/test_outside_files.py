"""What lies in a folder that a person names, and the bytes of a file in it."""

import hashlib
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from register.errors import BadFile
from register.store import outside_files
from register.store.outside_files import look_through, outside_bytes, outside_hash

MESH = (".stl",)


def made(folder: Path, *paths: str) -> Path:
    for path in paths:
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_bytes(path.encode())
    return folder


def test_files_are_found_by_path_with_their_size(tmp_path: Path) -> None:
    looked = look_through(made(tmp_path, "b.stl", "a/c.STL", "a/b/d.stl", "a/e.txt"), MESH)
    assert [(each.path, each.bytes) for each in looked.files] == [("a/b/d.stl", 9), ("a/c.STL", 7), ("b.stl", 5)]
    assert looked.left == (("a/e.txt", ""),)


def test_folder_whose_name_ends_like_a_mesh_is_a_folder(tmp_path: Path) -> None:
    looked = look_through(made(tmp_path, "old.stl/a.stl"), MESH)
    assert [each.path for each in looked.files] == ["old.stl/a.stl"]


def test_folders_lie_only_so_deep(tmp_path: Path) -> None:
    deep = "/".join(["d"] * outside_files.DEEPEST)
    looked = look_through(made(tmp_path, f"{deep}/a.stl", f"{deep}/d/b.stl"), MESH)
    assert [each.path for each in looked.files] == [f"{deep}/a.stl"]
    assert looked.left == ((f"{deep}/d", "lies more than 32 folders deep"),)


def test_folder_of_too_many_files_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(outside_files, "MOST_ENTRIES", 3)
    assert len(look_through(made(tmp_path, "a.stl", "b.stl", "c.stl"), MESH).files) == 3
    with pytest.raises(BadFile, match="more than 3 files"):
        look_through(made(tmp_path, "d.stl"), MESH)


@contextmanager
def as_nobody() -> Iterator[None]:
    """As somebody who may not do everything, if that is who runs the tests."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)


def test_folder_that_may_not_be_looked_into_is_named_and_the_others_are_found(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made(tmp_path, "closed/a.stl", "b.stl")
    tmp_path.chmod(0o755)
    # The folders around it are closed to others.
    monkeypatch.chdir(tmp_path)
    (tmp_path / "closed").chmod(0)
    try:
        with as_nobody():
            looked = look_through(Path(), MESH)
            with pytest.raises(BadFile, match="cannot be looked into"):
                look_through(Path("closed"), MESH)
    finally:
        (tmp_path / "closed").chmod(0o755)
    assert [each.path for each in looked.files] == ["b.stl"]
    assert looked.left == (("closed", "cannot be looked into (Permission denied)"),)


def test_bytes_and_hash_are_those_of_the_file(tmp_path: Path) -> None:
    content = os.urandom(300_000)
    (tmp_path / "a.stl").write_bytes(content)
    assert outside_bytes(tmp_path / "a.stl") == content
    assert outside_hash(tmp_path / "a.stl") == hashlib.sha256(content).hexdigest()


@pytest.mark.parametrize("read", [outside_bytes, outside_hash])
def test_what_is_no_plain_file_of_a_size_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, read: object
) -> None:
    monkeypatch.setattr(outside_files, "LARGEST_BYTES", 4)
    made(tmp_path, "abcde", "abc")
    (tmp_path / "link").symlink_to(tmp_path / "abc")
    os.mkfifo(tmp_path / "pipe")
    for name, said in (("abcde", "larger"), ("link", "cannot be read"), ("pipe", "plain"), ("gone", "cannot be read")):
        with pytest.raises(BadFile, match=said):
            read(tmp_path / name)  # type: ignore[operator]
    read(tmp_path / "abc")  # type: ignore[operator]


def test_name_that_the_system_could_not_decode_is_found_and_read(tmp_path: Path) -> None:
    try:
        (Path(os.fsdecode(os.fsencode(tmp_path) + b"/caf\xe9.stl"))).write_bytes(b"x")
    except OSError:
        pytest.skip("the system takes no such name")
    (file,) = look_through(tmp_path, MESH).files
    assert outside_bytes(tmp_path / file.path) == b"x"
