"""A new register out of one file that anybody may have made: everything is bounded and looked at before it counts."""

import hashlib
import json
import os
import re
import secrets
import shutil
import stat
import struct
import zipfile
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import fields
from pathlib import Path
from typing import BinaryIO

from register.domain.keeping import Archive
from register.domain.texts import shown
from register.errors import BadFile, NotAllowed, StoreBroken
from register.store import backup
from register.store.archive import (
    CHUNK_BYTES,
    FORM,
    MANIFEST,
    MOST_ENTRIES,
    WHAT,
    Manifest,
    unpacks_too_far,
)
from register.store.claims import claimed_register
from register.store.disk import sync_folder
from register.store.file_room import LARGEST_BYTES
from register.store.header import DATABASE
from register.store.orphans import named_files, remembered_files

MOST_DATABASE_BYTES = 20_000_000_000
MOST_MANIFEST_BYTES = 65_536
# The list of names at a zip's end is held in memory.
MOST_DIRECTORY_BYTES = 130 * MOST_ENTRIES

_FILE = re.compile(r"files/([0-9a-f]{2})/(\1[0-9a-f]{62})")
_END, _END_64 = struct.Struct("<4s4H2LH"), struct.Struct("<4sQ2H2L4Q")
_LOCATOR_BYTES = 20
# What the library raises over bytes that are no sound zip.
_NO_ZIP = (
    *(zipfile.BadZipFile, zipfile.LargeZipFile, NotImplementedError, RuntimeError, EOFError, zlib.error, struct.error),
    *(ValueError, OverflowError, OSError),
)


def read_archive(source: Path, folder: Path) -> Archive:
    """Make a new register in `folder` out of what `register.store.archive.write_archive` wrote.

    It is built beside `folder` and put there when it is whole and found sound.

    Raises
    ------
    NotAllowed
        If something is in `folder` already.
    BadFile
        If `source` is no such archive, or anything in it is not what it should be.
    StoreBroken
        If the disk does not take it.
    """
    folder = _free(folder)
    with _opened(source) as file:
        name = shown(source.name)
        archive = _Unpacked(name, file)
        with _built_beside(folder) as built:
            archive.refuse_if_too_large_for(built)
            archive.unpack(built)
            operations = archive.checked(built)
            _put_in_place(built, folder)
    manifest = archive.manifest
    whole = manifest.database_bytes + manifest.files_bytes
    return Archive(str(folder), manifest.schema, operations, manifest.files, whole)


class _Unpacked:
    """An archive whose list of entries was found in order; nothing is unpacked yet."""

    def __init__(self, name: str, file: BinaryIO) -> None:
        self.name = name
        self._refuse_a_directory_too_large(file)
        try:
            self.zip = zipfile.ZipFile(file)
        except _NO_ZIP as error:
            raise self._no_archive() from error
        self.entries: dict[str, zipfile.ZipInfo] = {}
        for entry in self.zip.infolist():
            self._refuse_if_odd(entry)
            self.entries[entry.filename] = entry
        if not {MANIFEST, DATABASE} <= self.entries.keys():
            raise self._no_archive()
        self.manifest = self._manifest()

    def refuse_if_too_large_for(self, folder: Path) -> None:
        """Refuse what the disk has no room for."""
        needed = sum(entry.file_size for entry in self.entries.values())
        free = shutil.disk_usage(folder).free
        if needed > free:
            raise StoreBroken(
                f"{self.name} unpacks to {needed // 1_000_000} MB, and the disk has {free // 1_000_000} MB left.",
                "Free some space, or name a folder on another disk.",
            )

    def unpack(self, folder: Path) -> None:
        """Write the database and every file; each is held against its hash."""
        for name, entry in self.entries.items():
            if name == MANIFEST:
                continue
            target = folder / name
            target.parent.mkdir(exist_ok=True)
            wanted = self.manifest.database_sha256 if name == DATABASE else target.name
            found = hashlib.sha256()
            with target.open("xb") as sink:
                for chunk in self._chunks(entry):
                    found.update(chunk)
                    sink.write(chunk)
            if found.hexdigest() != wanted:
                raise BadFile(f"In {self.name}, {name} is not what was packed.", "Fetch the archive once more.")

    def checked(self, folder: Path) -> int:
        """Look the unpacked register over whole; gives back how many operations it has."""
        with claimed_register(folder / DATABASE) as connection:
            named = named_files(connection)
            there = {name.rsplit("/", 1)[1]: entry.file_size for name, entry in self.entries.items() if "/" in name}
            missing = sum(there.get(sha256) != size for sha256, size in named.items())
            if missing:
                raise BadFile(
                    f"Of {len(named)} files that the register in {self.name} names, {missing} are not in it.",
                    "Export it once more.",
                )
            strange = len(there.keys() - named.keys() - remembered_files(connection))
            if strange:
                raise BadFile(f"{self.name} holds {strange} files that its register does not name.", "Export it anew.")
            return backup.history_size(connection).operations

    def _refuse_a_directory_too_large(self, file: BinaryIO) -> None:
        """Read the end of the zip as the library will, before the library reads the whole list into memory."""
        size = file.seek(0, os.SEEK_END)
        file.seek(max(0, size - _END.size - _LOCATOR_BYTES - _END_64.size))
        tail = file.read()
        if len(tail) < _END.size:
            raise self._no_archive()
        end = _END.unpack(tail[-_END.size :])
        if end[0] != b"PK\x05\x06" or end[7] != 0:
            raise self._no_archive()
        count, directory_bytes = end[4], end[5]
        locator = tail[-_END.size - _LOCATOR_BYTES : -_END.size]
        if locator.startswith(b"PK\x06\x07") and len(tail) == _END.size + _LOCATOR_BYTES + _END_64.size:
            end_64 = _END_64.unpack(tail[: _END_64.size])
            count, directory_bytes = max(count, end_64[7]), max(directory_bytes, end_64[8])
            if directory_bytes == 0xFFFFFFFF:
                directory_bytes = end_64[8]
        file.seek(0)
        if count > MOST_ENTRIES or directory_bytes > MOST_DIRECTORY_BYTES:
            raise BadFile(f"{self.name} holds more than {MOST_ENTRIES} entries.", "This is no export of a register.")

    def _refuse_if_odd(self, entry: zipfile.ZipInfo) -> None:
        name = entry.filename
        mode = entry.external_attr >> 16
        known = name in {MANIFEST, DATABASE} or _FILE.fullmatch(name)
        why = (
            (not known or name != entry.orig_filename, "which is no part of a register"),
            (name in self.entries, "which it holds twice"),
            (entry.flag_bits & 0x1, "which is encrypted"),
            (stat.S_IFMT(mode) not in {0, stat.S_IFREG}, "which is no plain file"),
            (entry.compress_type not in {zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED}, "packed in an unknown way"),
            (entry.file_size > _most_bytes(name), "which is larger than any in a register"),
            (unpacks_too_far(entry), "which unpacks to far more than it takes up"),
        )
        for is_so, words in why:
            if is_so:
                raise BadFile(f"{self.name} holds {shown(name[:100])!r}, {words}.", "This is no export of a register.")

    def _manifest(self) -> Manifest:
        try:
            said = json.loads(b"".join(self._chunks(self.entries[MANIFEST])))
            manifest = Manifest(**said)
        except (ValueError, TypeError, RecursionError) as error:
            raise self._no_archive() from error
        if any(type(getattr(manifest, each.name)) is not each.type for each in fields(Manifest)):
            raise self._no_archive()
        if manifest.what == WHAT and manifest.form > FORM:
            raise BadFile(f"{self.name} was written by a newer pitwright.", "Install the newer version.")
        files = [entry.file_size for name, entry in self.entries.items() if "/" in name]
        told = (manifest.what, manifest.form, manifest.files, manifest.files_bytes, manifest.database_bytes)
        if told != (WHAT, FORM, len(files), sum(files), self.entries[DATABASE].file_size):
            raise BadFile(f"{self.name} does not hold what it says it holds.", "Fetch the archive once more.")
        return manifest

    def _chunks(self, entry: zipfile.ZipInfo) -> Iterator[bytes]:
        """The bytes of an entry, no more than it is said to have; the library holds them against its checksum."""
        try:
            with self.zip.open(entry) as content:
                while chunk := content.read(CHUNK_BYTES):
                    yield chunk
        except _NO_ZIP as error:
            raise BadFile(
                f"{self.name} is damaged or cut short at {entry.filename}.", "Fetch the archive once more."
            ) from error

    def _no_archive(self) -> BadFile:
        return BadFile(
            f"{self.name} is no export of a register, or is cut short.", "Name a file that `pitwright export` wrote."
        )


def _most_bytes(name: str) -> int:
    return {MANIFEST: MOST_MANIFEST_BYTES, DATABASE: MOST_DATABASE_BYTES}.get(name, LARGEST_BYTES)


def _free(folder: Path) -> Path:
    """The full path of a folder that does not exist yet, or is empty."""
    try:
        if folder.is_symlink() or (folder.exists() and (not folder.is_dir() or any(folder.iterdir()))):
            raise NotAllowed(f"There is something in {folder} already.", "Name a folder that does not exist yet.")
        return folder.resolve()
    except (OSError, ValueError) as error:
        raise StoreBroken("That folder cannot be looked into.", "Name another one.") from error


@contextmanager
def _opened(source: Path) -> Iterator[BinaryIO]:
    try:
        if not source.is_file():
            raise BadFile(f"{shown(str(source))} is no file.", "Name a file that `pitwright export` wrote.")
        file = source.open("rb")
    except OSError as error:
        raise BadFile(f"{shown(str(source))} cannot be read: {error.strerror}.", "Check its permissions.") from error
    except ValueError as error:
        raise BadFile("The file's name cannot be used.", "Name a file without hidden signs.") from error
    with file:
        yield file


@contextmanager
def _built_beside(folder: Path) -> Iterator[Path]:
    """A new folder next to `folder` with the rooms of a register; gone after the block unless it was moved."""
    built = folder.parent / f".{folder.name}.{secrets.token_hex(4)}"
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        for each in (built, built / "files", built / backup.FOLDER):
            each.mkdir()
        yield built
    except OSError as error:
        raise StoreBroken(
            f"{folder} could not be written: {error.strerror}.", "Check the space and the permissions there."
        ) from error
    finally:
        shutil.rmtree(built, ignore_errors=True)


def _put_in_place(built: Path, folder: Path) -> None:
    # One call for all: waiting for each of many small files takes minutes.
    sync: Callable[[], None] | None = getattr(os, "sync", None)
    if sync is not None:
        sync()
    with suppress(FileNotFoundError):
        folder.rmdir()
    built.rename(folder)
    sync_folder(folder.parent)
