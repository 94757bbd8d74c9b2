"""Jobs: rows out, rows in."""

from collections.abc import Collection, Iterator
from typing import Any

from sqlalchemy import text
from sqlmodel import Session, col, select

from register.domain.estimates import PrintedEstimate
from register.domain.jobs import NOT_MADE, Job, JobState
from register.domain.parts import Process
from register.errors import NotFound, StaleEdit
from register.store.parts import estimate_from, revision_row
from register.store.shops import machine_key
from register.store.tables.parts import EstimateRow, PartRow, RevisionRow
from register.store.tables.shop import MachineRow
from register.store.tables.work import JobRow
from register.store.transaction import Reading, Writing


def job_row(session: Session, number: str) -> JobRow:
    """The row of job `number` ("A-17"); raises NotFound."""
    station, _, count = number.strip().upper().rpartition("-")
    found = None
    # More figures than a row count can have would not go into the database.
    if station and count.isascii() and count.isdigit() and len(count) <= 12:
        found = session.exec(select(JobRow).where(JobRow.station == station, JobRow.count == int(count))).first()
    if found is None:
        raise NotFound(f"There is no job {number!r}.", "See `pitwright job list`.")
    return found


def job(reading: Reading, number: str) -> Job:
    """One job; raises NotFound."""
    key = job_row(reading.session, number).key
    return next(_jobs(reading.session, col(JobRow.key) == key))


def jobs(reading: Reading, states: Collection[JobState] | None = None) -> tuple[Job, ...]:
    """Jobs in the given states (all of them if None), by number."""
    condition = True if states is None else col(JobRow.state).in_([state.value for state in states])
    return tuple(_jobs(reading.session, condition))


def promised_g(reading: Reading, without: str | None = None) -> dict[str, float]:
    """What printed jobs that are not made yet will take from stock, in grams by material; one job left out."""
    wanted = (
        select(JobRow.station, JobRow.count, JobRow.quantity, JobRow.scrapped, EstimateRow.body)  # type: ignore[call-overload]
        .join(RevisionRow, col(JobRow.revision_key) == col(RevisionRow.key))
        .join(EstimateRow, col(EstimateRow.revision_key) == col(RevisionRow.key))
        .where(col(JobRow.state).in_([state.value for state in NOT_MADE]), RevisionRow.process == Process.PRINTED.value)
    )
    found: dict[str, float] = {}
    for station, count, quantity, scrapped, body in reading.session.exec(wanted):
        estimate = estimate_from(body)
        if f"{station}-{count}" != without and isinstance(estimate, PrintedEstimate):
            needed_g = (quantity - scrapped) * estimate.taken_g
            found[estimate.material] = found.get(estimate.material, 0.0) + needed_g
    return found


def add_job(writing: Writing, wanted: Job) -> str:
    """Add a job and give back its number, the next of this station.

    Raises
    ------
    NotFound
        If the revision or the machine is not there.
    """
    revision, _ = revision_row(writing.session, wanted.part, wanted.revision)
    row = JobRow(
        key=writing.key(),
        station=writing.station,
        count=_highest_ever(writing) + 1,
        revision_key=revision.key,
        quantity=wanted.quantity,
        state=wanted.state.value,
        due=wanted.due,
        weight=wanted.weight,
        machine_key=machine_key(writing.session, wanted.machine) if wanted.machine else None,
        note=wanted.note,
        queued_by=writing.who,
        queued_at=writing.at,
    )
    writing.session.add(row)
    writing.session.flush()
    return f"{row.station}-{row.count}"


def keep_job(writing: Writing, changed: Job) -> None:
    """Write a job's state, machine, times, note and scrapped count back.

    Raises
    ------
    StaleEdit
        If the job was changed since `changed` was read.
    """
    row = job_row(writing.session, changed.number)
    if row.version != changed.version:
        raise StaleEdit(f"Job {changed.number} has changed since it was read.", "Look at it again, then do it.")
    row.state = changed.state.value
    row.scrapped = changed.scrapped
    row.note = changed.note
    # A machine that the shop no longer has stays with its jobs.
    standing = writing.session.get(MachineRow, row.machine_key) if row.machine_key else None
    if changed.machine != (standing.name if standing else None):
        row.machine_key = machine_key(writing.session, changed.machine) if changed.machine else None
    row.started_at, row.made_at = changed.started_at, changed.made_at
    writing.session.add(row)
    writing.session.flush()


def _highest_ever(writing: Writing) -> int:
    """The highest count that this station ever gave, undone jobs included: a number on paper never means another."""
    found = writing.session.connection().execute(
        text(
            "SELECT max(json_extract(new, '$.count')) FROM change "
            "WHERE row_table = 'job' AND new IS NOT NULL AND json_extract(new, '$.station') = :station"
        ),
        {"station": writing.station},
    )
    return int(found.scalar() or 0)


def _jobs(session: Session, condition: Any) -> Iterator[Job]:
    rows = session.exec(
        select(JobRow, RevisionRow.letter, RevisionRow.process, PartRow.number, MachineRow.name)  # type: ignore[call-overload]
        .select_from(JobRow)
        .join(RevisionRow, col(JobRow.revision_key) == col(RevisionRow.key))
        .join(PartRow, col(RevisionRow.part_key) == col(PartRow.key))
        .outerjoin(MachineRow, col(JobRow.machine_key) == col(MachineRow.key))
        .where(condition)
        .order_by(col(JobRow.station), col(JobRow.count))
    )
    for row, letter, process, number, machine in rows:
        yield Job(
            f"{row.station}-{row.count}",
            number,
            letter,
            Process(process),
            row.quantity,
            JobState(row.state),
            row.due,
            row.weight,
            machine,
            row.scrapped,
            row.note,
            row.queued_by,
            row.queued_at,
            row.started_at,
            row.made_at,
            row.version,
        )
