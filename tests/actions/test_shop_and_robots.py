"""The shop's machines and leave, robots and what they carry, competitions, and a register that was read whole."""

import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import pytest

from register.actions import competitions, history, parts, robots, shop
from register.actions.checking import check_register
from register.domain.competitions import Entry
from register.domain.machines import UnattendedPermission
from register.domain.robots import Assembly
from register.errors import BadSettings, BadText, NotAllowed, NotFound, RegisterError, StoreBroken
from register.opening import Register
from register.settings.shop_file import read_shop
from tests.shops import (
    ADULT,
    CLAW_B,
    NOON,
    PART,
    POSITION,
    ROBOT,
    SHOP_TOML,
    STUDENT,
    bare_register,
    dumped,
    logged,
    printed,
    row_counts,
    wear_register,
)


@pytest.fixture
def register(tmp_path: Path) -> Register:
    return wear_register(tmp_path / "register")


def leave_of(register: Register, machine: str) -> UnattendedPermission | None:
    return next(each.permission for each in shop.shop_settings(register).machines if each.name == machine)


def operations(register: Register) -> int:
    return row_counts(register)["operation"]


def test_shop_is_read_in_one_operation_and_says_what_its_file_says(tmp_path: Path) -> None:
    register = bare_register(tmp_path / "register")
    with pytest.raises(NotFound, match="no shop yet"):
        shop.shop_settings(register)
    shop.set_up_shop(register, SHOP_TOML, "shop.toml")
    assert operations(register) == 1
    said, kept = read_shop(SHOP_TOML, "shop.toml"), shop.shop_settings(register)
    assert kept.shop == said.shop
    for room in ("machines", "materials", "tools", "people"):
        assert sorted(getattr(kept, room), key=lambda each: each.name) == sorted(
            getattr(said, room), key=lambda each: each.name
        )


def test_shop_as_written_reads_back_to_the_same_shop(register: Register) -> None:
    written = shop.shop_as_written(register).encode()
    before = dumped(register)
    shop.set_up_shop(register, written, "shop.toml")
    assert dumped(register) == before


@pytest.mark.parametrize("content", [b"", b"\xff\xfe", b"[shop]\nname = 3\n", SHOP_TOML + b"\n[extra]\nx = 1\n"])
def test_shop_file_that_is_not_in_order_changes_nothing(register: Register, content: bytes) -> None:
    before = dumped(register)
    with pytest.raises(BadSettings):
        shop.set_up_shop(register, content, "shop.toml")
    assert dumped(register) == before


def test_what_the_file_no_longer_names_is_gone_from_the_shop_and_back_with_undo(register: Register) -> None:
    before = dumped(register)
    shop.set_up_shop(register, SHOP_TOML.replace(b'"Wren"', b'"Kestrel"'), "shop.toml")
    assert {each.name for each in shop.shop_settings(register).machines} == {"Heron", "Kestrel", "Lark"}
    history.undo(register)
    assert {each.name for each in shop.shop_settings(register).machines} == {"Heron", "Lark", "Wren"}
    assert dumped(register) == before


def test_leave_to_run_unattended_is_kept_with_its_giver_time_and_conditions(register: Register) -> None:
    shop.give_leave(register, "Lark", ADULT, "alarm tested", 8.5)
    assert leave_of(register, "Lark") == UnattendedPermission(ADULT, NOON, "alarm tested", 8.5)
    shop.give_leave(register, "Lark", ADULT, "alarm tested again", 4)
    assert leave_of(register, "Lark") == UnattendedPermission(ADULT, NOON, "alarm tested again", 4)
    # The shop's file does not know of leave, and reading it takes none away.
    shop.set_up_shop(register, SHOP_TOML, "shop.toml")
    assert leave_of(register, "Lark") is not None
    assert shop.withdraw_leave(register, "Lark").permission is None
    assert leave_of(register, "Lark") is None


@pytest.mark.parametrize(
    ("machine", "by", "conditions", "longest_h", "refusal"),
    [
        ("Lark", STUDENT, "alarm tested", 8, NotAllowed),
        ("Lark", "Nobody", "alarm tested", 8, NotFound),
        ("Heron", ADULT, "alarm tested", 8, NotAllowed),
        ("Albatross", ADULT, "alarm tested", 8, NotFound),
        ("Lark", ADULT, " ", 8, BadText),
        ("Lark", ADULT, "alarm tested", 0, NotAllowed),
        ("Lark", ADULT, "alarm tested", 73, NotAllowed),
        ("Lark", ADULT, "alarm tested", float("nan"), NotAllowed),
        ("Lark", ADULT, "alarm tested", float("inf"), NotAllowed),
    ],
)
def test_leave_comes_from_a_responsible_adult_with_conditions_and_never_for_a_router(
    register: Register, machine: str, by: str, conditions: str, longest_h: float, refusal: type[RegisterError]
) -> None:
    before = dumped(register)
    with pytest.raises(refusal):
        shop.give_leave(register, machine, by, conditions, longest_h)
    assert dumped(register) == before


def test_leave_that_was_not_given_is_not_withdrawn(register: Register) -> None:
    with pytest.raises(NotAllowed, match="Lark has no leave"):
        shop.withdraw_leave(register, "Lark")
    with pytest.raises(NotFound):
        shop.withdraw_leave(register, "Albatross")


@pytest.mark.parametrize(("letter", "station"), [("a", "A"), (" kit ", "KIT")])
def test_station_is_one_to_three_letters(letter: str, station: str) -> None:
    assert shop.checked_station(letter) == station


@pytest.mark.parametrize("letter", ["", "ABCD", "A1", "Ä", "A-B", " "])
def test_anything_else_is_no_station(letter: str) -> None:
    with pytest.raises(BadText):
        shop.checked_station(letter)


def test_robot_shows_its_assemblies_and_positions(register: Register) -> None:
    robots.add_assembly(register, ROBOT, "arm", None, module=True)
    robots.add_assembly(register, ROBOT, "wrist", "arm", module=False)
    robots.add_position(register, ROBOT, "wrist", "fine claw", PART, 1, None)
    shown = robots.show_robot(register, f" {ROBOT} ")
    assert shown.assemblies == (Assembly(ROBOT, "arm", None, True), Assembly(ROBOT, "wrist", "arm", False))
    assert [(each.name, each.assembly, each.required, each.quantity, each.fitted) for each in shown.positions] == [
        (POSITION, None, "A", 2, ("A", "A")),
        ("fine claw", "wrist", "A", 1, ()),
    ]
    assert robots.list_robots(register) == (shown,)


@pytest.mark.parametrize(
    "act",
    [
        lambda r: robots.add_robot(r, ROBOT),
        lambda r: robots.add_robot(r, ""),
        lambda r: robots.add_assembly(r, "Nobody", "arm", None, False),
        lambda r: robots.add_assembly(r, ROBOT, "arm", "no parent", False),
        lambda r: robots.add_position(r, ROBOT, None, POSITION, PART, 1, None),
        lambda r: robots.add_position(r, ROBOT, "no arm", "tip", PART, 1, None),
        lambda r: robots.add_position(r, ROBOT, None, "tip", "NO-SUCH", 1, None),
        lambda r: robots.add_position(r, ROBOT, None, "tip", PART, 0, None),
        lambda r: robots.add_position(r, ROBOT, None, "tip", PART, 10**30, None),
        lambda r: robots.add_position(r, ROBOT, None, "tip", PART, 1, "B"),
        lambda r: robots.add_position(r, ROBOT, None, "tip", "P-9", 1, None),
        lambda r: robots.require_revision(r, ROBOT, POSITION, "B"),
        lambda r: robots.require_revision(r, ROBOT, "nowhere", "A"),
        lambda r: robots.record_fitted(r, ROBOT, POSITION, ("A",)),
        lambda r: robots.record_fitted(r, ROBOT, POSITION, ("A", "B")),
        lambda r: robots.record_fitted(r, ROBOT, "nowhere", ("A", "A")),
        lambda r: robots.show_robot(r, "Nobody"),
        lambda r: competitions.add_competition(r, "event", NOON, NOON + timedelta(seconds=1), ()),
        lambda r: competitions.add_competition(r, "event", NOON, None, (Entry("Nobody", 3),)),
        lambda r: competitions.add_competition(r, "event", NOON, None, (Entry(ROBOT, -1),)),
        lambda r: competitions.add_competition(r, "event", NOON, None, (Entry(ROBOT, 10**30),)),
        lambda r: competitions.add_competition(r, "past", NOON, None, ()),
    ],
)
def test_what_the_register_cannot_hold_is_refused_and_leaves_nothing_half(
    register: Register, act: Callable[[Register], object]
) -> None:
    parts.add_part(register, "P-9", "Without a revision", False)
    competitions.add_competition(register, "past", NOON, None, ())
    before = dumped(register)
    with pytest.raises(RegisterError) as refused:
        act(register)
    assert refused.value.exit_code in (3, 4)
    assert refused.value.cure
    assert dumped(register) == before


def test_competitions_are_listed_by_date_with_who_plays(register: Register) -> None:
    later, sooner = NOON + timedelta(days=30), NOON + timedelta(days=3)
    competitions.add_competition(register, "later", later, later - timedelta(days=1), ())
    competitions.add_competition(register, "sooner", sooner, None, (Entry(ROBOT, 7),))
    found = competitions.list_competitions(register)
    assert [(each.name, each.starts, each.parts_due) for each in found] == [
        ("sooner", sooner, sooner),
        ("later", later, later - timedelta(days=1)),
    ]
    assert found[0].entries == (Entry(ROBOT, 7),)


def sql(register: Register, *statements: str) -> None:
    """What only a careless hand with another program does."""
    with closing(sqlite3.connect(register.folder / "register.db", isolation_level=None)) as connection:
        connection.execute("PRAGMA foreign_keys = OFF")
        for statement in statements:
            connection.execute(statement)


def test_sound_register_is_counted(register: Register) -> None:
    logged(register, printed(), CLAW_B)
    found = check_register(register)
    assert found.files == 2
    counts = row_counts(register)
    history_tables = ("operation", "change", "open_operation", "register_identity")
    assert found.rows == sum(rows for table, rows in counts.items() if table not in history_tables)


# The history refuses writes of other programs unless they pretend to be in an operation.
BEGUN, ENDED = "INSERT INTO open_operation VALUES (1, 1)", "DELETE FROM open_operation"


@pytest.mark.parametrize(
    ("statements", "said"),
    [
        (["DROP TRIGGER history_part_update"], "changes of part are not kept"),
        ([BEGUN, "DELETE FROM part", ENDED], "points to a row of part that is not there"),
        ([BEGUN, "UPDATE piece_move SET quantity = -1", ENDED], "shelf holds -1 CL-1"),
    ],
)
def test_register_that_was_meddled_with_is_said_to_be_unsound(
    register: Register, statements: list[str], said: str
) -> None:
    check_register(register)
    sql(register, *statements)
    with pytest.raises(StoreBroken, match=said) as refused:
        check_register(register)
    assert refused.value.what.startswith("The register is not sound: ")
