"""The screen of parts by its keys, on a real register in a folder."""

import asyncio
import threading
import time
from collections.abc import Awaitable, Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from rich.cells import cell_len
from textual.pilot import Pilot
from textual.widgets import Input

from register.actions import history, jobs, parts, planning, spares
from register.domain.jobs import JobState
from register.errors import Cancelled
from register.opening import Register
from tests.shops import PART, SetClock, add_spool, again, bare_register, claws, set_up_register, wear_register
from tests.tui.screen_text import screen_lines, screen_text, until, until_shown
from tui.app import Screens
from tui.screens.parts import PartsScreen
from tui.widgets.part_table import PartTable

SMALL, LARGE = (80, 24), (160, 45)
Steps = Callable[[Pilot[None]], Awaitable[None]]


def at_the_screen(register: Register | None, steps: Steps, size: tuple[int, int] = SMALL) -> Screens:
    """Open the screens and go through the steps; a fault in a screen fails the test."""
    app = Screens(register)

    async def run() -> None:
        async with app.run_test(size=size) as pilot:
            await until(pilot, lambda: bool(app.screen.query(PartTable)))
            await steps(pilot)

    asyncio.run(run())
    return app


@contextmanager
def another_terminal(register: Register) -> Iterator[Register]:
    """The same register, opened once more as another terminal does."""
    other = again(register)
    try:
        yield other
    finally:
        other.store.close()


def selected(pilot: Pilot[None]) -> str | None:
    part = pilot.app.screen.query_one(PartTable).part
    return part.number if part else None


@pytest.mark.parametrize("size", [SMALL, LARGE])
def test_a_part_stands_with_its_revision_material_count_and_signal(tmp_path: Path, size: tuple[int, int]) -> None:
    async def steps(pilot: Pilot[None]) -> None:
        await until_shown(pilot, PART)
        row = next(line for line in screen_lines(pilot.app) if line.split()[:1] == [PART])
        # One robot with two claws of A fitted, one claw of A on the shelf, nothing else: see `wear_register`.
        assert row.split()[:8] == [PART, "Claw", "A", "released", "printed", "PLA", "1", "OK"]
        assert all(cell_len(line) <= size[0] for line in screen_lines(pilot.app))

    at_the_screen(wear_register(tmp_path / "register"), steps, size)


def test_the_warnings_of_the_selected_part_stand_below_the_table_on_eighty_columns(tmp_path: Path) -> None:
    register = wear_register(tmp_path / "register")
    parts.add_part(register, "CL-2", "Hook", False)

    async def steps(pilot: Pilot[None]) -> None:
        await until_shown(pilot, "CL-1 Claw No warning.")
        await pilot.press("down")
        await until_shown(pilot, "CL-2 Hook ! has no revision yet")

    at_the_screen(register, steps)


def test_the_warnings_stand_beside_every_part_where_there_is_room(tmp_path: Path) -> None:
    register = wear_register(tmp_path / "register")
    parts.add_part(register, "CL-2", "Hook", False)

    async def steps(pilot: Pilot[None]) -> None:
        await until_shown(pilot, "CL-2")
        row = next(line for line in screen_lines(pilot.app) if line.split()[:1] == ["CL-2"])
        assert row.endswith("has no revision yet")

    at_the_screen(register, steps, LARGE)


def test_a_backup_that_cannot_be_made_is_said_from_the_days_first_write_on(tmp_path: Path) -> None:
    register = wear_register(tmp_path / "register", on_hand=5)
    (register.folder / "backups").rmdir()
    (register.folder / "backups").write_text("in the way")
    clock = register.clock
    assert isinstance(clock, SetClock)
    clock.after(days=1)

    async def steps(pilot: Pilot[None]) -> None:
        await until_shown(pilot, PART)
        assert "backup was not made" not in screen_text(pilot.app)
        await pilot.press("t")
        await until_shown(pilot, "! This day's backup was not made.")
        await pilot.press("enter")
        await until_shown(pilot, "! This day's backup was not made.", "esc Back")

    at_the_screen(register, steps, LARGE)


def test_taking_the_last_spare_brings_up_no_spare_and_undo_takes_it_away(tmp_path: Path) -> None:
    register = wear_register(tmp_path / "register")

    async def steps(pilot: Pilot[None]) -> None:
        await until_shown(pilot, "Every robot has a usable spare of each wear part.")
        await pilot.press("t")
        await until_shown(pilot, "NO SPARE (1)  CL-1 Claw", "Took one CL-1 revision A from shelf; 0 left there.")
        assert claws(register).usable_now == 0
        await pilot.press("u")
        await until_shown(pilot, "Every robot has a usable spare", "Undone: take a spare CL-1")
        assert "NO SPARE" not in screen_text(pilot.app)
        assert claws(register).usable_now == 1

    at_the_screen(register, steps)


def test_one_spare_too_many_is_refused_in_place_and_nothing_is_written(tmp_path: Path) -> None:
    register = wear_register(tmp_path / "register", on_hand=0)

    async def steps(pilot: Pilot[None]) -> None:
        await until_shown(pilot, "NO SPARE (1)")
        before = len(history.list_operations(register))
        await pilot.press("t")
        await until_shown(pilot, "! No usable spare of CL-1 is on hand")
        assert len(history.list_operations(register)) == before
        assert isinstance(pilot.app.screen, PartsScreen)

    at_the_screen(register, steps)


def test_keys_pressed_fast_act_one_after_another(tmp_path: Path) -> None:
    register = wear_register(tmp_path / "register", on_hand=5)

    async def steps(pilot: Pilot[None]) -> None:
        await until_shown(pilot, PART)
        # Three taken, one brought back: 5 − 3 + 1 = 3.
        for key in "tttu":
            pilot.app.simulate_key(key)
        await until(pilot, lambda: claws(register).usable_now == 3)
        await until_shown(pilot, "Undone: take a spare CL-1")

    at_the_screen(register, steps)


def test_finding_filters_while_one_types_and_escape_brings_every_part_back(tmp_path: Path) -> None:
    register = wear_register(tmp_path / "register", on_hand=0)
    parts.add_part(register, "HK-2", "Hook [spare] 100%", False)

    async def steps(pilot: Pilot[None]) -> None:
        table = pilot.app.screen.query_one(PartTable)
        await until(pilot, lambda: table.row_count == 2)
        await pilot.press("/", *"E] 1")
        await until(pilot, lambda: table.row_count == 1)
        assert selected(pilot) == "HK-2"
        # Letters that are keys elsewhere are only letters here, and NO SPARE stays in sight whatever is found.
        assert pilot.app.screen.query_one(Input).value == "E] 1"
        assert "NO SPARE (1)  CL-1 Claw" in screen_text(pilot.app)
        await pilot.press("x")
        await until_shown(pilot, "No part holds “E] 1x” in its number or name.")
        await pilot.press("escape")
        await until(pilot, lambda: table.row_count == 2)
        assert pilot.app.focused is table

    at_the_screen(register, steps)


def test_what_was_found_is_opened_with_enter_and_escape_goes_back_to_it(tmp_path: Path) -> None:
    register = wear_register(tmp_path / "register")
    parts.add_part(register, "AA-1", "Axle", False)

    async def steps(pilot: Pilot[None]) -> None:
        table = pilot.app.screen.query_one(PartTable)
        await until(pilot, lambda: table.row_count == 2)
        await pilot.press("/", *"cl")
        await until(pilot, lambda: table.row_count == 1)
        await pilot.press("enter", "enter")
        await until_shown(
            pilot, "CL-1  Claw", "A  released, printed in PLA", "claws       2  A         A A", "shelf  A"
        )
        await pilot.press("escape")
        await until(pilot, lambda: isinstance(pilot.app.screen, PartsScreen))
        assert selected(pilot) == PART

    at_the_screen(register, steps)


def test_the_cursor_goes_back_to_its_part_when_finding_has_ended(tmp_path: Path) -> None:
    register = wear_register(tmp_path / "register")
    for number in ("DD-1", "DD-2", "DD-3"):
        parts.add_part(register, number, "Drum", False)

    async def steps(pilot: Pilot[None]) -> None:
        table = pilot.app.screen.query_one(PartTable)
        await until(pilot, lambda: table.row_count == 4)
        await pilot.press("down", "down", "/", *"cl")
        await until(pilot, lambda: table.row_count == 1)
        await pilot.press("escape")
        await until(pilot, lambda: table.row_count == 4)
        assert selected(pilot) == "DD-2"

    at_the_screen(register, steps)


def test_what_another_terminal_writes_shows_by_itself_and_soon(tmp_path: Path) -> None:
    register = wear_register(tmp_path / "register")

    async def steps(pilot: Pilot[None]) -> None:
        await until_shown(pilot, "Every robot has a usable spare")
        with another_terminal(register) as other:
            await asyncio.to_thread(spares.take_spare, other, PART)
        began = asyncio.get_running_loop().time()
        await until_shown(pilot, "NO SPARE (1)  CL-1 Claw")
        # A second, and one more for a computer that is busy with other things.
        assert asyncio.get_running_loop().time() - began < 2.0

    at_the_screen(register, steps)


def test_another_terminal_writes_while_the_screens_are_open_without_waiting(tmp_path: Path) -> None:
    register = wear_register(tmp_path / "register", on_hand=20)

    async def steps(pilot: Pilot[None]) -> None:
        await until_shown(pilot, PART)
        with another_terminal(register) as other:
            for _ in range(20):
                await asyncio.to_thread(spares.take_spare, other, PART)
        await until_shown(pilot, "NO SPARE (1)")

    at_the_screen(register, steps)


def test_a_part_that_another_terminal_adds_first_brings_the_table_and_its_keys(tmp_path: Path) -> None:
    register = set_up_register(tmp_path / "register")

    async def steps(pilot: Pilot[None]) -> None:
        await until_shown(pilot, "No part is in this register yet.", "pitwright part add NUMBER NAME")
        await pilot.press("t", "enter")
        with another_terminal(register) as other:
            await asyncio.to_thread(parts.add_part, other, "AA-1", "Axle", False)
        await until_shown(pilot, "AA-1")
        await pilot.press("enter")
        await until_shown(pilot, "None yet.", "On no robot.")

    at_the_screen(register, steps)


def test_a_register_without_a_shop_says_so_in_place(tmp_path: Path) -> None:
    async def steps(pilot: Pilot[None]) -> None:
        await until_shown(pilot, "! The register has no shop yet.", "pitwright shop read")

    at_the_screen(bare_register(tmp_path / "register"), steps)


def test_a_plan_is_made_apart_and_says_when_all_is_ready(tmp_path: Path) -> None:
    register = wear_register(tmp_path / "register")
    add_spool(register, "S-1", 1000.0)
    number = jobs.add_job(register, PART, None, 2).number

    async def steps(pilot: Pilot[None]) -> None:
        await until_shown(pilot, "No plan yet: p plans every open job.")
        pilot.app.simulate_key("p")
        await until_shown(pilot, "Planning … esc stops it.")
        await until_shown(pilot, "Yes: 1 job, all on time. What is placed is ready ", "Planned: best found.")
        kept = planning.kept_plan(register)
        assert kept is not None
        assert [job.job for job in kept.plan.jobs] == [number]
        assert not kept.outdated
        await pilot.press("t")
        await until_shown(pilot, "Changed since: p plans again.")
        # The spare comes back; the plan that was made before stays.
        await pilot.press("u")
        await until_shown(pilot, "Undone: take a spare ")
        assert planning.kept_plan(register) is not None
        assert [job.state for job in jobs.list_jobs(register)] == [JobState.QUEUED]

    at_the_screen(register, steps)


def test_escape_stops_a_plan_that_is_being_made_and_nothing_is_kept(tmp_path: Path) -> None:
    register = wear_register(tmp_path / "register")
    jobs.add_job(register, PART, None, 2)

    async def steps(pilot: Pilot[None]) -> None:
        await until_shown(pilot, "No plan yet")
        # Sent at once, as a pilot's own keys wait for each other longer than a small plan takes.
        pilot.app.simulate_key("p")
        pilot.app.simulate_key("escape")
        await until_shown(pilot, "! The work was stopped. Nothing was written.", "No plan yet")
        assert planning.kept_plan(register) is None

    at_the_screen(register, steps)


def test_leaving_ends_the_process_that_makes_a_plan(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    ended = threading.Event()

    def plan_jobs(register: Register, apart: bool, stopped: Callable[[], bool]) -> None:
        # A plan that would take a minute; what it does with `stopped` is tested with the workers.
        end = time.monotonic() + 60.0
        while not stopped() and time.monotonic() < end:
            time.sleep(0.01)
        if stopped():
            ended.set()
        raise Cancelled("The work was stopped.", "Nothing was written.")

    monkeypatch.setattr(planning, "plan_jobs", plan_jobs)

    async def steps(pilot: Pilot[None]) -> None:
        await until_shown(pilot, "No plan yet")
        await pilot.press("p")
        await until_shown(pilot, "Planning … esc stops it.")
        await pilot.press("q")

    began = time.monotonic()
    at_the_screen(wear_register(tmp_path / "register"), steps)
    assert ended.is_set()
    assert time.monotonic() - began < 30.0


AWKWARD = ("P[rev B] [/x] [red]", "🦀 crab 🔩 bolt", "歯車" * 100, "a" * 200)


@pytest.mark.parametrize("name", AWKWARD)
def test_a_name_shows_as_it_is_whatever_signs_it_holds(tmp_path: Path, name: str) -> None:
    register = set_up_register(tmp_path / "register")
    parts.add_part(register, "[/b]", name, True)

    async def steps(pilot: Pilot[None]) -> None:
        await until_shown(pilot, "[/b]")
        row, detail = (line for line in screen_lines(pilot.app) if line.split()[:1] == ["[/b]"])
        for line in (row, detail):
            # As much as there is room for; a wide sign that does not fit leaves a blank before the ellipsis.
            begun = line.removeprefix(" [/b]").lstrip().split(" –")[0].rstrip().removesuffix("…").rstrip()
            assert len(begun) >= 8
            assert name.startswith(begun)
        assert all(cell_len(line) <= SMALL[0] for line in screen_lines(pilot.app))
        await pilot.press("enter")
        await until_shown(pilot, "None yet.")
        # The page of the part shows the name whole, over as many lines as it takes.
        page = "".join(line.strip() for line in screen_lines(pilot.app)[1:12])
        assert name.replace(" ", "") in page.replace(" ", "")

    at_the_screen(register, steps)


def test_the_page_of_keys_opens_and_closes(tmp_path: Path) -> None:
    async def steps(pilot: Pilot[None]) -> None:
        await until_shown(pilot, PART)
        await pilot.press("?")
        await until_shown(pilot, "take a usable spare of the part", "a robot would stand without a piece")
        await pilot.press("escape")
        await until(pilot, lambda: isinstance(pilot.app.screen, PartsScreen))

    at_the_screen(wear_register(tmp_path / "register"), steps)


def test_a_long_list_keeps_its_place_when_something_changes(tmp_path: Path) -> None:
    register = set_up_register(tmp_path / "register")
    for number in range(120):
        parts.add_part(register, f"N-{number:03d}", "Nut", False)

    async def steps(pilot: Pilot[None]) -> None:
        table = pilot.app.screen.query_one(PartTable)
        await until(pilot, lambda: table.row_count == 120)
        await pilot.press(*["pagedown"] * 3)
        at, top = selected(pilot), table.scroll_y
        with another_terminal(register) as other:
            await asyncio.to_thread(parts.add_part, other, "ZZ-1", "Last", False)
        await until(pilot, lambda: table.row_count == 121)
        await pilot.pause()
        assert (selected(pilot), table.scroll_y) == (at, top)

    at_the_screen(register, steps)


@pytest.mark.parametrize("size", [(20, 6), (40, 10), (300, 80)])
def test_any_size_of_terminal_shows_something_and_fails_nowhere(tmp_path: Path, size: tuple[int, int]) -> None:
    async def steps(pilot: Pilot[None]) -> None:
        await until_shown(pilot, "Parts")
        await pilot.press("down", "enter")
        await until_shown(pilot, "Part ")
        await pilot.resize_terminal(80, 24)
        await until_shown(pilot, "REVISIONS")

    at_the_screen(wear_register(tmp_path / "register"), steps, size)
