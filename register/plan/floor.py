"""The shop floor while a plan is made: machines with what stands on them, stock with what is promised."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from register.domain.plans import MachineChoice, Need, PlanJob, PlanProblem
from register.plan.hours import zone_named
from register.plan.lanes import AttendedHours, Lane, Load, SecondScale
from register.plan.stock_ledger import StockLedger
from register.plan.wording import moment_text


@dataclass(frozen=True)
class Placed:
    """A job with its place. Seconds after the plan's moment; `rank` is its place in the order of dispatch.

    `after_s` is when the last job that it waits for is unloaded, `stock_s` when stock could give it what it needs, and
    `stock_need` the need that decided that.
    """

    job: PlanJob
    rank: int
    machine: str | None
    begins: int
    ended: int
    unloaded: int
    loads: tuple[Load, ...] = ()
    after_s: int = 0
    stock_s: int = 0
    stock_need: Need | None = None


class Floor:
    """Everything that placing one job reads and changes."""

    def __init__(self, problem: PlanProblem) -> None:
        self.problem = problem
        self.zone = zone_named(problem.zone)
        self.scale = SecondScale(problem.as_of)
        self.hours = AttendedHours.of(problem.windows, self.scale)
        self.machines = {machine.name: machine for machine in problem.machines}
        self.lanes = {name: Lane(machine, self.hours) for name, machine in self.machines.items()}
        self.ledger = StockLedger(problem.supplies, self.scale)
        self.placed: dict[str, Placed] = {}

    def moment(self, second: int) -> str:
        """The moment `second` seconds after the plan's, on the shop's clock."""
        return moment_text(self.scale.at(second), self.zone)

    def earliest_s(self, job: PlanJob) -> int:
        """When the job may start by its own `not_before`."""
        return 0 if job.not_before is None else max(0, self.scale.up(job.not_before))

    def usable(self, job: PlanJob) -> list[tuple[Lane, list[int]]]:
        """The machines in order that can do the job, each with the seconds of every run there."""
        return [
            (self.lanes[choice.machine], runs_s(choice))
            for choice in job.choices
            if choice.machine in self.lanes and not self.machines[choice.machine].out_of_order and choice.loads_s
        ]

    def after(self, job: PlanJob) -> Placed | None:
        """Of the jobs that `job` waits for, the one that is unloaded last."""
        return max(
            (self.placed[each] for each in job.after if each in self.placed),
            key=lambda each: each.unloaded,
            default=None,
        )

    def alone(self, job: PlanJob, ready: int) -> tuple[int, Lane | None] | None:
        """When the job would be unloaded, and where, if it were ready then and every machine were empty."""
        if job.ordered_s is not None:
            return ready + math.ceil(job.ordered_s), None
        return first_unloaded(
            (loads[-1].unloaded, lane)
            for lane, runs in self.usable(job)
            if (loads := lane.emptied().series(runs, ready)) is not None
        )


def first_unloaded(found: Iterable[tuple[int, Lane]]) -> tuple[int, Lane] | None:
    """The earliest of several ends, the first named where they are equal."""
    return min(found, key=lambda each: each[0], default=None)


def runs_s(choice: MachineChoice) -> list[int]:
    """The runs of a choice in whole seconds, rounded up."""
    return [math.ceil(each) for each in choice.loads_s]
