"""The plan: what is ready when, and why something is late."""

from collections.abc import Iterable, Mapping

from rich.console import Group, RenderableType
from rich.text import Text

from register.domain.jobs import Job
from register.domain.plans import Plan
from register.reports.wording import counted, grid, joined, late, line, local, near, table


def plan_report(plan: Plan, jobs: Iterable[Job], zone: str) -> RenderableType:
    """The plan whole.

    Parameters
    ----------
    jobs
        Those planned, for what the plan itself does not say of them.
    """
    if not plan.jobs and not plan.unplaced:
        return line("Nothing is queued. Queue a job with `pitwright job add PART QUANTITY`.")
    rows = [
        (
            job.job,
            f"{job.part} {job.revision}",
            job.machine or "ordered",
            near(job.start, zone),
            near(job.unload, zone),
            near(job.due, zone),
            late(job.late_s) if job.due else None,
        )
        for job in sorted(plan.jobs, key=lambda job: (job.start, job.job))
    ]
    return Group(
        line(f"Plan as of {local(plan.as_of, zone)}: {plan.status}", "bold"),
        table(("job", "part", "machine", "start", "in hand", "due", ""), rows),
        Text(),
        ready_or_not(plan, zone),
        what_gives(plan, jobs),
    )


def ready_or_not(plan: Plan, zone: str) -> Text:
    """Whether all will be ready, and when, in a sentence."""
    if not plan.jobs and not plan.unplaced:
        return line("Nothing is queued.")
    late_jobs = sum(job.late_s > 0 for job in plan.jobs)
    when = f"What is placed is ready {near(plan.ready_by, zone)}." if plan.ready_by else "Nothing is placed."
    wrong = [f"{counted(late_jobs, 'job')} late"] if late_jobs else []
    wrong += [f"{len(plan.unplaced)} not placed"] if plan.unplaced else []
    if wrong:
        return Text.assemble(("No: ", "bold red"), f"{joined(wrong)}, {len(plan.jobs) - late_jobs} on time. {when}")
    return Text.assemble(("Yes: ", "bold green"), f"{counted(len(plan.jobs), 'job')}, all on time. {when}")


def what_gives(plan: Plan, jobs: Iterable[Job]) -> RenderableType:
    """Each late job and each that cannot be placed, with the reason."""
    known = {job.number: job for job in jobs}
    rows = [
        (line(job.job, "bold"), f"{job.part} {job.revision}", _said(late(job.late_s), job.why_late))
        for job in plan.jobs
        if job.late_s > 0
    ]
    rows += [
        (line(each.job, "bold"), _made(known, each.job), _said(Text("NOT PLACED", style="bold red"), each.why))
        for each in plan.unplaced
    ]
    return grid(rows)


def _said(mark: Text, why: str) -> Text:
    return Text.assemble(mark, "  ", line(why))


def _made(known: Mapping[str, Job], number: str) -> str:
    return f"{known[number].part} {known[number].revision}" if number in known else ""
