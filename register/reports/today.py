"""The state of the shop on one page: what to load now, what runs tonight, what is late and why, what has no spare."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from rich.console import Group, RenderableType
from rich.text import Text

from register.domain.competitions import Competition
from register.domain.jobs import Job
from register.domain.parts import Process
from register.domain.plans import Plan, PlannedJob, Window
from register.domain.shop import ShopSettings
from register.domain.spares import SpareLine
from register.plan.hours import attended_windows
from register.reports.plan import ready_or_not, what_gives
from register.reports.spares import spares_in_brief
from register.reports.wording import Row, counted, grid, joined, late, line, local, near

# Far enough ahead to find the next opening after any usual closing.
_DAYS_AHEAD = 15


@dataclass(frozen=True)
class ShopToday:
    """All that the page is made from; `event` is the next competition if there is one, `names` are those of parts."""

    now: datetime
    settings: ShopSettings
    event: Competition | None
    plan: Plan
    jobs: tuple[Job, ...]
    names: Mapping[str, str]
    spares: tuple[SpareLine, ...]

    @property
    def zone(self) -> str:
        """The shop's zone."""
        return self.settings.shop.zone

    def time(self, moment: datetime) -> str:
        """A moment, without its day if that is today."""
        return near(moment, self.zone, self.now)


def state_of_the_shop(today: ShopToday) -> RenderableType:
    """The page."""
    zone = today.zone
    shown: list[RenderableType] = [
        Text.assemble(line(today.settings.shop.name, "bold"), f", {local(today.now, zone)}"),
        *_event(today),
        *_headed("LOAD NOW", grid(_loads(today))),
        *_headed(*_while_closed(today)),
        *_headed("WILL IT ALL BE READY?", ready_or_not(today.plan, zone), what_gives(today.plan, today.jobs)),
        *_headed("SPARES", spares_in_brief(today.spares)),
    ]
    return Group(*shown)


def next_loads(plan: Plan) -> tuple[PlannedJob, ...]:
    """The job that each machine is to be loaded with next, soonest first.

    A job that is on its machine already is not among them.
    """
    first: dict[str, PlannedJob] = {}
    for job in sorted(plan.jobs, key=lambda job: (job.start, job.job)):
        if job.machine is not None and job.loads:
            first.setdefault(job.machine, job)
    return tuple(sorted(first.values(), key=lambda job: (job.start, job.job)))


def closed_span(settings: ShopSettings, now: datetime) -> Window | None:
    """From the next closing to the opening after it; None if no hours are set."""
    windows = attended_windows(settings.shop, now, _DAYS_AHEAD)
    if not windows:
        return None
    return Window(windows[0].closes, windows[1].opens if len(windows) > 1 else now + timedelta(days=_DAYS_AHEAD))


def _headed(heading: str, *below: RenderableType) -> tuple[RenderableType, ...]:
    return (Text(), Text(heading, style="bold"), *below)


def _event(today: ShopToday) -> list[RenderableType]:
    event = today.event
    if event is None:
        return []
    zone = ZoneInfo(today.zone)
    days = (event.starts.astimezone(zone).date() - today.now.astimezone(zone).date()).days
    when = "today" if days == 0 else f"in {counted(days, 'day')}"
    starts, due = near(event.starts, today.zone), near(event.parts_due, today.zone)
    return [line(f"{event.name} starts {starts}, {when}; parts are due {due}")]


def _loads(today: ShopToday) -> list[Row]:
    next_up = {job.machine: job for job in next_loads(today.plan)}
    running = {job.machine: job for job in today.plan.jobs if job.machine and not job.loads}
    rows: list[Row] = []
    for machine in today.settings.machines:
        job = next_up.get(machine.name)
        said = _when(job, today) if job else "out of order" if machine.out_of_order else "nothing to load"
        if machine.name in running:
            busy = running[machine.name]
            state = f"runs {busy.job} until {today.time(busy.end)}"
            said = f"{state if busy.end > today.now else f'{busy.job} should be done'}; then {said}"
        rows.append((line(machine.name, "bold"), *_what(job, today), said))
    for job in today.plan.jobs:
        if job.machine is None and job.start <= today.plan.as_of and _unordered(job, today.jobs):
            said_late = (", ", late(job.late_s)) if job.late_s > 0 else ()
            comes = Text.assemble(f"now, comes {today.time(job.end)}", *said_late)
            rows.append((Text("order", style="bold"), *_what(job, today), comes))
    return rows or [(line("Nothing."),)]


def _when(job: PlannedJob, today: ShopToday) -> str:
    start = "now" if job.start <= today.plan.as_of else f"at {today.time(job.start)}"
    loads = f", the first of {len(job.loads)} loads" if len(job.loads) > 1 else ""
    return f"{start}, unload {today.time(job.loads[0].unload)}{loads}"


def _what(job: PlannedJob | None, today: ShopToday) -> tuple[str, str]:
    if job is None:
        return "", ""
    known = next((each for each in today.jobs if each.number == job.job), None)
    pieces = f"{known.quantity - known.scrapped} × " if known else ""
    return job.job, f"{pieces}{job.part} {job.revision} {today.names.get(job.part, '')}".rstrip()


def _unordered(job: PlannedJob, jobs: tuple[Job, ...]) -> bool:
    return all(each.started_at is None for each in jobs if each.number == job.job)


def _while_closed(today: ShopToday) -> tuple[str, RenderableType]:
    span = closed_span(today.settings, today.now)
    if span is None:
        return "TONIGHT", line("No attended hours are set: name them in shop.toml.")
    night = span.opens - today.now < timedelta(hours=24) and span.closes - span.opens < timedelta(hours=24)
    heading = f"{'TONIGHT' if night else 'CLOSED'}, {near(span.opens, today.zone)} to {near(span.closes, today.zone)}"
    alone = {job.machine: row for job in today.plan.jobs for row in _alone(job, span, today)}
    idle = [
        each
        for each in today.settings.machines
        if each.process is Process.PRINTED and each.name not in alone and not each.out_of_order
    ]
    may = [each.name for each in idle if each.permission is not None]
    may_not = [each.name for each in idle if each.permission is None]
    said = [f"{joined(may)} may run alone, but nothing is planned"] if may else []
    said += [f"{joined(may_not)} may not run with nobody there"] if may_not else []
    words = (line(f"{'; '.join(said)}."),) if said else ()
    return heading, Group(*((grid(alone.values()),) if alone else ()), *words)


def _alone(job: PlannedJob, span: Window, today: ShopToday) -> list[Row]:
    """A row for each run of a job that goes on while nobody is there."""
    if job.machine is None:
        return []
    runs = [(load.set_up, load.run, load.end, load.unload) for load in job.loads]
    return [
        (
            line(job.machine, "bold"),
            *_what(job, today),
            f"load {today.time(set_up)}, runs alone until {today.time(end)}, unload {today.time(unload)}",
        )
        for set_up, run, end, unload in runs or [(job.start, job.start, job.end, job.unload)]
        if run < span.closes and end > span.opens
    ]
