"""Undo: every table as it was, byte for byte, or a refusal that names what stands in the way."""

import math
import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from random import Random

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from register.actions import competitions, history, jobs, parts, planning, robots, shop, spares, stock
from register.actions.checking import check_register
from register.actions.revisions import release_revision
from register.domain.competitions import Entry
from register.domain.part_views import RevisionRequest
from register.domain.parts import Process
from register.domain.pieces import Cause
from register.errors import NotAllowed, NotFound, RegisterError
from register.opening import Register
from tests.shops import (
    ADULT,
    CLAW_B,
    CLAW_C,
    DEMO,
    NOON,
    PART,
    POSITION,
    ROBOT,
    SHOP_TOML,
    STUDENT,
    add_sheet,
    add_spool,
    claws,
    dumped,
    logged,
    printed,
    wear_register,
)

OTHER_SHOP = SHOP_TOML.replace(b'"Wren"', b'"Kestrel"').replace(b"density_g_cm3 = 1.24", b"density_g_cm3 = 1.25")


@pytest.fixture
def register(tmp_path: Path) -> Register:
    return wear_register(tmp_path / "register", on_hand=3)


def newest(register: Register) -> int:
    return history.list_operations(register, 1)[0].number


def restored(register: Register, number: int | None = None) -> dict[str, list[tuple[object, ...]]]:
    history.undo(register, number)
    return dumped(register)


# Each thing that a person does, with figures drawn by chance; some are refused where they come, which is right too.
Act = Callable[[Register, Random], object]
ACTS: dict[str, Act] = {
    "add part": lambda r, c: parts.add_part(r, f"P-{c.randrange(5)}", "Part ½ 零件", c.random() < 0.5),
    "log revision": lambda r, c: logged(r, printed(), c.choice([CLAW_B, CLAW_C])),
    "release": lambda r, c: release_revision(r, PART, c.choice("BCD")),
    "add robot": lambda r, c: robots.add_robot(r, f"robot {c.randrange(3)}", "a note"),
    "add assembly": lambda r, c: robots.add_assembly(r, ROBOT, f"arm {c.randrange(3)}", None, True),
    "add position": lambda r, c: robots.add_position(r, ROBOT, None, f"claw {c.randrange(3)}", PART, 2, None),
    "require": lambda r, c: robots.require_revision(r, ROBOT, POSITION, c.choice("ABC")),
    "fit": lambda r, c: robots.record_fitted(
        r, ROBOT, POSITION, (c.choice(["A", "B", "", None]), c.choice(["A", None]))
    ),
    "add spares": lambda r, c: spares.add_spares(
        r, PART, c.choice(["A", None]), c.randint(1, 4), c.choice(["shelf", "box"])
    ),
    "take": lambda r, c: spares.take_spare(r, PART),
    "count": lambda r, c: spares.count_spares(r, PART, "A", c.randrange(4), "shelf", "counted again"),
    "replace": lambda r, c: spares.log_replacement(r, ROBOT, POSITION, c.choice(list(Cause)), c.choice([1, 2])),
    "add spool": lambda r, c: add_spool(r, f"PLA-{c.randrange(3)}", c.uniform(0.1, 1000)),
    "add sheet": lambda r, c: add_sheet(r, f"AL-{c.randrange(3)}", c.randint(1, 3), (c.uniform(50, 600), 300.0)),
    "use": lambda r, c: stock.use_stock(r, f"PLA-{c.randrange(3)}", c.uniform(0.01, 50)),
    "count lot": lambda r, c: stock.count_lot(r, f"PLA-{c.randrange(3)}", c.uniform(0, 900), "weighed"),
    "queue": lambda r, c: jobs.add_job(r, PART, None, c.randint(1, 5), weight=c.uniform(0.1, 3)),
    "start": lambda r, c: jobs.start_job(r, f"A-{c.randint(1, 3)}"),
    "made": lambda r, c: jobs.made_job(r, f"A-{c.randint(1, 3)}"),
    "finish": lambda r, c: jobs.finish_job(r, f"A-{c.randint(1, 3)}"),
    "accept": lambda r, c: jobs.accept_job(r, f"A-{c.randint(1, 3)}"),
    "hold": lambda r, c: jobs.hold_job(r, f"A-{c.randint(1, 3)}", "waits"),
    "requeue": lambda r, c: jobs.requeue_job(r, f"A-{c.randint(1, 3)}"),
    "cancel": lambda r, c: jobs.cancel_job(r, f"A-{c.randint(1, 3)}"),
    "scrap": lambda r, c: jobs.scrap_pieces(r, f"A-{c.randint(1, 3)}", c.randint(1, 3), "warped"),
    "read shop": lambda r, c: shop.set_up_shop(r, c.choice([SHOP_TOML, OTHER_SHOP, None]), "shop.toml"),
    "give leave": lambda r, c: shop.give_leave(r, c.choice(["Lark", "Wren"]), ADULT, "alarm tested", c.uniform(1, 70)),
    "withdraw leave": lambda r, c: shop.withdraw_leave(r, "Lark"),
    "competition": lambda r, c: competitions.add_competition(
        r, f"event {c.randrange(3)}", NOON + timedelta(days=c.randint(1, 40)), None, (Entry(ROBOT, c.randrange(9)),)
    ),
    "plan": lambda r, c: planning.plan_jobs(r),
}


def acted(register: Register, name: str, seed: int) -> bool:
    """Whether the act was done; False if it was refused where it came."""
    try:
        ACTS[name](register, Random(seed))
    except RegisterError as refused:
        assert refused.exit_code in (3, 4), f"{name}: {refused!r}"
        return False
    return True


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(acts=st.lists(st.tuples(st.sampled_from(sorted(ACTS)), st.integers(0, 10_000)), min_size=4, max_size=14))
def test_any_acts_undone_in_reverse_restore_every_table_byte_for_byte(
    tmp_path_factory: pytest.TempPathFactory, acts: list[tuple[str, int]]
) -> None:
    register = wear_register(tmp_path_factory.mktemp("acts") / "register", on_hand=2)
    before = [dumped(register)]
    done: list[int] = []
    for name, seed in acts:
        if acted(register, name, seed):
            done.append(newest(register))
            before.append(dumped(register))
        assert dumped(register) == before[-1]
    undos: list[int] = []
    for number, as_it_was in zip(reversed(done), reversed(before[:-1]), strict=True):
        assert restored(register, number) == as_it_was
        undos.append(newest(register))
    for number, as_it_was in zip(reversed(undos), before[1:], strict=True):
        assert restored(register, number) == as_it_was
    check_register(register)


def test_every_act_of_the_list_can_be_done_so_that_the_random_test_reaches_it(tmp_path: Path) -> None:
    register = wear_register(tmp_path / "register", on_hand=2)
    order = [
        *("add part", "log revision", "release", "add robot", "add assembly", "add position", "require", "fit"),
        *("add spares", "take", "count", "replace", "add spool", "add sheet", "use", "count lot"),
        *(
            "queue",
            "start",
            "made",
            "finish",
            "accept",
            "queue",
            "hold",
            "requeue",
            "cancel",
            "queue",
            "start",
            "scrap",
        ),
        *("read shop", "give leave", "withdraw leave", "competition", "plan"),
    ]
    assert set(order) == set(ACTS)
    for name in order:
        assert any(acted(register, name, seed) for seed in range(40)), name


@pytest.mark.parametrize("grams", [0.1 + 0.2, 1 / 3, math.pi, 5e-324 * 2**60, 1e-300, 123456.789012345678, 2**53 + 0.0])
def test_real_figures_come_back_to_the_last_bit(register: Register, grams: float) -> None:
    robots.add_robot(register, "Chert")
    with register.store.writing(STUDENT, "a weight") as tx:
        tx.session.connection().exec_driver_sql(
            "INSERT INTO lot (key, version, label, material, form, thickness_mm, note) "
            "VALUES ('k', 1, 'L', 'PLA', 'spool', ?, '')",
            (grams,),
        )
    before = dumped(register)
    with register.store.writing(STUDENT, "another weight") as tx:
        tx.session.connection().exec_driver_sql("UPDATE lot SET thickness_mm = 1.5")
    assert restored(register) == before
    with register.store.writing(STUDENT, "no lot") as tx:
        tx.session.connection().exec_driver_sql("DELETE FROM lot")
    assert restored(register) == before
    with closing(sqlite3.connect(register.folder / "register.db")) as connection:
        assert connection.execute("SELECT thickness_mm FROM lot").fetchall() == [(grams,)]


def test_undo_is_refused_while_a_later_operation_has_changed_the_row_and_names_it(register: Register) -> None:
    robots.require_revision(register, ROBOT, POSITION, "A")
    logged(register, printed(), CLAW_B)
    robots.require_revision(register, ROBOT, POSITION, "B")
    first = newest(register)
    robots.record_fitted(register, ROBOT, POSITION, ("B", "A"))
    robots.require_revision(register, ROBOT, POSITION, "A")
    later = newest(register)
    before = dumped(register)
    with pytest.raises(NotAllowed) as refused:
        history.undo(register, first)
    assert f"operation {later} (require revision A at claws on Basalt) stands on it" in refused.value.what
    assert dumped(register) == before
    history.undo(register, later)
    history.undo(register, first)
    assert robots.show_robot(register, ROBOT).positions[0].required == "A"


def test_undo_is_refused_while_a_later_row_points_to_what_would_go_and_names_it(register: Register) -> None:
    logged(register, printed(), CLAW_B)
    logging = newest(register)
    robots.require_revision(register, ROBOT, POSITION, "B")
    before = dumped(register)
    with pytest.raises(NotAllowed, match=rf"Operation {logging} .*: operation {logging + 1} \(require revision B"):
        history.undo(register, logging)
    assert dumped(register) == before


def test_undo_is_refused_where_a_later_row_holds_the_name_that_would_come_back(register: Register) -> None:
    shop.give_leave(register, "Lark", ADULT, "alarm tested", 8)
    shop.withdraw_leave(register, "Lark")
    withdrawal = newest(register)
    shop.give_leave(register, "Lark", ADULT, "alarm tested again", 10)
    before = dumped(register)
    with pytest.raises(
        NotAllowed, match=rf"operation {withdrawal + 1} \(give leave to run Lark unattended\) stands on"
    ):
        history.undo(register, withdrawal)
    assert dumped(register) == before


def test_an_undone_job_comes_back_beside_one_queued_since(register: Register) -> None:
    jobs.add_job(register, PART, None, 1)
    history.undo(register)
    undo = newest(register)
    jobs.add_job(register, PART, None, 7)
    history.undo(register, undo)
    assert [each.quantity for each in jobs.list_jobs(register)] == [1, 7]


def test_undo_is_refused_where_what_it_brings_back_would_stand_on_nothing(register: Register) -> None:
    parts.add_part(register, "P-1", "Part", False)
    adding = newest(register)
    logged(register, RevisionRequest("P-1", Process.BOUGHT, unit_cost_cents=100, lead_days=3), None)
    history.undo(register)
    undo = newest(register)
    history.undo(register, adding)
    removal = newest(register)
    before = dumped(register)
    with pytest.raises(NotAllowed, match=rf"operation {removal} \(undo {adding}: .*\) took away what it stands on"):
        history.undo(register, undo)
    assert dumped(register) == before


def test_undo_of_pieces_that_were_taken_since_is_refused(register: Register) -> None:
    spares.add_spares(register, PART, "A", 2, "pit box")
    adding = newest(register)
    spares.take_spare(register, PART, place="pit box")
    before = dumped(register)
    with pytest.raises(NotAllowed, match=f"Operation {adding} cannot be undone: pit box would hold -1 CL-1"):
        history.undo(register, adding)
    assert dumped(register) == before


def test_undo_of_stock_that_was_used_since_is_refused(register: Register) -> None:
    add_spool(register, "PLA-1", 100.0)
    stock.count_lot(register, "PLA-1", 500.0, "a new spool under an old label")
    counting = newest(register)
    stock.use_stock(register, "PLA-1", 300.0)
    before = dumped(register)
    with pytest.raises(NotAllowed, match="lot PLA-1 would hold less than nothing"):
        history.undo(register, counting)
    assert dumped(register) == before


def test_undoing_an_undo_does_it_again_and_undoing_that_takes_it_back_again(register: Register) -> None:
    full = dumped(register)
    spares.take_spare(register, PART)
    taking, after = newest(register), dumped(register)
    assert restored(register) == full
    assert restored(register, newest(register)) == after
    # The taking is in force again, so it is the newest that can be taken back.
    assert history.undo(register).number == taking
    assert dumped(register) == full
    listed = {each.number: each for each in history.list_operations(register)}
    assert listed[taking].undone_by == newest(register)


def test_operation_that_is_undone_is_not_undone_twice(register: Register) -> None:
    spares.take_spare(register, PART)
    taking = newest(register)
    history.undo(register)
    before = dumped(register)
    with pytest.raises(NotAllowed, match=f"Operation {taking} is undone already"):
        history.undo(register, taking)
    assert dumped(register) == before


@pytest.mark.parametrize("number", [0, -1, 10_000, 10**30, -(10**30)])
def test_undo_of_an_operation_that_never_was_is_not_found(register: Register, number: int) -> None:
    with pytest.raises(NotFound, match="There is no operation"):
        history.undo(register, number)


def test_undo_without_a_number_takes_back_ones_own_newest_and_nobody_elses(register: Register) -> None:
    spares.take_spare(register, PART)
    other = replace(register, who="Somebody Else")
    spares.take_spare(other, PART)
    assert claws(register).usable_now == 1
    assert history.undo(register).why == f"take a spare {PART}"
    listed = history.list_operations(register, 3)
    assert [(each.who, each.undone_by is None) for each in listed] == [
        (STUDENT, True),
        ("Somebody Else", True),
        (STUDENT, False),
    ]


def test_undo_of_reading_a_shop_brings_the_whole_shop_back(register: Register) -> None:
    before, said = dumped(register), shop.shop_as_written(register)
    shop.set_up_shop(register, None, "")
    assert shop.shop_as_written(register) != said
    assert restored(register) == before
    assert shop.shop_as_written(register) == said


def test_reading_the_same_shop_again_changes_no_row(register: Register) -> None:
    before = dumped(register)
    shop.set_up_shop(register, (DEMO / "shop.toml").read_bytes(), "shop.toml")
    assert dumped(register) == before
