"""Jobs: queueing one, and taking it from state to state until its pieces are on hand."""

import math
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime

from register.domain.estimates import BoughtEstimate, Estimate, PrintedEstimate
from register.domain.hazards import Hazard, cautions
from register.domain.job_views import Booked, JobSheet
from register.domain.jobs import NOT_MADE, Job, JobState, checked_move
from register.domain.machines import Machine, Tool
from register.domain.materials import Form
from register.domain.parts import Process
from register.domain.pieces import PieceMove
from register.domain.revisions import Revision, RevisionState
from register.domain.shop import ShopSettings
from register.domain.stock import Lot, StockMove
from register.domain.texts import NOTE_LENGTH, clean_text
from register.errors import DoesNotFit, NotAllowed, NotFound
from register.estimate.whole import machines_for
from register.nest.loads import loads
from register.nest.stock_use import filament_g, gap_mm, offcut_for, sheet_for
from register.opening import Register
from register.stocking.spools import spools_for
from register.store import competitions, jobs, parts, pieces, shops, stock
from register.store.transaction import Reading, Writing

MOST_PIECES = 10_000
SHELF = "shelf"


def add_job(
    register: Register,
    part: str,
    letter: str | None,
    quantity: int,
    due: datetime | None = None,
    weight: float = 1.0,
    machine: str | None = None,
    note: str = "",
) -> Job:
    """Queue `quantity` pieces of a revision.

    Parameters
    ----------
    letter
        The newest revision that is not withdrawn, released before draft, if None.
    due
        When parts are due for the next competition, if None and there is one.
    weight
        How much a late hour counts, above zero.

    Raises
    ------
    NotFound
        If the part, the revision or the machine is not there.
    NotAllowed
        If the revision is superseded or withdrawn, or the machine cannot make it.
    """
    if not 1 <= quantity <= MOST_PIECES:
        raise NotAllowed(f"A job cannot make {quantity} pieces.", f"Give a whole number from 1 to {MOST_PIECES}.")
    if not (math.isfinite(weight) and 0 < weight <= 1000):
        raise NotAllowed(f"{weight:g} is no weight.", "Give a number above 0, up to 1000.")
    note = clean_text(note, "note", NOTE_LENGTH) if note.strip() else ""
    with register.store.writing(register.who, f"queue {quantity} of {part}") as tx:
        revision = _to_make(parts.revisions(tx, part), parts.part(tx, part).number, letter)
        if machine is not None and revision.process is not Process.BOUGHT:
            machines_for(revision.process, revision.material or "", shops.settings(tx), machine)
        wanted = Job(
            "",
            revision.part,
            revision.letter,
            revision.process,
            quantity,
            JobState.QUEUED,
            due or _next_due(tx),
            weight,
            machine,
            note=note,
        )
        return jobs.job(tx, jobs.add_job(tx, wanted))


def list_jobs(register: Register, closed: bool = False) -> tuple[Job, ...]:
    """Jobs by number; those accepted or cancelled only if `closed`."""
    open_states = [state for state in JobState if state not in (JobState.ACCEPTED, JobState.CANCELLED)]
    with register.store.reading() as view:
        return jobs.jobs(view, None if closed else open_states)


def show_job(register: Register, number: str) -> JobSheet:
    """One job with its estimate, its cautions and what it takes; raises NotFound."""
    with register.store.reading() as view:
        job = jobs.job(view, number)
        return _sheet(view, job, register.clock())


def start_job(register: Register, number: str, machine: str | None = None) -> Job:
    """The job is on its machine now; a bought part is ordered now.

    Raises
    ------
    NotFound, NotAllowed
        If there is no such job or machine; if its state, its revision or the machine forbids it.
    """
    with register.store.writing(register.who, f"start job {number.upper()}") as tx:
        job = jobs.job(tx, number)
        revision = parts.revision(tx, job.part, job.revision)
        state = checked_move(job, JobState.RUNNING)
        if revision.state is not RevisionState.RELEASED:
            raise NotAllowed(
                f"Job {job.number} is for revision {job.revision} of {job.part}, which is {revision.state.value}.",
                "Release it, or queue a job for the released revision.",
            )
        chosen = _machine_to_start(tx, job, revision, machine)
        jobs.keep_job(tx, replace(job, state=state, machine=chosen, started_at=tx.at))
        return jobs.job(tx, number)


def made_job(register: Register, number: str, lot: str | None = None) -> tuple[Job, Booked | None]:
    """The job has left its machine; what it used of stock is booked.

    Parameters
    ----------
    lot
        The lot that it used. If None: of what has arrived, the smallest spool or offcut that suffices, else the
        largest sheet. Nothing is booked if none does.

    Raises
    ------
    NotFound, NotAllowed
        If there is no such job or lot; if the state forbids it or the lot holds less.
    """
    with register.store.writing(register.who, f"job {number.upper()} is made") as tx:
        job = jobs.job(tx, number)
        jobs.keep_job(tx, replace(job, state=checked_move(job, JobState.MADE), made_at=tx.at))
        booked = _book(tx, job, lot)
        return jobs.job(tx, number), booked


def finish_job(register: Register, number: str) -> Job:
    """The hand steps are done; raises NotFound, NotAllowed."""
    return _moved(register, number, JobState.FINISHED, "is finished")


def accept_job(register: Register, number: str, place: str = SHELF) -> tuple[Job, int]:
    """The pieces passed their check and are on hand at `place`; gives back how many of them are there then.

    Raises
    ------
    NotFound, NotAllowed
        If there is no such job; if its state forbids it.
    """
    place = clean_text(place, "place")
    with register.store.writing(register.who, f"accept job {number.upper()}") as tx:
        job = jobs.job(tx, number)
        jobs.keep_job(tx, replace(job, state=checked_move(job, JobState.ACCEPTED)))
        good = job.quantity - job.scrapped
        left = pieces.move_pieces(tx, job.part, job.revision, place, PieceMove.MADE, good, job.number)
        return jobs.job(tx, number), left


def scrap_pieces(register: Register, number: str, quantity: int, why: str) -> Job:
    """Some of a job's pieces are lost; a job that has lost all of them is cancelled.

    Raises
    ------
    NotFound, NotAllowed
        If there is no such job; if it is not under way or has fewer good pieces.
    """
    why = clean_text(why, "reason", NOTE_LENGTH)
    with register.store.writing(register.who, f"scrap {quantity} of job {number.upper()}: {why}"[:NOTE_LENGTH]) as tx:
        job = jobs.job(tx, number)
        if job.state not in (JobState.RUNNING, JobState.MADE, JobState.FINISHED):
            raise NotAllowed(f"Job {job.number} is {job.state.value}.", "Only a job under way has pieces to scrap.")
        good = job.quantity - job.scrapped
        if not 1 <= quantity <= good:
            raise NotAllowed(f"Job {job.number} has {good} good pieces, not {quantity} to scrap.", "Count again.")
        state = JobState.CANCELLED if quantity == good else job.state
        jobs.keep_job(tx, replace(job, scrapped=job.scrapped + quantity, state=state))
        return jobs.job(tx, number)


def hold_job(register: Register, number: str, why: str) -> Job:
    """Put a job on hold with the reason; raises NotFound, NotAllowed."""
    why = clean_text(why, "reason", NOTE_LENGTH)
    return _moved(register, number, JobState.ON_HOLD, "is on hold", lambda job: replace(job, note=why))


def requeue_job(register: Register, number: str) -> Job:
    """Put a job that was on hold or running back into the queue; raises NotFound, NotAllowed."""
    return _moved(register, number, JobState.QUEUED, "is queued again", lambda job: replace(job, started_at=None))


def cancel_job(register: Register, number: str) -> Job:
    """Cancel a job; raises NotFound, NotAllowed."""
    return _moved(register, number, JobState.CANCELLED, "is cancelled")


def _moved(
    register: Register, number: str, state: JobState, words: str, also: Callable[[Job], Job] = lambda job: job
) -> Job:
    with register.store.writing(register.who, f"job {number.upper()} {words}") as tx:
        job = jobs.job(tx, number)
        jobs.keep_job(tx, also(replace(job, state=checked_move(job, state))))
        return jobs.job(tx, number)


def _to_make(history: tuple[Revision, ...], number: str, letter: str | None) -> Revision:
    if letter is not None:
        named = next((each for each in history if each.letter == letter.strip().upper()), None)
        if named is None:
            raise NotFound(f"Part {number} has no revision {letter!r}.", f"See `pitwright part show {number}`.")
        if named.state in (RevisionState.SUPERSEDED, RevisionState.WITHDRAWN):
            raise NotAllowed(
                f"Revision {named.letter} of {number} is {named.state.value}: do not make it.",
                "Queue the released revision.",
            )
        return named
    for state in (RevisionState.RELEASED, RevisionState.DRAFT):
        for each in reversed(history):
            if each.state is state:
                return each
    raise NotAllowed(f"Part {number} has no revision to make.", f"Log one with `pitwright revision add {number}`.")


def _next_due(tx: Writing) -> datetime | None:
    return next((event.parts_due for event in competitions.competitions(tx) if event.parts_due > tx.at), None)


def _machine_to_start(tx: Writing, job: Job, revision: Revision, named: str | None) -> str | None:
    if job.process is Process.BOUGHT:
        return None
    settings = shops.settings(tx)
    fit = machines_for(job.process, revision.material or "", settings, named or job.machine)
    taken = {each.machine for each in jobs.jobs(tx, (JobState.RUNNING,))}
    estimate = parts.estimate_of(tx, job.part, job.revision)
    free = [
        each.name for each in fit if each.name not in taken and not each.out_of_order and _holds_one(each, estimate)
    ]
    if not free:
        listed = " and ".join(each.name for each in fit)
        raise NotAllowed(
            f"{listed} is taken, out of order or too small.", "Clear it first, or name another with --machine."
        )
    return free[0]


def _holds_one(machine: Machine, estimate: Estimate) -> bool:
    if isinstance(estimate, BoughtEstimate):
        return True
    if isinstance(estimate, PrintedEstimate) and estimate.powder is not None:
        # In powder a piece may lie any way up.
        return all(side <= room for side, room in zip(sorted(estimate.size_mm), sorted(machine.size_mm), strict=True))
    try:
        loads(1, estimate.size_mm, machine.size_mm, 0.0)
    except DoesNotFit:
        return False
    return True


def _book(tx: Writing, job: Job, named: str | None) -> Booked | None:
    estimate = parts.estimate_of(tx, job.part, job.revision)
    if isinstance(estimate, BoughtEstimate):
        return None
    # A lot that is named was used, so it has arrived whatever its order says.
    lots = (stock.lot(tx, named),) if named else tuple(lot for lot in stock.lots(tx) if lot.there(tx.at))
    found = _use(estimate, job.quantity, lots, shops.settings(tx).tools)
    if found is None:
        if named is not None:
            raise NotAllowed(f"Lot {named} does not hold what job {job.number} takes.", "Name another lot.")
        return None
    lot, amount = found
    left = stock.move_lot(tx, lot.label, StockMove.USED, -amount, job.number)
    return Booked(lot.label, amount, "g" if lot.form.weighed else "pieces", left.amount)


def _use(estimate: Estimate, quantity: int, lots: tuple[Lot, ...], tools: tuple[Tool, ...]) -> tuple[Lot, float] | None:
    """The lot that a job uses and how much of it; None if no single lot holds it."""
    if isinstance(estimate, PrintedEstimate):
        need_g = filament_g(estimate, quantity)
        spools = [
            lot for lot in lots if lot.form.weighed and lot.material == estimate.material and lot.amount >= need_g
        ]
        spool = min(spools, key=lambda lot: (lot.amount, lot.label), default=None)
        return None if spool is None else (spool, need_g)
    if isinstance(estimate, BoughtEstimate):
        return None
    between_mm = gap_mm(estimate, tools)
    offcut = offcut_for(estimate, quantity, lots, between_mm)
    if offcut is not None:
        return offcut, 1.0
    found = sheet_for(estimate, lots, between_mm, quantity)
    return None if found is None else (found[0], quantity / found[1])


def _sheet(reading: Reading, job: Job, now: datetime) -> JobSheet:
    revision = parts.revision(reading, job.part, job.revision)
    estimate = parts.estimate_of(reading, job.part, job.revision)
    settings = shops.settings(reading)
    spools = None
    if isinstance(estimate, PrintedEstimate) and job.state in NOT_MADE:
        others_g = jobs.promised_g(reading, job.number).get(estimate.material, 0.0)
        spools = spools_for(estimate, job.quantity - job.scrapped, stock.lots(reading), now, others_g)
    name = parts.part(reading, job.part).name
    return JobSheet(job, name, revision, estimate, _cautions(job, estimate, settings), spools)


def _cautions(job: Job, estimate: Estimate, settings: ShopSettings) -> tuple[Hazard, ...]:
    if isinstance(estimate, BoughtEstimate):
        return cautions(job.process, "", None, None, False)
    machine = next((each for each in settings.machines if each.name == (job.machine or estimate.machine)), None)
    tool = "" if isinstance(estimate, PrintedEstimate) else estimate.tool
    diameter_mm = next((each.diameter_mm for each in settings.tools if each.name == tool), None)
    unattended = machine is not None and machine.permission is not None
    form = Form.SHEET
    if isinstance(estimate, PrintedEstimate):
        form = Form.FILAMENT if estimate.powder is None else Form.POWDER
    return cautions(job.process, estimate.material, form, diameter_mm, unattended)
