"""The separate check: silent on plans made for shops drawn at random, and loud on every rule broken on purpose."""

from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta

import pytest
from invented_shops import H, at, drawn_shop, job, printer, router, shop

from register.domain.plans import MachineChoice, Need, Plan, PlannedJob, PlanProblem, Supply, Unplaced
from register.plan.checker import violations
from register.plan.dispatch import make_plan

SHOPS = 400


def test_plans_for_shops_drawn_at_random_break_no_rule() -> None:
    seen: Counter[str] = Counter()
    for seed in range(SHOPS):
        problem = drawn_shop(seed)
        plan = make_plan(problem)
        assert violations(problem, plan) == (), f"shop {seed}"
        seen.update(_kinds(problem, plan))
    # The shops would prove little if they did not reach what the rules are about.
    for kind in ("late", "alone overnight", "several loads", "waited for another", "bought", "running"):
        assert seen[kind] >= 50, kind
    for kind in ("order", "wait", "not before", "longer", "permission"):
        assert seen[f"unplaced: {kind}"] >= 5, kind


def _kinds(problem: PlanProblem, plan: Plan) -> list[str]:
    jobs = {each.job: each for each in problem.jobs}
    kinds = []
    for each in plan.jobs:
        kinds += ["late"] if each.late_s else []
        kinds += ["several loads"] if len(each.loads) > 1 else []
        kinds += ["waited for another"] if jobs[each.job].after and each.loads else []
        kinds += ["bought"] if jobs[each.job].ordered_s else []
        kinds += ["running"] if jobs[each.job].running_on else []
        kinds += ["alone overnight"] if any(load.end.date() > load.run.date() for load in each.loads) else []
    for word in ("order", "wait", "not before", "longer", "permission"):
        kinds += [f"unplaced: {word}" for each in plan.unplaced if word in each.why]
    return kinds


def test_a_late_jobs_reason_agrees_with_planning_it_alone() -> None:
    by_others = by_itself = 0
    for seed in range(SHOPS // 2):
        problem = drawn_shop(seed)
        machines = tuple(replace(machine, busy_until=None) for machine in problem.machines)
        for late in (each for each in make_plan(problem).jobs if each.late_s):
            one = next(each for each in problem.jobs if each.job == late.job)
            if one.running_since is not None:
                continue
            alone = make_plan(replace(problem, machines=machines, jobs=(replace(one, after=()),)))
            in_time = bool(alone.jobs) and alone.jobs[0].late_s == 0
            others = any(word in late.why_late for word in ("ahead of it", "it waits for A-"))
            assert in_time == others, f"shop {seed}, {late.job}: {late.why_late}"
            by_others += others
            by_itself += not others
    assert by_others >= 50
    assert by_itself >= 50


HANDS = 1800.0
MACHINES = (
    printer(limit_h=17, hands_s=HANDS),
    printer("P-2", unattended=False, hands_s=HANDS),
    router(hands_s=HANDS),
)
PROBLEM = shop(
    job("A-1", 12, hours=(1.5, 10)),
    job("A-2", on="P-2", hours=(3,)),
    job("A-3", on="R-1", hours=(2,), after=("A-2",)),
    replace(job("A-4"), choices=(), ordered_s=24 * H),
    job("A-5", cannot="is on hold"),
    job("A-6", on="P-2", hours=(1,), needs=(Need("PLA", 100.0, "g"),), not_before=at(14)),
    job("A-7", on="R-1", running_on="R-1", running_until=at(10), running_since=at(8)),
    machines=MACHINES,
    supplies=(Supply("PLA", 50.0, ((at(33), 60.0),)),),
)
PLAN = make_plan(PROBLEM)


def test_the_plan_to_be_spoilt_keeps_every_rule() -> None:
    assert violations(PROBLEM, PLAN) == ()


def spoilt(number: str, change: Callable[[PlannedJob], PlannedJob]) -> Plan:
    """The plan with one job changed and the sums made to agree again, so that only the rule in question is broken."""
    jobs = tuple(_agreeing(change(each)) if each.job == number else each for each in PLAN.jobs)
    lateness_h = sum(each.late_s for each in jobs) / 3600
    return replace(PLAN, jobs=jobs, weighted_lateness_h=lateness_h, ready_by=max(each.unload for each in jobs))


def _agreeing(planned: PlannedJob) -> PlannedJob:
    late_s = max(0.0, (planned.unload - planned.due).total_seconds()) if planned.due else 0.0
    return replace(planned, late_s=late_s, why_late="for the test" if late_s else "")


def moved(hours: float) -> Callable[[PlannedJob], PlannedJob]:
    """The whole job later by so many hours."""
    by = timedelta(hours=hours)

    def move(planned: PlannedJob) -> PlannedJob:
        loads = tuple(
            replace(load, set_up=load.set_up + by, run=load.run + by, end=load.end + by, unload=load.unload + by)
            for load in planned.loads
        )
        return replace(planned, start=planned.start + by, end=planned.end + by, unload=planned.unload + by, loads=loads)

    return move


def load_changed(index: int, **by_h: float) -> Callable[[PlannedJob], PlannedJob]:
    """One load with single times moved by so many hours, the job's own times with them."""

    def change(planned: PlannedJob) -> PlannedJob:
        loads = list(planned.loads)
        loads[index] = replace(
            loads[index], **{name: getattr(loads[index], name) + timedelta(hours=by) for name, by in by_h.items()}
        )
        first, last = loads[0], loads[-1]
        return replace(planned, start=first.set_up, end=last.end, unload=last.unload, loads=tuple(loads))

    return change


@pytest.mark.parametrize(
    ("number", "change", "said"),
    [
        # 9:00 up, 9:30 to 11:00 run, 11:30 free; 11:30 up, 12:00 to 22:00, Tuesday 9:00 to 9:30 unloaded.
        ("A-1", moved(-1), "starts too early"),
        ("A-1", moved(7), "is set up or started with nobody there"),
        ("A-1", load_changed(1, unload=-8), "is unloaded with nobody there"),
        ("A-1", load_changed(1, end=9, unload=24), "another length than it takes"),
        ("A-1", load_changed(0, run=0.1, end=0.1), "too little time to be unloaded"),
        ("A-1", load_changed(1, set_up=-0.25, run=-0.25, end=-0.25), "before the one ahead of it is unloaded"),
        ("A-1", lambda planned: replace(planned, loads=planned.loads[1:]), "needs 2 loads and has 1"),
        ("A-1", lambda planned: replace(planned, start=at(9.5)), "has times that are not those of its loads"),
        ("A-1", lambda planned: replace(planned, machine="P-2"), "which cannot do it"),
        ("A-2", moved(6), "runs with nobody there, which P-2 may not"),
        ("A-3", moved(3), "runs with nobody there, which R-1 may not"),
        ("A-3", moved(-1), "A-3 starts before A-2 is unloaded"),
        ("A-4", moved(-1), "starts too early"),
        ("A-4", lambda planned: replace(planned, end=at(30), unload=at(30)), "arrives before or after its lead time"),
        ("A-4", lambda planned: replace(planned, machine="P-1"), "is bought and stands on a machine"),
        ("A-6", moved(-21), "A-6 starts on P-2 before A-2 is unloaded"),
        ("A-6", moved(-17), "A-6 takes PLA that is not there at its start"),
        ("A-6", moved(-20), "A-6 starts too early"),
        ("A-7", lambda planned: replace(planned, machine="P-1"), "has been moved"),
        ("A-7", lambda planned: replace(planned, end=at(9.5)), "is under way and ends too early"),
        ("A-7", lambda planned: replace(planned, unload=at(20)), "A-7 is unloaded with nobody there"),
        ("A-7", lambda planned: replace(planned, unload=at(14)), "A-3 starts on R-1 before A-7 is unloaded"),
    ],
)
def test_a_rule_broken_on_purpose_is_named(number: str, change: Callable[[PlannedJob], PlannedJob], said: str) -> None:
    assert any(said in each for each in violations(PROBLEM, spoilt(number, change)))


def test_a_run_alone_longer_than_its_permission_is_named() -> None:
    # Alone from 17:00 to 22:00: 5 h.
    stricter = replace(PROBLEM, machines=(replace(MACHINES[0], longest_unattended_s=4 * H), *MACHINES[1:]))
    assert violations(stricter, PLAN) == ("A-1 runs longer with nobody there than P-1 may",)
    exact = replace(PROBLEM, machines=(replace(MACHINES[0], longest_unattended_s=5 * H), *MACHINES[1:]))
    assert violations(exact, PLAN) == ()


def test_a_router_alone_is_named_even_with_a_permission_recorded() -> None:
    as_router = replace(PROBLEM, machines=(replace(MACHINES[0], router=True), *MACHINES[1:]))
    assert violations(as_router, PLAN) == ("A-1 runs with nobody there, which P-1 may not",)


def test_a_machine_out_of_order_or_busy_is_named() -> None:
    broken = replace(PROBLEM, machines=(replace(MACHINES[0], out_of_order=True), *MACHINES[1:]))
    assert violations(broken, PLAN) == ("A-1 stands on P-1, which cannot do it",)
    busy = replace(PROBLEM, machines=(replace(MACHINES[0], busy_until=at(9)), *MACHINES[1:]))
    assert violations(busy, PLAN) == ("A-1 starts on P-1 while it is busy",)


def test_jobs_left_out_doubled_or_made_up_are_named() -> None:
    kept = tuple(each for each in PLAN.jobs if each.job != "A-4")
    assert "A-4 stands nowhere in the plan" in violations(PROBLEM, replace(PLAN, jobs=kept))
    doubled = replace(PLAN, unplaced=(*PLAN.unplaced, Unplaced("A-1", "no reason at all")))
    assert "A-1 stands in the plan 2 times" in violations(PROBLEM, doubled)
    made_up = replace(PLAN, unplaced=(*PLAN.unplaced, Unplaced("A-99", "nobody asked for it")))
    assert "A-99 is no job of the shop" in violations(PROBLEM, made_up)
    speechless = replace(PLAN, unplaced=(Unplaced("A-5", ""),))
    assert "A-5 has no place and no reason" in violations(PROBLEM, speechless)


def test_a_job_that_cannot_be_made_or_follows_one_is_named() -> None:
    held = replace(
        PROBLEM, jobs=tuple(replace(each, cannot="is on hold") for each in PROBLEM.jobs if each.job == "A-2")
    )
    plan = replace(PLAN, jobs=tuple(each for each in PLAN.jobs if each.job == "A-2"), unplaced=())
    plan = replace(plan, ready_by=plan.jobs[0].unload, weighted_lateness_h=0.0)
    assert violations(held, plan) == ("A-2 is planned although it cannot be made",)
    without = replace(
        PLAN,
        jobs=tuple(each for each in PLAN.jobs if each.job != "A-2"),
        unplaced=(*PLAN.unplaced, Unplaced("A-2", "for the test")),
    )
    assert "A-3 is planned after A-2, which has no place" in violations(PROBLEM, without)


def test_a_job_on_a_machine_that_is_never_freed_is_named() -> None:
    without = replace(
        PLAN,
        jobs=tuple(each for each in PLAN.jobs if each.job != "A-7"),
        unplaced=(*PLAN.unplaced, Unplaced("A-7", "for the test")),
    )
    assert "A-3 stands on R-1, from which A-7 is never unloaded" in violations(PROBLEM, without)


def test_wrong_sums_and_reasons_are_named() -> None:
    assert any("weighted lateness" in each for each in violations(PROBLEM, replace(PLAN, weighted_lateness_h=0.0)))
    assert any("ready at another time" in each for each in violations(PROBLEM, replace(PLAN, ready_by=None)))
    assert any("another moment" in each for each in violations(PROBLEM, replace(PLAN, as_of=at(8))))
    early = replace(PLAN, jobs=tuple(replace(each, late_s=0.0) for each in PLAN.jobs))
    assert any("A-1 is late by" in each for each in violations(PROBLEM, early))
    silent = replace(PLAN, jobs=tuple(replace(each, why_late="") for each in PLAN.jobs))
    assert any("late without a reason" in each for each in violations(PROBLEM, silent))


def test_the_check_holds_a_run_to_its_length_on_the_machine_it_stands_on() -> None:
    longer = replace(
        PROBLEM,
        jobs=tuple(
            replace(each, choices=(MachineChoice("P-2", (3.5 * H,)),)) if each.job == "A-2" else each
            for each in PROBLEM.jobs
        ),
    )
    assert violations(longer, PLAN) == ("A-2 has a set-up or a run of another length than it takes",)
