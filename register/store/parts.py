"""Parts, revisions, their files and estimates: rows out, rows in."""

from collections.abc import Sequence
from dataclasses import asdict, fields, replace
from typing import Any

import sqlalchemy as sa
from sqlmodel import Session, col, select

from register.domain.estimates import (
    BoughtEstimate,
    Estimate,
    Hole,
    Pocket,
    PowderLoad,
    PrintedEstimate,
    PrintedVolumes,
    RoutedEstimate,
)
from register.domain.parts import Part, Process
from register.domain.revisions import Interchange, Revision, RevisionState, Stage, ordinal
from register.errors import NotAllowed, NotFound
from register.store.file_room import Staged
from register.store.finding import holding
from register.store.plain import rows, table_of
from register.store.tables.parts import EstimateRow, PartRow, RevisionRow, StoredFileRow
from register.store.transaction import Reading, Writing

_PART, _REVISION = table_of(PartRow), table_of(RevisionRow)
# In the order of the domain's fields.
PART_FIELDS = tuple(_PART.c[name] for name in ("number", "name", "wear", "version"))
REVISION_FIELDS = tuple(_REVISION.c[each.name] for each in fields(Revision) if each.name != "part")
# Looked up a hundred thousand times for a long list, and five times faster than by calling the choice's class.
_PROCESS, _STATE = {each.value: each for each in Process}, {each.value: each for each in RevisionState}
_STAGE, _INTERCHANGE = {each.value: each for each in Stage}, {each.value: each for each in Interchange}
_BY_NUMBER = sa.select(*PART_FIELDS).order_by(_PART.c.number_folded)


def part_row(session: Session, number: str) -> PartRow:
    """The row of part `number`, found whatever the case.

    Raises
    ------
    NotFound
        If there is no such part.
    """
    row = session.exec(select(PartRow).where(PartRow.number_folded == number.strip().casefold())).first()
    if row is None:
        raise NotFound(f"There is no part {number!r}.", "See `pitwright part list`.")
    return row


def part(reading: Reading, number: str) -> Part:
    """Part `number`; raises NotFound."""
    return _part(part_row(reading.session, number))


def parts(reading: Reading, find: str = "") -> tuple[Part, ...]:
    """Parts whose number or name holds `find`, by number."""
    wanted = _BY_NUMBER.where(holding(find)) if find else _BY_NUMBER
    return tuple(Part(*row) for row in rows(reading, wanted))


def page(reading: Reading, after: str, count: int, find: str = "") -> tuple[Part, ...]:
    """The next parts, by number.

    Parameters
    ----------
    after
        Number of the last part of the page before, "" for the first page. A part that is gone meanwhile still tells
        where the next page begins.
    count
        At most so many.
    find
        Only parts whose number or name holds this.
    """
    wanted = _BY_NUMBER.where(_PART.c.number_folded > after.casefold()).limit(count)
    return tuple(Part(*row) for row in rows(reading, wanted.where(holding(find)) if find else wanted))


def add_part(writing: Writing, wanted: Part) -> None:
    """Add a part.

    Raises
    ------
    NotAllowed
        If its number is taken.
    """
    folded = wanted.number.casefold()
    if writing.session.exec(select(PartRow).where(PartRow.number_folded == folded)).first() is not None:
        raise NotAllowed(f"There is a part {wanted.number} already.", "Log a revision of it, or take another number.")
    writing.session.add(
        PartRow(key=writing.key(), number=wanted.number, number_folded=folded, name=wanted.name, wear=wanted.wear)
    )
    writing.session.flush()


def revision_row(session: Session, number: str, letter: str) -> tuple[RevisionRow, str]:
    """The row of one revision and its part's number as written; raises NotFound."""
    owner = part_row(session, number)
    row = session.exec(
        select(RevisionRow).where(RevisionRow.part_key == owner.key, RevisionRow.letter == letter.strip().upper())
    ).first()
    if row is None:
        raise NotFound(f"Part {owner.number} has no revision {letter!r}.", f"See `pitwright part show {owner.number}`.")
    return row, owner.number


def revision(reading: Reading, number: str, letter: str) -> Revision:
    """One revision; raises NotFound."""
    row, owner = revision_row(reading.session, number, letter)
    return as_revision(row, owner)


def revisions(reading: Reading, number: str) -> tuple[Revision, ...]:
    """Every revision of a part, oldest first; raises NotFound."""
    owner = part_row(reading.session, number)
    wanted = sa.select(*REVISION_FIELDS).where(_REVISION.c.part_key == owner.key).order_by(_REVISION.c.place)
    return tuple(revision_of(owner.number, row) for row in rows(reading, wanted))


def histories(reading: Reading) -> dict[str, tuple[Revision, ...]]:
    """Every revision of every part, by part number, oldest first."""
    wanted = sa.select(_PART.c.number, *REVISION_FIELDS).select_from(_REVISION.join(_PART))
    found: dict[str, list[Revision]] = {}
    for number, *columns in rows(reading, wanted.order_by(_PART.c.number_folded, _REVISION.c.place)):
        found.setdefault(number, []).append(revision_of(number, columns))
    return {number: tuple(history) for number, history in found.items()}


def revisions_of_file(reading: Reading, sha256: str) -> tuple[Revision, ...]:
    """Every revision that stands on the file with this hash."""
    rows = reading.session.exec(
        select(RevisionRow, PartRow.number).join(PartRow).where(RevisionRow.file_sha256 == sha256)
    )
    return tuple(as_revision(row, number) for row, number in rows)


def add_revision(writing: Writing, wanted: Revision, staged: Staged | None, estimate: Estimate) -> None:
    """Add a revision with its file's row and its estimate. The file itself is settled by the caller."""
    owner = part_row(writing.session, wanted.part)
    if staged is not None:
        _keep_file_row(writing, staged, wanted.file_name or "")
    row = RevisionRow(
        key=writing.key(),
        part_key=owner.key,
        place=ordinal(wanted.letter),
        **{name: value for name, value in asdict(wanted).items() if name not in {"part", "version"}},
    )
    writing.session.add(row)
    writing.session.flush()
    writing.session.add(
        EstimateRow(
            key=writing.key(), revision_key=row.key, made_at=writing.at, body=asdict(estimate_as_kept(estimate))
        )
    )
    writing.session.flush()


def release(writing: Writing, number: str, letter: str) -> None:
    """Release a draft; the revision released before becomes superseded.

    Raises
    ------
    NotAllowed
        If it is no draft, or a newer revision is released already.
    """
    row, owner = revision_row(writing.session, number, letter)
    if row.state != RevisionState.DRAFT:
        raise NotAllowed(f"Revision {letter} of {owner} is {row.state} already.", "Log a new revision to change it.")
    standing = writing.session.exec(
        select(RevisionRow).where(RevisionRow.part_key == row.part_key, RevisionRow.state == RevisionState.RELEASED)
    )
    for each in standing:
        if each.place > row.place:
            raise NotAllowed(
                f"Revision {each.letter} of {owner} is newer than {row.letter} and released.",
                "Log a new revision to go back to the old design.",
            )
        each.state = RevisionState.SUPERSEDED.value
        writing.session.add(each)
    row.state, row.released_by, row.released_at = RevisionState.RELEASED.value, writing.who, writing.at
    writing.session.add(row)


def estimate_of(reading: Reading, number: str, letter: str) -> Estimate:
    """The estimate kept with a revision; raises NotFound."""
    row, owner = revision_row(reading.session, number, letter)
    kept = reading.session.exec(select(EstimateRow).where(EstimateRow.revision_key == row.key)).first()
    if kept is None:
        raise NotFound(f"Revision {letter} of {owner} has no estimate.", "Log it again.")
    return estimate_from(kept.body)


def file_hashes(reading: Reading) -> tuple[str, ...]:
    """The hash of every file that a row names."""
    return tuple(reading.session.exec(select(StoredFileRow.sha256).order_by(col(StoredFileRow.sha256))))


def estimate_as_kept(estimate: Estimate) -> Estimate:
    """The estimate as it is kept. A date of need belongs to a job, not to a revision, so it is left out."""
    if isinstance(estimate, BoughtEstimate):
        return replace(estimate, needed_on=None, order_by=None)
    return estimate


def estimate_from(body: dict[str, Any]) -> Estimate:
    """The inverse of `dataclasses.asdict` for an estimate."""
    kept = dict(body)
    kept["warnings"] = tuple(kept["warnings"])
    process = Process(kept["process"])
    if process is Process.BOUGHT:
        return BoughtEstimate(**kept)
    kept["size_mm"] = tuple(kept["size_mm"])
    if process is Process.PRINTED:
        kept["volumes_mm3"] = PrintedVolumes(**kept["volumes_mm3"])
        # Estimates of earlier versions say nothing of powder.
        kept["powder"] = PowderLoad(**kept["powder"]) if kept.get("powder") else None
        return PrintedEstimate(**kept)
    kept["holes"] = tuple(Hole(**hole) for hole in kept["holes"])
    kept["pockets"] = tuple(Pocket(**pocket) for pocket in kept["pockets"])
    return RoutedEstimate(**kept)


def revision_of(number: str, fields_of_it: Sequence[Any]) -> Revision:
    """A revision from its part's number and the columns `REVISION_FIELDS`."""
    letter, process, state, stage, interchange, *rest = fields_of_it
    return Revision(number, letter, _PROCESS[process], _STATE[state], _STAGE[stage], _INTERCHANGE[interchange], *rest)


def as_revision(row: RevisionRow, number: str) -> Revision:
    """A row as the domain has it."""
    return Revision(
        number,
        row.letter,
        Process(row.process),
        RevisionState(row.state),
        Stage(row.stage),
        Interchange(row.interchange),
        row.material,
        row.thickness_mm,
        row.file_sha256,
        row.file_name,
        row.unit,
        row.unit_cost_cents,
        row.lead_days,
        row.changed,
        row.interchange_why,
        row.logged_by,
        row.logged_at,
        row.released_by,
        row.released_at,
        row.version,
        row.keep_pose,
    )


def _part(row: PartRow) -> Part:
    return Part(row.number, row.name, row.wear, row.version)


def _keep_file_row(writing: Writing, staged: Staged, name: str) -> None:
    standing = writing.session.exec(select(StoredFileRow).where(StoredFileRow.sha256 == staged.sha256)).first()
    if standing is None:
        writing.session.add(StoredFileRow(key=writing.key(), sha256=staged.sha256, name=name, bytes=staged.bytes))
        writing.session.flush()
