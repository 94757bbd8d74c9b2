"""The order by due date against every order there is."""

from dataclasses import replace
from datetime import timedelta
from itertools import permutations

from hypothesis import given, settings
from hypothesis import strategies as st
from invented_shops import at, job, printer, shop, window

from register.domain.plans import MachineChoice, Plan, PlanProblem
from register.plan.dispatch import make_plan

ALWAYS_OPEN = (window(0, 24),)


def one_machine(processing_min: list[int], due_min: list[int]) -> PlanProblem:
    """Jobs ready at midnight on one machine that takes no hands, in minutes."""
    jobs = tuple(
        replace(
            job(f"A-{index}"),
            due=at(0) + timedelta(minutes=due),
            choices=(MachineChoice("P-1", (60.0 * length,)),),
        )
        for index, (length, due) in enumerate(zip(processing_min, due_min, strict=True), start=1)
    )
    return shop(*jobs, machines=(printer(),), windows=ALWAYS_OPEN, as_of_h=0)


def largest_lateness_min(plan: Plan) -> float:
    """The largest lateness, below 0 where every job is early."""
    return max((each.unload - each.due).total_seconds() / 60 for each in plan.jobs if each.due)


def lateness_in_order(order: tuple[int, ...], processing: list[int], due: list[int]) -> list[int]:
    done = 0
    lateness = []
    for index in order:
        done += processing[index]
        lateness.append(done - due[index])
    return lateness


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.integers(1, 60), st.integers(-30, 200)), min_size=1, max_size=6))
def test_no_order_has_a_smaller_largest_lateness(cases: list[tuple[int, int]]) -> None:
    # Source: Jackson 1955, "Scheduling a production line to minimize maximum tardiness": on one machine with all jobs
    # ready, the order by due date minimises the largest lateness.
    processing, due = [length for length, _ in cases], [each for _, each in cases]
    plan = make_plan(one_machine(processing, due))
    least = min(max(lateness_in_order(order, processing, due)) for order in permutations(range(len(cases))))
    assert largest_lateness_min(plan) == least


def test_a_published_instance() -> None:
    # p = 7, 8, 4, 6, 6; d = 9, 17, 18, 19, 21. Source: after Pinedo, *Scheduling*, ch. 3 (second-hand), where the
    # least number of late jobs is 2. By due date they are done at 7, 15, 19, 25, 31: late by 1, 6 and 10. The last of
    # any order is done at 31, at best 10 after its due date, so 10 is the least largest lateness.
    processing, due = [7, 8, 4, 6, 6], [9, 17, 18, 19, 21]
    plan = make_plan(one_machine(processing, due))
    assert [each.late_s / 60 for each in plan.jobs] == [0, 0, 1, 6, 10]
    assert plan.weighted_lateness_h == (1 + 6 + 10) / 60
    fewest_late = min(
        sum(late > 0 for late in lateness_in_order(order, processing, due)) for order in permutations(range(5))
    )
    assert fewest_late == 2
    # The rule does not aim at the number of late jobs, and the plan does not claim to be the best there is.
    assert sum(each.late_s > 0 for each in plan.jobs) == 3
    assert plan.status == "best found"
