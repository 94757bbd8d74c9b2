"""A folder of files to be taken in as parts: what is asked, what stands already, and what came of each file."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from register.domain.estimates import PrintedEstimate, RoutedEstimate
from register.domain.parts import Part, Process
from register.domain.revisions import Interchange, Revision, RevisionState, Stage, successor
from register.domain.texts import clean_text

Made = PrintedEstimate | RoutedEstimate


@dataclass(frozen=True)
class MeshImport:
    """What a person says of a whole folder; see `EstimateRequest` for the units.

    `material` None takes that of the revision before, else the only one that the shop has. `new_revisions` says why
    files differ from what the register has, and with it they are logged as new revisions; None leaves them.
    """

    process: Process = Process.PRINTED
    material: str | None = None
    thickness_mm: float | None = None
    machine: str | None = None
    unit: str | None = None
    new_revisions: str | None = None
    dry_run: bool = False


@dataclass(frozen=True)
class FoundFile:
    """A file of the folder: its path below it with `/`, its size, and the hash of its bytes once it was read."""

    path: str
    bytes: int
    sha256: str = ""


class Outcome(StrEnum):
    """What came, or would come, of a file."""

    ADDED = "added"
    REVISED = "new revision"
    KNOWN = "known"
    CHANGED = "changed"
    REFUSED = "refused"
    SKIPPED = "skipped"
    NOT_REACHED = "not reached"


@dataclass(frozen=True)
class FileLine:
    """A file and what came of it; `what` and `cure` are sentences, "" where there is nothing to say."""

    file: str
    outcome: Outcome
    part: str | None = None
    name: str | None = None
    revision: str | None = None
    material: str | None = None
    machine: str | None = None
    mass_g: float | None = None
    duration_s: float | None = None
    cost_cents: int | None = None
    warnings: tuple[str, ...] = ()
    what: str = ""
    cure: str = ""


@dataclass(frozen=True)
class MeshImportReport:
    """What an import did or would do: how many files of each outcome, its operations, and every file by its path.

    Files are not reached where it was stopped.
    """

    folder: str
    dry_run: bool
    workers: int
    added: int
    new_revisions: int
    known: int
    changed: int
    refused: int
    skipped: int
    not_reached: int
    operations: tuple[int, ...]
    files: tuple[FileLine, ...]


@dataclass(frozen=True)
class MeshImportProgress:
    """How far an import is: files and bytes of the step that it is at."""

    step: str
    files: int
    of_files: int
    bytes: int
    of_bytes: int


@dataclass(frozen=True)
class Standing:
    """What the register has that bears on a folder.

    `files` gives part and letter by hash, `parts` each part by its number in small letters, and `newest` its newest
    revision by the same; parts without one are left out.
    """

    files: Mapping[str, tuple[str, str]]
    parts: Mapping[str, Part]
    newest: Mapping[str, Revision]


@dataclass(frozen=True)
class Wanted:
    """A file that is to become a revision of a part, the first one or the one after `previous`."""

    file: FoundFile
    part: Part
    is_new: bool
    previous: Revision | None


def known(path: str, part: str, letter: str, expected: str = "") -> FileLine:
    """A file that stands in the register already; something is said if it is not of the part that was expected."""
    what = "" if part.casefold() == expected.casefold() else f"It is revision {letter} of {part}."
    return FileLine(path, Outcome.KNOWN, part, revision=letter, what=what)


def refused(path: str, what: str, cure: str) -> FileLine:
    """A file that is not taken in."""
    return FileLine(path, Outcome.REFUSED, what=what, cure=cure)


def taken(wanted: Wanted, revision: Revision, estimate: Made) -> FileLine:
    """A file that became a revision, or would."""
    before = wanted.previous
    other = () if before is None or before.material == revision.material else (_other_material(revision, before),)
    return FileLine(
        wanted.file.path,
        Outcome.REVISED if wanted.previous else Outcome.ADDED,
        wanted.part.number,
        wanted.part.name,
        revision.letter,
        revision.material,
        estimate.machine,
        estimate.mass_g,
        estimate.duration_s,
        estimate.cost_cents,
        (*other, *estimate.warnings),
    )


def _other_material(revision: Revision, before: Revision) -> str:
    return f"It is of {revision.material}, and revision {before.letter} before it is of {before.material}."


def draft(wanted: Wanted, estimate: Made, asked: MeshImport) -> Revision:
    """The revision that a file becomes; how it may be turned stays as it was said of the one before.

    Raises
    ------
    BadText
        If the file's name cannot be kept.
    """
    before = wanted.previous
    return Revision(
        wanted.part.number,
        successor(before.letter if before else None),
        asked.process,
        RevisionState.DRAFT,
        Stage.PRODUCTION,
        Interchange.NONE,
        estimate.material,
        estimate.thickness_mm if isinstance(estimate, RoutedEstimate) else None,
        wanted.file.sha256,
        clean_text(wanted.file.path.rpartition("/")[2], "file name"),
        asked.unit or "mm",
        changed=(asked.new_revisions or "") if before else "",
        keep_pose=before.keep_pose if before else "",
    )


def report_of(
    folder: str, asked: MeshImport, workers: int, operations: Sequence[int], told: Mapping[str, FileLine]
) -> MeshImportReport:
    """What came of an import, from what was told of each file by its path."""
    lines = tuple(told[path] for path in sorted(told))
    count = Counter(line.outcome for line in lines)
    return MeshImportReport(
        folder,
        asked.dry_run,
        workers,
        count[Outcome.ADDED],
        count[Outcome.REVISED],
        count[Outcome.KNOWN],
        count[Outcome.CHANGED],
        count[Outcome.REFUSED],
        count[Outcome.SKIPPED],
        count[Outcome.NOT_REACHED],
        tuple(operations),
        lines,
    )
