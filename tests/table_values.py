"""Rows of every table, drawn by chance within what the register may hold; and tables with something done to them."""

from datetime import UTC, datetime
from random import Random
from typing import Any

from hypothesis import strategies as st

from register.domain.parts import checked_number
from register.domain.revisions import letter_at
from register.domain.table_columns import COLUMNS, EMPTY, UNMARKED, Cell, Column, Kind, Subject, Values
from register.domain.table_rows import checked_row
from register.domain.texts import clean_text
from register.errors import BadText

NASTY_TEXTS = [
    *(
        "=1+2",
        "+49",
        "-",
        "@x",
        "＝1",
        "'",
        "''",
        "'=1",
        "'tis",
        '"',
        '""',
        'a "b", c',
        "a;b",
        ",",
        ";",
        "|",
        "=cmd|' /C calc'!A0",
    ),
    *(
        "🤖🦾 arm",
        "👩\u200d🔧",
        "עברית",
        "العربية",
        "部品",
        "ß½é",
        "[red]x[/]",
        "null",
        "yes",
        "12",
        "1,5",
        "2031-03-22",
        "#N/A",
        "?",
    ),
]


def _kept(text: str, column: Column) -> str | None:
    """`text` as the register would keep it; None where it would not."""
    try:
        return checked_number(text) if column.kind is Kind.NUMBER else clean_text(text, column.name, column.longest)
    except BadText:
        return None


def _texts(column: Column) -> st.SearchStrategy[Cell]:
    drawn = st.one_of(st.sampled_from(NASTY_TEXTS), st.text(max_size=12), st.text("ab=+-'\",; 🤖", max_size=6))
    return drawn.map(lambda text: _kept(text, column) or "kept")


_MOMENTS = st.datetimes(datetime(1971, 1, 1), datetime(2199, 1, 1), timezones=st.just(UTC)).map(
    lambda moment: moment.replace(microsecond=0)
)
_LETTERS = st.integers(1, 500).map(letter_at)


def _cells(column: Column) -> st.SearchStrategy[Cell]:
    drawn: dict[Kind, st.SearchStrategy[Cell]] = {
        Kind.FLAG: st.booleans(),
        Kind.WHOLE: st.integers(int(column.least), int(max(column.least, column.most))),
        Kind.FIGURE: st.floats(column.least, max(1.0, column.most), exclude_min=column.above).map(
            lambda figure: round(figure, 6) + 0.0 if column.name == "amount" else figure + 0.0
        ),
        Kind.MOMENT: _MOMENTS,
        Kind.CHOICE: st.sampled_from(column.choices or ("",)),
        Kind.LETTER: _LETTERS,
        Kind.MARK: st.one_of(st.just(UNMARKED), _LETTERS),
        Kind.FITTED: st.lists(st.sampled_from([UNMARKED, EMPTY, "A", "A", "AA"]), max_size=30).map(tuple),
    }
    cells = drawn[column.kind] if column.kind in drawn else _texts(column)
    empty: Cell = "" if column.kind is Kind.NOTE else None
    return st.one_of(st.just(empty), cells) if column.may_be_empty else cells


def _mended(subject: Subject, values: Values) -> Values:
    """The row with cells that go together, since each was drawn by itself."""
    row: dict[str, Any] = dict(zip((column.name for column in COLUMNS[subject]), values, strict=True))
    if subject is Subject.POSITIONS:
        row["quantity"] = len(row["fitted"] or ()) or row["quantity"]
    if subject is Subject.STOCK:
        row["unit"] = None
        if row["form"] != "spool":
            row |= {name: row[name] or 1.5 for name in ("thickness_mm", "width_mm", "length_mm")}
    if subject is Subject.COMPETITIONS:
        row["parts_due"], row["starts"] = sorted((row["parts_due"], row["starts"]))
    return checked_row(subject, tuple(row.values()))


def tables(subject: Subject, most: int = 6) -> st.SearchStrategy[list[Values]]:
    """Rows of a table, each told apart from the others by its key."""
    columns = COLUMNS[subject]

    def key(values: Values) -> tuple[str, ...]:
        return tuple(str(value).casefold() for column, value in zip(columns, values, strict=True) if column.key)

    rows: st.SearchStrategy[Values] = st.tuples(*map(_cells, columns))
    return st.lists(rows.map(lambda values: _mended(subject, values)), max_size=most, unique_by=key)


HOSTILE = [
    *(text.encode() for text in NASTY_TEXTS),
    *(b'"', b"'", b",", b";", b"\n", b"\r", b"\0", b"\xff", b"{", b"}", b"[", b"]", b":", b"\\", b"\\u0000", b"-0"),
    *(
        b"NaN",
        b"Infinity",
        b"1e400",
        b"9" * 400,
        b"9" * 5000,
        b"[" * 3000,
        b'{"a":' * 3000,
        b"\xed\xa0\x80",
        b"\x1b[2J",
    ),
    *(b"null", b"true", b"2031-13-01", b"9999999*A", b"\xef\xbb\xbf", b"0001-01-01T00:00:00+23:59", b"A" * 20_000),
]
SIGNS = b"ABCYZabcyz0123456789 ?-*.'"


def mutated(content: bytes, chance: Random) -> bytes:
    """`content` with a few signs changed, taken out, doubled or moved, or with a piece of something hostile in it."""
    changed = bytearray(content)
    for _ in range(chance.randint(1, 3)):
        at = chance.randrange(len(changed) + 1)
        end = min(len(changed), at + chance.randint(1, 12))
        match chance.randrange(9):
            case 0:
                changed[at:end] = b""
            case 1:
                changed[at:at] = changed[at:end] * chance.randint(1, 50)
            case 2:
                changed[at:end] = chance.randbytes(end - at)
            case 3:
                changed[at:at] = chance.choice(HOSTILE)
            case 4:
                del changed[at:]
                changed += content[: chance.randrange(len(content))]
            case 5:
                lines = (changed or bytearray(content)).splitlines(keepends=True)
                del lines[chance.randrange(len(lines))]
                changed = bytearray(b"".join(lines))
            case _:
                changed[at : at + 1] = bytes([chance.choice(SIGNS)])
    return bytes(changed)
