"""Row versions: each change of a row counts one up, and what stood on an earlier version is refused."""

import json
import sqlite3
from collections import Counter
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from register.actions import history, jobs, planning, robots, shop
from register.actions.revisions import log_revision, prepare_revision, release_revision
from register.domain.jobs import JobState
from register.errors import StaleEdit
from register.opening import Register
from register.store import jobs as job_rows
from tests.shops import (
    ADULT,
    CLAW_B,
    CLAW_C,
    PART,
    POSITION,
    ROBOT,
    SHOP_TOML,
    STUDENT,
    SetClock,
    again,
    dumped,
    logged,
    printed,
    wear_register,
)


@pytest.fixture
def register(tmp_path: Path) -> Register:
    return wear_register(tmp_path / "register", SetClock())


def changes(register: Register) -> list[tuple[str, int, int]]:
    """(table, version before, version after) of each row that was changed in place, undone changes left out."""
    with closing(sqlite3.connect(register.folder / "register.db")) as connection:
        rows = connection.execute(
            "SELECT row_table, old, new FROM change JOIN operation o ON o.seq = operation "
            "WHERE old IS NOT NULL AND new IS NOT NULL AND undoes IS NULL"
        ).fetchall()
    return [(table, json.loads(old)["version"], json.loads(new)["version"]) for table, old, new in rows]


def test_each_change_of_a_row_counts_its_version_one_up(register: Register) -> None:
    clock = register.clock
    assert isinstance(clock, SetClock)
    logged(register, printed(), CLAW_B)
    release_revision(register, PART, "B")
    robots.require_revision(register, ROBOT, POSITION, "B")
    for letters in (("B", "A"), ("B", "B")):
        clock.after(minutes=1)
        robots.record_fitted(register, ROBOT, POSITION, letters)
    job = jobs.add_job(register, PART, None, 2).number
    jobs.hold_job(register, job, "waits")
    jobs.requeue_job(register, job)
    jobs.start_job(register, job)
    shop.set_up_shop(register, SHOP_TOML.replace(b"density_g_cm3 = 1.24", b"density_g_cm3 = 1.25"), "shop.toml")
    shop.give_leave(register, "Lark", ADULT, "alarm tested", 8.0)
    planning.plan_jobs(register)
    planning.plan_jobs(register)
    found = changes(register)
    counts = Counter(table for table, _, _ in found)
    assert counts["job"] >= 3
    assert {"revision", "position", "fitted", "material", "job"} <= set(counts)
    assert [each for each in found if each[2] != each[1] + 1] == []


def test_job_that_was_changed_since_it_was_read_is_not_written_over(register: Register) -> None:
    read = jobs.add_job(register, PART, None, 2)
    jobs.hold_job(again(register), read.number, "the other terminal was faster")
    before = dumped(register)
    said = f"Job {read.number} has changed since it was read"
    with pytest.raises(StaleEdit, match=said), register.store.writing(STUDENT, "write over") as tx:
        job_rows.keep_job(tx, replace(read, note="mine"))
    assert dumped(register) == before
    standing = jobs.show_job(register, read.number).job
    with register.store.writing(STUDENT, "write on what stands") as tx:
        job_rows.keep_job(tx, replace(standing, note="mine"))
    assert (jobs.show_job(register, read.number).job.note, standing.state) == ("mine", JobState.ON_HOLD)


def test_revision_prepared_before_another_was_logged_is_refused_and_leaves_nothing(register: Register) -> None:
    mine = prepare_revision(register, printed(), CLAW_B)
    logged(again(register), printed(), CLAW_C)
    before = dumped(register)
    with pytest.raises(StaleEdit, match="revisions of CL-1 have changed"):
        log_revision(register, mine, CLAW_B)
    assert dumped(register) == before


def test_undo_brings_the_version_back_with_the_row(register: Register) -> None:
    job = jobs.add_job(register, PART, None, 2)
    jobs.hold_job(register, job.number, "waits")
    assert jobs.show_job(register, job.number).job.version == job.version + 1
    history.undo(register)
    assert jobs.show_job(register, job.number).job == job
