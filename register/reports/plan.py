"""The plan: what is ready when, and why something is late."""

from rich.console import Group, RenderableType
from rich.text import Text

from register.domain.plans import Plan
from register.reports.wording import counted, late, line, local, table


def plan_report(plan: Plan, zone: str) -> RenderableType:
    """The plan whole."""
    if not plan.jobs and not plan.unplaced:
        return line("Nothing is queued. Queue a job with `pitwright job add PART QUANTITY`.")
    late_jobs = [job for job in plan.jobs if job.late_s > 0]
    shown: list[RenderableType] = [
        Text(f"Plan as of {local(plan.as_of, zone)}: {plan.status}", style="bold"),
        line(
            f"Ready by {local(plan.ready_by, zone)}; {counted(len(late_jobs), 'job')} late"
            f" ({plan.weighted_lateness_h:.1f} weighted hours); {counted(len(plan.unplaced), 'job')} not placed"
        ),
    ]
    rows = [
        (
            job.job,
            job.part,
            job.revision,
            job.machine or "ordered",
            local(job.start, zone),
            local(job.end, zone),
            local(job.unload, zone),
            local(job.due, zone),
            late(job.late_s) if job.due else None,
        )
        for job in sorted(plan.jobs, key=lambda job: (job.start, job.job))
    ]
    shown.append(table(("job", "part", "rev.", "machine", "start", "end", "unload", "due", ""), rows))
    shown.append(what_gives(plan))
    return Group(*shown)


def what_gives(plan: Plan) -> RenderableType:
    """Each late job and each that cannot be placed, with the reason."""
    said = [
        Text.assemble((job.job, "bold"), f" {job.part}  ", late(job.late_s), f"  {job.why_late}")
        for job in plan.jobs
        if job.late_s > 0
    ]
    said += [Text.assemble((each.job, "bold"), ("  NOT PLACED", "bold red"), f"  {each.why}") for each in plan.unplaced]
    return Group(*said) if said else line("Everything is on time.", "green")
