"""Many files that become revisions at once: what stands already, and all their rows in bulk."""

from collections.abc import Collection, Sequence
from dataclasses import asdict, dataclass

import sqlalchemy as sa

from register.domain.estimates import Estimate
from register.domain.mesh_imports import Standing
from register.domain.parts import Part
from register.domain.revisions import Revision, ordinal
from register.store import part_lists
from register.store.exchange_writing import Steps, write
from register.store.file_room import Staged
from register.store.parts import PART_FIELDS, estimate_as_kept
from register.store.plain import among, rows, table_of
from register.store.tables.parts import PartRow, RevisionRow, StoredFileRow
from register.store.transaction import Reading, Writing

_PART, _REVISION, _FILE = table_of(PartRow), table_of(RevisionRow), table_of(StoredFileRow)


@dataclass(frozen=True)
class Entry:
    """A revision to add, with its part, its file and its estimate."""

    part: Part
    revision: Revision
    staged: Staged
    estimate: Estimate


def standing(reading: Reading, hashes: Collection[str], numbers: Collection[str]) -> Standing:
    """What the register has of some files and part numbers."""
    folded = {number.casefold() for number in numbers}
    on_files = (
        sa.select(_REVISION.c.file_sha256, _PART.c.number, _REVISION.c.letter)
        .select_from(_REVISION.join(_PART))
        .where(among(_REVISION.c.file_sha256, hashes))
        .order_by(_REVISION.c.place.desc())
    )
    found = sa.select(_PART.c.number_folded, *PART_FIELDS).where(among(_PART.c.number_folded, folded))
    parts = {key: Part(*fields) for key, *fields in rows(reading, found)}
    newest = part_lists.newest(reading, folded)
    return Standing(
        {sha256: (number, letter) for sha256, number, letter in rows(reading, on_files)},
        parts,
        {number.casefold(): revision for number, revision in newest.items()},
    )


def add(writing: Writing, entries: Sequence[Entry]) -> None:
    """Add revisions with their files' rows, their estimates, and those of their parts that are not there yet.

    The files themselves are settled by the caller. No two entries may be of one part or of one file.
    """
    steps = Steps(writing.at, writing.who)
    keys = _part_keys(writing, {entry.part.number for entry in entries})
    kept = _kept_files(writing, {entry.staged.sha256 for entry in entries})
    for entry in entries:
        part, staged = entry.part, entry.staged
        folded = part.number.casefold()
        if folded not in keys:
            plain = {"number": part.number, "number_folded": folded, "name": part.name, "wear": part.wear}
            keys[folded] = steps.insert("part", **plain)
        if staged.sha256 not in kept:
            name = entry.revision.file_name or ""
            steps.insert("stored_file", sha256=staged.sha256, name=name, bytes=staged.bytes)
        said = {name: value for name, value in asdict(entry.revision).items() if name not in {"part", "version"}}
        place = ordinal(entry.revision.letter)
        revision_key = steps.insert("revision", part_key=keys[folded], place=place, **said)
        body = asdict(estimate_as_kept(entry.estimate))
        steps.insert("estimate", revision_key=revision_key, made_at=writing.at, body=body)
    write(writing, steps)


def _part_keys(reading: Reading, numbers: Collection[str]) -> dict[str, str]:
    folded = {number.casefold() for number in numbers}
    wanted = sa.select(_PART.c.number_folded, _PART.c.key).where(among(_PART.c.number_folded, folded))
    return {number: key for number, key in rows(reading, wanted)}


def _kept_files(reading: Reading, hashes: Collection[str]) -> set[str]:
    return {sha256 for (sha256,) in rows(reading, sa.select(_FILE.c.sha256).where(among(_FILE.c.sha256, hashes)))}
