"""Why a job is late: what binds is worked out by placing it again, alone."""

import math

from register.domain.plans import Need, PlanJob
from register.plan.floor import Floor, Placed
from register.plan.order import is_under_way, number_key
from register.plan.stock_ledger import StockLedger, joined_needs
from register.plan.wording import amount_text, names_text, span_text


def why_late(floor: Floor, placed: Placed) -> str:
    """What makes a late job late, in plain words.

    Notes
    -----
    The job is placed again on empty machines, first ready at once, then waiting for one thing at a time: its own
    earliest start, deliveries, the jobs that it comes after, stock that jobs ahead of it take. The first with which
    it is late is named. If it is in time with each, the jobs ahead of it on its machine make it late, and are named.
    """
    job = placed.job
    if job.due is None:
        return ""
    due = floor.scale.down(job.due)
    if due <= 0:
        return f"it was due {floor.moment(due)}, before this plan begins"
    if is_under_way(job):
        return _why_under_way(floor, placed, due)
    return _why_by_itself(floor, job, due) or _why_by_others(floor, placed, due)


def _why_under_way(floor: Floor, placed: Placed, due: int) -> str:
    if placed.machine is None:
        return f"it is on order and arrives {floor.moment(placed.ended)}"
    if placed.ended > due:
        return f"it runs on {placed.machine} until {floor.moment(placed.ended)}"
    return (
        f"its run on {placed.machine} ends in time, {floor.moment(placed.ended)}, "
        f"but nobody has unloaded it before {floor.moment(placed.unloaded)}"
    )


def _why_by_itself(floor: Floor, job: PlanJob, due: int) -> str:
    if job.ordered_s is not None and job.ordered_s > due:
        return f"its lead time is {span_text(math.ceil(job.ordered_s))} and it is due in {span_text(due)}"
    if job.ordered_s is None:
        work_s, name = min((lane.work_s(runs), lane.machine.name) for lane, runs in floor.usable(job))
        if work_s > due:
            return f"even alone it takes {span_text(work_s)} on {name} and it is due in {span_text(due)}"
    if _late(floor, job, 0, due):
        return _why_by_hours(floor, job, due)
    earliest = floor.earliest_s(job)
    if _late(floor, job, earliest, due):
        return f"it may not start before {floor.moment(earliest)}"
    arrival, need = _untouched_stock(floor, job)
    if _late(floor, job, arrival, due):
        return f"even alone it waits for {_scarce(need)}, which is there from {floor.moment(arrival)}"
    return ""


def _why_by_hours(floor: Floor, job: PlanJob, due: int) -> str:
    alone = floor.alone(job, 0)
    unloaded, lane = alone if alone else (floor.hours.end(), None)
    where = f" on {lane.machine.name}" if lane else ""
    why = (
        f"even alone{where} it is in hand {floor.moment(unloaded)}: the attended hours allow no earlier on one machine"
    )
    could = list(
        dict.fromkeys(
            each.machine.name
            for each, runs in floor.usable(job)
            if not (each.unattended or each.machine.router)
            and (loads := each.permitted().series(runs, 0)) is not None
            and loads[-1].unloaded <= due
        )
    )
    if could:
        why += (
            f"; with a responsible adult's permission to run {names_text(could, 'or')} unattended it could be in time"
        )
    return why


def _why_by_others(floor: Floor, placed: Placed, due: int) -> str:
    job = placed.job
    last = floor.after(job)
    if last is not None and _late(floor, job, placed.after_s, due):
        return f"it waits for {last.job.job}, unloaded {floor.moment(last.unloaded)}"
    if _late(floor, job, placed.stock_s, due):
        takers = _takers(floor, placed)
        return (
            f"{names_text(takers)} {'takes' if len(takers) == 1 else 'take'} stock ahead of it: "
            f"{_scarce(placed.stock_need)} for it is there from {floor.moment(placed.stock_s)}"
        )
    return _why_by_jobs_ahead(floor, placed, due)


def _why_by_jobs_ahead(floor: Floor, placed: Placed, due: int) -> str:
    ready = max(floor.earliest_s(placed.job), placed.after_s, placed.stock_s)
    alone = floor.alone(placed.job, ready)
    lane = alone[1] if alone else None
    if lane is None:
        return ""
    until = placed.begins if lane.machine.name == placed.machine else due
    names = [stay.job or "what is loaded now" for stay in lane.ahead(placed.rank, ready, until)]
    ahead = names_text(list(dict.fromkeys(names)))
    verb = "is" if len(set(names)) == 1 else "are"
    if lane.machine.name == placed.machine:
        return f"{ahead} {verb} ahead of it on {placed.machine}"
    return f"{ahead} {verb} ahead of it on {lane.machine.name}, and {placed.machine} takes longer"


def _late(floor: Floor, job: PlanJob, ready: int, due: int) -> bool:
    alone = floor.alone(job, ready)
    return alone is None or alone[0] > due


def _untouched_stock(floor: Floor, job: PlanJob) -> tuple[int, Need | None]:
    needs = joined_needs(job.needs)
    ledger = StockLedger(floor.problem.supplies, floor.scale)
    return ledger.earliest(needs) or 0, ledger.decisive(needs)


def _scarce(need: Need | None) -> str:
    return amount_text(need) if need else "stock"


def _takers(floor: Floor, placed: Placed) -> list[str]:
    scarce = placed.stock_need.material if placed.stock_need else ""
    takers = [
        other.job.job
        for other in floor.placed.values()
        if other.rank < placed.rank and any(need.material == scarce for need in other.job.needs)
    ]
    return sorted(takers, key=number_key)
