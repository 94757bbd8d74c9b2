"""Loads that the shop's hours can hold: a machine that may not run unattended is not always filled."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

from register.domain.estimates import PrintedEstimate, PrintedVolumes
from register.domain.jobs import Job, JobState
from register.domain.machines import Machine, PrintSettings, UnattendedPermission
from register.domain.parts import Process
from register.domain.plans import JobWork, MachineChoice, MachineDay, MachineLoads, PlanJob, PlanProblem, Window
from register.domain.shop import Shop, ShopSettings
from register.plan.checker import violations
from register.plan.dispatch import make_plan
from register.plan.problem import ways_by_hours

HOUR = 3600.0
NOON = datetime(2031, 3, 4, 12, tzinfo=UTC)
PRINTER = Machine("Wren", Process.PRINTED, (200.0, 200.0, 200.0), set_up_s=600.0, unload_s=300.0)
SETTINGS = ShopSettings(Shop("Shed", print_settings=replace(PrintSettings(), heating_s=240.0)), (PRINTER,))
# Heating of 240 s and 5,400 s a piece.
ESTIMATE = PrintedEstimate(
    "printed", "0" * 64, 12, (60.0, 60.0, 20.0), 1.0, 1.0, True, 1, "PLA", "", "Wren", 100,
    PrintedVolumes(0.0, 0.0, 0.0, 0.0, 0.0, 0.0), 25.0, 8000.0, 5640.0, 5000.0, 6000.0, 0, (),
)  # fmt: skip
WORK = JobWork(Job("A-1", "RV-1", "A", Process.PRINTED, 4, JobState.QUEUED), ESTIMATE, (), ())


def ways(machine: Machine, *spans_h: float) -> list[tuple[int, ...]]:
    spans_s = [each * HOUR for each in spans_h]
    return [each.pieces for each in ways_by_hours(WORK, MachineLoads("Wren", (4,)), SETTINGS, machine, spans_s)]


def test_an_evening_that_holds_two_pieces_offers_loads_of_two() -> None:
    # 4.5 h = 16,200 s, less 900 s of hands and 240 s of heating, leave 15,060 s: two pieces of 5,400 s.
    assert ways(PRINTER, 4.5) == [(4,), (2, 2)]
    # 6 h leave 20,460 s: three pieces; 7 h leave 24,060 s: all four, a way that is there already.
    assert ways(PRINTER, 4.5, 6.0, 7.0) == [(4,), (2, 2), (3, 1)]


def test_a_span_that_holds_not_one_piece_offers_nothing() -> None:
    # 1.5 h = 5,400 s, the piece alone.
    assert ways(PRINTER, 1.5) == [(4,)]


def test_a_machine_with_leave_to_run_unattended_is_filled() -> None:
    leave = UnattendedPermission("Ragna Kvarts", NOON, "alarm tested", 14.0)
    assert ways(replace(PRINTER, permission=leave), 4.5) == [(4,)]


def test_two_evenings_are_taken_where_one_cannot_hold_the_full_bed() -> None:
    evenings = tuple(Window(NOON + timedelta(days=day), NOON + timedelta(days=day, hours=4)) for day in range(3))
    saturday = Window(NOON + timedelta(days=5), NOON + timedelta(days=5, hours=7))
    choices = (MachineChoice("Wren", (6 * HOUR,)), MachineChoice("Wren", (3 * HOUR, 3 * HOUR)))
    job = PlanJob("A-1", "RV-1", "A", NOON + timedelta(days=2), 1.0, choices)
    problem = PlanProblem(NOON, (*evenings, saturday), (MachineDay("Wren", unattended=False),), (job,))
    plan = make_plan(problem)
    (planned,) = plan.jobs
    assert [load.run for load in planned.loads] == [NOON, NOON + timedelta(days=1)]
    assert planned.late_s == 0
    assert violations(problem, plan) == ()
    cut_short = replace(planned, loads=planned.loads[:1], end=planned.loads[0].end, unload=planned.loads[0].unload)
    assert violations(problem, replace(plan, jobs=(cut_short,), ready_by=cut_short.unload)) != ()
