"""One machine's time line: where a series of loads can stand in it. Whole seconds after the plan's moment."""

import math
from bisect import bisect_left, bisect_right, insort
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import NamedTuple

from register.domain.plans import MachineDay, Window

FOREVER = 10**12
_SECOND = timedelta(seconds=1)


@dataclass(frozen=True)
class SecondScale:
    """Whole seconds after `as_of`; what must not come too early is rounded up, what must not come too late down."""

    as_of: datetime

    def up(self, moment: datetime) -> int:
        """Seconds to `moment`, rounded up."""
        return -((self.as_of - moment) // _SECOND)

    def down(self, moment: datetime) -> int:
        """Seconds to `moment`, rounded down."""
        return (moment - self.as_of) // _SECOND

    def at(self, second: int) -> datetime:
        """The moment `second` seconds after `as_of`."""
        return self.as_of + timedelta(seconds=second)


@dataclass(frozen=True)
class AttendedHours:
    """The attended spans, ascending and apart: `opens[i]` to `closes[i]`."""

    opens: tuple[int, ...]
    closes: tuple[int, ...]

    @classmethod
    def of(cls, windows: Sequence[Window], scale: SecondScale) -> "AttendedHours":
        """The part of `windows` that lies at or after the scale's moment."""
        spans = [(max(0, scale.up(each.opens)), scale.down(each.closes)) for each in windows]
        kept = [(opens, closes) for opens, closes in spans if closes > opens]
        return cls(tuple(opens for opens, _ in kept), tuple(closes for _, closes in kept))

    def unloaded(self, ended: int, unload_s: int) -> int | None:
        """When a person has what stands ready at `ended`: the earliest attended stretch of `unload_s` after it."""
        index = bisect_left(self.closes, ended + unload_s)
        while index < len(self.closes):
            done = max(ended, self.opens[index]) + unload_s
            if done <= self.closes[index]:
                return done
            index += 1
        return None

    def longest_s(self) -> int:
        """Length of the longest span."""
        return max((closes - opens for opens, closes in zip(self.opens, self.closes, strict=True)), default=0)

    def end(self) -> int:
        """Where the last span closes; 0 if there is none."""
        return self.closes[-1] if self.closes else 0


class Load(NamedTuple):
    """A load: set-up begins, the run begins, the run ends, a person has it."""

    set_up: int
    run: int
    ended: int
    unloaded: int


class Stay(NamedTuple):
    """A span in which a machine is taken; `rank` is the place of `job` in the order of dispatch."""

    begins: int
    ends: int
    job: str
    rank: int


@dataclass
class Lane:
    """A machine as the plan fills it; `stays` ascend and do not overlap."""

    machine: MachineDay
    hours: AttendedHours
    stays: list[Stay] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.set_up_s = math.ceil(self.machine.set_up_s)
        self.unload_s = math.ceil(self.machine.unload_s)
        self.unattended = self.machine.unattended and not self.machine.router
        self._latest_ends = self._latest_run_ends()

    def emptied(self) -> "Lane":
        """The same machine with nothing on it."""
        return Lane(self.machine, self.hours)

    def permitted(self) -> "Lane":
        """The same machine, empty, as if it might run unattended for any length."""
        return Lane(replace(self.machine, unattended=True, longest_unattended_s=None), self.hours)

    def work_s(self, runs_s: Sequence[int]) -> int:
        """Seconds that the loads take at least."""
        return sum(runs_s) + len(runs_s) * (self.set_up_s + self.unload_s)

    def series(self, runs_s: Sequence[int], ready: int) -> tuple[Load, ...] | None:
        """The loads one after another, each as early as can be from `ready` on, as if nothing else were on the machine.

        None if they do not end within the attended hours known.
        """
        loads: list[Load] = []
        for run_s in runs_s:
            load = self._one_load(run_s, loads[-1].unloaded if loads else ready)
            if load is None:
                return None
            loads.append(load)
        return tuple(loads)

    def earliest(self, runs_s: Sequence[int], ready: int) -> tuple[Load, ...] | None:
        """The same between what is on the machine already; None if the attended hours known end before."""
        work_s = self.work_s(runs_s)
        index = bisect_right(self.stays, ready, key=lambda stay: stay.ends)
        free = ready
        while True:
            until = self.stays[index].begins if index < len(self.stays) else FOREVER
            if until - free >= work_s:
                loads = self.series(runs_s, free)
                if loads is None or loads[-1].unloaded <= until:
                    return loads
            if index == len(self.stays):
                return None
            free = max(free, self.stays[index].ends)
            index += 1

    def take(self, begins: int, ends: int, job: str, rank: int) -> None:
        """Keep the machine for `job`."""
        insort(self.stays, Stay(begins, ends, job, rank))

    def ahead(self, rank: int, begins: int, ends: int) -> list[Stay]:
        """What was dispatched before `rank` and stands on the machine at some time between `begins` and `ends`."""
        return [stay for stay in self.stays if stay.rank < rank and stay.begins < ends and stay.ends > begins]

    def _one_load(self, run_s: int, ready: int) -> Load | None:
        opens, closes = self.hours.opens, self.hours.closes
        for index in range(bisect_right(closes, ready), len(closes)):
            set_up = max(ready, opens[index])
            run = set_up + self.set_up_s
            ended = run + run_s
            if run >= closes[index] or ended > self._latest_ends[index]:
                continue
            # What needs a person throughout is held to its span by _latest_ends, so only the rest waits for one.
            unloaded = self.hours.unloaded(ended, self.unload_s) if self.unattended else ended + self.unload_s
            return None if unloaded is None else Load(set_up, run, ended, unloaded)
        return None

    def _latest_run_ends(self) -> list[int]:
        """Of each attended span, when a run that starts in it must have ended."""
        closes = self.hours.closes
        if not self.unattended:
            return [each - self.unload_s for each in closes]
        limit = self.machine.longest_unattended_s
        longest = FOREVER if limit is None else math.floor(min(limit, FOREVER))
        ends: list[int] = []
        later = FOREVER
        for index in reversed(range(len(closes))):
            closed_s = self.hours.opens[index + 1] - closes[index] if index + 1 < len(closes) else FOREVER
            later = closes[index] + longest if closed_s > longest else later
            ends.append(later)
        return ends[::-1]
