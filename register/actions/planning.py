"""The plan: reading what it stands on, making it, checking it, keeping it."""

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from typing import Any

from register.domain.estimates import BoughtEstimate, Estimate, PrintedEstimate, RoutedEstimate, Size
from register.domain.jobs import Job, JobState
from register.domain.machines import Machine
from register.domain.plans import (
    JobWork,
    KeptPlan,
    MachineLoads,
    Need,
    Plan,
    PlannedJob,
    PlannedLoad,
    PlanProblem,
    Unplaced,
)
from register.domain.revisions import RevisionState
from register.domain.shop import ShopSettings
from register.domain.stock import Lot, StockForm
from register.errors import DoesNotFit, NotAllowed, NotFound, RegisterError, StaleEdit
from register.estimate.whole import machines_for
from register.nest.loads import loads
from register.nest.stock_use import filament_g, gap_mm, offcut_for, sheet_for
from register.opening import Register
from register.plan.checker import violations
from register.plan.dispatch import make_plan
from register.plan.problem import plan_problem, stock_key
from register.store import history, jobs, parts, plans, shops, stock
from register.store.column_types import time_from, time_text
from register.store.transaction import Reading
from register.workers import Work

OPEN = (JobState.QUEUED, JobState.RUNNING, JobState.ON_HOLD)
# Room between the pieces of one build. Common practice, no source.
BUILD_GAP_MM = 5.0


def plan_jobs(
    register: Register, apart: bool = False, stopped: Callable[[], bool] = lambda: False, keep: bool = True
) -> Plan:
    """Make a plan of every open job and keep it as the plan of the shop.

    Parameters
    ----------
    keep
        False for a plan that is only looked at, as of another time than now.
    apart
        In a process of its own, so that a screen goes on.
    stopped
        Asked while it is apart; True stops it.

    Raises
    ------
    StaleEdit
        If the register changed while the plan was made.
    Cancelled
        If it was stopped.
    """
    as_of = register.clock()
    with register.store.reading() as view:
        stood_on = history.last_operation(view)
        problem = _problem(as_of, shops.settings(view), _open_jobs(view), stock.lots(view))
    plan = Work(make_plan, problem).wait(stopped=stopped) if apart else make_plan(problem)
    wrong = violations(problem, plan)
    if wrong:
        raise RegisterError(f"The plan that was made breaks a rule: {wrong[0]}.", "Report it; nothing was kept.")
    if not keep:
        return plan
    with register.store.writing(register.who, f"plan the queue, {len(problem.jobs)} open") as tx:
        if history.last_operation(tx) != stood_on + 1:
            raise StaleEdit("The register changed while the plan was made.", "Plan again.")
        plans.keep_plan(tx, stood_on, _as_kept(plan))
    return plan


def _as_kept(plan: Plan) -> object:
    return _plain(asdict(plan))


def _plain(value: object) -> object:
    if isinstance(value, dict):
        return {name: _plain(each) for name, each in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(each) for each in value]
    return time_text(value) if isinstance(value, datetime) else value


def kept_plan(register: Register) -> KeptPlan | None:
    """The plan last taken, and whether anything has changed since; None if none was made."""
    with register.store.reading() as view:
        kept = plans.kept_plan(view)
        if kept is None:
            return None
        stood_on, body = kept
        return KeptPlan(_from_kept(body), history.last_operation(view) > stood_on + 1)


@dataclass(frozen=True)
class _OpenJob:
    """A job with its revision's state and its estimate."""

    job: Job
    state: RevisionState
    estimate: Estimate


def _open_jobs(view: Reading) -> list[_OpenJob]:
    return [
        _OpenJob(
            job,
            parts.revision(view, job.part, job.revision).state,
            parts.estimate_of(view, job.part, job.revision),
        )
        for job in jobs.jobs(view, OPEN)
    ]


def _problem(
    as_of: datetime, settings: ShopSettings, open_jobs: Sequence[_OpenJob], lots: Sequence[Lot]
) -> PlanProblem:
    left = [lot for lot in lots if lot.form is not StockForm.OFFCUT or lot.there(as_of)]
    works = [_work(each, settings, left) for each in sorted(open_jobs, key=_by_due)]
    return plan_problem(as_of, settings, works, lots)


def _by_due(each: _OpenJob) -> tuple[bool, float, str]:
    due = each.job.due
    return (due is None, due.timestamp() if due else 0.0, each.job.number)


def _work(each: _OpenJob, settings: ShopSettings, left: list[Lot]) -> JobWork:
    """A job as the planner needs it; an offcut that it takes is dropped from `left`."""
    job, estimate = each.job, each.estimate
    quantity = job.quantity - job.scrapped
    cannot = _cannot(job, each.state)
    if isinstance(estimate, BoughtEstimate):
        return JobWork(job, estimate, (), (), cannot)
    try:
        machines = machines_for(job.process, estimate.material, settings, job.machine)
        if isinstance(estimate, PrintedEstimate):
            if estimate.powder is None:
                ways = _ways(machines, quantity, estimate.size_mm, BUILD_GAP_MM)
            else:
                ways = _powder_ways(machines, quantity, estimate.machine, estimate.powder.pieces)
            needs: tuple[Need, ...] = (Need(stock_key(estimate.material, None), filament_g(estimate, quantity), "g"),)
        else:
            ways, needs = _onto_sheets(machines, quantity, estimate, settings, left)
    except (DoesNotFit, NotAllowed, NotFound) as refused:
        return JobWork(job, estimate, (), (), cannot or str(refused))
    return JobWork(job, estimate, ways, needs, cannot)


def _cannot(job: Job, state: RevisionState) -> str:
    if job.state is JobState.ON_HOLD:
        return f"it is on hold: {job.note}" if job.note else "it is on hold"
    if job.state is JobState.RUNNING or state is RevisionState.RELEASED:
        return ""
    if state is RevisionState.DRAFT:
        return f"revision {job.revision} is still a draft: release it first"
    return f"revision {job.revision} is {state.value}: queue the released one"


def _ways(machines: Sequence[Machine], quantity: int, size_mm: Size, between_mm: float) -> tuple[MachineLoads, ...]:
    found: list[MachineLoads] = []
    refused: DoesNotFit | None = None
    for machine in machines:
        try:
            found.append(MachineLoads(machine.name, loads(quantity, size_mm, machine.size_mm, between_mm)))
        except DoesNotFit as error:
            refused = refused or error
    if not found and refused is not None:
        raise refused
    return tuple(found)


def _powder_ways(machines: Sequence[Machine], quantity: int, own: str, most: int) -> tuple[MachineLoads, ...]:
    """Loads of the powder printer `own`, full ones first: `most` pieces are a load of that machine and no other."""
    if all(each.name != own for each in machines):
        raise NotAllowed(f"Its loads were counted for {own}.", "Log the revision again for the machine that is meant.")
    full, rest = divmod(quantity, most)
    return (MachineLoads(own, (most,) * full + ((rest,) if rest else ())),)


def _onto_sheets(
    machines: Sequence[Machine], quantity: int, estimate: RoutedEstimate, settings: ShopSettings, left: list[Lot]
) -> tuple[tuple[MachineLoads, ...], tuple[Need, ...]]:
    between_mm = gap_mm(estimate, settings.tools)
    offcut = offcut_for(estimate, quantity, left, between_mm)
    if offcut is not None:
        left[left.index(offcut)] = replace(offcut, amount=offcut.amount - 1)
        return _ways(machines, quantity, estimate.size_mm, between_mm), ()
    found = sheet_for(estimate, left, between_mm)
    key = stock_key(estimate.material, found[0].thickness_mm if found else estimate.thickness_mm)
    share = quantity / found[1] if found else 1.0
    return _ways(machines, quantity, estimate.size_mm, between_mm), (Need(key, share, "sheets"),)


def _from_kept(body: Any) -> Plan:
    return Plan(
        time_from(body["as_of"]),
        body["status"],
        body["weighted_lateness_h"],
        _maybe_time(body["ready_by"]),
        tuple(_planned_from(each) for each in body["jobs"]),
        tuple(Unplaced(**each) for each in body["unplaced"]),
    )


def _planned_from(kept: dict[str, Any]) -> PlannedJob:
    moments = {name: time_from(kept[name]) for name in ("start", "end", "unload")}
    loads_kept = tuple(PlannedLoad(**{name: time_from(at) for name, at in load.items()}) for load in kept["loads"])
    return PlannedJob(**(kept | moments | {"due": _maybe_time(kept["due"]), "loads": loads_kept}))


def _maybe_time(text: str | None) -> datetime | None:
    return None if text is None else time_from(text)
