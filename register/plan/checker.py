"""Whether a plan keeps the rules, checked from the rules alone: nothing here is shared with what made it."""

from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from itertools import pairwise

from register.domain.plans import MachineDay, Plan, PlanJob, PlannedJob, PlannedLoad, PlanProblem

_SECOND = timedelta(seconds=1)
_AMOUNT_TOLERANCE = 1e-3


def violations(problem: PlanProblem, plan: Plan) -> tuple[str, ...]:
    """Every rule that `plan` breaks, one sentence each; empty for a plan that keeps them all.

    Notes
    -----
    Checked: each job stands in the plan once; machines and durations; attended hours and unattended runs; one job at a
    time on a machine; what comes after what; stock; lateness and the plan's sums.
    """
    jobs = {job.job: job for job in problem.jobs}
    found = list(_placed_once(problem, plan))
    for planned in plan.jobs:
        job = jobs.get(planned.job)
        if job is not None:
            found += [f"{planned.job} {each}" for each in _broken_by(problem, job, planned)]
    found += _overlaps(problem, plan)
    found += _precedence(problem, plan)
    found += _stock(problem, plan)
    found += _sums(problem, plan)
    return tuple(found)


def _placed_once(problem: PlanProblem, plan: Plan) -> Iterator[str]:
    known = {job.job for job in problem.jobs}
    times = Counter([each.job for each in plan.jobs] + [each.job for each in plan.unplaced])
    for number in known - set(times):
        yield f"{number} stands nowhere in the plan"
    for number, count in times.items():
        if number not in known:
            yield f"{number} is no job of the shop"
        if count > 1:
            yield f"{number} stands in the plan {count} times"
    for each in plan.unplaced:
        if not each.why:
            yield f"{each.job} has no place and no reason"


def _broken_by(problem: PlanProblem, job: PlanJob, planned: PlannedJob) -> Iterator[str]:
    yield from _lateness(job, planned)
    if _is_under_way(job):
        yield from _under_way(problem, job, planned)
        return
    if job.cannot:
        yield "is planned although it cannot be made"
    if planned.start < max(problem.as_of, job.not_before or problem.as_of):
        yield "starts too early"
    if job.ordered_s is None:
        yield from _on_machine(problem, job, planned)
        return
    if planned.machine is not None or planned.end != planned.unload:
        yield "is bought and stands on a machine"
    if not _lasts(planned.end - planned.start, job.ordered_s):
        yield "arrives before or after its lead time"


def _lateness(job: PlanJob, planned: PlannedJob) -> Iterator[str]:
    late_s = max(0.0, (planned.unload - job.due).total_seconds()) if job.due else 0.0
    if planned.late_s != late_s or planned.due != job.due:
        yield f"is late by {late_s} s, not by {planned.late_s} s"
    if bool(planned.why_late) != (late_s > 0):
        yield "is late without a reason, or has a reason without being late"


def _under_way(problem: PlanProblem, job: PlanJob, planned: PlannedJob) -> Iterator[str]:
    if planned.machine != job.running_on:
        yield f"is under way on {job.running_on} and has been moved"
    ends = max(problem.as_of, job.running_until or problem.as_of)
    if planned.end < ends or planned.unload < planned.end:
        yield "is under way and ends too early"
    unload_s = next((each.unload_s for each in problem.machines if each.name == job.running_on), 0.0)
    if job.running_on and not _within_a_window(problem, planned.unload - timedelta(seconds=unload_s), planned.unload):
        yield "is unloaded with nobody there"


def _on_machine(problem: PlanProblem, job: PlanJob, planned: PlannedJob) -> Iterator[str]:
    machine = next((each for each in problem.machines if each.name == planned.machine), None)
    ways = [each.loads_s for each in job.choices if each.machine == planned.machine]
    if machine is None or machine.out_of_order or not ways:
        yield f"stands on {planned.machine}, which cannot do it"
        return
    runs_s = next((way for way in ways if _are_runs(planned, way)), ways[0])
    if not planned.loads or len(planned.loads) != len(runs_s):
        yield f"needs {len(runs_s)} loads and has {len(planned.loads)}"
        return
    first, last = planned.loads[0], planned.loads[-1]
    if (planned.start, planned.end, planned.unload) != (first.set_up, last.end, last.unload):
        yield "has times that are not those of its loads"
    for earlier, later in pairwise(planned.loads):
        if later.set_up < earlier.unload:
            yield "has a load set up before the one ahead of it is unloaded"
    for load, run_s in zip(planned.loads, runs_s, strict=True):
        yield from _load(problem, machine, load, run_s)


def _are_runs(planned: PlannedJob, way: Sequence[float]) -> bool:
    """Whether the loads of a job are those of one of its ways onto its machine."""
    return len(planned.loads) == len(way) and all(
        _lasts(load.end - load.run, run_s) for load, run_s in zip(planned.loads, way, strict=True)
    )


def _load(problem: PlanProblem, machine: MachineDay, load: PlannedLoad, run_s: float) -> Iterator[str]:
    if not (_lasts(load.run - load.set_up, machine.set_up_s) and _lasts(load.end - load.run, run_s)):
        yield "has a set-up or a run of another length than it takes"
    if load.unload - load.end < timedelta(seconds=machine.unload_s):
        yield "has too little time to be unloaded"
    if not any(each.opens <= load.set_up and load.run < each.closes for each in problem.windows):
        yield "is set up or started with nobody there"
    if machine.router or not machine.unattended:
        if not _within_a_window(problem, load.set_up, load.unload):
            yield f"runs with nobody there, which {machine.name} may not"
        return
    if not _within_a_window(problem, load.unload - timedelta(seconds=machine.unload_s), load.unload):
        yield "is unloaded with nobody there"
    limit_s = machine.longest_unattended_s
    if limit_s is not None and _longest_unattended_s(problem, load.run, load.end) > limit_s:
        yield f"runs longer with nobody there than {machine.name} may"


def _is_under_way(job: PlanJob) -> bool:
    return any(each is not None for each in (job.running_on, job.running_since, job.running_until))


def _lasts(span: timedelta, length_s: float) -> bool:
    """Whether a span is as long as it should be, rounded up to the second at most."""
    return timedelta(seconds=length_s) <= span < timedelta(seconds=length_s) + _SECOND


def _within_a_window(problem: PlanProblem, begins: datetime, ends: datetime) -> bool:
    return any(each.opens <= begins and ends <= each.closes for each in problem.windows)


def _longest_unattended_s(problem: PlanProblem, begins: datetime, ends: datetime) -> float:
    """The longest stretch of a run in which nobody is in the shop, seconds."""
    longest = timedelta(0)
    alone_from = begins
    for each in problem.windows:
        if each.closes <= begins or each.opens >= ends:
            continue
        longest = max(longest, each.opens - alone_from)
        alone_from = each.closes
    return max(longest, ends - alone_from).total_seconds()


def _overlaps(problem: PlanProblem, plan: Plan) -> Iterator[str]:
    running = {job.job for job in problem.jobs if job.running_on}
    stays = defaultdict(list)
    for each in plan.jobs:
        stays[each.machine].append((problem.as_of if each.job in running else each.start, each.unload, each.job))
    for machine in problem.machines:
        ordered = sorted(stays[machine.name])
        for (_, unload, earlier), (start, _, later) in pairwise(ordered):
            if start < unload and not {earlier, later} <= running:
                yield f"{later} starts on {machine.name} before {earlier} is unloaded"
        if machine.busy_until is not None:
            free = machine.busy_until + timedelta(seconds=machine.unload_s)
            early = [number for start, _, number in ordered if number not in running and start < free]
            yield from (f"{number} starts on {machine.name} while it is busy" for number in early)
    yield from _never_freed(problem, plan)


def _never_freed(problem: PlanProblem, plan: Plan) -> Iterator[str]:
    """Jobs on a machine from which a running job without a place is never unloaded."""
    unplaced = {each.job for each in plan.unplaced}
    held = {job.running_on: job.job for job in problem.jobs if job.running_on and job.job in unplaced}
    running = {job.job for job in problem.jobs if job.running_on}
    for each in plan.jobs:
        if each.machine in held and each.job not in running:
            yield f"{each.job} stands on {each.machine}, from which {held[each.machine]} is never unloaded"


def _precedence(problem: PlanProblem, plan: Plan) -> Iterator[str]:
    planned = {each.job: each for each in plan.jobs}
    unplaced = {each.job for each in plan.unplaced}
    for job in problem.jobs:
        if job.job not in planned or _is_under_way(job):
            continue
        for before in job.after:
            if before in unplaced:
                yield f"{job.job} is planned after {before}, which has no place"
            elif before in planned and planned[job.job].start < planned[before].unload:
                yield f"{job.job} starts before {before} is unloaded"


def _stock(problem: PlanProblem, plan: Plan) -> Iterator[str]:
    starts = {each.job: each.start for each in plan.jobs}
    under_way = {job.job for job in problem.jobs if _is_under_way(job)}
    draws = defaultdict(list)
    for job in problem.jobs:
        start = problem.as_of if job.job in under_way else starts.get(job.job)
        for need in job.needs:
            if start is not None:
                draws[need.material].append((start, job.job not in under_way, job.job, need.amount))
    for material, taken in draws.items():
        supplies = [each for each in problem.supplies if each.material == material]
        drawn = 0.0
        for start, by_plan, number, amount in sorted(taken):
            drawn += amount
            held = sum(each.on_hand for each in supplies)
            held += sum(more for each in supplies for moment, more in each.arrivals if moment <= start)
            if by_plan and amount > _AMOUNT_TOLERANCE and drawn > held + _AMOUNT_TOLERANCE:
                yield f"{number} takes {material} that is not there at its start"


def _sums(problem: PlanProblem, plan: Plan) -> Iterator[str]:
    weights = {job.job: job.weight for job in problem.jobs}
    lateness_h = sum(weights.get(each.job, 0.0) * each.late_s / 3600 for each in plan.jobs)
    if abs(lateness_h - plan.weighted_lateness_h) > 1e-6 * max(1.0, lateness_h):
        yield f"the weighted lateness is {lateness_h} h, not {plan.weighted_lateness_h} h"
    if plan.ready_by != max((each.unload for each in plan.jobs), default=None):
        yield "the plan is ready at another time than it says"
    if plan.as_of != problem.as_of:
        yield "the plan is made for another moment"
