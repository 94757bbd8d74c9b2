"""In which order jobs are dispatched, and which of them wait for one another."""

import heapq
import math
import re
from collections.abc import Mapping, Sequence

from register.domain.plans import PlanJob

_NUMBER = re.compile(r"(.*?)([0-9]{1,18})", re.DOTALL)


def is_under_way(job: PlanJob) -> bool:
    """Whether a job is on its machine, or on order, already."""
    return job.running_on is not None or job.running_since is not None or job.running_until is not None


def number_key(number: str) -> tuple[str, int, str]:
    """Sorts job numbers as people count: A-9 before A-10."""
    found = _NUMBER.fullmatch(number)
    return (found[1], int(found[2]), number) if found else (number, -1, number)


def rings(jobs: Sequence[PlanJob]) -> dict[str, tuple[str, ...]]:
    """Of each job that waits for itself in the end, all jobs that wait for it and for which it waits."""
    after = _open_predecessors(jobs)
    reached = {number: _reached(number, after) for number in _leftover(after)}
    return {
        number: tuple(sorted((each for each in seen if number in reached.get(each, ())), key=number_key))
        for number, seen in reached.items()
        if number in seen
    }


def dispatch_order(jobs: Sequence[PlanJob]) -> list[PlanJob]:
    """The jobs by due date, then weight (heavier first), then number, none before a job that it waits for.

    Parameters
    ----------
    jobs
        Without those of `rings`.

    Notes
    -----
    A job counts as due no later than the jobs that wait for it, so that a late due date of its own does not hold
    them up. Source: modified due dates, Lawler 1973, from memory.
    """
    by_number = {job.job: job for job in jobs}
    after = _open_predecessors(jobs)
    waiting: dict[str, list[str]] = {number: [] for number in by_number}
    for number, before in after.items():
        for each in before:
            waiting[each].append(number)
    keys = _keys(by_number, after, waiting)
    missing = {number: len(before) for number, before in after.items()}
    ready = [(keys[number], number) for number, count in missing.items() if count == 0]
    heapq.heapify(ready)
    order: list[PlanJob] = []
    while ready:
        _, number = heapq.heappop(ready)
        order.append(by_number[number])
        for each in waiting[number]:
            missing[each] -= 1
            if missing[each] == 0:
                heapq.heappush(ready, (keys[each], each))
    return order


_Key = tuple[float, float, tuple[str, int, str]]


def _keys(
    by_number: Mapping[str, PlanJob], after: Mapping[str, frozenset[str]], waiting: Mapping[str, list[str]]
) -> dict[str, _Key]:
    due = {number: math.inf if job.due is None else job.due.timestamp() for number, job in by_number.items()}
    followers = {number: len(each) for number, each in waiting.items()}
    last = [number for number, count in followers.items() if count == 0]
    while last:
        number = last.pop()
        for before in after[number]:
            followers[before] -= 1
            due[before] = min(due[before], due[number])
            if followers[before] == 0:
                last.append(before)
    return {number: (due[number], -job.weight, number_key(number)) for number, job in by_number.items()}


def _open_predecessors(jobs: Sequence[PlanJob]) -> dict[str, frozenset[str]]:
    known = {job.job for job in jobs}
    return {job.job: frozenset() if is_under_way(job) else frozenset(job.after) & known for job in jobs}


def _leftover(after: Mapping[str, frozenset[str]]) -> set[str]:
    """What is left when jobs that wait for nothing left are taken away again and again."""
    left = set(after)
    while True:
        free = {number for number in left if not after[number] & left}
        if not free:
            return left
        left -= free


def _reached(number: str, after: Mapping[str, frozenset[str]]) -> set[str]:
    seen: set[str] = set()
    to_see = list(after[number])
    while to_see:
        each = to_see.pop()
        if each not in seen:
            seen.add(each)
            to_see.extend(after[each])
    return seen
