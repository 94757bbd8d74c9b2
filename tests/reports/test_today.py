"""The page of the day: what is loaded next, from when to when nobody is there, and what runs meanwhile."""

import io
from datetime import UTC, date, datetime, time, timedelta

import pytest
from rich.console import Console

from register.domain.jobs import Job, JobState
from register.domain.machines import Machine, UnattendedPermission
from register.domain.parts import Process
from register.domain.plans import Plan, PlannedJob, PlannedLoad, Unplaced
from register.domain.shop import HoursException, OpenHours, Shop, ShopSettings
from register.reports.plan import plan_report
from register.reports.today import ShopToday, closed_span, next_loads, state_of_the_shop

# Tuesday 4 March 2031; the shop keeps UTC, so that times read as they are written.
NOON = datetime(2031, 3, 4, 12, 0, tzinfo=UTC)
LEAVE = UnattendedPermission("Ragna", NOON, "alarm tested", 14.0)


def at(day: int, hour: int, minute: int = 0) -> datetime:
    return datetime(2031, 3, day, hour, minute, tzinfo=UTC)


def shop(*machines: Machine, **said: object) -> ShopSettings:
    """Open on Tuesdays to Thursdays, 16:00 to 20:30."""
    hours = tuple(OpenHours(weekday, time(16), time(20, 30)) for weekday in (1, 2, 3))
    return ShopSettings(Shop("Shed", "UTC", hours=hours, **said), machines)  # type: ignore[arg-type]


def printer(name: str, leave: bool = False, broken: bool = False) -> Machine:
    return Machine(
        name, Process.PRINTED, (200.0, 200.0, 200.0), permission=LEAVE if leave else None, out_of_order=broken
    )


def planned(
    number: str, machine: str | None, start: datetime, end: datetime, unload: datetime, loads: int = 1
) -> PlannedJob:
    """A job of `loads` loads of the same length with nothing between them."""
    each = (end - start) / max(loads, 1)
    spans = [(start + each * place, start + each * (place + 1)) for place in range(loads)]
    made = tuple(PlannedLoad(begin, begin, done, unload if done == end else done) for begin, done in spans)
    return PlannedJob(number, "RV-1", "A", machine, start, end, unload, None, 0.0, "", made)


def page(*jobs: PlannedJob, settings: ShopSettings, now: datetime = NOON, kept: tuple[Job, ...] = ()) -> str:
    plan = Plan(now, "best found", 0.0, max((job.unload for job in jobs), default=None), jobs, ())
    today = ShopToday(now, settings, None, plan, kept, {"RV-1": "Hub"}, ())
    console = Console(file=io.StringIO(), width=120)
    with console.capture() as captured:
        console.print(state_of_the_shop(today))
    return captured.get()


def lines_of(text: str, heading: str) -> list[str]:
    below = text.split(f"\n{heading}", 1)[1].split("\n", 1)[1].split("\n\n", 1)[0]
    return [" ".join(line.split()) for line in below.splitlines()]


def test_next_load_of_a_machine_is_its_earliest_and_one_that_runs_is_none() -> None:
    running = planned("A-1", "Lark", at(4, 10), at(4, 17), at(4, 17), loads=0)
    later = planned("A-2", "Lark", at(5, 16), at(5, 18), at(5, 18))
    sooner = planned("A-3", "Lark", at(4, 17), at(4, 19), at(4, 19))
    ordered = planned("A-4", None, at(4, 12), at(9, 12), at(9, 12), loads=0)
    plan = Plan(NOON, "best found", 0.0, None, (running, later, sooner, ordered), ())
    assert [job.job for job in next_loads(plan)] == ["A-3"]


@pytest.mark.parametrize(
    ("now", "opens", "closes"),
    [
        (at(4, 12), at(4, 20, 30), at(5, 16)),
        (at(4, 17), at(4, 20, 30), at(5, 16)),
        (at(4, 20, 30), at(5, 20, 30), at(6, 16)),
        # From Thursday's closing to Tuesday's opening.
        (at(6, 18), at(6, 20, 30), at(11, 16)),
    ],
)
def test_nobody_is_there_from_the_next_closing_to_the_opening_after(
    now: datetime, opens: datetime, closes: datetime
) -> None:
    span = closed_span(shop(), now)
    assert span is not None and (span.opens, span.closes) == (opens, closes)


def test_day_that_is_closed_is_passed_over() -> None:
    span = closed_span(shop(exceptions=(HoursException(date(2031, 3, 5)),)), NOON)
    assert span is not None and (span.opens, span.closes) == (at(4, 20, 30), at(6, 16))


def test_shop_without_hours_says_so() -> None:
    assert closed_span(ShopSettings(Shop("Shed")), NOON) is None
    assert "No attended hours are set" in page(settings=ShopSettings(Shop("Shed")))


def test_loads_are_told_by_machine_now_or_when() -> None:
    settings = shop(printer("Lark"), printer("Wren"), printer("Robin", broken=True), printer("Finch"))
    kept = (Job("A-2", "RV-1", "A", Process.PRINTED, 5, JobState.QUEUED, scrapped=1),)
    text = page(
        planned("A-1", "Wren", at(4, 10), at(4, 17), at(4, 17, 5), loads=0),
        planned("A-2", "Lark", at(4, 16), at(4, 18), at(4, 18, 5), loads=2),
        planned("A-3", "Wren", at(5, 16), at(5, 18), at(5, 18, 5)),
        settings=settings,
        now=at(4, 16),
        kept=kept,
    )
    assert lines_of(text, "LOAD NOW") == [
        # The first of two loads of an hour each is off at 17:00.
        "Lark A-2 4 × RV-1 A Hub now, unload 17:00, the first of 2 loads",
        "Wren A-3 RV-1 A Hub runs A-1 until 17:00; then at Wed 5 Mar 16:00, unload Wed 5 Mar 18:05",
        "Robin out of order",
        "Finch nothing to load",
    ]


def test_job_whose_time_is_over_should_be_done() -> None:
    text = page(
        planned("A-1", "Wren", at(4, 10), at(4, 16), at(4, 16, 5), loads=0),
        settings=shop(printer("Wren")),
        now=at(4, 16),
    )
    assert lines_of(text, "LOAD NOW") == ["Wren A-1 should be done; then nothing to load"]


def test_what_is_ordered_is_told_once_it_is_due_and_until_it_is_ordered() -> None:
    waits = planned("A-1", None, at(4, 12), at(9, 12), at(9, 12), loads=0)
    later = planned("A-2", None, at(5, 12), at(10, 12), at(10, 12), loads=0)
    queued = Job("A-1", "RV-1", "A", Process.BOUGHT, 2, JobState.QUEUED)
    ordered = Job("A-1", "RV-1", "A", Process.BOUGHT, 2, JobState.RUNNING, started_at=NOON)
    assert lines_of(page(waits, later, settings=shop(), kept=(queued,)), "LOAD NOW") == [
        "order A-1 2 × RV-1 A Hub now, comes Sun 9 Mar 12:00"
    ]
    assert lines_of(page(waits, settings=shop(), kept=(ordered,)), "LOAD NOW") == ["Nothing."]


def test_what_runs_past_closing_is_told_and_what_may_not_run_alone() -> None:
    settings = shop(printer("Lark", leave=True), printer("Finch", leave=True), printer("Wren"))
    text = page(
        planned("A-1", "Lark", at(4, 19), at(5, 6, 30), at(5, 16, 5)),
        # Off before the shop closes.
        planned("A-2", "Wren", at(4, 17), at(4, 19), at(4, 19, 5)),
        settings=settings,
    )
    assert "\nTONIGHT, Tue 4 Mar 20:30 to Wed 5 Mar 16:00" in text
    assert lines_of(text, "TONIGHT") == [
        "Lark A-1 RV-1 A Hub load 19:00, runs alone until Wed 5 Mar 06:30, unload Wed 5 Mar 16:05",
        "Finch may run alone, but nothing is planned; Wren may not run with nobody there.",
    ]


def test_long_closing_is_not_called_a_night() -> None:
    text = page(settings=shop(printer("Wren")), now=at(6, 18))
    assert "\nCLOSED, Thu 6 Mar 20:30 to Tue 11 Mar 16:00" in text and "TONIGHT" not in text


def test_plan_report_answers_whether_all_will_be_ready() -> None:
    def words(plan: Plan) -> str:
        console = Console(file=io.StringIO(), width=120)
        with console.capture() as captured:
            console.print(plan_report(plan, (), "UTC"))
        return captured.get()

    good = planned("A-1", "Lark", at(4, 16), at(4, 18), at(4, 18, 5))
    assert "Yes: 1 job, all on time. What is placed is ready Tue 4 Mar 18:05." in words(
        Plan(NOON, "best found", 0.0, good.unload, (good,), ())
    )
    bad = Plan(NOON, "best found", 0.0, good.unload, (good,), (Unplaced("A-2", "no sheet is left"),))
    said = words(bad)
    assert "No: 1 not placed, 1 on time." in said and "NOT PLACED  no sheet is left" in said
    late = PlannedJob(
        *("A-3", "RV-1", "A", "Lark", at(4, 16), at(6, 16), at(6, 16)),
        NOON,
        timedelta(days=2, hours=4).total_seconds(),
        "w",
    )
    assert "LATE 2 d 4 h  w" in words(Plan(NOON, "best found", 52.0, late.unload, (late,), ()))
    assert "Nothing is queued." in words(Plan(NOON, "best found", 0.0, None, (), ()))
