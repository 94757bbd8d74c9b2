"""History by part, by person and by day: what belongs to it, also when it is gone, and nothing else."""

from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from sqlalchemy import event

from register.actions import history, jobs, parts, robots, spares
from register.actions.history import list_operations
from register.domain.clock import fixed_at
from register.domain.pieces import Cause
from register.errors import BadText, NotFound
from register.opening import Register, at_time, open_register
from tests.cli.command_line import command
from tests.geometry.stl_bytes import binary, box
from tests.shops import (
    ADULT,
    PART,
    POSITION,
    ROBOT,
    STUDENT,
    SetClock,
    add_spool,
    bare_register,
    printed,
    released,
    running_job,
    wear_register,
)

OTHER = "HK-2"


@pytest.fixture
def register(tmp_path: Path) -> Register:
    return wear_register(tmp_path / "register", on_hand=3)


def at(register: Register, *moment: int) -> Register:
    """The register at a moment, UTC."""
    return at_time(register, fixed_at(datetime(*moment, tzinfo=UTC)))  # type: ignore[arg-type]


def said(register: Register, **wanted: object) -> list[str]:
    """What was done, oldest first."""
    return [each.why for each in reversed(list_operations(register, 1000, **wanted))]  # type: ignore[arg-type]


def test_history_of_a_part_is_all_that_hangs_on_it_and_nothing_of_another(register: Register) -> None:
    robots.add_assembly(register, ROBOT, "arm", None, True)
    parts.add_part(register, OTHER, "Hook", True)
    released(register, printed(OTHER), binary(box(9.0, 9.0, 6.0)))
    robots.add_position(register, ROBOT, "arm", "hook", OTHER, 1, "A")
    add_spool(register, "PLA-1", 500.0)
    number = running_job(register)
    jobs.made_job(register, number)
    spares.log_replacement(register, ROBOT, POSITION, Cause.WORN, 1)
    spares.add_spares(register, OTHER, "A", 1, "box")
    # Of the part itself, its revision, position, what is fitted, pieces, job, the stock that it used, replacement.
    assert said(register, part=PART) == [
        f"add part {PART}",
        f"log revision A of {PART}",
        f"release revision A of {PART}",
        f"add position {POSITION} to {ROBOT}",
        f"record what is fitted at {POSITION} on {ROBOT}",
        f"add 3 of {PART} at shelf",
        f"queue 1 of {PART}",
        f"start job {number}",
        f"job {number} is made",
        f"replace {POSITION} on {ROBOT}: worn",
    ]
    assert said(register, part=OTHER) == [
        f"add part {OTHER}",
        f"log revision A of {OTHER}",
        f"release revision A of {OTHER}",
        f"add position hook to {ROBOT}",
        f"add 1 of {OTHER} at box",
    ]


def test_history_of_a_part_holds_what_was_undone_and_the_undo(register: Register) -> None:
    before = said(register, part=PART)
    spares.take_spare(register, PART)
    first = list_operations(register, 1)[0].number
    number = running_job(register, 2)
    done = [f"take a spare {PART}", f"queue 2 of {PART}", f"start job {number}"]
    for _ in range(3):
        history.undo(register)
    undone = [f"undo {first + 2}: {done[2]}", f"undo {first + 1}: {done[1]}", f"undo {first}: {done[0]}"]
    assert said(register, part=PART) == [*before, *done, *undone]


def test_part_that_was_undone_still_has_its_history(register: Register) -> None:
    parts.add_part(register, "OOPS-1", "Mistake", False)
    number = list_operations(register, 1)[0].number
    history.undo(register)
    assert said(register, part="oops-1") == ["add part OOPS-1", f"undo {number}: add part OOPS-1"]


def test_part_is_found_whatever_the_case_and_an_unknown_one_is_not_found(register: Register) -> None:
    assert said(register, part=f" {PART.lower()} ") == said(register, part=PART) != []
    with pytest.raises(NotFound, match="There has never been a part 'ZZ-9'"):
        list_operations(register, part="ZZ-9")


def test_history_of_a_person_is_theirs_alone_whatever_the_case(register: Register) -> None:
    adult = open_register(register.folder, ADULT, register.clock)
    robots.add_robot(adult, "Schist")
    robots.add_robot(register, "Gabbro")
    history.undo(adult)
    number = list_operations(register, 3)[2].number
    assert said(register, who=ADULT) == ["add robot Schist", f"undo {number}: add robot Schist"]
    assert said(register, who=ADULT.upper()) == said(register, who=ADULT)
    assert "add robot Gabbro" in said(register, who=STUDENT)
    assert len(said(register, who=STUDENT)) + 2 == len(said(register))


def test_person_who_did_nothing_is_not_found_and_those_who_did_are_named(register: Register) -> None:
    with pytest.raises(NotFound) as refused:
        list_operations(register, who="Nobody")
    assert STUDENT in refused.value.cure
    with pytest.raises(NotFound, match="has done nothing") as refused:
        list_operations(bare_register(register.folder.parent / "empty"), who=STUDENT)
    assert "nobody" in refused.value.cure


def test_day_is_the_shops_own_from_midnight_to_midnight(register: Register) -> None:
    # Oslo in March before the 30th is an hour before UTC: its 5 March is 4 March 23:00 to 5 March 23:00 UTC.
    for name, moment in {
        "last of the 4th": (2031, 3, 4, 22, 59, 59),
        "first of the 5th": (2031, 3, 4, 23, 0, 0),
        "last of the 5th": (2031, 3, 5, 22, 59, 59),
        "first of the 6th": (2031, 3, 5, 23, 0, 0),
    }.items():
        robots.add_robot(at(register, *moment), name)
    assert said(register, day=date(2031, 3, 5)) == ["add robot first of the 5th", "add robot last of the 5th"]
    assert said(register, day=date(2031, 3, 6)) == ["add robot first of the 6th"]
    assert said(register, day=date(2031, 3, 7)) == []


def test_day_on_which_the_clock_is_put_forward_has_23_hours(register: Register) -> None:
    # The last Sunday of March 2031 is the 30th: in Oslo it lasts from 29 March 23:00 to 30 March 22:00 UTC.
    for name, moment in {
        "before": (2031, 3, 29, 22, 59, 59),
        "first": (2031, 3, 29, 23, 0, 0),
        "last": (2031, 3, 30, 21, 59, 59),
        "after": (2031, 3, 30, 22, 0, 0),
    }.items():
        robots.add_robot(at(register, *moment), name)
    assert said(register, day=date(2031, 3, 30)) == ["add robot first", "add robot last"]


def test_day_before_there_is_a_shop_is_one_of_utc(tmp_path: Path) -> None:
    bare = bare_register(tmp_path / "register")
    robots.add_robot(at(bare, 2031, 3, 4, 23, 59, 59), "late")
    robots.add_robot(at(bare, 2031, 3, 5, 0, 0, 0), "early")
    assert said(bare, day=date(2031, 3, 4)) == ["add robot late"]


def test_days_at_the_ends_of_the_calendar_are_refused_or_empty(register: Register) -> None:
    for day in (date.min, date.max):
        with pytest.raises(BadText, match="at the end of the calendar"):
            list_operations(register, day=day)
    assert list_operations(register, day=date(2199, 12, 31)) == ()


def test_part_person_and_day_joined_leave_what_is_all_three(register: Register) -> None:
    adult = open_register(register.folder, ADULT, register.clock)
    spares.take_spare(at(adult, 2031, 3, 6, 12), PART)
    spares.take_spare(at(adult, 2031, 3, 7, 12), PART)
    spares.take_spare(at(register, 2031, 3, 6, 13), PART)
    robots.add_robot(at(adult, 2031, 3, 6, 14), "Schist")
    assert said(register, part=PART, who=ADULT, day=date(2031, 3, 6)) == [f"take a spare {PART}"]
    assert len(said(register, part=PART, day=date(2031, 3, 6))) == 2
    assert len(said(register, who=ADULT, day=date(2031, 3, 6))) == 2


def test_most_counts_from_the_newest(register: Register) -> None:
    whole = list_operations(register, 1000, part=PART)
    assert list_operations(register, 2, part=PART) == whole[:2]


def test_filtered_operation_says_who_took_it_back(register: Register) -> None:
    spares.take_spare(register, PART)
    number = list_operations(register, 1)[0].number
    history.undo(register)
    found = {each.number: each for each in list_operations(register, part=PART)}
    assert (found[number].undone_by, found[number + 1].undoes) == (number + 1, number)


@pytest.mark.parametrize(
    "wanted",
    [
        {"part": PART},
        {"who": STUDENT},
        {"day": date(2031, 3, 4)},
        {"part": PART, "who": STUDENT, "day": date(2031, 3, 4)},
        {},
    ],
    ids=str,
)
def test_no_filter_reads_the_whole_log_of_changes_or_of_operations(
    register: Register, wanted: dict[str, object]
) -> None:
    asked: list[tuple[str, object]] = []

    @event.listens_for(register.store.engine, "before_cursor_execute")
    def _keep(_connection: object, _cursor: object, statement: str, values: object, *_rest: object) -> None:
        asked.append((statement, values))

    assert list_operations(register, 30, **wanted)  # type: ignore[arg-type]
    event.remove(register.store.engine, "before_cursor_execute", _keep)
    assert len(asked) >= 2
    assert not (whole := list(_scans(register, asked))), whole


def _scans(register: Register, asked: list[tuple[str, object]]) -> Iterator[str]:
    """Steps of SQLite's own plans that read a whole large table; down the key with a limit is none."""
    with register.store.reading() as view:
        connection = view.session.connection()
        for statement, values in asked:
            if not statement.startswith(("SELECT seq", "WITH", "SELECT 1")):
                continue
            for row in connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}", values):  # type: ignore[arg-type]
                step = str(row[3])
                is_whole = step.startswith(("SCAN change", "SCAN operation")) or "(rowid<?)" in step
                if is_whole and "WHERE 1 ORDER BY seq DESC LIMIT" not in statement:
                    yield f"{step} of {statement}"


# --- the command ---------------------------------------------------------------------------------------------------


def test_command_joins_part_person_and_day(register: Register) -> None:
    adult = open_register(register.folder, ADULT, SetClock())
    spares.take_spare(at(adult, 2031, 3, 5, 23, 30), PART)
    words = ("--part", PART.lower(), "--person", ADULT, "--day", "2031-03-06")
    found = command("history", *words, "--json", register=register.folder).json
    assert [(each["who"], each["why"], each["at"]) for each in found] == [
        (ADULT, f"take a spare {PART}", "2031-03-05T23:30:00Z")
    ]
    shown = command("history", *words, register=register.folder)
    # Half past eleven in the evening, UTC, is half past midnight in the shop.
    assert "Thu 2031-03-06 00:30" in shown.out and f"take a spare {PART}" in shown.out


def test_command_says_when_nothing_of_that_happened(register: Register) -> None:
    said = command("history", "--day", "2031-01-01", register=register.folder)
    assert (said.code, said.out) == (0, "Nothing of that has happened.\n")


@pytest.mark.parametrize(
    "day", ["yesterday", "2031-02-30", "2031-3-4", "2031-03-04 12:00", "0001-01-01", "9999-12-31", ""]
)
def test_command_refuses_what_is_no_day(register: Register, day: str) -> None:
    said = command("history", "--day", day, register=register.folder)
    assert (said.code, said.out) == (3, "")
    assert len(said.err.splitlines()) == 2
