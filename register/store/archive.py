"""A whole register in one file: a zip with its database, every file that it names, and a note of what is in it."""

import hashlib
import json
import sqlite3
import zipfile
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from datetime import datetime
from importlib.metadata import version
from pathlib import Path

from register.domain.keeping import Archive
from register.domain.texts import shown
from register.errors import BadFile, NotAllowed, StoreBroken
from register.store import backup
from register.store.column_types import time_text
from register.store.disk import passing_file, put_in_place, sync_file
from register.store.file_room import FileRoom
from register.store.header import DATABASE
from register.store.orphans import named_files, remembered_files

WHAT, FORM = "pitwright register", 1
MANIFEST = "manifest.json"
# Bounds that a reader holds against what it is given, and a writer against what it writes.
MOST_ENTRIES = 250_000
# What unpacks to more than so many times its size is stored plain instead; a reader takes it for a trap.
MOST_RATIO = 200
RATIO_FROM_BYTES = 1_000_000
CHUNK_BYTES = 1 << 20


@dataclass(frozen=True)
class Manifest:
    """What an archive says of itself. Files stand under their own hashes, so that only the database's is told here."""

    what: str
    form: int
    pitwright: str
    schema: int
    made_at: str
    operations: int
    database_bytes: int
    database_sha256: str
    files: int
    files_bytes: int


def entry_name(sha256: str) -> str:
    """Where a file stands in the archive, as in the register's folder."""
    return f"files/{sha256[:2]}/{sha256}"


def unpacks_too_far(entry: zipfile.ZipInfo) -> bool:
    """Whether an entry is packed more tightly than any that `write_archive` leaves."""
    return entry.file_size > RATIO_FROM_BYTES and entry.file_size > MOST_RATIO * entry.compress_size


def write_archive(folder: Path, target: Path, now: datetime) -> Archive:
    """Put one consistent state of the register in `folder` into the new file `target`, while others go on.

    Raises
    ------
    NotAllowed
        If something stands at `target`, or there are more files than an archive may hold.
    BadFile
        If `target` cannot be written.
    StoreBroken
        If the register or a file of it cannot be read or is not what it was.
    """
    if target.is_symlink() or target.exists():
        raise _stands_already(target)
    try:
        with passing_file(target.parent, DATABASE) as copy, passing_file(target.parent, "export") as passing:
            with backup.reading(folder / DATABASE) as source:
                size = backup.snapshot(source, copy)
            with backup.reading(copy) as kept:
                content = _Content(kept, FileRoom(folder), copy, now, size.operations)
                manifest = content.pack(passing)
            sync_file(passing)
            packed_bytes = passing.stat().st_size
            if not put_in_place(passing, target):
                raise _stands_already(target)
    except OSError as error:
        raise BadFile(
            f"{shown(str(target))} could not be written: {error.strerror}.", "Check the folder and the space there."
        ) from error
    return Archive(str(target), manifest.schema, manifest.operations, manifest.files, packed_bytes)


def _stands_already(target: Path) -> NotAllowed:
    return NotAllowed(f"There is {shown(str(target))} already.", "Name another file, or remove that one.")


class _Content:
    """What goes into an archive."""

    def __init__(
        self, kept: sqlite3.Connection, room: FileRoom, database: Path, now: datetime, operations: int
    ) -> None:
        self.room, self.database = room, database
        self.named = set(named_files(kept))
        # What the history alone names is of use only to an undo, so it may be missing.
        spare = {sha256 for sha256 in remembered_files(kept) - self.named if room.path(sha256).is_file()}
        self.files = sorted(self.named | spare)
        if len(self.files) > MOST_ENTRIES - 2:
            raise NotAllowed(
                f"The register has {len(self.files)} files; one archive holds at most {MOST_ENTRIES - 2}.",
                "Copy its folder while nobody has it open.",
            )
        with database.open("rb") as file:
            sha256 = hashlib.file_digest(file, "sha256").hexdigest()
        (schema,) = kept.execute("PRAGMA user_version").fetchone()
        sizes = sum(room.path(each).stat().st_size for each in self.files if room.path(each).is_file())
        self.manifest = Manifest(
            WHAT,
            FORM,
            version("pitwright"),
            schema,
            time_text(now),
            operations,
            database.stat().st_size,
            sha256,
            len(self.files),
            sizes,
        )

    def pack(self, target: Path) -> Manifest:
        """Write everything; what packs too tightly is stored plain in a second run, so that a reader believes it."""
        stored = self._packed(target, frozenset())
        if stored:
            self._packed(target, stored)
        return self.manifest

    def _packed(self, target: Path, stored: frozenset[str]) -> frozenset[str]:
        with zipfile.ZipFile(target, "w") as archive:
            archive.writestr(_entry(MANIFEST, stored), json.dumps(asdict(self.manifest), indent=1))
            with archive.open(_entry(DATABASE, stored), "w", force_zip64=True) as sink:
                for chunk in _chunks(self.database):
                    sink.write(chunk)
            for sha256 in self.files:
                archive.writestr(_entry(entry_name(sha256), stored), self._file(sha256))
            return frozenset(each.filename for each in archive.infolist() if unpacks_too_far(each))

    def _file(self, sha256: str) -> bytes:
        try:
            return self.room.read(sha256)
        except StoreBroken as broken:
            raise StoreBroken(broken.what, "Run `pitwright check`; nothing was written.") from broken


def _entry(name: str, stored: frozenset[str]) -> zipfile.ZipInfo:
    # No time and no owner: the same register gives the same archive.
    entry = zipfile.ZipInfo(name)
    entry.external_attr = 0o100644 << 16
    entry.compress_type = zipfile.ZIP_STORED if name in stored else zipfile.ZIP_DEFLATED
    return entry


def _chunks(path: Path) -> Iterator[bytes]:
    with path.open("rb") as file:
        while chunk := file.read(CHUNK_BYTES):
            yield chunk
