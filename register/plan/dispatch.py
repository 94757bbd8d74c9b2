"""The plan in its first form: jobs by due date, each put where it is unloaded earliest."""

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from register.domain.plans import Plan, PlanJob, PlannedJob, PlannedLoad, PlanProblem, Unplaced
from register.errors import NotAllowed
from register.plan.floor import Floor, Placed
from register.plan.lanes import FOREVER
from register.plan.order import dispatch_order, is_under_way, number_key, rings
from register.plan.stock_ledger import joined_needs
from register.plan.why_late import why_late
from register.plan.why_not import no_end_in_sight, why_never, why_ring


def make_plan(problem: PlanProblem) -> Plan:
    """A plan for every open job of the shop.

    Parameters
    ----------
    problem
        Jobs, machines, attended hours and stock at one moment. Durations are rounded up to whole seconds.

    Returns
    -------
    Plan
        Every job placed with its loads, or named among the unplaced with the reason. `why_late` is worked out anew
        for each late job; see `why_late.why_late`. `ready_by` is the latest unload of the placed jobs.

    Raises
    ------
    NotAllowed
        If two jobs or two machines have the same name.
    BadSettings
        If the problem's time zone is unknown.

    Notes
    -----
    Jobs under way stay where they are. Each other job is taken in the order of `order.dispatch_order`, waits for the
    jobs named in `after` and for what it needs from stock, and takes the first gap of each machine that holds all
    its loads; of the machines, the one on which it is unloaded earliest. Source: list scheduling by earliest due
    date, Jackson 1955.
    """
    _check_names("jobs", [job.job for job in problem.jobs])
    _check_names("machines", [machine.name for machine in problem.machines])
    floor = Floor(problem)
    unplaced: dict[str, str] = {}
    under_way = [job for job in problem.jobs if is_under_way(job)]
    for job in under_way:
        floor.ledger.take(joined_needs(job.needs), 0)
    _hold_machines(floor, under_way, unplaced)
    ringed = rings(problem.jobs)
    for number, ring in ringed.items():
        unplaced[number] = why_ring(ring)
    free = [job for job in problem.jobs if job.job not in ringed]
    for rank, job in enumerate(dispatch_order(free)):
        if not is_under_way(job):
            _dispatch(floor, job, rank, unplaced)
    return _written(floor, unplaced)


def _check_names(what: str, names: Sequence[str]) -> None:
    twice = [name for name, count in Counter(names).items() if count > 1]
    if twice:
        raise NotAllowed(f"Two {what} of the plan are called {twice[0]}.", "Give each a name of its own.")


def _hold_machines(floor: Floor, under_way: Sequence[PlanJob], unplaced: dict[str, str]) -> None:
    """Keep each machine until what is on it now is unloaded, and place the jobs that are under way."""
    for job in under_way:
        ended = _run_end(floor, job)
        lane = floor.lanes.get(job.running_on or "")
        unloaded = ended
        if job.running_on is not None:
            unload_s = lane.unload_s if lane else 0
            unloaded = _or_forever(floor.hours.unloaded(ended, unload_s))
        if lane:
            lane.take(0, unloaded, job.job, -1)
        if unloaded == FOREVER:
            unplaced[job.job] = (
                f"runs on {job.running_on} and nobody is there to unload it within the hours planned: "
                "plan further ahead or add attended hours"
            )
        else:
            floor.placed[job.job] = Placed(job, -1, job.running_on, 0, ended, unloaded)
    for name, machine in floor.machines.items():
        if machine.busy_until is None:
            continue
        lane = floor.lanes[name]
        ended = max(0, floor.scale.up(machine.busy_until))
        unloaded = _or_forever(floor.hours.unloaded(ended, lane.unload_s))
        if unloaded > max((stay.ends for stay in lane.stays), default=-1):
            lane.take(0, unloaded, "", -1)


def _run_end(floor: Floor, job: PlanJob) -> int:
    """When what is under way ends: as said, or the lead time after the order, or now."""
    if job.running_until is not None:
        return max(0, floor.scale.up(job.running_until))
    if job.running_since is not None and job.ordered_s is not None:
        return max(0, floor.scale.up(job.running_since) + math.ceil(job.ordered_s))
    return 0


def _or_forever(second: int | None) -> int:
    return FOREVER if second is None else second


def _dispatch(floor: Floor, job: PlanJob, rank: int, unplaced: dict[str, str]) -> None:
    why = why_never(floor, job, unplaced)
    if why:
        unplaced[job.job] = why
        return
    needs = joined_needs(job.needs)
    stock_s = floor.ledger.earliest(needs) or 0
    last = floor.after(job)
    after_s = last.unloaded if last else 0
    ready = max(floor.earliest_s(job), stock_s, after_s)
    found = _best_place(floor, job, ready)
    if found is None:
        unplaced[job.job] = no_end_in_sight(floor, job, ready)
        return
    found = replace(found, rank=rank, after_s=after_s, stock_s=stock_s, stock_need=floor.ledger.decisive(needs))
    floor.ledger.take(needs, found.begins)
    floor.placed[job.job] = found
    if found.machine is not None:
        floor.lanes[found.machine].take(found.begins, found.unloaded, job.job, rank)


def _best_place(floor: Floor, job: PlanJob, ready: int) -> Placed | None:
    if job.ordered_s is not None:
        arrives = ready + math.ceil(job.ordered_s)
        return Placed(job, 0, None, ready, arrives, arrives)
    best: Placed | None = None
    for lane, runs in floor.usable(job):
        if best is not None and ready + lane.work_s(runs) >= best.unloaded:
            continue
        loads = lane.earliest(runs, ready)
        if loads is not None and (best is None or loads[-1].unloaded < best.unloaded):
            last = loads[-1]
            best = Placed(job, 0, lane.machine.name, loads[0].set_up, last.ended, last.unloaded, loads)
    return best


def _written(floor: Floor, unplaced: dict[str, str]) -> Plan:
    jobs = [_planned(floor, each) for each in floor.placed.values()]
    jobs.sort(key=lambda each: (each.start, each.machine or "", number_key(each.job)))
    weights = {job.job: job.weight for job in floor.problem.jobs}
    return Plan(
        as_of=floor.problem.as_of,
        status="best found",
        weighted_lateness_h=sum(weights[each.job] * each.late_s for each in jobs) / 3600,
        ready_by=max((each.unload for each in jobs), default=None),
        jobs=tuple(jobs),
        unplaced=tuple(Unplaced(job.job, unplaced[job.job]) for job in floor.problem.jobs if job.job in unplaced),
    )


def _planned(floor: Floor, placed: Placed) -> PlannedJob:
    job, at = placed.job, floor.scale.at
    began = at(placed.begins)
    if is_under_way(job) and job.running_since is not None:
        began = min(job.running_since, floor.problem.as_of)
    unload = at(placed.unloaded)
    late_s = 0.0 if job.due is None else max(0.0, (unload - job.due).total_seconds())
    return PlannedJob(
        job=job.job,
        part=job.part,
        revision=job.revision,
        machine=placed.machine,
        start=began,
        end=at(placed.ended),
        unload=unload,
        due=job.due,
        late_s=late_s,
        why_late=why_late(floor, placed) if late_s > 0 else "",
        loads=tuple(PlannedLoad(*(at(each) for each in load)) for load in placed.loads),
    )
