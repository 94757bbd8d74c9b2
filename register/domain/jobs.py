"""Jobs: a quantity of one revision to be made, and the states it goes through."""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from register.domain.parts import Process
from register.errors import NotAllowed


class JobState(StrEnum):
    """MADE leaves the machine, FINISHED has its hand steps done, ACCEPTED passed its check and is on hand."""

    QUEUED = "queued"
    RUNNING = "running"
    MADE = "made"
    FINISHED = "finished"
    ACCEPTED = "accepted"
    ON_HOLD = "on hold"
    CANCELLED = "cancelled"


# What such a job takes is in stock still.
NOT_MADE = frozenset({JobState.QUEUED, JobState.ON_HOLD, JobState.RUNNING})

MOVES: dict[JobState, tuple[JobState, ...]] = {
    JobState.QUEUED: (JobState.RUNNING, JobState.ON_HOLD, JobState.CANCELLED),
    JobState.RUNNING: (JobState.MADE, JobState.QUEUED, JobState.ON_HOLD, JobState.CANCELLED),
    JobState.MADE: (JobState.FINISHED, JobState.ON_HOLD, JobState.CANCELLED),
    JobState.FINISHED: (JobState.ACCEPTED, JobState.ON_HOLD, JobState.CANCELLED),
    JobState.ON_HOLD: (JobState.QUEUED, JobState.CANCELLED),
    JobState.ACCEPTED: (),
    JobState.CANCELLED: (),
}


@dataclass(frozen=True)
class Job:
    """A job. `number` is the station's letter and a running number (`A-17`); `weight` is how much a late hour counts.

    `scrapped` counts pieces lost on the way; what is still good is `quantity - scrapped`.
    """

    number: str
    part: str
    revision: str
    process: Process
    quantity: int
    state: JobState
    due: datetime | None = None
    weight: float = 1.0
    machine: str | None = None
    scrapped: int = 0
    note: str = ""
    queued_by: str = ""
    queued_at: datetime | None = None
    started_at: datetime | None = None
    made_at: datetime | None = None
    version: int = 1


def checked_move(job: Job, target: JobState) -> JobState:
    """`target`, if a job may go there from where it is.

    Raises
    ------
    NotAllowed
        If it may not; the message lists where it may go.
    """
    allowed = MOVES[job.state]
    if target in allowed:
        return target
    ways = ", ".join(state.value for state in allowed) or "nowhere: it is closed"
    raise NotAllowed(
        f"Job {job.number} is {job.state.value} and cannot become {target.value}.", f"From here it goes to {ways}."
    )
