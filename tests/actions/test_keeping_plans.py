"""The plan: by the rules, kept whole, outdated by any change, and never kept over a register that moved meanwhile."""

import math
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from register.actions import history, jobs, parts, planning, revisions, robots, shop, spares
from register.domain.estimates import PrintedEstimate
from register.domain.part_views import RevisionRequest
from register.domain.parts import Process
from register.errors import Cancelled, StaleEdit
from register.opening import Register
from tests.geometry.stl_bytes import binary, box
from tests.shops import (
    CLAW_B,
    NOON,
    PART,
    SHOP_TOML,
    SetClock,
    add_sheet,
    add_spool,
    dumped,
    logged,
    printed,
    released,
    running_job,
    wear_register,
)

# The shop opens on Tuesday at 16:00 in Oslo, which is 15:00 UTC in March, and closes at 20:30.
OPENS = datetime(2031, 3, 4, 15, 0, tzinfo=UTC)


@pytest.fixture
def clock() -> SetClock:
    return SetClock()


@pytest.fixture
def register(tmp_path: Path, clock: SetClock) -> Register:
    register = wear_register(tmp_path / "register", clock, on_hand=0)
    add_spool(register, "PLA-1", 1000.0)
    return register


def unplaced(register: Register) -> dict[str, str]:
    return {each.job: each.why for each in planning.plan_jobs(register).unplaced}


def test_single_print_is_set_up_when_the_shop_opens_and_unloaded_when_it_is_done(register: Register) -> None:
    number = jobs.add_job(register, PART, None, 1, machine="Lark").number
    plan = planning.plan_jobs(register)
    estimate = parts.show_part(register, PART).estimates["A"]
    assert isinstance(estimate, PrintedEstimate)
    (job,) = plan.jobs
    # Lark: 600 s of set-up, one run of the estimate's length, 300 s to unload; all within the evening.
    run_s = math.ceil(estimate.duration_s)
    assert (job.job, job.machine, job.start) == (number, "Lark", OPENS)
    assert job.end == OPENS + timedelta(seconds=600 + run_s)
    assert job.unload == job.end + timedelta(seconds=300)
    assert (plan.as_of, plan.ready_by, plan.unplaced) == (NOON, job.unload, ())


def test_kept_plan_is_the_plan_that_was_made(register: Register) -> None:
    assert planning.kept_plan(register) is None
    for due in (None, NOON, OPENS + timedelta(days=9)):
        jobs.add_job(register, PART, None, 3, due=due)
    jobs.hold_job(register, jobs.add_job(register, PART, None, 1).number, "waits")
    running_job(register)
    plan = planning.plan_jobs(register)
    assert len(plan.jobs) == 4
    assert any(job.why_late for job in plan.jobs)
    kept = planning.kept_plan(register)
    assert kept is not None
    assert (kept.plan, kept.outdated) == (plan, False)


def test_any_change_after_it_makes_the_kept_plan_outdated_and_a_new_plan_makes_it_good(register: Register) -> None:
    jobs.add_job(register, PART, None, 1)
    planning.plan_jobs(register)
    robots.add_robot(register, "Chert")
    kept = planning.kept_plan(register)
    assert kept is not None
    assert kept.outdated
    planning.plan_jobs(register)
    kept = planning.kept_plan(register)
    assert kept is not None
    assert not kept.outdated


def test_plan_can_be_undone_by_its_number(register: Register) -> None:
    jobs.add_job(register, PART, None, 1)
    first = planning.plan_jobs(register)
    jobs.add_job(register, PART, None, 1)
    planning.plan_jobs(register)
    history.undo(register, history.list_operations(register)[0].number)
    kept = planning.kept_plan(register)
    assert kept is not None
    assert (kept.plan, kept.outdated) == (first, True)


def test_plan_over_a_register_that_moved_meanwhile_is_stale_and_not_kept(register: Register) -> None:
    jobs.add_job(register, PART, None, 1)
    added: list[int] = []

    def somebody_adds_a_spare_meanwhile() -> bool:
        if not added:
            added.append(spares.add_spares(register, PART, "A", 1, "shelf"))
        return False

    with pytest.raises(StaleEdit, match="changed while the plan was made"):
        planning.plan_jobs(register, apart=True, stopped=somebody_adds_a_spare_meanwhile)
    assert planning.kept_plan(register) is None
    assert history.list_operations(register, 1)[0].why.startswith("add 1 of CL-1")


def test_plan_that_was_stopped_is_not_kept(register: Register) -> None:
    jobs.add_job(register, PART, None, 1)
    before = dumped(register)
    with pytest.raises(Cancelled):
        planning.plan_jobs(register, apart=True, stopped=lambda: True)
    assert dumped(register) == before


def test_plan_made_apart_is_the_plan_made_here(register: Register) -> None:
    for _ in range(3):
        jobs.add_job(register, PART, None, 2)
    assert planning.plan_jobs(register, apart=True) == planning.plan_jobs(register)


def test_job_on_hold_of_a_draft_or_of_a_superseded_revision_is_unplaced_with_the_reason(register: Register) -> None:
    held = jobs.hold_job(register, jobs.add_job(register, PART, None, 1).number, "waits for the tip").number
    old = jobs.add_job(register, PART, "A", 1).number
    running = running_job(register)
    logged(register, printed(), CLAW_B)
    draft = jobs.add_job(register, PART, "B", 1).number
    assert unplaced(register) == {
        held: "it is on hold: waits for the tip",
        draft: "revision B is still a draft: release it first",
    }
    revisions.release_revision(register, PART, "B")
    plan = planning.plan_jobs(register)
    assert {each.job: each.why for each in plan.unplaced} == {
        held: "it is on hold: waits for the tip",
        old: "revision A is superseded: queue the released one",
    }
    # What is on its machine already goes on.
    assert {each.job for each in plan.jobs} == {running, draft}


def test_print_waits_for_the_spool_that_is_on_order(tmp_path: Path) -> None:
    register = wear_register(tmp_path / "register", on_hand=0)
    number = jobs.add_job(register, PART, None, 1).number
    assert "PLA" in unplaced(register)[number]
    arrives = OPENS + timedelta(days=1, hours=1)
    add_spool(register, "on order", 1000.0, arrives=arrives)
    (job,) = planning.plan_jobs(register).jobs
    assert job.start == arrives


@pytest.fixture
def plates(register: Register) -> Register:
    """A shop that also routes a plate of 120 × 60 mm from 3.175 mm sheet."""
    parts.add_part(register, "PL-1", "Plate", False)
    request = RevisionRequest("PL-1", Process.ROUTED, "plate.stl", "6061", 3.175, unit="mm")
    released(register, request, binary(box(120.0, 60.0, 3.175)))
    return register


def test_offcut_serves_one_job_and_the_next_needs_a_sheet(plates: Register) -> None:
    first, second = (jobs.add_job(plates, "PL-1", None, 1, due=NOON + timedelta(days=d)).number for d in (9, 8))
    add_sheet(plates, "offcut", 1.0, (160.0, 90.0), form="offcut")
    # The offcut goes to the job that is due first.
    assert "sheet" in unplaced(plates)[first]
    assert second not in unplaced(plates)
    # 18 pieces come from a sheet of 610 × 305, so an eighteenth of one is enough.
    add_sheet(plates, "sheet", 1 / 18, (610.0, 305.0))
    assert unplaced(plates) == {}


def test_offcut_that_has_not_arrived_serves_nobody(plates: Register) -> None:
    number = jobs.add_job(plates, "PL-1", None, 1).number
    add_sheet(plates, "offcut", 1.0, (160.0, 90.0), form="offcut", arrives=NOON + timedelta(days=1))
    assert set(unplaced(plates)) == {number}


def test_used_up_large_sheets_do_not_hide_the_small_ones_that_are_left(plates: Register) -> None:
    large = add_sheet(plates, "large", 1.0, (610.0, 305.0))
    add_sheet(plates, "small", 0.5, (300.0, 305.0))
    # 18 pieces from the large sheet; 8 from a small one, so half of one gives 4.
    number = jobs.start_job(plates, jobs.add_job(plates, "PL-1", None, 18).number).number
    assert jobs.made_job(plates, number)[1] is not None
    jobs.add_job(plates, "PL-1", None, 4)
    assert unplaced(plates) == {}
    jobs.add_job(plates, "PL-1", None, 1)
    assert len(unplaced(plates)) == 1
    assert large.amount == 1.0


def test_running_job_holds_its_machine_until_it_is_unloaded(register: Register, clock: SetClock) -> None:
    clock.now = OPENS
    running = running_job(register, 5)
    clock.after(minutes=10)
    jobs.add_job(register, PART, None, 1, machine="Lark")
    plan = planning.plan_jobs(register)
    by_job = {each.job: each for each in plan.jobs}
    assert by_job[running].machine == "Lark"
    assert by_job["A-2"].start >= by_job[running].unload > clock.now


def test_machine_that_the_shop_gave_away_leaves_a_plan_that_still_keeps_the_rules(register: Register) -> None:
    running_job(register, machine="Wren")
    named = jobs.add_job(register, PART, None, 1, machine="Wren").number
    free = jobs.add_job(register, PART, None, 1).number
    shop.set_up_shop(register, SHOP_TOML.replace(b'"Wren"', b'"Kestrel"'), "shop.toml")
    plan = planning.plan_jobs(register)
    assert "There is no machine 'Wren'" in {each.job: each.why for each in plan.unplaced}[named]
    assert free in {each.job for each in plan.jobs}


def test_bought_parts_are_ordered_at_once_and_come_after_their_lead_time(register: Register) -> None:
    parts.add_part(register, "B-1", "Bearing", True)
    released(register, RevisionRequest("B-1", Process.BOUGHT, unit_cost_cents=100, lead_days=3), None)
    jobs.add_job(register, "B-1", None, 4)
    (job,) = planning.plan_jobs(register).jobs
    assert (job.machine, job.start, job.end) == (None, NOON, NOON + timedelta(days=3))


def test_plan_of_nothing_is_empty_and_kept(register: Register) -> None:
    plan = planning.plan_jobs(register)
    assert (plan.jobs, plan.unplaced, plan.ready_by, plan.weighted_lateness_h) == ((), (), None, 0.0)
    kept = planning.kept_plan(register)
    assert kept is not None
    assert kept.plan == plan


def test_undo_passes_over_a_plan_and_takes_back_what_was_done_before_it(register: Register) -> None:
    spares.add_spares(register, PART, "A", 1, "shelf")
    planning.plan_jobs(register)
    assert history.undo(register).why == f"add 1 of {PART} at shelf"


def test_a_plan_that_is_only_looked_at_leaves_the_kept_one_and_the_history_alone(register: Register) -> None:
    planning.plan_jobs(register)
    before = history.list_operations(register)
    planning.plan_jobs(register, keep=False)
    assert history.list_operations(register) == before
