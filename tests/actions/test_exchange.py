"""Tables out of a register and into another: all the same, in one operation, seen before, and refused whole."""

import shutil
from pathlib import Path
from random import Random

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from register.actions import competitions, history, parts, robots, spares, stock
from register.actions.checking import check_register
from register.actions.exchange import export_table, import_table
from register.domain.competitions import Entry
from register.domain.exchange import ColumnChange, ImportReport
from register.domain.pieces import Cause
from register.domain.stock import Lot, StockForm
from register.domain.table_columns import ONLY_OUT, Subject, TableForm, Values
from register.errors import BadFile, NotAllowed, Refused
from register.opening import Register, open_register
from register.settings.tables_text import written_table
from register.store import pieces
from tests.shops import (
    CLAW_A,
    CLAW_B,
    NOON,
    PART,
    POSITION,
    POWDER_TOML,
    ROBOT,
    SetClock,
    add_sheet,
    add_spool,
    again,
    bare_register,
    dumped,
    logged,
    printed,
    row_counts,
    set_up_register,
    wear_register,
)
from tests.table_values import NASTY_TEXTS, mutated, tables

CSV, JSON = TableForm.CSV, TableForm.JSON
# In this order each table finds what it names.
TAKEN_IN = [
    *(Subject.PARTS, Subject.ROBOTS, Subject.ASSEMBLIES, Subject.POSITIONS),
    *(Subject.SPARES, Subject.STOCK, Subject.COMPETITIONS, Subject.ENTRIES),
]


@pytest.fixture
def register(tmp_path: Path) -> Register:
    return wear_register(tmp_path / "register", on_hand=3)


@pytest.fixture(scope="module")
def shop_with_claws(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A register with the demo's shop and one part, whose revisions A and B no table could bring."""
    folder = tmp_path_factory.mktemp("claws") / "register"
    register = set_up_register(folder, toml=POWDER_TOML)
    parts.add_part(register, PART, "Claw", True)
    logged(register, printed(), CLAW_A)
    logged(register, printed(), CLAW_B)
    register.store.close()
    return folder


def copy_of(folder: Path, to: Path) -> Register:
    shutil.copytree(folder, to)
    return open_register(to, "Tuva Skifer", SetClock())


def taken(register: Register, subject: Subject, text: str, dry_run: bool = False) -> ImportReport:
    return import_table(register, subject, text.encode(), CSV, dry_run)


def exported(register: Register, form: TableForm = CSV) -> dict[Subject, bytes]:
    return {subject: export_table(register, subject, form) for subject in TAKEN_IN}


def filled(register: Register) -> None:
    """Things that people did, some of them twice, so that the ledgers hold more than one move."""
    for number, name in enumerate(NASTY_TEXTS):
        parts.add_part(register, f"=RV-{number}", name, number % 2 == 0)
    logged(register, printed(), CLAW_B)
    robots.add_robot(register, "=1+2 'robot'", "carries; nothing, yet")
    robots.add_assembly(register, ROBOT, "arm", None, True)
    robots.add_assembly(register, ROBOT, "hand", "arm", False)
    robots.add_position(register, ROBOT, "hand", "many", PART, 30, "B")
    robots.record_fitted(register, ROBOT, "many", ("A", "", None, *("B",) * 27))
    spares.add_spares(register, PART, None, 2, "+box")
    spares.take_spare(register, PART)
    spares.log_replacement(register, ROBOT, POSITION, Cause.WORN, 2)
    add_spool(register, "PLA-1", 1000.0, note="@home", arrives=NOON)
    stock.use_stock(register, "PLA-1", 0.1)
    stock.use_stock(register, "PLA-1", 0.2)
    add_spool(register, "PLA-2", 5.0)
    stock.use_stock(register, "PLA-2", 5.0)
    add_sheet(register, "AL-1", 2.5, (610.0, 304.8))
    competitions.add_competition(register, "Trials", NOON, None, (Entry(ROBOT, 6),))


@pytest.mark.parametrize("form", [CSV, JSON], ids=str)
def test_tables_of_one_register_make_another_the_same(register: Register, tmp_path: Path, form: TableForm) -> None:
    filled(register)
    tables_out = exported(register, form)
    other = set_up_register(tmp_path / "other")
    import_table(other, Subject.PARTS, tables_out[Subject.PARTS], form)
    # Revisions come with their files, in the same order.
    logged(other, printed(), CLAW_A)
    logged(other, printed(), CLAW_B)
    for subject in TAKEN_IN[1:]:
        import_table(other, subject, tables_out[subject], form)
    assert exported(other, form) == tables_out
    assert [each.name for each in parts.list_parts(other)] == [each.name for each in parts.list_parts(register)]
    assert robots.list_robots(other) == robots.list_robots(register)
    assert stock.list_stock(other)[0] == stock.list_stock(register)[0]
    assert competitions.list_competitions(other) == competitions.list_competitions(register)
    assert on_hand(other) == on_hand(register)
    check_register(other)


def on_hand(register: Register) -> set[tuple[str, str | None, str, int]]:
    with register.store.reading() as view:
        return {(each.part, each.revision, each.place, each.quantity) for each in pieces.on_hand(view)}


def consistent(drawn: dict[Subject, list[Values]]) -> dict[Subject, list[Values]]:
    """Tables whose names find one another: rows are hung on robots, parts and competitions that are there."""
    robot_names = [str(row[0]) for row in drawn[Subject.ROBOTS]] or ["lone"]
    events = [str(row[0]) for row in drawn[Subject.COMPETITIONS]]
    made: dict[Subject, list[Values]] = drawn | {
        Subject.ROBOTS: drawn[Subject.ROBOTS] or [("lone", "", True)],
        Subject.PARTS: [row for row in drawn[Subject.PARTS] if str(row[0]).casefold() != PART.casefold()]
        + [(PART, "Claw", True)],
        Subject.ASSEMBLIES: [
            (robot_names[0], name, None, module)
            for name, module in {row[1]: row[3] for row in drawn[Subject.ASSEMBLIES]}.items()
        ],
        Subject.POSITIONS: [
            (robot_names[0], None, name, PART, quantity, "A", tuple("A" if each == "AA" else each for each in fitted))  # type: ignore[union-attr]
            for name, (quantity, fitted) in {row[2]: (row[4], row[6]) for row in drawn[Subject.POSITIONS]}.items()
        ],
        Subject.SPARES: [
            (PART, "?", place, quantity)
            for place, quantity in {row[2]: row[3] for row in drawn[Subject.SPARES]}.items()
            if quantity
        ],
        Subject.STOCK: [
            (label, {"spool": "PLA", "powder": "nylon powder"}.get(str(form), "6061"), form, *rest)
            for label, _, form, *rest in drawn[Subject.STOCK]
        ],
        Subject.ENTRIES: [(event, robot_names[place % len(robot_names)], place) for place, event in enumerate(events)],
    }
    return made


@settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(
    drawn=st.fixed_dictionaries({subject: tables(subject) for subject in TAKEN_IN}).map(consistent),
    form=st.sampled_from([CSV, JSON]),
)
def test_any_rows_taken_in_come_out_and_make_a_fresh_register_the_same(
    shop_with_claws: Path,
    tmp_path_factory: pytest.TempPathFactory,
    drawn: dict[Subject, list[Values]],
    form: TableForm,
) -> None:
    folder = tmp_path_factory.mktemp("any")
    first, second = (copy_of(shop_with_claws, folder / name) for name in ("first", "second"))
    for subject in TAKEN_IN:
        import_table(first, subject, written_table(subject, drawn[subject], form), form)
        content = export_table(first, subject, form)
        # What came in stands there in full: as many rows, each with the same cells.
        assert import_table(first, subject, written_table(subject, drawn[subject], CSV), CSV).left == len(
            drawn[subject]
        )
        report = import_table(second, subject, content, form)
        assert (report.rows, report.not_named) == (len(drawn[subject]), 0)
        assert export_table(second, subject, form) == content
    assert parts.list_parts(second) == parts.list_parts(first)
    assert robots.list_robots(second) == robots.list_robots(first)
    assert stock.list_stock(second) == stock.list_stock(first)
    assert competitions.list_competitions(second) == competitions.list_competitions(first)
    for register in (first, second):
        check_register(register)
        register.store.close()
    shutil.rmtree(folder)


PARTS = "number,name,wear\n"


def test_import_says_what_it_adds_changes_and_leaves_and_is_one_operation(register: Register) -> None:
    parts.add_part(register, "RV-9", "Hub", False)
    before, operations = dumped(register), row_counts(register)["operation"]
    text = PARTS + f"{PART.lower()},Claw,yes\nRV-9,Wheel hub,no\nRV-10,Bracket,no\n"
    seen = taken(register, Subject.PARTS, text, dry_run=True)
    assert (seen.rows, seen.added, seen.changed, seen.left, seen.not_named) == (3, 1, 1, 1, 0)
    assert (seen.dry_run, seen.operation) == (True, None)
    assert dumped(register) == before
    assert row_counts(register)["operation"] == operations
    done = taken(register, Subject.PARTS, text)
    assert (done.added, done.changed, done.left, done.changes) == (1, 1, 1, seen.changes)
    assert [(each.line, each.row, each.change) for each in done.changes] == [
        (3, "RV-9", "changed"),
        (4, "RV-10", "added"),
    ]
    assert done.changes[0].columns == (ColumnChange("name", "Hub", "Wheel hub"),)
    assert row_counts(register)["operation"] == operations + 1
    assert history.list_operations(register, 1)[0].why == "import parts: 1 added, 1 changed"
    assert done.operation == history.list_operations(register, 1)[0].number
    assert parts.show_part(register, "RV-9").part.version == 2
    history.undo(register)
    assert dumped(register) == before


def test_table_that_says_what_stands_writes_nothing(register: Register) -> None:
    filled(register)
    counts = row_counts(register)
    for subject, content in exported(register).items():
        report = import_table(register, subject, content, CSV)
        assert (report.added, report.changed, report.operation) == (0, 0, None), subject
        assert report.left == report.rows
    assert row_counts(register) == counts


def test_one_undo_takes_back_an_import_of_any_table(register: Register) -> None:
    filled(register)
    other = {
        Subject.PARTS: PARTS + "N-1,New,no\n=RV-0,Other name,no\n",
        Subject.ROBOTS: f"robot,note,active\nNew,,yes\n{ROBOT},old,no\n",
        Subject.ASSEMBLIES: f"robot,assembly,parent,module\n{ROBOT},b,a,no\n{ROBOT},a,,no\n{ROBOT},hand,a,yes\n",
        Subject.POSITIONS: (
            "robot,assembly,position,part,quantity,required,fitted\n"
            f"{ROBOT},,{POSITION},{PART},3,B,-;B;?\n{ROBOT},hand,many,{PART},2,A,A;-\n{ROBOT},,new,{PART},1,A,A\n"
        ),
        Subject.SPARES: f"part,revision,place,quantity\n{PART},A,shelf,0\n{PART},?,+box,5\n{PART},B,new,1\n",
        Subject.STOCK: (
            "label,material,form,amount,thickness_mm,width_mm,length_mm,arrives,note\n"
            "PLA-1,pla,spool,12.5,,,,,weighed\nPLA-3,pla,spool,0,,,,2031-03-09,\n"
        ),
        Subject.COMPETITIONS: "competition,starts,parts_due\nTrials,2031-04-01,2031-03-30\nNew,2031-05-01,2031-05-01\n",
        Subject.ENTRIES: f"competition,robot,matches\nTrials,{ROBOT},7\nTrials,=1+2 'robot',2\n",
    }
    for subject, text in other.items():
        before = dumped(register)
        report = taken(register, subject, text)
        assert report.added and report.changed, subject
        assert dumped(register) != before
        # The same again changes nothing: the table says what stands.
        assert taken(register, subject, text).operation is None
        check_register(register)
        history.undo(register, report.operation)
        assert dumped(register) == before, subject


def test_ledgers_get_a_move_that_makes_up_the_difference(register: Register) -> None:
    add_spool(register, "PLA-1", 1000.0)
    moves = row_counts(register)
    taken(
        register,
        Subject.STOCK,
        "label,material,form,amount,thickness_mm,width_mm,length_mm,arrives,note\nPLA-1,PLA,spool,640.5,,,,,\n",
    )
    taken(register, Subject.SPARES, f"part,revision,place,quantity\n{PART},A,shelf,1\n{PART},A,box,4\n")
    after = row_counts(register)
    assert (after["stock_move"], after["piece_move"]) == (moves["stock_move"] + 1, moves["piece_move"] + 2)
    assert {row[3:7] for row in dumped(register)["stock_move"]} == {
        ("received", 1000.0, None, ""),
        ("counted", -359.5, None, "import"),
    }
    # Three were on the shelf.
    assert {row[4:8] for row in dumped(register)["piece_move"]} == {
        ("shelf", "received", 3, None),
        ("shelf", "counted", -2, None),
        ("box", "counted", 4, None),
    }
    assert stock.list_stock(register)[0].amount == 640.5
    assert on_hand(register) == {(PART, "A", "shelf", 1), (PART, "A", "box", 4)}


REFUSED = [
    (Subject.SPARES, "part,revision,place,quantity\nX-1,A,shelf,1\n", "Line 2: there is no part 'X-1'."),
    (
        Subject.SPARES,
        f"part,revision,place,quantity\n{PART},C,shelf,1\n",
        "Line 2: there is no revision C of part 'CL-1'.",
    ),
    (
        Subject.SPARES,
        f"part,revision,place,quantity\n{PART},A,shelf,1\n{PART.lower()},A,shelf,2\nX,A,shelf,1\n",
        "Line 3: line 2 tells of cl-1, A, shelf too.",
    ),
    (Subject.ENTRIES, f"competition,robot,matches\nGala,{ROBOT},1\n", "Line 2: there is no competition 'Gala'."),
    (Subject.ASSEMBLIES, "robot,assembly,parent,module\nX,arm,,no\n", "Line 2: there is no robot 'X'."),
    (
        Subject.ASSEMBLIES,
        f"robot,assembly,parent,module\n{ROBOT},arm,leg,no\n",
        "Line 2: there is no assembly 'leg' on robot 'Basalt'.",
    ),
    (
        Subject.ASSEMBLIES,
        f"robot,assembly,parent,module\n{ROBOT},z,b,no\n{ROBOT},a,b,no\n{ROBOT},b,a,no\n",
        "Line 3: the assembly 'a' would stand in itself (1 more fault after it).",
    ),
    (
        Subject.POSITIONS,
        f"robot,assembly,position,part,quantity,required,fitted\n{ROBOT},,{POSITION},RV-9,2,A,\n",
        "Line 2: there is no revision A of part 'RV-9' (1 more fault after it).",
    ),
    (
        Subject.STOCK,
        "label,material,form,amount,thickness_mm,width_mm,length_mm,arrives,note\nP,PLA,spool,1,,,,,\nQ,mud,spool,1,,,,,\n",
        "Line 3: there is no filament called 'mud'.",
    ),
    (
        Subject.STOCK,
        "label,material,form,amount,thickness_mm,width_mm,length_mm,arrives,note\nPLA-1,PETG,spool,1,,,,,\n",
        "Line 2: material would become PETG instead of PLA, but a lot keeps its material, form and size.",
    ),
]


@pytest.mark.parametrize(("subject", "text", "said"), REFUSED, ids=range(len(REFUSED)))
def test_row_that_cannot_be_taken_in_refuses_the_whole_table_dry_or_not(
    register: Register, subject: Subject, text: str, said: str
) -> None:
    parts.add_part(register, "RV-9", "Hub", False)
    add_spool(register, "PLA-1", 1000.0)
    before = row_counts(register)
    for dry_run in (True, False):
        with pytest.raises(BadFile) as refused:
            taken(register, subject, text, dry_run)
        assert refused.value.what == said
    assert row_counts(register) == before


@pytest.mark.parametrize("subject", sorted(ONLY_OUT), ids=str)
def test_revisions_and_replacements_only_go_out(register: Register, subject: Subject) -> None:
    filled(register)
    content = export_table(register, subject, CSV)
    assert len(content.splitlines()) == {Subject.REVISIONS: 3, Subject.REPLACEMENTS: 2}[subject]
    with pytest.raises(NotAllowed, match="does not come in"):
        import_table(register, subject, content, CSV)


def test_import_holds_its_table_anew_where_someone_wrote_meanwhile(
    register: Register, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The second terminal adds the same part between the look and the lock."""
    from register.store.transaction import Store

    other = again(register)
    begin = Store.writing
    done: list[str] = []

    def late(store: Store, who: str, why: str, undoes: int | None = None) -> object:
        if store is register.store and not done:
            done.append("written")
            parts.add_part(other, "RV-9", "Hub", False)
        return begin(store, who, why, undoes)

    monkeypatch.setattr(Store, "writing", late)
    report = taken(register, Subject.PARTS, PARTS + "RV-9,Wheel hub,no\nRV-10,Bracket,no\n")
    assert (report.added, report.changed) == (1, 1)
    assert parts.show_part(register, "RV-9").part.name == "Wheel hub"


def test_part_of_any_case_is_the_same_part(tmp_path: Path) -> None:
    register = bare_register(tmp_path / "register")
    with pytest.raises(BadFile, match=r"^Line 3: line 2 tells of rv-1 too\."):
        taken(register, Subject.PARTS, PARTS + "RV-1,Hub,no\nrv-1,Hub,no\n")


def test_mutated_tables_end_in_a_report_or_a_refusal_and_nothing_else(register: Register) -> None:
    filled(register)
    before = dumped(register)
    chance = Random("imports")
    outs = {form: exported(register, form) for form in TableForm}
    taken_in = 0
    for turn in range(2000):
        subject, form = TAKEN_IN[turn % len(TAKEN_IN)], (CSV, JSON)[turn // len(TAKEN_IN) % 2]
        try:
            report = import_table(register, subject, mutated(outs[form][subject], chance), form, dry_run=True)
        except Refused as refused:
            assert refused.what.endswith(".") and refused.cure.endswith((".", "?"))
        else:
            assert isinstance(report, ImportReport)
            taken_in += 1
    assert 50 < taken_in < 1900
    assert dumped(register) == before


def test_mutated_tables_that_are_taken_in_leave_a_sound_register(register: Register) -> None:
    filled(register)
    chance = Random("kept")
    outs = exported(register)
    taken_in = 0
    for turn in range(150):
        subject = TAKEN_IN[turn % len(TAKEN_IN)]
        try:
            taken_in += import_table(register, subject, mutated(outs[subject], chance), CSV).operation is not None
        except Refused:
            continue
    assert taken_in > 3
    check_register(register)


def test_new_lot_needs_its_shop_only_where_it_is_new(tmp_path: Path) -> None:
    register = set_up_register(tmp_path / "register")
    stock.add_lot(register, Lot("PLA-1", "PLA", StockForm.SPOOL, 10.0))
    assert import_table(register, Subject.STOCK, export_table(register, Subject.STOCK, JSON), JSON).left == 1
