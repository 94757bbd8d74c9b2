"""The states of a job, and the moves between them."""

import pytest

from register.domain.jobs import Job, JobState, checked_move
from register.domain.parts import Process
from register.errors import NotAllowed

QUEUED, RUNNING, MADE = JobState.QUEUED, JobState.RUNNING, JobState.MADE
FINISHED, ACCEPTED = JobState.FINISHED, JobState.ACCEPTED
ON_HOLD, CANCELLED = JobState.ON_HOLD, JobState.CANCELLED

# Made leaves the machine, finished has its hand steps done, accepted passed its check; a run can be started again.
ALLOWED = {
    (QUEUED, RUNNING),
    (RUNNING, QUEUED),
    (RUNNING, MADE),
    (MADE, FINISHED),
    (FINISHED, ACCEPTED),
    (ON_HOLD, QUEUED),
    *((state, ON_HOLD) for state in (QUEUED, RUNNING, MADE, FINISHED)),
    *((state, CANCELLED) for state in (QUEUED, RUNNING, MADE, FINISHED, ON_HOLD)),
}


def a_job(state: JobState) -> Job:
    return Job("A-17", "PT-1", "B", Process.PRINTED, 4, state)


@pytest.mark.parametrize("target", JobState)
@pytest.mark.parametrize("state", JobState)
def test_a_job_goes_where_its_state_lets_it_and_nowhere_else(state: JobState, target: JobState) -> None:
    if (state, target) in ALLOWED:
        assert checked_move(a_job(state), target) is target
        return
    with pytest.raises(NotAllowed) as refusal:
        checked_move(a_job(state), target)
    assert refusal.value.what == f"Job A-17 is {state.value} and cannot become {target.value}."


def test_a_refusal_lists_where_the_job_may_go() -> None:
    with pytest.raises(NotAllowed) as refusal:
        checked_move(a_job(ON_HOLD), ACCEPTED)
    assert refusal.value.cure == "From here it goes to queued, cancelled."


@pytest.mark.parametrize("state", [ACCEPTED, CANCELLED])
def test_a_closed_job_stays_closed(state: JobState) -> None:
    with pytest.raises(NotAllowed, match="closed"):
        checked_move(a_job(state), QUEUED)


def test_the_way_of_a_good_job() -> None:
    way = [RUNNING, MADE, FINISHED, ACCEPTED]
    state = QUEUED
    for target in way:
        state = checked_move(a_job(state), target)
    assert state is ACCEPTED
