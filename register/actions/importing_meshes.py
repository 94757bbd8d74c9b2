"""Taking in a whole folder of files as parts: estimated over all cores, written in batches, told file by file."""

import hashlib
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from register.crews import Crew, Task, cores
from register.domain.estimates import BoughtEstimate, Estimate, EstimateRequest
from register.domain.materials import Form
from register.domain.mesh_imports import (
    FileLine,
    FoundFile,
    Made,
    MeshImport,
    MeshImportProgress,
    MeshImportReport,
    Outcome,
    Wanted,
    draft,
    refused,
    report_of,
    taken,
)
from register.domain.mesh_sorting import endings, numbers_told, overtaken, sorted_out
from register.domain.parts import Process
from register.domain.revisions import Revision
from register.domain.shop import ShopSettings
from register.domain.texts import NOTE_LENGTH, clean_text, shown
from register.errors import BadFile, Cancelled, NotAllowed, Refused, RegisterError, StaleEdit
from register.estimate import whole
from register.opening import Register
from register.store import mesh_imports, shops
from register.store.file_room import Staged
from register.store.outside_files import look_through, outside_bytes, outside_hash

# So much is one operation, which one undo takes back. A longer import is several, each kept as soon as it is whole.
BATCH_FILES = 100
BATCH_S = 120.0
LONGEST_S = 120.0
# An estimate needs many times its file's size in memory, and all that are at work share one computer.
MOST_BYTES_AT_WORK = 150_000_000

Show = Callable[[MeshImportProgress], None]
Stopped = Callable[[], bool]


def import_meshes(
    register: Register,
    folder: Path,
    asked: MeshImport,
    workers: int | None = None,
    longest_s: float = LONGEST_S,
    on_progress: Show = lambda progress: None,
    stopped: Stopped = lambda: False,
) -> MeshImportReport:
    """Take in what a folder, and the folders in it, have that the register does not have yet, each file as a draft.

    Parameters
    ----------
    workers
        How many files are estimated at a time; one for each core if None.
    longest_s
        A file that takes longer is refused.
    stopped
        Asked all the time. Once it says True, files at work are dropped, and what was estimated is written.

    Notes
    -----
    A file is known by its content, so the same folder again brings only what is new. What is wrong with one file is
    told of it and stops no other. Up to 100 files and two minutes are one operation; in it each file is whole, with
    its part, its revision and its estimate.

    Raises
    ------
    BadFile
        If the folder cannot be looked through.
    UnknownMaterial, NotFound, NotAllowed
        If no file at all could be estimated as it is asked.
    StoreBroken
        If the register does not take it; operations before stand.
    """
    asked = _checked(asked)
    looked = look_through(folder, endings(asked.process))
    run = _Run(register, folder, asked, on_progress, stopped)
    run.told = {path: FileLine(path, Outcome.SKIPPED, what=why) for path, why in looked.left}
    run.told |= {file.path: FileLine(file.path, Outcome.NOT_REACHED) for file in looked.files}
    at_work = 0
    with run.staged:
        try:
            wanted = run.sorted_out(run.hashed(looked.files))
            at_work = min(workers or cores(), len(wanted))
            run.estimate(wanted, at_work, longest_s)
        except Cancelled:
            # What is told of the files that were not reached says so.
            pass
        run.write()
    return report_of(str(folder), asked, at_work, run.operations, run.told)


@dataclass(frozen=True)
class _Ready:
    """A file that is estimated and, but for its row, in the register."""

    wanted: Wanted
    revision: Revision
    estimate: Made
    staged: Staged


class _Overtaken(StaleEdit):
    """Somebody else wrote about some of the files while they were estimated."""

    def __init__(self, lines: Mapping[str, FileLine]) -> None:
        super().__init__("The register has changed.", "Import the folder again.")
        self.lines = lines


class _Run:
    """One import on its way: what is told of each file, what waits to be written, and the operations so far."""

    def __init__(self, register: Register, folder: Path, asked: MeshImport, show: Show, stopped: Stopped) -> None:
        self.register, self.folder, self.asked = register, folder, asked
        self.show, self.stopped = show, stopped
        self.told: dict[str, FileLine] = {}
        self.operations: list[int] = []
        # Files that lie in the file room under passing names, until their batch is written.
        self.staged = ExitStack()
        self._ready: list[_Ready] = []
        self._since_s = 0.0

    def hashed(self, files: Sequence[FoundFile]) -> tuple[FoundFile, ...]:
        """The files that can be read, with their hashes; raises Cancelled."""
        found: list[FoundFile] = []
        progress = _Progress("reading", files, self.show)
        for file in files:
            if self.stopped():
                raise Cancelled("The import was stopped.", "Nothing was written.")
            try:
                found.append(replace(file, sha256=outside_hash(self.folder / file.path)))
            except BadFile as error:
                self._tell(refused(file.path, error.what, error.cure))
            progress.done(file)
        return tuple(found)

    def sorted_out(self, files: Sequence[FoundFile]) -> tuple[Wanted, ...]:
        """The files that are to be taken in; the others are told of."""
        with self.register.store.reading() as view:
            self._settings = shops.settings(view)
            hashes = {file.sha256 for file in files}
            standing = mesh_imports.standing(view, hashes, numbers_told(file.path for file in files))
        wanted, lines = sorted_out(files, standing, self.asked)
        for line in lines:
            self._tell(line)
        self._material = None
        if any(each.previous is None for each in wanted) or self.asked.material is not None:
            self._material = _material(self.asked, self._settings)
        return wanted

    def estimate(self, wanted: Sequence[Wanted], workers: int, longest_s: float) -> None:
        """Estimate files and write what is done, batch by batch; raises Cancelled."""
        if not wanted:
            return
        progress = _Progress("estimating", [each.file for each in wanted], self.show)
        # The largest first, so that at the end no core waits for the one that has the largest.
        tasks = [
            Task(each, partial(self._arguments, each), each.file.bytes)
            for each in sorted(wanted, key=lambda each: -each.file.bytes)
        ]
        crew: Crew[Wanted, Estimate] = Crew(
            whole.estimate, self._settings, workers=workers, longest_s=longest_s, most_weight=MOST_BYTES_AT_WORK
        )
        with crew:
            for each, made in crew.results(tasks, self.stopped):
                if isinstance(made, RegisterError):
                    self._tell(refused(each.file.path, made.what, made.cure))
                elif not isinstance(made, BoughtEstimate):
                    self._take(each, made)
                progress.done(each.file)
                if self._batch_is_full():
                    self.write()

    def write(self) -> None:
        """Write what is ready as one operation."""
        with self.staged.pop_all():
            ready, self._ready = self._ready, []
            while ready:
                try:
                    self._written(ready)
                    return
                except _Overtaken as by:
                    self.told.update(by.lines)
                    ready = [each for each in ready if each.wanted.file.path not in by.lines]

    def _tell(self, line: FileLine) -> None:
        self.told[line.file] = line

    def _arguments(self, wanted: Wanted) -> tuple[bytes, str, EstimateRequest]:
        material = self.asked.material or (wanted.previous.material if wanted.previous else None) or self._material
        request = EstimateRequest(
            self.asked.process, material, self.asked.thickness_mm, self.asked.machine, self.asked.unit
        )
        path = self.folder / wanted.file.path
        return outside_bytes(path), path.name, request

    def _take(self, wanted: Wanted, estimate: Made) -> None:
        """Stage a file that was estimated; in a dry run it is only told of."""
        path = self.folder / wanted.file.path
        try:
            revision = draft(wanted, estimate, self.asked)
            content = b"" if self.asked.dry_run else outside_bytes(path)
            found = estimate.sha256 if self.asked.dry_run else hashlib.sha256(content).hexdigest()
            if {found, estimate.sha256} != {wanted.file.sha256}:
                raise BadFile(f"{path.name} has changed since the import began.", "Import the folder again.")
        except Refused as error:
            self._tell(refused(wanted.file.path, error.what, error.cure))
            return
        if self.asked.dry_run:
            self._tell(taken(wanted, revision, estimate))
            return
        staged = self.staged.enter_context(self.register.files.staged(content))
        self._since_s = self._since_s if self._ready else time.monotonic()
        self._ready.append(_Ready(wanted, revision, estimate, staged))

    def _batch_is_full(self) -> bool:
        return len(self._ready) >= BATCH_FILES or (bool(self._ready) and time.monotonic() - self._since_s > BATCH_S)

    def _written(self, ready: Sequence[_Ready]) -> None:
        revised = sum(each.wanted.previous is not None for each in ready)
        counts = [f"{len(ready) - revised} added", f"{revised} with a new revision" if revised else ""]
        name = shown(self.folder.resolve().name or str(self.folder))
        note = f"import {name}: {', '.join(filter(None, counts))}"[:NOTE_LENGTH]
        with self.register.store.writing(self.register.who, note) as tx:
            hashes = {each.staged.sha256 for each in ready}
            numbers = {each.wanted.part.number for each in ready}
            others = overtaken((each.wanted for each in ready), mesh_imports.standing(tx, hashes, numbers))
            if others:
                raise _Overtaken(others)
            self.register.files.settle(*(each.staged for each in ready))
            signed = [replace(each.revision, logged_by=tx.who, logged_at=tx.at) for each in ready]
            mesh_imports.add(
                tx,
                [
                    mesh_imports.Entry(each.wanted.part, revision, each.staged, each.estimate)
                    for each, revision in zip(ready, signed, strict=True)
                ],
            )
            operation = tx.operation
        self.operations.append(operation)
        for each in ready:
            self._tell(taken(each.wanted, each.revision, each.estimate))


class _Progress:
    """Counts the files of one step as they are done."""

    def __init__(self, step: str, files: Sequence[FoundFile], show: Show) -> None:
        self._show = show
        self._now = MeshImportProgress(step, 0, len(files), 0, sum(file.bytes for file in files))
        show(self._now)

    def done(self, file: FoundFile) -> None:
        self._now = replace(self._now, files=self._now.files + 1, bytes=self._now.bytes + file.bytes)
        self._show(self._now)


def _checked(asked: MeshImport) -> MeshImport:
    if asked.process is Process.BOUGHT:
        raise NotAllowed("A bought part has no file to import.", "Say --process printed or --process routed.")
    if asked.new_revisions is None:
        return asked
    return replace(asked, new_revisions=clean_text(asked.new_revisions, "note of what changed", NOTE_LENGTH))


def _material(asked: MeshImport, settings: ShopSettings) -> str:
    """The material of all files that have none from before: as named, else the only one that there is.

    Raises
    ------
    UnknownMaterial, NotFound, NotAllowed
        If it is not known, or nothing works it.
    """
    form = Form.SHEET if asked.process is Process.ROUTED else Form.FILAMENT
    only = [each.name for each in settings.materials if each.form is form]
    named = (asked.material or "").strip() or (only[0] if len(only) == 1 else None)
    powders = {each.name.casefold() for each in settings.materials if each.form is Form.POWDER}
    if form is Form.SHEET or named is None or named.casefold() not in powders:
        named = whole.material_named(named, form, settings).name
    whole.machines_for(asked.process, named, settings, asked.machine)
    return named
