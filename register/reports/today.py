"""The state of the shop on one page: what to load now, what is late and why, what has no spare."""

from datetime import datetime

from rich.console import Group, RenderableType
from rich.text import Text

from register.domain.competitions import Competition
from register.domain.plans import Plan, PlannedJob
from register.domain.spares import SpareLine
from register.reports.plan import what_gives
from register.reports.spares import spare_list
from register.reports.wording import counted, line, local


def state_of_the_shop(
    plan: Plan, spares: tuple[SpareLine, ...], event: Competition | None, now: datetime, zone: str
) -> RenderableType:
    """The page.

    Parameters
    ----------
    event
        The next competition, if there is one.
    """
    shown: list[RenderableType] = [Text(f"The shop as of {local(now, zone)}", style="bold")]
    if event is not None:
        days = counted(max(0, (event.starts - now).days), "day")
        shown.append(
            line(
                f"Next: {event.name}, {local(event.starts, zone)}, in {days}; parts due {local(event.parts_due, zone)}"
            )
        )
    shown += [Text(), Text("LOAD NOW", style="bold"), *_to_load(plan, zone)]
    shown += [Text(), Text("READY", style="bold"), line(f"Everything placed is ready by {local(plan.ready_by, zone)}.")]
    shown += [Text(), Text("LATE, OR NOT PLACED", style="bold"), what_gives(plan)]
    shown += [Text(), Text("SPARES", style="bold"), spare_list(spares)]
    return Group(*shown)


def next_loads(plan: Plan) -> tuple[PlannedJob, ...]:
    """The job that each machine is to be loaded with next, and what must be ordered, soonest first.

    A job that is on its machine already is not among them.
    """
    first: dict[str, PlannedJob] = {}
    for job in sorted(plan.jobs, key=lambda job: (job.start, job.job)):
        if job.machine is not None and job.loads:
            first.setdefault(job.machine, job)
    return tuple(sorted(first.values(), key=lambda job: (job.start, job.job)))


def _to_load(plan: Plan, zone: str) -> list[Text]:
    loads = [
        line(
            f"{job.machine}: {job.job}, {job.part} revision {job.revision}, at {local(job.start, zone)}; "
            f"unload {local(job.loads[0].unload, zone)}"
        )
        for job in next_loads(plan)
    ]
    orders = [
        line(f"Order {job.job}, {job.part} revision {job.revision}; it arrives {local(job.end, zone)}")
        for job in plan.jobs
        if job.machine is None and job.start <= plan.as_of
    ]
    return loads + orders or [line("Nothing.")]
