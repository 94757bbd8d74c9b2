"""Jobs: every state and the ways between them, the machine that a job gets, and what it books of stock."""

from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest

from register.actions import competitions, history, jobs, parts, revisions, shop, stock
from register.domain.estimates import PrintedEstimate
from register.domain.hazards import DEFERRING, SignalWord
from register.domain.job_views import Booked
from register.domain.jobs import JobState
from register.domain.part_views import RevisionRequest
from register.domain.parts import Process
from register.domain.stock import Lot, StockForm
from register.errors import NotAllowed, NotFound, RegisterError, UnknownMaterial
from register.opening import Register
from tests.geometry.stl_bytes import binary, box
from tests.shops import (
    CLAW_B,
    NOON,
    PART,
    SHOP_TOML,
    SetClock,
    add_sheet,
    add_spool,
    dumped,
    logged,
    printed,
    released,
    running_job,
    wear_register,
)

Act = Callable[[Register, str], object]
COMMANDS: dict[str, Act] = {
    "start": jobs.start_job,
    "made": jobs.made_job,
    "finish": jobs.finish_job,
    "accept": jobs.accept_job,
    "hold": lambda register, number: jobs.hold_job(register, number, "waits"),
    "requeue": jobs.requeue_job,
    "cancel": jobs.cancel_job,
    "scrap": lambda register, number: jobs.scrap_pieces(register, number, 1, "warped"),
}
# How a job comes into each state, and what may be done with it there.
WAYS: dict[JobState, tuple[tuple[str, ...], set[str]]] = {
    JobState.QUEUED: ((), {"start", "hold", "cancel"}),
    JobState.RUNNING: (("start",), {"made", "requeue", "hold", "cancel", "scrap"}),
    JobState.MADE: (("start", "made"), {"finish", "hold", "cancel", "scrap"}),
    JobState.FINISHED: (("start", "made", "finish"), {"accept", "hold", "cancel", "scrap"}),
    JobState.ACCEPTED: (("start", "made", "finish", "accept"), set()),
    JobState.ON_HOLD: (("hold",), {"requeue", "cancel"}),
    JobState.CANCELLED: (("cancel",), set()),
}


@pytest.fixture
def clock() -> SetClock:
    return SetClock()


@pytest.fixture
def register(tmp_path: Path, clock: SetClock) -> Register:
    return wear_register(tmp_path / "register", clock, on_hand=0)


def state_of(register: Register, number: str) -> JobState:
    return jobs.show_job(register, number).job.state


def pieces(register: Register) -> dict[tuple[str | None, str], int]:
    return {(each.revision, each.place): each.quantity for each in parts.show_part(register, PART).on_hand}


def left_of(register: Register, label: str) -> float:
    return next(lot.amount for lot in stock.list_stock(register) if lot.label == label)


def claw_g(register: Register) -> float:
    """Filament of one claw, as its estimate says."""
    estimate = parts.show_part(register, PART).estimates["A"]
    assert isinstance(estimate, PrintedEstimate)
    return estimate.mass_g


def test_job_goes_from_the_queue_to_the_shelf_and_its_pieces_are_on_hand(register: Register, clock: SetClock) -> None:
    job = jobs.add_job(register, PART, None, 3)
    assert (job.number, job.revision, job.state, job.queued_at) == ("A-1", "A", JobState.QUEUED, NOON)
    clock.after(hours=1)
    started = jobs.start_job(register, "a-1")
    assert (started.state, started.machine, started.started_at) == (JobState.RUNNING, "Lark", NOON + timedelta(hours=1))
    clock.after(hours=2)
    made, booked = jobs.made_job(register, "A-1")
    assert (made.state, made.made_at, booked) == (JobState.MADE, NOON + timedelta(hours=3), None)
    assert jobs.finish_job(register, "A-1").state is JobState.FINISHED
    assert pieces(register) == {}
    accepted, left = jobs.accept_job(register, "A-1", "pit box")
    assert (accepted.state, left) == (JobState.ACCEPTED, 3)
    assert pieces(register) == {("A", "pit box"): 3}
    assert jobs.list_jobs(register) == ()
    assert jobs.list_jobs(register, closed=True) == (accepted,)


@pytest.mark.parametrize("command", COMMANDS)
@pytest.mark.parametrize("state", WAYS, ids=str)
def test_each_state_allows_its_own_moves_and_no_other(register: Register, state: JobState, command: str) -> None:
    number = jobs.add_job(register, PART, None, 2).number
    way, allowed = WAYS[state]
    for step in way:
        COMMANDS[step](register, number)
    assert state_of(register, number) is state
    before = dumped(register)
    if command in allowed:
        COMMANDS[command](register, number)
        assert dumped(register) != before
    else:
        with pytest.raises(NotAllowed) as refused:
            COMMANDS[command](register, number)
        assert number in refused.value.what
        assert dumped(register) == before


@pytest.mark.parametrize("number", ["A-2", "B-1", "1", "", "A-", "-1", "A-1-1", "A-" + "9" * 40, "A-１", "A--1", "job"])
def test_job_that_is_not_there_is_not_found(register: Register, number: str) -> None:
    jobs.add_job(register, PART, None, 1)
    with pytest.raises(NotFound, match="There is no job"):
        jobs.show_job(register, number)


@pytest.mark.parametrize(
    "act",
    [
        lambda r: jobs.add_job(r, PART, None, 0),
        lambda r: jobs.add_job(r, PART, None, 10**30),
        lambda r: jobs.add_job(r, PART, None, 1, weight=0.0),
        lambda r: jobs.add_job(r, PART, None, 1, weight=float("nan")),
        lambda r: jobs.add_job(r, PART, None, 1, weight=float("inf")),
        lambda r: jobs.add_job(r, PART, "B", 1),
        lambda r: jobs.add_job(r, "NO-SUCH", None, 1),
        lambda r: jobs.add_job(r, "P-9", None, 1),
        lambda r: jobs.add_job(r, PART, None, 1, machine="Albatross"),
        lambda r: jobs.add_job(r, PART, None, 1, machine="Heron"),
        lambda r: jobs.add_job(r, PART, None, 1, note="a\x07b"),
    ],
)
def test_job_that_makes_no_sense_is_not_queued(register: Register, act: Callable[[Register], object]) -> None:
    parts.add_part(register, "P-9", "Without a revision", False)
    before = dumped(register)
    with pytest.raises(RegisterError) as refused:
        act(register)
    assert refused.value.exit_code in (3, 4)
    assert dumped(register) == before


def test_job_is_due_when_parts_are_for_the_next_competition(register: Register) -> None:
    assert jobs.add_job(register, PART, None, 1).due is None
    for name, days in (("past", -3), ("next", 20), ("after it", 60)):
        starts = NOON + timedelta(days=days)
        competitions.add_competition(register, name, starts, starts - timedelta(days=2), ())
    assert jobs.add_job(register, PART, None, 1).due == NOON + timedelta(days=18)
    assert jobs.add_job(register, PART, None, 1, due=NOON).due == NOON


def test_draft_is_queued_but_not_started_until_it_is_released(register: Register) -> None:
    logged(register, printed(), CLAW_B)
    number = jobs.add_job(register, PART, "B", 1).number
    with pytest.raises(NotAllowed, match="for revision B of CL-1, which is draft"):
        jobs.start_job(register, number)
    revisions.release_revision(register, PART, "B")
    assert jobs.start_job(register, number).state is JobState.RUNNING


def test_job_of_a_revision_that_was_superseded_meanwhile_is_not_started(register: Register) -> None:
    number = jobs.add_job(register, PART, "A", 1).number
    released(register, printed(), CLAW_B)
    with pytest.raises(NotAllowed, match="which is superseded"):
        jobs.start_job(register, number)


def test_each_job_gets_a_machine_of_its_own_until_none_is_free(register: Register) -> None:
    numbers = [jobs.add_job(register, PART, None, 1).number for _ in range(3)]
    assert [jobs.start_job(register, number).machine for number in numbers[:2]] == ["Lark", "Wren"]
    with pytest.raises(NotAllowed, match="Lark and Wren is taken"):
        jobs.start_job(register, numbers[2])
    with pytest.raises(NotAllowed, match="Wren is taken"):
        jobs.start_job(register, numbers[2], "Wren")
    jobs.made_job(register, numbers[0])
    assert jobs.start_job(register, numbers[2]).machine == "Lark"


def test_job_is_not_started_on_a_machine_that_cannot_hold_it(register: Register) -> None:
    # 200 mm: Lark travels 250 mm, Wren 180 mm.
    parts.add_part(register, "P-9", "Long bar", False)
    released(register, printed(part="P-9"), binary(box(200.0, 10.0, 4.0)))
    first, second = (jobs.add_job(register, "P-9", None, 1).number for _ in range(2))
    with pytest.raises(NotAllowed, match="too small"):
        jobs.start_job(register, first, "Wren")
    assert jobs.start_job(register, first).machine == "Lark"
    with pytest.raises(NotAllowed, match="too small"):
        jobs.start_job(register, second)


def test_machine_that_is_out_of_order_gets_no_job(register: Register) -> None:
    shop.set_up_shop(register, SHOP_TOML.replace(b'name = "Lark"', b'name = "Lark"\nout_of_order = true'), "shop.toml")
    assert jobs.start_job(register, jobs.add_job(register, PART, None, 1).number).machine == "Wren"


def test_job_on_a_machine_that_the_shop_gave_away_can_still_be_put_right(register: Register) -> None:
    running = running_job(register, machine="Wren")
    queued = jobs.add_job(register, PART, None, 1, machine="Wren").number
    shop.set_up_shop(register, SHOP_TOML.replace(b'"Wren"', b'"Kestrel"'), "shop.toml")
    assert jobs.hold_job(register, running, "the machine is gone").machine == "Wren"
    with pytest.raises(NotFound, match="There is no machine 'Wren'"):
        jobs.start_job(register, queued)
    assert jobs.start_job(register, queued, "Kestrel").machine == "Kestrel"
    assert jobs.cancel_job(register, running).state is JobState.CANCELLED


def test_scrapped_pieces_never_reach_the_shelf_and_the_last_one_cancels_the_job(register: Register) -> None:
    number = running_job(register, 3)
    assert jobs.scrap_pieces(register, number, 1, "warped").scrapped == 1
    with pytest.raises(NotAllowed, match="has 2 good pieces, not 3"):
        jobs.scrap_pieces(register, number, 3, "warped")
    for step in ("made", "finish", "accept"):
        COMMANDS[step](register, number)
    assert pieces(register) == {("A", "shelf"): 2}
    lost = running_job(register, 2)
    assert jobs.scrap_pieces(register, lost, 2, "fell off the bed").state is JobState.CANCELLED
    assert pieces(register) == {("A", "shelf"): 2}


def test_hold_keeps_its_reason_and_a_requeued_job_has_not_begun(register: Register) -> None:
    number = running_job(register)
    assert jobs.hold_job(register, number, " waits for the tip ").note == "waits for the tip"
    assert jobs.requeue_job(register, number).started_at is None
    with pytest.raises(RegisterError):
        jobs.hold_job(register, number, "  ")


def test_made_books_the_smallest_spool_that_suffices_and_is_there(register: Register) -> None:
    need_g = 4 * claw_g(register)
    add_spool(register, "short", need_g - 0.01)
    add_spool(register, "full", 1000.0)
    add_spool(register, "opened", need_g + 5)
    add_spool(register, "on order", need_g + 1, arrives=NOON + timedelta(days=2))
    stock.add_lot(register, Lot("other", "PETG", StockForm.SPOOL, need_g + 2))
    _, booked = jobs.made_job(register, running_job(register, 4))
    assert booked == Booked("opened", pytest.approx(need_g), "g", pytest.approx(5.0))
    assert left_of(register, "opened") == pytest.approx(5.0)
    assert {left_of(register, label) for label in ("full",)} == {1000.0}
    history.undo(register)
    assert left_of(register, "opened") == pytest.approx(need_g + 5)


def test_made_books_what_has_arrived_meanwhile(register: Register, clock: SetClock) -> None:
    add_spool(register, "on order", 500.0, arrives=NOON + timedelta(days=2))
    assert jobs.made_job(register, running_job(register))[1] is None
    clock.after(days=2)
    _, booked = jobs.made_job(register, running_job(register))
    assert booked is not None
    assert booked.lot == "on order"


def test_made_books_the_lot_that_is_named_and_refuses_one_that_cannot_have_served(register: Register) -> None:
    add_spool(register, "small", 20.0)
    add_spool(register, "large", 900.0)
    add_spool(register, "rest", 0.01)
    stock.add_lot(register, Lot("other", "PETG", StockForm.SPOOL, 500.0))
    number = running_job(register)
    before = dumped(register)
    for label, refusal in (("rest", NotAllowed), ("other", NotAllowed), ("nowhere", NotFound)):
        with pytest.raises(refusal):
            jobs.made_job(register, number, label)
    assert dumped(register) == before
    _, booked = jobs.made_job(register, number, "large")
    assert booked == Booked("large", pytest.approx(claw_g(register)), "g", pytest.approx(900 - claw_g(register)))


def test_made_without_stock_that_suffices_books_nothing_and_is_made_all_the_same(register: Register) -> None:
    add_spool(register, "rest", 0.01)
    job, booked = jobs.made_job(register, running_job(register))
    assert (job.state, booked, left_of(register, "rest")) == (JobState.MADE, None, 0.01)


@pytest.fixture
def plates(register: Register) -> Register:
    """A shop that also routes a plate of 120 × 60 mm.

    18 come from a sheet of 610 × 305: inside the margin of 10 it has 590 × 285, and pieces stand 8 apart (6 mm tool and
    2 clear). 4 columns of 128 hold 4 rows of 68, and the rest of 78 one column of turned pieces, 2 rows of 128.
    """
    parts.add_part(register, "PL-1", "Plate", False)
    request = RevisionRequest("PL-1", Process.ROUTED, "plate.stl", "6061", 3.175, unit="mm")
    released(register, request, binary(box(120.0, 60.0, 3.175)))
    return register


def routed_job(register: Register, quantity: int) -> str:
    number = jobs.add_job(register, "PL-1", None, quantity).number
    return jobs.start_job(register, number).number


def test_offcut_that_holds_the_job_is_used_before_a_sheet(plates: Register) -> None:
    add_sheet(plates, "sheet", 2.0, (610.0, 305.0))
    add_sheet(plates, "large offcut", 1.0, (400.0, 300.0), form="offcut")
    add_sheet(plates, "small offcut", 1.0, (160.0, 90.0), form="offcut")
    add_sheet(plates, "too small", 1.0, (120.0, 60.0), form="offcut")
    booked = [jobs.made_job(plates, routed_job(plates, 1))[1] for _ in range(3)]
    assert booked[0] == Booked("small offcut", 1.0, "pieces", 0.0)
    assert booked[1] == Booked("large offcut", 1.0, "pieces", 0.0)
    assert booked[2] == Booked("sheet", pytest.approx(1 / 18), "pieces", pytest.approx(2 - 1 / 18))


def test_sheet_is_booked_by_its_share_and_a_lot_with_too_little_left_is_passed_over(plates: Register) -> None:
    add_sheet(plates, "large", 0.25, (610.0, 305.0))
    add_sheet(plates, "small", 5.0, (300.0, 305.0))
    # A quarter of 18 is 4.5 pieces.
    assert jobs.made_job(plates, routed_job(plates, 4))[1] == Booked(
        "large", pytest.approx(4 / 18), "pieces", pytest.approx(0.25 - 4 / 18)
    )
    # 300 × 305 leaves 280 × 285: 2 columns of 128 with 4 rows of 68 are 8, and the rest of 24 holds none.
    assert jobs.made_job(plates, routed_job(plates, 4))[1] == Booked("small", 0.5, "pieces", 4.5)


def test_sheet_of_another_thickness_or_material_or_on_order_is_not_booked(plates: Register) -> None:
    add_sheet(plates, "thick", 5.0, (610.0, 305.0), thickness_mm=6.35)
    add_sheet(plates, "ordered", 5.0, (610.0, 305.0), arrives=NOON + timedelta(days=1))
    add_sheet(plates, "ordered offcut", 1.0, (300.0, 200.0), form="offcut", arrives=NOON + timedelta(days=1))
    assert jobs.made_job(plates, routed_job(plates, 1))[1] is None


def test_stock_is_a_ledger_that_never_goes_below_nothing(register: Register) -> None:
    add_spool(register, "PLA-1", 100.0)
    assert stock.use_stock(register, "PLA-1", 30.5).amount == pytest.approx(69.5)
    before = dumped(register)
    with pytest.raises(NotAllowed, match=r"PLA-1 holds 69\.5, so 70 cannot be taken"):
        stock.use_stock(register, "PLA-1", 70.0)
    with pytest.raises(NotAllowed, match=r"PLA-1 should hold 69\.5, not 60"):
        stock.count_lot(register, "PLA-1", 60.0, "")
    assert dumped(register) == before
    assert stock.count_lot(register, "PLA-1", 60.0, "weighed it").amount == pytest.approx(60.0)
    assert stock.count_lot(register, "PLA-1", 0.0, "thrown away").amount == pytest.approx(0.0)


@pytest.mark.parametrize(
    ("lot", "refusal"),
    [
        (Lot("PLA-1", "PLA", StockForm.SPOOL, 10.0), NotAllowed),
        (Lot("L", "unobtainium", StockForm.SPOOL, 10.0), UnknownMaterial),
        (Lot("L", "6061", StockForm.SPOOL, 10.0), UnknownMaterial),
        (Lot("L", "PLA", StockForm.SHEET, 1.0, 3.0, 100.0, 100.0), UnknownMaterial),
        (Lot("L", "6061", StockForm.SHEET, 1.0, 3.0, 100.0, None), NotAllowed),
        (Lot("L", "6061", StockForm.OFFCUT, 1.0, 0.0, 100.0, 100.0), NotAllowed),
        (Lot("L", "PLA", StockForm.SPOOL, 0.0), NotAllowed),
        (Lot("L", "PLA", StockForm.SPOOL, float("nan")), NotAllowed),
        (Lot("L", "PLA", StockForm.SPOOL, float("inf")), NotAllowed),
        (Lot(" ", "PLA", StockForm.SPOOL, 10.0), RegisterError),
    ],
)
def test_lot_that_is_not_in_order_is_refused(register: Register, lot: Lot, refusal: type[RegisterError]) -> None:
    add_spool(register, "PLA-1", 100.0)
    before = dumped(register)
    with pytest.raises(refusal) as refused:
        stock.add_lot(register, lot)
    assert refused.value.exit_code == 3
    assert dumped(register) == before


def test_job_sheet_carries_its_estimate_and_cautions_of_what_it_is_made_from(plates: Register) -> None:
    sheet = jobs.show_job(plates, jobs.add_job(plates, "PL-1", None, 2).number)
    assert (sheet.part_name, sheet.revision.letter, sheet.estimate.process) == ("Plate", "A", "routed")
    assert sheet.cautions[0].signal is SignalWord.DANGER
    assert sheet.cautions[-1] == DEFERRING
    assert any("aluminium" in each.what for each in sheet.cautions)
    bought = RevisionRequest("B-1", Process.BOUGHT, unit_cost_cents=100, lead_days=3)
    parts.add_part(plates, "B-1", "Bearing", True)
    released(plates, bought, None)
    ordered = jobs.start_job(plates, jobs.add_job(plates, "B-1", None, 2).number)
    assert (ordered.machine, ordered.state) == (None, JobState.RUNNING)
    assert jobs.made_job(plates, ordered.number)[1] is None


def test_the_number_of_an_undone_job_is_never_given_to_another(register: Register) -> None:
    first = jobs.add_job(register, PART, "A", 1)
    history.undo(register)
    second = jobs.add_job(register, PART, "A", 1)
    assert first.number != second.number
