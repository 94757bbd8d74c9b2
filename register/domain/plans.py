"""The plan: what goes in (jobs, machines, hours, stock) and what comes out, all plain values in UTC."""

from dataclasses import dataclass
from datetime import datetime

from register.domain.estimates import Estimate
from register.domain.jobs import Job


@dataclass(frozen=True)
class Window:
    """A span of attended time, UTC, closed at the start and open at the end."""

    opens: datetime
    closes: datetime


@dataclass(frozen=True)
class MachineDay:
    """A machine as the planner sees it.

    `unattended` says whether a run may go on with nobody there, and `longest_unattended_s` for how long at a stretch
    (None: no limit); a `router` never runs unattended, whatever `unattended` says. `busy_until` is when what runs on
    it now must be unloaded at the earliest.
    """

    name: str
    unattended: bool
    longest_unattended_s: float | None = None
    set_up_s: float = 0.0
    unload_s: float = 0.0
    out_of_order: bool = False
    busy_until: datetime | None = None
    router: bool = False


@dataclass(frozen=True)
class MachineChoice:
    """A machine that can do a job, with the duration in seconds of each load that the job needs there, in order."""

    machine: str
    loads_s: tuple[float, ...]


@dataclass(frozen=True)
class Need:
    """What a job takes from stock: `amount` of `material` ("PLA", "6061 3.175 mm") in `unit`, g or sheets."""

    material: str
    amount: float
    unit: str


@dataclass(frozen=True)
class Supply:
    """What stock holds of one material: `on_hand` now, and `(time, amount)` still to arrive, ascending."""

    material: str
    on_hand: float
    arrivals: tuple[tuple[datetime, float], ...] = ()


@dataclass(frozen=True)
class PlanJob:
    """A job as the planner sees it.

    `choices` are the machines that can do it (none: `cannot` says why); `after` names jobs that must be unloaded first
    (one that is not in the problem counts as done); `not_before` is when it may start at the earliest; `ordered_s` is
    the lead time in seconds of a bought part, which needs no machine; `running_on` and `running_until` hold a job that
    is on its machine now (a bought part that is on order has `running_until` alone).
    """

    job: str
    part: str
    revision: str
    due: datetime | None
    weight: float
    choices: tuple[MachineChoice, ...] = ()
    needs: tuple[Need, ...] = ()
    after: tuple[str, ...] = ()
    not_before: datetime | None = None
    ordered_s: float | None = None
    cannot: str = ""
    running_on: str | None = None
    running_since: datetime | None = None
    running_until: datetime | None = None


@dataclass(frozen=True)
class MachineLoads:
    """How a job would go onto one machine: the pieces in each load, in order."""

    machine: str
    pieces: tuple[int, ...]


@dataclass(frozen=True)
class JobWork:
    """An open job with all that the planner's view of it is made from.

    `loads` are its ways onto machines, `needs` what it takes from stock; `cannot` says why it cannot be placed, if so.
    """

    job: Job
    estimate: Estimate
    loads: tuple[MachineLoads, ...]
    needs: tuple[Need, ...]
    cannot: str = ""


@dataclass(frozen=True)
class PlanProblem:
    """Everything that a plan is made from; `windows` are the attended hours, ascending and apart.

    `zone` is the tz database name in which the plan's reasons write a time; every other time is UTC.
    """

    as_of: datetime
    windows: tuple[Window, ...]
    machines: tuple[MachineDay, ...]
    jobs: tuple[PlanJob, ...]
    supplies: tuple[Supply, ...] = ()
    zone: str = "UTC"


@dataclass(frozen=True)
class PlannedLoad:
    """One load of a machine: set-up begins at `set_up`, the run lasts from `run` to `end`, `unload` clears it."""

    set_up: datetime
    run: datetime
    end: datetime
    unload: datetime


@dataclass(frozen=True)
class PlannedJob:
    """Where a job stands in the plan. `unload` is when its last piece is off the machine and a person has it.

    `machine` is None for a bought part: `start` is then when it must be ordered, `end` when it arrives. `loads` holds
    every load of the machine, in order; it is empty for a bought part and for a job that is on its machine already.
    """

    job: str
    part: str
    revision: str
    machine: str | None
    start: datetime
    end: datetime
    unload: datetime
    due: datetime | None
    late_s: float
    why_late: str
    loads: tuple[PlannedLoad, ...] = ()


@dataclass(frozen=True)
class Unplaced:
    """A job that cannot be placed, and why."""

    job: str
    why: str


@dataclass(frozen=True)
class Plan:
    """A plan. `status` is "best found" unless a proof stands behind it; `ready_by` is None with nothing to make."""

    as_of: datetime
    status: str
    weighted_lateness_h: float
    ready_by: datetime | None
    jobs: tuple[PlannedJob, ...]
    unplaced: tuple[Unplaced, ...]


@dataclass(frozen=True)
class KeptPlan:
    """The plan last taken; `outdated` if anything in the register has changed since."""

    plan: Plan
    outdated: bool
