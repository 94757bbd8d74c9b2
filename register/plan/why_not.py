"""Why a job has no place in the plan."""

import math
from collections.abc import Mapping, Sequence

from register.domain.plans import PlanJob
from register.plan.floor import Floor
from register.plan.lanes import Lane
from register.plan.stock_ledger import joined_needs
from register.plan.wording import amount_text, names_text, shortage_text, span_text

LONGEST_S = 10 * 365.25 * 86400


def why_ring(ring: Sequence[str]) -> str:
    """Why jobs that wait for one another have no place."""
    if len(ring) == 1:
        return f"waits for itself: take {ring[0]} out of what it comes after"
    return f"{names_text(ring)} wait for one another: take one of them out of what another comes after"


def why_never(floor: Floor, job: PlanJob, unplaced: Mapping[str, str]) -> str:
    """Why the job cannot be placed however free the machines are; empty if it may be.

    Parameters
    ----------
    unplaced
        The jobs before it that have no place.
    """
    if job.cannot:
        return job.cannot
    if not _figures_hold(job):
        return "has a duration or an amount that is no figure between 0 and ten years' worth: estimate it again"
    before = [each for each in job.after if each in unplaced]
    if before:
        return f"waits for {names_text(before)}, which {'has' if len(before) == 1 else 'have'} no place in the plan"
    if job.ordered_s is None:
        why = _why_no_machine(floor, job)
        if why:
            return why
    short = floor.ledger.short(joined_needs(job.needs))
    return shortage_text(short, floor.ledger.left(short.material)) if short else ""


def no_end_in_sight(floor: Floor, job: PlanJob, ready: int) -> str:
    """Why a job that could be placed does not end within the attended hours known."""
    if not floor.hours.closes:
        return "nobody is in the shop in the hours planned: plan further ahead or add attended hours"
    end = f"not before {floor.moment(floor.hours.end())}, where the hours planned end"
    names = names_text(list(dict.fromkeys(lane.machine.name for lane, _ in floor.usable(job))), "or")
    needs = joined_needs(job.needs)
    if floor.alone(job, 0) is None:
        return f"{end}: even alone on {names} it takes longer"
    if floor.alone(job, ready) is not None:
        return f"{end}: {names} has no room for it earlier"
    if floor.alone(job, floor.earliest_s(job)) is None:
        return f"{end}: it may not start before {floor.moment(ready)}"
    last = floor.after(job)
    if last is not None and floor.alone(job, last.unloaded) is None:
        return f"{end}: it waits for {last.job.job}, unloaded {floor.moment(last.unloaded)}"
    need = floor.ledger.decisive(needs)
    return f"{end}: it waits for {amount_text(need) if need else 'stock'} until {floor.moment(ready)}"


def _figures_hold(job: PlanJob) -> bool:
    spans_s = [each for choice in job.choices for each in choice.loads_s]
    if job.ordered_s is not None:
        spans_s.append(job.ordered_s)
    amounts = [need.amount for need in job.needs]
    return all(0 <= each <= LONGEST_S for each in spans_s) and all(0 <= each < math.inf for each in amounts)


def _why_no_machine(floor: Floor, job: PlanJob) -> str:
    usable = floor.usable(job)
    if not usable:
        broken = [each.machine for each in job.choices if each.machine in floor.machines and each.loads_s]
        return f"{names_text(broken)} is out of order" if broken else "no machine of the shop can do it"
    whys = [_why_not_there(floor, lane, runs) for lane, runs in usable]
    return "; ".join(dict.fromkeys(whys)) if all(whys) else ""


def _why_not_there(floor: Floor, lane: Lane, runs: Sequence[int]) -> str:
    """Why one of the loads can never stand on this machine; empty if each can, or if only the hours' end stops it."""
    name, longest_s = lane.machine.name, floor.hours.longest_s()
    if not floor.hours.closes:
        return ""
    if not lane.unattended:
        load_s = lane.set_up_s + max(runs) + lane.unload_s
        if load_s <= longest_s:
            return ""
        why = (
            f"a load on {name} takes {span_text(load_s)} with a person there from set-up to unloading, "
            f"and the longest attended hours are {span_text(longest_s)}"
        )
        if not lane.machine.router and lane.permitted().series([max(runs)], 0) is not None:
            why += ": a responsible adult's permission to run it unattended could change that"
        return why
    if max(lane.set_up_s, lane.unload_s) > longest_s:
        return f"setting up or unloading {name} takes longer than the longest attended hours, {span_text(longest_s)}"
    limit = lane.machine.longest_unattended_s
    if limit is None or lane.series([max(runs)], 0) is not None or lane.permitted().series([max(runs)], 0) is None:
        return ""
    return (
        f"a run of {span_text(max(runs))} on {name} would go on with nobody there for longer "
        f"than the {span_text(limit)} that its permission allows"
    )
