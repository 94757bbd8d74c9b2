"""A disk that notes what SQLite asks of it, and may have kept any of what was not yet synced when the power went."""

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import apsw

from register.store.header import DATABASE

JOURNAL = f"{DATABASE}-journal"
# A disk takes this many bytes whole; SQLite asks for no more. Source: SQLite's notes on atomic commit (from memory).
PIECE_BYTES = 512


@dataclass(frozen=True)
class Step:
    """One thing that SQLite asked of the disk, or `acknowledged`: the commit had returned."""

    what: str
    file: str
    offset: int = 0
    content: bytes = b""


@dataclass
class KeptFile:
    """A file as the disk has it: what was synced, and what was asked since.

    `named` says that its name is in the folder for sure; `instead` is the file of that name that may still be there.
    """

    synced: bytearray
    named: bool = False
    pending: list[Step] = field(default_factory=list)
    instead: "KeptFile | None" = None


class NotingVfs(apsw.VFS):
    """Passes everything on to the system's own files and notes what was asked of the database and its journal.

    `fails_at` is the step that the disk refuses before it is done, with `error`; a sync with a fault of the disk.
    """

    def __init__(
        self, name: str, steps: list[Step], fails_at: int | None = None, error: type[apsw.Error] = apsw.FullError
    ) -> None:
        self.steps, self.fails_at, self.error = steps, fails_at, error
        super().__init__(name, "")

    def xOpen(self, name: Any, flags: list[int]) -> apsw.VFSFile:
        path = name.filename() if isinstance(name, apsw.URIFilename) else name
        return NotingFile(name, flags, Path(path).name if path else "", self)

    def xDelete(self, filename: str, syncdir: bool) -> None:
        super().xDelete(filename, syncdir)
        self.steps.append(Step("removed for good" if syncdir else "removed", Path(filename).name))


class NotingFile(apsw.VFSFile):
    """One file; a passing one, which has no name of ours, is not noted."""

    def __init__(self, name: Any, flags: list[int], own: str, vfs: NotingVfs) -> None:
        self.own = own if own in {DATABASE, JOURNAL} else ""
        self.vfs = vfs
        super().__init__("", name, flags)

    def xWrite(self, data: bytes, offset: int) -> None:
        self.note("write", offset, bytes(data))
        super().xWrite(data, offset)

    def xTruncate(self, newsize: int) -> None:
        self.note("truncate", newsize)
        super().xTruncate(newsize)

    def xSync(self, flags: int) -> None:
        # The real disk need not keep it.
        self.note("sync")

    def note(self, what: str, offset: int = 0, content: bytes = b"") -> None:
        if not self.own:
            return
        if len(self.vfs.steps) == self.vfs.fails_at:
            # Once: what SQLite does to put things right may succeed.
            self.vfs.fails_at = None
            raise (apsw.IOError if what == "sync" else self.vfs.error)("the disk refuses")
        self.vfs.steps.append(Step(what, self.own, offset, content))


def disk_before(files: dict[str, KeptFile], steps: Sequence[Step]) -> int:
    """Bring the disk to where all of `steps` were asked of it; gives back how many operations were acknowledged."""
    acknowledged = 0
    for step in steps:
        if step.what == "acknowledged":
            acknowledged += 1
            continue
        file = files.setdefault(step.file, KeptFile(bytearray()))
        if step.what == "sync":
            for each in file.pending:
                ask(file.synced, each)
            # SQLite's first sync of a new journal syncs the folder too. Source: its notes on atomic commit.
            files[step.file] = KeptFile(file.synced, named=True)
        elif step.what == "removed":
            files[step.file] = KeptFile(bytearray(), instead=file)
        elif step.what == "removed for good":
            del files[step.file]
        else:
            file.pending.append(step)
    return acknowledged


def ask(content: bytearray, step: Step) -> None:
    """Do a write or a truncation."""
    end = step.offset + len(step.content)
    if len(content) < end:
        content.extend(bytes(end - len(content)))
    if step.what == "truncate":
        del content[step.offset :]
        content.extend(bytes(step.offset - len(content)))
    else:
        content[step.offset : end] = step.content


def left_over(file: KeptFile, chance: random.Random, share: float) -> bytes | None:
    """What is left of a file after the cut; about `share` of what was not synced is there. None if it has no name."""
    if not file.named and chance.random() >= share:
        return left_over(file.instead, chance, share) if file.instead is not None else None
    content = bytearray(file.synced)
    for step in file.pending:
        if step.what == "truncate":
            if chance.random() < share:
                ask(content, step)
            continue
        for piece in pieces(step):
            fate = chance.random()
            if fate < share:
                ask(content, piece)
            elif fate < share + 0.06:
                torn = piece.content[: chance.randrange(len(piece.content))]
                ask(content, Step("write", piece.file, piece.offset, torn))
            elif fate < share + 0.12:
                ask(content, Step("write", piece.file, piece.offset, chance.randbytes(len(piece.content))))
            elif fate < share + 0.2:
                # The length is written, the content is not.
                content.extend(bytes(max(0, piece.offset + len(piece.content) - len(content))))
    return bytes(content)


def pieces(step: Step) -> Iterator[Step]:
    """A write in the pieces that a disk takes whole."""
    start, end = step.offset, step.offset + len(step.content)
    while start < end:
        stop = min(end, (start // PIECE_BYTES + 1) * PIECE_BYTES)
        yield Step("write", step.file, start, step.content[start - step.offset : stop - step.offset])
        start = stop
