"""Of each late job, the cause that binds. Hours are counted from midnight of a Monday; the shop is there 9 to 17."""

from dataclasses import replace

import pytest
from invented_shops import H, at, job, printer, router, shop

from register.domain.plans import MachineChoice, Need, Plan, PlanProblem, Supply
from register.plan.dispatch import make_plan


def why(problem: PlanProblem | Plan, number: str) -> str:
    plan = problem if isinstance(problem, Plan) else make_plan(problem)
    return next(each.why_late for each in plan.jobs if each.job == number)


def test_a_job_in_time_has_no_reason() -> None:
    assert why(shop(job("A-1", 10)), "A-1") == ""


def test_a_job_that_was_due_before_the_plan_begins() -> None:
    assert why(shop(job("A-1", 8)), "A-1") == "it was due 2031-03-03 08:00 UTC, before this plan begins"


def test_a_job_too_long_for_the_time_left() -> None:
    # 3 loads of 2 h with 0.5 h of hands before and after each: 9 h.
    problem = shop(job("A-1", 13, hours=(2, 2, 2)), machines=(printer(hands_s=1800),))
    assert why(problem, "A-1") == "even alone it takes 9 h on P-1 and it is due in 4 h"


def test_a_job_that_the_hours_hold_up_and_that_a_permission_could_save() -> None:
    # 5 h of work from 14:00, due on Tuesday at 6:00: attended it ends on Tuesday at 14:00.
    late = job("A-1", 30, hours=(2, 3))
    held = "even alone on P-1 it is in hand 2031-03-04 12:00 UTC: the attended hours allow no earlier on one machine"
    assert why(shop(late, machines=(printer(unattended=False),), as_of_h=14), "A-1") == held
    # In two loads nothing is gained overnight: the second run would end at 19:00 and wait for 9:00.
    # In one load, due at 9:30, it is.
    single = job("A-1", 33.5, hours=(5,))
    assert why(shop(single, machines=(printer(unattended=False),), as_of_h=14), "A-1") == (
        "even alone on P-1 it is in hand 2031-03-04 14:00 UTC: the attended hours allow no earlier on one machine; "
        "with a responsible adult's permission to run P-1 unattended it could be in time"
    )


def test_no_permission_is_held_out_for_a_router() -> None:
    late = job("A-1", 33.5, on="R-1", hours=(5,))
    assert "permission" not in why(shop(late, machines=(router(),), as_of_h=14), "A-1")


def test_a_job_that_may_not_start_earlier() -> None:
    assert why(shop(job("A-1", 12, not_before=at(11.5))), "A-1") == "it may not start before 2031-03-03 11:30 UTC"


def test_a_bought_part_with_too_long_a_lead_time() -> None:
    bought = replace(job("A-1", 57), choices=(), ordered_s=60 * H)
    assert why(shop(bought), "A-1") == "its lead time is 2 d 12 h and it is due in 2 d"


def test_a_delivery_that_comes_too_late_even_for_one() -> None:
    supplies = (Supply("PLA", 40.0, ((at(34), 100.0),)),)
    problem = shop(job("A-1", 20, needs=(Need("PLA", 100.0, "g"),)), supplies=supplies)
    assert why(problem, "A-1") == "even alone it waits for 100 g of PLA, which is there from 2031-03-04 10:00 UTC"


def test_stock_that_the_jobs_ahead_take() -> None:
    supplies = (Supply("PLA", 100.0, ((at(34), 100.0),)), Supply("PETG", 500.0))
    jobs = (
        job("A-1", 12, needs=(Need("PLA", 60.0, "g"),)),
        job("A-2", 13, needs=(Need("PETG", 60.0, "g"),)),
        job("A-3", 16, needs=(Need("PLA", 60.0, "g"), Need("PETG", 5.0, "g"))),
    )
    assert why(shop(*jobs, supplies=supplies), "A-3") == (
        "A-1 takes stock ahead of it: 60 g of PLA for it is there from 2031-03-04 10:00 UTC"
    )


def test_the_job_that_it_waits_for() -> None:
    jobs = (job("A-1", 12, hours=(3,)), job("A-2", 12.5, on="R-1", after=("A-1",)))
    assert why(shop(*jobs), "A-2") == "it waits for A-1, unloaded 2031-03-03 12:00 UTC"


def test_the_jobs_ahead_of_it_on_its_machine_are_named() -> None:
    jobs = (job("A-1", 10), job("A-2", 11), job("A-3", 11.5), job("A-4", 20))
    assert why(shop(*jobs), "A-3") == "A-1 and A-2 are ahead of it on P-1"


def test_many_jobs_ahead_are_counted() -> None:
    jobs = [job(f"A-{n}", 10 + n / 10, hours=(0.5,)) for n in range(1, 8)]
    assert why(shop(*jobs), "A-7") == "A-1, A-2, A-3, A-4 and 2 more are ahead of it on P-1"


def test_what_is_on_the_machine_now_is_named() -> None:
    busy = replace(printer(), busy_until=at(11))
    assert why(shop(job("A-1", 11.5), machines=(busy,)), "A-1") == "what is loaded now is ahead of it on P-1"
    running = job("A-1", running_on="P-1", running_since=at(7), running_until=at(11))
    assert why(shop(running, job("A-2", 11.5)), "A-2") == "A-1 is ahead of it on P-1"


def test_a_job_driven_to_a_slower_machine_names_what_holds_the_faster() -> None:
    both = (MachineChoice("P-1", (1 * H,)), MachineChoice("P-2", (5 * H,)))
    jobs = (job("A-1", 12, hours=(5,)), replace(job("A-2", 13), choices=both))
    problem = shop(*jobs, machines=(printer(), printer("P-2")))
    assert why(problem, "A-2") == "A-1 is ahead of it on P-1, and P-2 takes longer"


@pytest.mark.parametrize(
    ("until_h", "due_h", "reason"),
    [
        (14, 12, "it runs on P-1 until 2031-03-03 14:00 UTC"),
        (
            18,
            20,
            "its run on P-1 ends in time, 2031-03-03 18:00 UTC, but nobody has unloaded it before 2031-03-04 09:00 UTC",
        ),
    ],
)
def test_a_running_job_is_late_by_its_run_or_by_its_unloading(until_h: float, due_h: float, reason: str) -> None:
    running = job("A-1", due_h, running_on="P-1", running_since=at(7), running_until=at(until_h))
    assert why(shop(running), "A-1") == reason


def test_a_part_on_order_is_late_by_its_arrival() -> None:
    on_order = replace(job("A-1", 50), choices=(), ordered_s=24 * H, running_until=at(60))
    assert why(shop(on_order), "A-1") == "it is on order and arrives 2031-03-05 12:00 UTC"
