"""Jobs: the list, and the job sheet with its cautions."""

from rich.console import Group, RenderableType
from rich.text import Text

from register.domain.hazards import Hazard, SignalWord
from register.domain.job_views import Booked, JobSheet
from register.domain.jobs import Job
from register.domain.parts import Process
from register.domain.shop import Shop
from register.reports.estimates import estimate_report
from register.reports.stock import spool_words
from register.reports.wording import counted, grid, line, local, near, table
from register.units.written import written_mass

_SIGNAL_STYLES = {
    SignalWord.DANGER: "bold white on red",
    SignalWord.WARNING: "bold black on yellow",
    SignalWord.CAUTION: "bold yellow",
    SignalWord.NOTICE: "bold blue",
}


def job_list(jobs: tuple[Job, ...], zone: str) -> RenderableType:
    """Jobs with their state."""
    if not jobs:
        return line("No job is open. Queue one with `pitwright job add PART QUANTITY`.")
    rows = [
        (
            each.number,
            f"{each.part} {each.revision}",
            f"{each.quantity - each.scrapped}" + (f" ({each.scrapped} scrapped)" if each.scrapped else ""),
            each.state.value,
            each.machine or ("bought" if each.process is Process.BOUGHT else None),
            near(each.due, zone),
            each.note,
        )
        for each in jobs
    ]
    return table(("job", "part", "pieces", "state", "machine", "due", "note"), rows, ("pieces",))


def job_sheet(sheet: JobSheet, shop: Shop) -> RenderableType:
    """The paper that goes with a job."""
    job = sheet.job
    pieces = counted(job.quantity - job.scrapped, "piece")
    return Group(
        line(f"JOB {job.number}  {job.part} revision {job.revision}  {sheet.part_name}", "bold"),
        line(
            f"{pieces}, {job.state.value}"
            + (f" on {job.machine}" if job.machine else "")
            + f", due {local(job.due, shop.zone)}"
            + (f"; {job.note}" if job.note else "")
        ),
        line(f"File {sheet.revision.file_name}, sha256 {(sheet.revision.file_sha256 or '')[:12]}")
        if sheet.revision.file_name
        else line("No file: a bought part."),
        Text(),
        estimate_report(sheet.estimate, shop.currency),
        *(map(line, spool_words(sheet.spools)) if sheet.spools is not None else []),
        Text(),
        caution_list(sheet.cautions),
    )


def caution_list(cautions: tuple[Hazard, ...]) -> RenderableType:
    """What can hurt and what is usual against it, gravest first."""
    return grid(
        (Text(each.signal.value, style=_SIGNAL_STYLES[each.signal]), f"{each.what} {each.against}") for each in cautions
    )


def booked_words(booked: Booked | None, job: Job) -> str:
    """What was booked of stock for a job, in a sentence."""
    if booked is None:
        return f"Nothing was booked for {job.number}: no lot holds what it took. Book it with `pitwright stock use`."
    if booked.unit == "g":
        return f"Booked {written_mass(booked.amount)} of {booked.lot}; {written_mass(booked.left)} is left."
    return f"Booked {booked.amount:.2f} of {booked.lot}; {booked.left:.2f} is left."
