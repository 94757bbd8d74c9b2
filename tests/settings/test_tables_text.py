"""Tables as CSV and JSON: everything comes back as it was, no formula runs, and what is wrong is told with its line."""

import csv
import io
import json
from datetime import UTC, datetime
from random import Random

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from register.domain.exchange import TableRow
from register.domain.table_columns import COLUMNS, MOST_BYTES, MOST_ROWS, ONLY_OUT, Subject, TableForm, Values
from register.errors import BadFile, Refused
from register.settings.csv_rows import armed_text, csv_bytes, plain_text, text_rows
from register.settings.tables_text import read_table, written_table
from tests.table_values import mutated, tables

IN, OUT = datetime(2031, 3, 22, 8, 0, tzinfo=UTC), datetime(2031, 3, 20, 17, 0, tzinfo=UTC)
PARTS = "number,name,wear\n"
STOCK = "label,material,form,amount,thickness_mm,width_mm,length_mm,arrives,note\n"
POSITIONS = "robot,assembly,position,part,quantity,required,fitted\n"
TAKEN_IN = [subject for subject in Subject if subject not in ONLY_OUT]


def read(subject: Subject, text: str, form: TableForm = TableForm.CSV, zone: str = "UTC") -> list[Values]:
    return [row.values for row in read_table(subject, text.encode("utf-8"), form, zone)]


def refusal(subject: Subject, text: str, form: TableForm = TableForm.CSV) -> str:
    with pytest.raises(BadFile) as refused:
        read(subject, text, form)
    assert refused.value.cure.endswith(".")
    return refused.value.what


# The cells as they must stand in the file, by the rule of the leading apostrophe.
@pytest.mark.parametrize(
    ("text", "cell"),
    [
        ("=1+2", "'=1+2"),
        ("+49 30", "'+49 30"),
        ("-x", "'-x"),
        ("@name", "'@name"),
        ("\tx", "'\tx"),
        ("\rx", "'\rx"),
        ("\nx", "'\nx"),
        ("＝1", "'＝1"),
        ("＋1", "'＋1"),
        ("－1", "'－1"),
        ("＠x", "'＠x"),
        (" =1", "' =1"),
        ("'=1", "''=1"),
        ("'tis", "''tis"),
        ("Hub", "Hub"),
        ("a=b", "a=b"),
        ("", ""),
    ],
)
def test_formula_stands_in_the_file_behind_an_apostrophe_and_comes_back_without(text: str, cell: str) -> None:
    assert armed_text(text) == cell
    assert plain_text(cell) == text


def test_apostrophe_of_a_table_from_elsewhere_stays_where_it_guards_nothing() -> None:
    assert read(Subject.PARTS, PARTS + "RV-1,'tis a hub,no\n") == [("RV-1", "'tis a hub", False)]


@settings(max_examples=60)
@given(st.text())
def test_any_text_comes_back_and_none_begins_as_a_formula(text: str) -> None:
    assert plain_text(armed_text(text)) == text
    assert armed_text(text).strip()[:1] not in set("=+-@＝＋－＠")


# Lone surrogates are no text that UTF-8 can hold; a row of blanks alone is passed over.
CELLS = st.text(st.characters(exclude_categories=("Cs",)), max_size=12)


@settings(max_examples=40)
@given(st.lists(st.lists(CELLS, min_size=2, max_size=2).filter(lambda row: any(map(str.strip, row))), min_size=1))
def test_any_cells_survive_csv_with_their_quotes_and_line_ends(rows: list[list[str]]) -> None:
    written = csv_bytes([["number", "name"], *rows])
    assert [cells for _, cells in text_rows(written, frozenset({"number", "name"}))] == [["number", "name"], *rows]


@pytest.mark.parametrize("subject", list(Subject), ids=str)
@pytest.mark.parametrize("form", list(TableForm), ids=str)
@settings(max_examples=10, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(data=st.data())
def test_any_table_written_and_read_is_the_same(subject: Subject, form: TableForm, data: st.DataObject) -> None:
    rows = data.draw(tables(subject))
    assert [row.values for row in read_table(subject, written_table(subject, rows, form), form, "UTC")] == rows


def test_table_of_parts_is_written_as_other_programs_read_it() -> None:
    rows: list[Values] = [("RV-1", 'Hub, 1/2" bore', True), ("=RV-2", "Größe ½", False)]
    written = written_table(Subject.PARTS, rows, TableForm.CSV)
    assert written == (
        b'\xef\xbb\xbfnumber,name,wear\r\nRV-1,"Hub, 1/2"" bore",yes\r\n\'=RV-2,Gr\xc3\xb6\xc3\x9fe \xc2\xbd,no\r\n'
    )
    again = list(csv.DictReader(io.StringIO(written.decode("utf-8-sig"), newline=""), strict=True))
    assert again[0] == {"number": "RV-1", "name": 'Hub, 1/2" bore', "wear": "yes"}
    as_json = json.loads(written_table(Subject.PARTS, rows, TableForm.JSON))
    assert as_json == [
        {"number": "RV-1", "name": 'Hub, 1/2" bore', "wear": True},
        {"number": "=RV-2", "name": "Größe ½", "wear": False},
    ]


def test_figures_stay_figures_and_times_are_utc() -> None:
    spool = ("PLA-1", "PLA", "spool", 780.0, "g", None, None, None, IN, "-12 °C")
    sheet = ("AL-1", "6061", "sheet", 0.5, "pieces", 3.175, 610.0, 1e-05, None, "")
    written = written_table(Subject.STOCK, [spool, sheet], TableForm.CSV).decode("utf-8-sig").splitlines()
    assert written[1:] == [
        "PLA-1,PLA,spool,780,g,,,,2031-03-22T08:00:00Z,'-12 °C",
        "AL-1,6061,sheet,0.5,pieces,3.175,610,1e-05,,",
    ]
    objects = json.loads(written_table(Subject.STOCK, [spool, sheet], TableForm.JSON))
    assert (objects[0]["amount"], objects[0]["thickness_mm"], objects[1]["length_mm"]) == (780.0, None, 1e-05)


@pytest.mark.parametrize(
    "text",
    [
        "number;name;wear\nRV-1;Hub, left;yes\n",
        '\ufeffnumber,name,wear\nRV-1,"Hub, left",yes\n',
        'number,name,wear\r\n\r\nRV-1,"Hub, left",YES\r\n,,\r\n',
        'number,name,wear\rRV-1,"Hub, left",true\r',
        'wear, Name ,NUMBER\nyes,"Hub, left",RV-1',
        '"number";"name";"wear"\n"RV-1";"Hub, left";"yes"\n',
    ],
    ids=["semicolons", "mark", "blank lines", "old line ends", "other order", "quoted"],
)
def test_csv_of_any_common_make_is_read(text: str) -> None:
    assert read(Subject.PARTS, text) == [("RV-1", "Hub, left", True)]


def test_time_without_an_offset_is_in_the_zone_of_the_shop() -> None:
    # Oslo is one hour ahead of UTC in March before the 30th.
    text = "competition,starts,parts_due\nTrials,2031-03-22 09:00,2031-03-20T18:00+01:00\n"
    assert read(Subject.COMPETITIONS, text, zone="Europe/Oslo") == [("Trials", IN, OUT)]


def test_decimal_comma_is_read_and_a_comma_that_may_part_thousands_is_refused() -> None:
    lot = "label;material;form;amount;thickness_mm;width_mm;length_mm;arrives;note\nAL-1;6061;sheet;{};3,2;610;305;;\n"
    assert read(Subject.STOCK, lot.format("0,5"))[0][3:6] == (0.5, "pieces", 3.2)
    assert refusal(Subject.STOCK, lot.format("1,250")) == (
        "Line 2, amount: the comma in '1,250' may part thousands or decimals."
    )


def test_what_is_fitted_is_told_piece_by_piece_or_in_runs() -> None:
    text = POSITIONS + "R,,a,P,3,a,A;?;-\nR,,b,P,40,A,39*A;B\nR,,c,P,2,A,\n"
    found = [values[-1] for values in read(Subject.POSITIONS, text)]
    assert found == [("A", "?", "-"), ("A",) * 39 + ("B",), ("-", "-")]


FAULTS: list[tuple[Subject, str, str]] = [
    (Subject.PARTS, "", "The table is empty."),
    (Subject.PARTS, "\n\n , \n", "The table is empty."),
    (Subject.PARTS, "\n\nnumber, \n", "Line 3: there is no column ''."),
    (Subject.PARTS, "number,name,colour\n", "Line 1: there is no column 'colour'."),
    (Subject.PARTS, "number,name\n", "Line 1: the column wear is missing."),
    (Subject.PARTS, "number,name,wear,Name\n", "Line 1: the column name stands there twice."),
    (Subject.PARTS, PARTS + "RV-1,Hub\n", "Line 2 has 2 cells and the header 3."),
    (Subject.PARTS, PARTS + "RV-1,Hub,maybe\n", "Line 2, wear: 'maybe' is neither yes nor no."),
    (Subject.PARTS, PARTS + "RV-1,Hub,\n", "Line 2, wear: the cell is empty."),
    (Subject.PARTS, PARTS + "RV 1,Hub,no\n", "Line 2, number: the part number 'RV 1' has a blank in it."),
    (Subject.PARTS, PARTS + "RV-1,a\u202eb,no\n", "Line 2, name: the name holds a control character."),
    (Subject.PARTS, PARTS + 'RV-1,"a\nb",no\n', "Line 2, name: the name holds a control character."),
    (Subject.PARTS, PARTS + f"RV-1,{'x' * 201},no\n", "Line 2, name: the name has 201 characters."),
    (Subject.PARTS, PARTS + f"RV-1,{'x' * 10_001},no\n", "Line 2 has a cell of more than 10000 characters."),
    (Subject.PARTS, PARTS + f"RV-1,{'x' * 140_000},no\n", "Line 2 has a cell of more than 10000 characters."),
    (Subject.PARTS, PARTS + 'RV-1,"Hub,no\n', "Line 2 opens a quote that is never closed."),
    (Subject.PARTS, PARTS + 'RV-1,"Hub"x,no\n', "Line 2 is not written as CSV."),
    (Subject.PARTS, ",".join(f"c{number}" for number in range(201)) + "\n", "Line 1 has 201 cells."),
    (Subject.STOCK, STOCK + "P,PLA,roll,1,,,,,\n", "Line 2, form: 'roll' is not known here."),
    (Subject.STOCK, STOCK + "P,PLA,spool,1 kg,,,,,\n", "Line 2, amount: '1 kg' is no number."),
    (Subject.STOCK, STOCK + "P,PLA,spool,-1,,,,,\n", "Line 2, amount: '-1' is no number."),
    (Subject.STOCK, STOCK + "P,PLA,spool,nan,,,,,\n", "Line 2, amount: 'nan' is no number."),
    (Subject.STOCK, STOCK + "P,PLA,spool,1e9,,,,,\n", "Line 2, amount: 1000000000 is out of bounds."),
    (Subject.STOCK, STOCK + "P,PLA,spool,1e999,,,,,\n", "Line 2, amount: inf is out of bounds."),
    (Subject.STOCK, STOCK + "P,6061,sheet,1,0,1,1,,\n", "Line 2, thickness_mm: 0 is out of bounds."),
    (Subject.STOCK, STOCK + "P,6061,sheet,1,3,,1,,\n", "Line 2: a sheet needs its size."),
    (Subject.STOCK, STOCK + "P,PLA,spool,1,,,,31.3.2031,\n", "Line 2, arrives: '31.3.2031' is no date and time."),
    (
        Subject.STOCK,
        STOCK.replace("amount", "amount,unit") + "P,PLA,spool,1,pieces,,,,,\n",
        "Line 2: a spool is counted in g, not in pieces.",
    ),
    (Subject.SPARES, "part,revision,place,quantity\nP,,shelf,1\n", "Line 2, revision: the cell is empty."),
    (Subject.SPARES, "part,revision,place,quantity\nP,I,shelf,1\n", "Line 2, revision: 'I' is not a revision letter."),
    (Subject.SPARES, "part,revision,place,quantity\nP,A,shelf,1.5\n", "Line 2, quantity: '1.5' is no whole number."),
    (Subject.SPARES, "part,revision,place,quantity\nP,A,shelf,٣\n", "Line 2, quantity: '٣' is no whole number."),
    (Subject.POSITIONS, POSITIONS + "R,,a,P,0,A,\n", "Line 2, quantity: 0 is out of bounds."),
    (Subject.POSITIONS, POSITIONS + "R,,a,P,2,A,A\n", "Line 2: the position holds 2 and fitted tells of 1."),
    (
        Subject.POSITIONS,
        POSITIONS + "R,,a,P,2,A,99999*A\n",
        "Line 2, fitted: '99999*A' does not tell what is fitted.",
    ),
    (
        Subject.COMPETITIONS,
        "competition,starts,parts_due\nTrials,2031-03-22,2031-03-23\n",
        "Line 2: parts would be due after the competition starts.",
    ),
]


@pytest.mark.parametrize(("subject", "text", "said"), FAULTS, ids=range(len(FAULTS)))
def test_fault_is_told_with_its_line_and_column(subject: Subject, text: str, said: str) -> None:
    assert refusal(subject, text) == said


def test_several_faults_tell_the_first_and_count_the_others() -> None:
    text = PARTS + 'RV-1,"two\nlines",no\nRV-2,Hub,no\nRV-3,,maybe\n'
    # Line 2 goes on in line 3; line 5 has two faults.
    assert refusal(Subject.PARTS, text) == "Line 2, name: the name holds a control character (2 more faults after it)."


OBJECT = '{"number": "RV-1", "name": "Hub", "wear": false}'


def one_object(old: str, new: str) -> str:
    return f"[{OBJECT.replace(old, new)}]"


JSON_FAULTS = [
    ("", "The table is no JSON list."),
    ("{}", "The table is no JSON list."),
    (f"[{OBJECT}", "After the object of line 1 stands no comma."),
    (f"[{OBJECT}] x", "Something follows the list."),
    (f"[\n{OBJECT},\n]", "Line 3 should begin an object that is closed again, without lists and objects in it."),
    (
        '[\n{"number": {"a": 1}}]',
        "Line 2 should begin an object that is closed again, without lists and objects in it.",
    ),
    ("[" * 100_000, "Line 1 should begin an object that is closed again, without lists and objects in it."),
    ('{"a":' * 100_000, "The table is no JSON list."),
    (
        '[{"a":' * 100_000,
        "Line 1 should begin an object that is closed again, without lists and objects in it.",
    ),
    (f'[\n{OBJECT[:-1]}, "wear": true}}]', "Line 2: the key 'wear' stands there twice."),
    ('[{"number": NaN}]', "Line 1: NaN is no number."),
    ('[{"number": -Infinity}]', "Line 1: -Infinity is no number."),
    (f'[{{"number": {"9" * 5000}}}]', "Line 1: a number has 5000 figures."),
    ('[{"number": 1e999}]', "Line 1: '1e999' is beyond all measure."),
    ("[{'number': 1}]", "Line 1 is not written as JSON."),
    ('[{"number": "RV-1", "name": "Hub"}]', "Line 1: the column wear is missing."),
    (f"[{OBJECT},\n{OBJECT.replace('false', '1')}]", "Line 2, wear: 1 is neither true nor false."),
    (one_object("false", '"no"'), "Line 1, wear: 'no' is neither true nor false."),
    (one_object('"Hub"', "7"), "Line 1, name: 7 is no text."),
    (one_object("Hub", r"\ud800"), "Line 1, name: the name holds a control character."),
    (one_object("Hub", r"\u001b[31m"), "Line 1, name: the name holds a control character."),
    (one_object("Hub", "x" * 10_001), "Line 1: a text has more than 10000 characters."),
    ("[{" + ",".join(f'"{key}": 1' for key in range(201)) + "}]", "Line 1: the object has 201 keys."),
]


@pytest.mark.parametrize(("text", "said"), JSON_FAULTS, ids=range(len(JSON_FAULTS)))
def test_json_that_is_no_flat_table_is_refused_with_its_line(text: str, said: str) -> None:
    assert refusal(Subject.PARTS, text, TableForm.JSON) == said


def test_json_of_any_layout_is_read() -> None:
    text = '\ufeff [ \n {"wear":true,\n"name":"a \\"}{][ b","number":"RV-1"}\n,' + OBJECT + " ]\n"
    rows = read_table(Subject.PARTS, text.encode(), TableForm.JSON, "UTC")
    assert rows == (TableRow(2, ("RV-1", 'a "}{][ b', True)), TableRow(4, ("RV-1", "Hub", False)))
    assert read(Subject.PARTS, "[]", TableForm.JSON) == []


@pytest.mark.parametrize("form", list(TableForm), ids=str)
def test_table_that_is_no_utf8_or_too_large_is_refused(form: TableForm) -> None:
    for content in ("Größe\n".encode("latin-1"), "number".encode("utf-16"), b"\n\xff\xfe"):
        with pytest.raises(BadFile, match=r"^Line [12] of the table is not written in UTF-8\."):
            read_table(Subject.PARTS, content, form, "UTC")
    with pytest.raises(BadFile, match=r"^The table has more than 20 MB\."):
        read_table(Subject.PARTS, b" " * (MOST_BYTES + 1), form, "UTC")


def test_rows_beyond_the_bound_are_refused() -> None:
    content = b"number,name,wear\n" + b"P,p,no\n" * (MOST_ROWS + 1)
    with pytest.raises(BadFile, match=r"^The table has more than 200000 rows\."):
        for _ in text_rows(content, frozenset({"number"})):
            pass


@pytest.mark.parametrize("form", list(TableForm), ids=str)
def test_mutated_tables_are_read_or_refused_and_nothing_else(form: TableForm) -> None:
    chance = Random(f"tables {form}")
    refused = 0
    for turn in range(2000):
        subject = TAKEN_IN[turn % len(TAKEN_IN)]
        content = mutated(written_table(subject, SAMPLES[subject], form), chance)
        try:
            rows = read_table(subject, content, form, "Europe/Oslo")
        except Refused:
            refused += 1
        else:
            assert all(len(row.values) == len(COLUMNS[subject]) for row in rows)
    # Both ways out are taken often, or the changes would be no test.
    assert 500 < refused < 1990


SAMPLES: dict[Subject, list[Values]] = {
    Subject.PARTS: [("RV-1", "=Hub", True), ("RV-2", 'Größe "½"', False)],
    Subject.ROBOTS: [("Shale", "", True), ("Marl", "scoops, only", False)],
    Subject.ASSEMBLIES: [("Shale", "drive", None, False), ("Shale", "hub", "drive", True)],
    Subject.POSITIONS: [
        ("Shale", "drive", "left", "RV-1", 2, "A", ("A", "?")),
        ("Shale", None, "b", "RV-1", 1, "B", ("-",)),
    ],
    Subject.SPARES: [("RV-1", "A", "shelf", 3), ("RV-1", "?", "box", 0)],
    Subject.STOCK: [
        ("PLA-1", "PLA", "spool", 780.5, "g", None, None, None, IN, "opened"),
        ("AL-1", "6061", "sheet", 2.0, "pieces", 3.175, 610.0, 305.0, None, ""),
    ],
    Subject.COMPETITIONS: [("Trials", IN, OUT), ("Autumn", IN, IN)],
    Subject.ENTRIES: [("Trials", "Shale", 6), ("Trials", "Marl", 0)],
}
