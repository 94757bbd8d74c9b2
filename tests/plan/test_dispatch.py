"""Where each job comes to stand. Hours are counted from midnight of a Monday; the shop is there 9 to 17."""

from dataclasses import replace
from datetime import timedelta

import pytest
from invented_shops import WEEK, H, at, job, printer, router, shop, window

from register.domain.plans import MachineChoice, Need, Plan, PlannedJob, PlannedLoad, Supply
from register.errors import BadSettings, NotAllowed
from register.plan.checker import violations
from register.plan.dispatch import make_plan


def place(plan: Plan, number: str) -> PlannedJob:
    return next(each for each in plan.jobs if each.job == number)


def times(plan: Plan, number: str) -> tuple[object, object, object]:
    found = place(plan, number)
    return found.start, found.end, found.unload


def why_not(plan: Plan, number: str) -> str:
    return next(each.why for each in plan.unplaced if each.job == number)


def test_the_earlier_due_date_goes_first() -> None:
    plan = make_plan(shop(job("A-1", due_h=16), job("A-2", due_h=12)))
    assert times(plan, "A-2") == (at(9), at(10), at(10))
    assert times(plan, "A-1") == (at(10), at(11), at(11))


def test_of_equal_due_dates_the_heavier_goes_first_and_then_the_lower_number() -> None:
    jobs = (job("A-10", 15), job("A-9", 15), job("A-11", 15, weight=2.0), job("A-2"))
    plan = make_plan(shop(*jobs))
    assert [each.job for each in plan.jobs] == ["A-11", "A-9", "A-10", "A-2"]


def test_an_unattended_print_runs_overnight_and_is_unloaded_when_the_shop_opens() -> None:
    # Set-up 9:00 to 9:10, ten hours of run, unloaded on Tuesday from 9:00 to 9:10.
    plan = make_plan(shop(job("A-1", hours=(10,)), machines=(printer(hands_s=600),)))
    assert times(plan, "A-1") == (at(9), at(19) + timedelta(minutes=10), at(33) + timedelta(minutes=10))
    assert place(plan, "A-1").loads == (
        PlannedLoad(
            at(9), at(9) + timedelta(minutes=10), at(19) + timedelta(minutes=10), at(33) + timedelta(minutes=10)
        ),
    )


def test_a_machine_is_blocked_until_a_person_unloads_it() -> None:
    plan = make_plan(shop(job("A-1", 30, hours=(10,)), job("A-2", 31, hours=(1,))))
    assert times(plan, "A-2") == (at(33), at(34), at(34))


def test_a_printer_without_permission_runs_only_with_someone_there() -> None:
    # 5 h from 14:00 would go past closing.
    without, with_leave = (
        make_plan(shop(job("A-1", hours=(5,)), machines=(printer(unattended=leave),), as_of_h=14))
        for leave in (False, True)
    )
    assert times(without, "A-1") == (at(33), at(38), at(38))
    assert times(with_leave, "A-1") == (at(14), at(19), at(33))


def test_a_router_never_runs_unattended_whatever_is_recorded() -> None:
    leave = replace(router(), unattended=True)
    plan = make_plan(shop(job("A-1", on="R-1", hours=(5,)), machines=(leave,), as_of_h=14))
    assert times(plan, "A-1") == (at(33), at(38), at(38))


def test_a_permission_ends_a_run_in_time_or_starts_it_later() -> None:
    # From 14:00, 10 h of run are alone for 7 h; with leave for 6 h it waits for Tuesday 9:00 and is alone for 2 h.
    allowed, waiting = (
        make_plan(shop(job("A-1", hours=(10,)), machines=(printer(limit_h=limit),), as_of_h=14)) for limit in (7, 6)
    )
    assert times(allowed, "A-1") == (at(14), at(24), at(33))
    assert times(waiting, "A-1") == (at(33), at(43), at(57))


def test_loads_run_one_after_another_each_with_its_set_up() -> None:
    # 0.5 h hands before and after each: 9:00 up, 9:30 to 12:30 run, 13:00 free; 13:30 to 16:30 run, 17:00 free;
    # the third is set up on Tuesday.
    plan = make_plan(shop(job("A-1", hours=(3, 3, 3)), machines=(printer(hands_s=1800),)))
    assert [(load.set_up, load.unload) for load in place(plan, "A-1").loads] == [
        (at(9), at(13)),
        (at(13), at(17)),
        (at(33), at(37)),
    ]
    assert times(plan, "A-1") == (at(9), at(36.5), at(37))


def test_each_job_goes_where_it_is_unloaded_earliest() -> None:
    both = (MachineChoice("P-1", (3 * H,)), MachineChoice("P-2", (4 * H,)))
    plan = make_plan(
        shop(*(replace(job(f"A-{n}", 20 + n), choices=both) for n in (1, 2, 3)), machines=(printer(), printer("P-2")))
    )
    # P-1 until 12. A-2: P-2 until 13 against P-1 until 15. A-3: P-1 until 15 against P-2 until 17.
    assert [(each.job, each.machine, each.unload) for each in plan.jobs] == [
        ("A-1", "P-1", at(12)),
        ("A-2", "P-2", at(13)),
        ("A-3", "P-1", at(15)),
    ]


def test_a_later_job_fills_a_gap_that_an_earlier_one_leaves() -> None:
    plan = make_plan(shop(job("A-1", 20, not_before=at(11)), job("A-2", 30, hours=(2,)), job("A-3", 31, hours=(3,))))
    assert times(plan, "A-1") == (at(11), at(12), at(12))
    assert times(plan, "A-2") == (at(9), at(11), at(11))
    assert times(plan, "A-3") == (at(12), at(15), at(15))


def test_a_job_waits_until_the_one_before_it_is_unloaded() -> None:
    jobs = (job("A-1", 12, on="R-1", after=("A-2",)), job("A-2", hours=(2,)))
    plan = make_plan(shop(*jobs))
    assert times(plan, "A-1") == (at(11), at(12), at(12))


def test_what_an_urgent_job_waits_for_is_urgent_too() -> None:
    # A-2 has no due date of its own; A-3, due first of all that have one, waits for it.
    jobs = (job("A-1", 20, hours=(4,)), job("A-2"), job("A-3", 12, on="R-1", after=("A-2",)))
    plan = make_plan(shop(*jobs))
    assert times(plan, "A-2") == (at(9), at(10), at(10))
    assert times(plan, "A-3") == (at(10), at(11), at(11))


def test_a_job_that_is_not_in_the_queue_counts_as_done() -> None:
    assert times(make_plan(shop(job("A-1", after=("A-0",)))), "A-1")[0] == at(9)


def test_jobs_that_wait_for_one_another_have_no_place_and_neither_has_what_follows() -> None:
    jobs = (
        job("A-1", after=("A-3",)),
        job("A-2", after=("A-1",)),
        job("A-3", after=("A-2",)),
        job("A-4", after=("A-3",)),
        job("A-5", after=("A-4", "A-7")),
        job("A-6", after=("A-6",)),
        job("A-7"),
    )
    plan = make_plan(shop(*jobs))
    for number in ("A-1", "A-2", "A-3"):
        assert why_not(plan, number).startswith("A-1, A-2 and A-3 wait for one another")
    assert why_not(plan, "A-4") == "waits for A-3, which has no place in the plan"
    assert why_not(plan, "A-5") == "waits for A-4, which has no place in the plan"
    assert why_not(plan, "A-6").startswith("waits for itself")
    assert [each.job for each in plan.jobs] == ["A-7"]


def test_a_job_waits_for_the_delivery_that_it_needs() -> None:
    supplies = (Supply("PLA", 120.0, ((at(34), 100.0), (at(58), 500.0))),)
    plan = make_plan(shop(job("A-1", needs=(Need("PLA", 310.0, "g"),)), supplies=supplies))
    assert times(plan, "A-1") == (at(58), at(59), at(59))


def test_a_shortage_says_what_is_needed_what_is_left_and_what_to_order() -> None:
    supplies = (Supply("PLA", 200.0), Supply("6061 3.175 mm", 3.0))
    jobs = (
        job("A-1", 12, needs=(Need("PLA", 80.0, "g"),)),
        job("A-2", 13, needs=(Need("PLA", 310.0, "g"),)),
        job("A-3", 14, needs=(Need("6061 3.175 mm", 2.0, "sheets"),), on="R-1"),
        job("A-4", 15, needs=(Need("6061 3.175 mm", 2.0, "sheets"),), on="R-1"),
        job("A-5", 16, needs=(Need("PETG", 0.4, "g"),)),
        job("A-6", 17, needs=(Need("PLA", 120.0, "g"),)),
    )
    plan = make_plan(shop(*jobs, supplies=supplies))
    assert why_not(plan, "A-2") == "needs 310 g of PLA and 120 g is left: order 190 g"
    assert why_not(plan, "A-4") == "needs 2 sheets of 6061 3.175 mm and 1 sheet is left: order 1 sheet"
    assert why_not(plan, "A-5") == "needs 1 g of PETG and 0 g is left: order 1 g"
    # What the job without a place did not take is there for the next.
    assert {each.job for each in plan.jobs} == {"A-1", "A-3", "A-6"}


def test_one_job_that_names_a_material_twice_needs_the_sum() -> None:
    needs = (Need("PLA", 60.0, "g"), Need("PLA", 60.0, "g"))
    plan = make_plan(shop(job("A-1", needs=needs), supplies=(Supply("PLA", 100.0),)))
    assert why_not(plan, "A-1") == "needs 120 g of PLA and 100 g is left: order 20 g"


def test_a_job_may_use_now_what_a_delivery_replaces_in_time_and_no_more() -> None:
    # A-1 waits for the delivery of 100 g at 34 h and then takes 250 of 300 g; A-2 takes 40 of the 50 g to spare
    # at once; A-3 would take from A-1's.
    supplies = (Supply("PLA", 200.0, ((at(34), 100.0),)),)
    jobs = (
        job("A-1", 40, needs=(Need("PLA", 250.0, "g"),)),
        job("A-2", 41, needs=(Need("PLA", 40.0, "g"),)),
        job("A-3", 42, needs=(Need("PLA", 40.0, "g"),)),
    )
    plan = make_plan(shop(*jobs, supplies=supplies))
    assert times(plan, "A-1")[0] == at(34)
    assert times(plan, "A-2")[0] == at(9)
    assert why_not(plan, "A-3") == "needs 40 g of PLA and 10 g is left: order 30 g"


def test_a_running_job_stays_and_holds_its_machine_and_its_stock() -> None:
    running = job(
        "A-1",
        10,
        needs=(Need("PLA", 150.0, "g"),),
        running_on="P-1",
        running_since=at(7),
        running_until=at(18),
    )
    waiting = job("A-2", 9.5, needs=(Need("PLA", 100.0, "g"),))
    plan = make_plan(shop(running, waiting, supplies=(Supply("PLA", 200.0, ((at(35), 90.0),)),)))
    assert times(plan, "A-1") == (at(7), at(18), at(33))
    assert times(plan, "A-2") == (at(35), at(36), at(36))


def test_a_run_that_should_have_ended_is_unloaded_now() -> None:
    running = job("A-1", running_on="P-1", running_since=at(2), running_until=at(8))
    plan = make_plan(shop(running, job("A-2"), machines=(printer(hands_s=900),), as_of_h=10))
    assert times(plan, "A-1") == (at(2), at(10), at(10.25))
    assert times(plan, "A-2")[0] == at(10.25)


def test_a_machine_with_something_on_it_is_free_once_it_is_unloaded() -> None:
    busy = replace(printer(hands_s=1800), busy_until=at(11))
    assert times(make_plan(shop(job("A-1"), machines=(busy,))), "A-1")[0] == at(11.5)


def test_a_running_job_that_nobody_can_unload_keeps_its_machine() -> None:
    running = job("A-1", running_on="P-1", running_until=at(400))
    plan = make_plan(shop(running, job("A-2")))
    assert "nobody is there to unload it" in why_not(plan, "A-1")
    assert why_not(plan, "A-2").startswith("not before 2031-03-07 17:00 UTC")


def test_a_bought_part_is_ordered_at_once_and_arrives_after_its_lead_time() -> None:
    bought = replace(job("A-1", 80), choices=(), ordered_s=72 * H)
    later = replace(bought, job="A-2", not_before=at(12))
    waiting = job("A-3", after=("A-1",))
    plan = make_plan(shop(bought, later, waiting))
    assert times(plan, "A-1") == (at(9), at(81), at(81))
    assert place(plan, "A-1").machine is None
    assert times(plan, "A-2") == (at(12), at(84), at(84))
    assert times(plan, "A-3")[0] == at(81)


def test_a_bought_part_on_order_is_not_ordered_again() -> None:
    # Ordered at 3 h with 24 h of lead time: there at 27 h.
    on_order = replace(job("A-1"), choices=(), ordered_s=24 * H, running_since=at(3))
    assert times(make_plan(shop(on_order)), "A-1") == (at(3), at(27), at(27))
    promised = replace(on_order, running_until=at(30))
    assert times(make_plan(shop(promised)), "A-1") == (at(3), at(30), at(30))


def test_a_job_that_cannot_be_made_says_what_the_queue_said() -> None:
    plan = make_plan(shop(job("A-1", cannot="is on hold"), job("A-2", on="P-9"), job("A-3", hours=())))
    assert why_not(plan, "A-1") == "is on hold"
    assert why_not(plan, "A-2") == why_not(plan, "A-3") == "no machine of the shop can do it"


def test_a_machine_out_of_order_takes_nothing() -> None:
    broken = replace(printer(), out_of_order=True)
    both = (MachineChoice("P-1", (H,)), MachineChoice("P-2", (2 * H,)))
    plan = make_plan(shop(job("A-1"), replace(job("A-2"), choices=both), machines=(broken, printer("P-2"))))
    assert why_not(plan, "A-1") == "P-1 is out of order"
    assert place(plan, "A-2").machine == "P-2"


def test_a_load_longer_than_any_attended_hours_says_so_and_what_could_change_it() -> None:
    machines = (printer(unattended=False, hands_s=900), router())
    plan = make_plan(shop(job("A-1", hours=(8,)), job("A-2", on="R-1", hours=(8.5,)), machines=machines))
    assert why_not(plan, "A-1") == (
        "a load on P-1 takes 8 h 30 min with a person there from set-up to unloading, and the longest attended hours "
        "are 8 h: a responsible adult's permission to run it unattended could change that"
    )
    assert why_not(plan, "A-2") == (
        "a load on R-1 takes 8 h 30 min with a person there from set-up to unloading, "
        "and the longest attended hours are 8 h"
    )


def test_a_run_longer_than_its_permission_says_so() -> None:
    plan = make_plan(shop(job("A-1", hours=(25,)), machines=(printer(limit_h=12),)))
    assert why_not(plan, "A-1") == (
        "a run of 1 d 1 h on P-1 would go on with nobody there for longer than the 12 h that its permission allows"
    )


def test_a_set_up_longer_than_any_attended_hours_says_so() -> None:
    plan = make_plan(shop(job("A-1"), machines=(printer(hands_s=9 * H),)))
    assert why_not(plan, "A-1") == "setting up or unloading P-1 takes longer than the longest attended hours, 8 h"


def test_a_job_has_no_place_only_if_no_machine_can_hold_it() -> None:
    both = (MachineChoice("P-1", (9 * H,)), MachineChoice("P-2", (9 * H,)))
    machines = (printer(unattended=False), printer("P-2"))
    assert place(make_plan(shop(replace(job("A-1"), choices=both), machines=machines)), "A-1").machine == "P-2"


def test_a_job_past_the_hours_planned_says_from_when() -> None:
    end = "not before 2031-03-03 17:00 UTC, where the hours planned end"
    today = WEEK[:1]
    taken = make_plan(shop(job("A-1", 12, hours=(6,)), job("A-2", 13, hours=(5,)), windows=today))
    assert why_not(taken, "A-2") == f"{end}: P-1 has no room for it earlier"
    long = make_plan(shop(job("A-1", hours=(5, 5)), windows=today))
    assert why_not(long, "A-1") == f"{end}: even alone on P-1 it takes longer"
    late = make_plan(shop(job("A-1", not_before=at(16.5)), windows=today))
    assert why_not(late, "A-1") == f"{end}: it may not start before 2031-03-03 16:30 UTC"
    supplies = (Supply("PLA", 0.0, ((at(30), 50.0),)),)
    stock = make_plan(shop(job("A-1", needs=(Need("PLA", 50.0, "g"),)), windows=today, supplies=supplies))
    assert why_not(stock, "A-1") == f"{end}: it waits for 50 g of PLA until 2031-03-04 06:00 UTC"
    after = make_plan(shop(job("A-1", hours=(8,)), job("A-2", on="R-1", after=("A-1",)), windows=today))
    assert why_not(after, "A-2") == f"{end}: it waits for A-1, unloaded 2031-03-03 17:00 UTC"
    nobody = make_plan(shop(job("A-1"), windows=()))
    assert "nobody is in the shop" in why_not(nobody, "A-1")


def test_reasons_are_written_on_the_shops_clock() -> None:
    # Tokyo is UTC+9. Source: tz database.
    problem = replace(shop(job("A-1", not_before=at(16.5)), windows=WEEK[:1]), zone="Asia/Tokyo")
    assert "2031-03-04 01:30 JST" in why_not(make_plan(problem), "A-1")
    with pytest.raises(BadSettings, match="Mars"):
        make_plan(replace(problem, zone="Mars/Base"))


@pytest.mark.parametrize("run_s", [float("nan"), float("inf"), -1.0, 1e12])
def test_a_figure_that_cannot_be_leaves_its_job_alone_without_a_place(run_s: float) -> None:
    wrong = replace(job("A-1", 12), choices=(MachineChoice("P-1", (run_s,)),))
    wrong_order = replace(job("A-3", 12), choices=(), ordered_s=run_s)
    plan = make_plan(shop(wrong, job("A-2"), wrong_order))
    assert "estimate it again" in why_not(plan, "A-1")
    assert "estimate it again" in why_not(plan, "A-3")
    assert times(plan, "A-2")[0] == at(9)


def test_two_jobs_or_two_machines_of_one_name_are_refused() -> None:
    with pytest.raises(NotAllowed, match="A-1"):
        make_plan(shop(job("A-1"), job("A-1")))
    with pytest.raises(NotAllowed, match="P-1"):
        make_plan(shop(machines=(printer(), printer())))


def test_parts_of_a_second_are_rounded_up() -> None:
    odd = replace(job("A-1"), choices=(MachineChoice("P-1", (59.2, 0.1)),))
    problem = shop(odd, machines=(replace(printer(), set_up_s=0.5, unload_s=0.0),))
    plan = make_plan(problem)
    # 1 + 60 s, then 1 + 1 s.
    assert place(plan, "A-1").unload == at(9) + timedelta(seconds=63)
    assert violations(problem, plan) == ()


def test_the_sums_of_a_plan() -> None:
    # A-1 is done at 13, 2 h late, weight 3; A-2 at 15, 1 h late, weight 1; A-3 has no due date.
    jobs = (job("A-1", 11, hours=(4,), weight=3.0), job("A-2", 14, hours=(2,)), job("A-3", hours=(2,)))
    plan = make_plan(shop(*jobs))
    assert [each.late_s for each in plan.jobs] == [2 * H, 1 * H, 0.0]
    assert plan.weighted_lateness_h == pytest.approx(7.0)
    assert plan.ready_by == at(17)
    assert plan.status == "best found"
    empty = make_plan(shop())
    assert (empty.ready_by, empty.weighted_lateness_h, empty.jobs, empty.unplaced) == (None, 0, (), ())


def test_windows_that_have_passed_are_not_used() -> None:
    plan = make_plan(shop(job("A-1"), windows=(window(1, 8), window(8.5, 10.5), *WEEK[1:]), as_of_h=9))
    assert times(plan, "A-1") == (at(9), at(10), at(10))
