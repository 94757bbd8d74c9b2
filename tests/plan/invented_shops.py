"""Shops for the tests of the plan: one to write by hand, and any number drawn at random."""

import random
from dataclasses import replace
from datetime import UTC, datetime, timedelta

from register.domain.plans import MachineChoice, MachineDay, Need, PlanJob, PlanProblem, Supply, Window

MONDAY = datetime(2031, 3, 3, tzinfo=UTC)
H = 3600.0


def at(hour: float) -> datetime:
    """`hour` hours after midnight of the Monday."""
    return MONDAY + timedelta(hours=hour)


def window(opens_h: float, closes_h: float) -> Window:
    return Window(at(opens_h), at(closes_h))


# Monday to Friday 9 to 17.
WEEK = tuple(window(24 * day + 9, 24 * day + 17) for day in range(5))


def printer(
    name: str = "P-1", unattended: bool = True, limit_h: float | None = None, hands_s: float = 0.0
) -> MachineDay:
    return MachineDay(name, unattended, None if limit_h is None else limit_h * H, hands_s, hands_s)


def router(name: str = "R-1", hands_s: float = 0.0) -> MachineDay:
    return MachineDay(name, False, None, hands_s, hands_s, router=True)


def job(
    number: str, due_h: float | None = None, on: str = "P-1", hours: tuple[float, ...] = (1.0,), **more: object
) -> PlanJob:
    """A job with one machine and the hours of its loads there."""
    plain = PlanJob(
        number,
        "PT-1",
        "A",
        None if due_h is None else at(due_h),
        1.0,
        choices=(MachineChoice(on, tuple(each * H for each in hours)),),
    )
    return replace(plain, **more)  # type: ignore[arg-type]


def shop(
    *jobs: PlanJob,
    machines: tuple[MachineDay, ...] = (printer(), router()),
    windows: tuple[Window, ...] = WEEK,
    supplies: tuple[Supply, ...] = (),
    as_of_h: float = 9,
) -> PlanProblem:
    return PlanProblem(at(as_of_h), windows, machines, jobs, supplies)


def drawn_shop(
    seed: int, job_count: int | None = None, machine_count: int | None = None, days: int = 21
) -> PlanProblem:
    """A shop drawn at random, with everything that a plan has to do with: hours, permissions, stock, orders, rings."""
    draw = random.Random(seed)
    as_of = MONDAY + timedelta(seconds=draw.randrange(0, 86400 * 3), microseconds=draw.choice([0, 0, 250_000]))
    machines = tuple(_drawn_machine(draw, index, as_of) for index in range(machine_count or draw.randint(1, 4)))
    count = job_count or draw.randint(1, 14)
    jobs = tuple(_drawn_job(draw, index, count, machines, as_of) for index in range(count))
    if draw.random() < 0.5:
        jobs = _with_running(draw, jobs, machines, as_of)
    share = 0.25 * count / 8
    supplies = tuple(
        Supply(
            material,
            round(draw.uniform(0, 3000) * share, 1),
            tuple(
                (as_of + timedelta(days=day), draw.uniform(0, 2000) * share)
                for day in sorted(draw.sample(range(9), draw.randint(0, 3)))
            ),
        )
        for material in ("PLA", "PETG")
    )
    return PlanProblem(as_of, _drawn_windows(draw, days), machines, jobs, supplies)


def _drawn_windows(draw: random.Random, days: int) -> tuple[Window, ...]:
    windows = []
    for day in range(days):
        if draw.random() < 0.2:
            continue
        opens = draw.choice([7.0, 9.0, 15.5])
        closes = opens + draw.choice([1.0, 3.0, 8.0])
        windows.append(window(24 * day + opens, 24 * day + closes))
        if closes < 19 and draw.random() < 0.5:
            windows.append(
                window(24 * day + closes + draw.choice([0.25, 1.0]), 24 * day + closes + draw.choice([2.0, 4.5]))
            )
    return tuple(windows)


def _drawn_machine(draw: random.Random, index: int, as_of: datetime) -> MachineDay:
    is_router = draw.random() < 0.25
    return MachineDay(
        f"M-{index}",
        unattended=draw.random() < 0.6,
        longest_unattended_s=draw.choice([None, 4 * H, 12 * H, 20 * H]),
        set_up_s=draw.choice([0.0, 300.0, 611.5]),
        unload_s=draw.choice([0.0, 120.0, 333.3]),
        out_of_order=draw.random() < 0.08,
        busy_until=as_of + timedelta(hours=draw.uniform(-2, 30)) if draw.random() < 0.2 else None,
        router=is_router,
    )


def _drawn_job(
    draw: random.Random, index: int, count: int, machines: tuple[MachineDay, ...], as_of: datetime
) -> PlanJob:
    able = draw.sample(machines, draw.randint(1, len(machines)))
    loads = draw.randint(1, 3)
    base_s = draw.choice([0.3, 1.0, 2.5, 6.0, 15.0]) * H
    share = 0.5 / count
    after = [
        f"A-{other}"
        for other in range(count)
        if other != index and draw.random() < (share if other < index else share / 8)
    ]
    bought = draw.random() < 0.1
    return PlanJob(
        f"A-{index}",
        f"PT-{index}",
        "A",
        None if draw.random() < 0.15 else as_of + timedelta(hours=draw.uniform(-5, 160)),
        draw.choice([1.0, 1.0, 3.0]),
        choices=()
        if bought
        else tuple(
            MachineChoice(each.name, tuple(base_s * draw.uniform(0.8, 1.2) for _ in range(loads))) for each in able
        ),
        needs=()
        if bought
        else tuple(
            Need(each, draw.uniform(5, 400), "g") for each in draw.sample(["PLA", "PETG"], draw.choice([0, 1, 1, 2]))
        ),
        after=tuple(after),
        not_before=as_of + timedelta(hours=draw.uniform(-10, 60)) if draw.random() < 0.2 else None,
        ordered_s=draw.uniform(1, 10) * 86400 if bought else None,
        cannot="is on hold" if draw.random() < 0.05 else "",
    )


def _with_running(
    draw: random.Random, jobs: tuple[PlanJob, ...], machines: tuple[MachineDay, ...], as_of: datetime
) -> tuple[PlanJob, ...]:
    first, *others = jobs
    running = replace(
        first,
        running_on=None if first.ordered_s is not None else draw.choice(machines).name,
        running_since=as_of - timedelta(hours=2),
        running_until=as_of + timedelta(hours=draw.uniform(-1, 20)),
    )
    return (running, *others)
