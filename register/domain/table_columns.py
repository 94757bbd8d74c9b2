"""The tables that leave and enter the register: what each is about, its columns and their bounds."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import Enum, StrEnum, auto

from register.domain.stock import StockForm
from register.domain.texts import NAME_LENGTH, NOTE_LENGTH, NUMBER_LENGTH

# Bounds of every table that is read.
MOST_BYTES = 20_000_000
MOST_ROWS = 200_000
MOST_COLUMNS = 200
LONGEST_CELL = 10_000

# What one cell holds; a tuple is what is fitted at a position, one text a piece.
Cell = str | int | float | bool | datetime | tuple[str, ...] | None
Values = tuple[Cell, ...]

UNMARKED, EMPTY = "?", "-"
PIECES_OF_SHEET, GRAMS = "pieces", "g"
# A millionth of a gram: beyond it a sum of moves shows the computer's rounding, not the stock.
DECIMALS = 6
MOST_OF_STOCK = 1e7
MOST_PIECES = 10_000_000
MOST_OF_A_PART = 10_000
MOST_MATCHES = 1000


class Subject(StrEnum):
    """What a table is about; its name on the command line and the stem of its file."""

    PARTS = "parts"
    REVISIONS = "revisions"
    ROBOTS = "robots"
    ASSEMBLIES = "assemblies"
    POSITIONS = "positions"
    SPARES = "spares"
    REPLACEMENTS = "replacements"
    STOCK = "stock"
    COMPETITIONS = "competitions"
    ENTRIES = "entries"


class TableForm(StrEnum):
    """How a table is written; the ending of its file."""

    CSV = "csv"
    JSON = "json"


class Kind(Enum):
    """What the cells of a column are."""

    NUMBER = auto()
    TEXT = auto()
    NOTE = auto()
    FLAG = auto()
    WHOLE = auto()
    FIGURE = auto()
    MOMENT = auto()
    CHOICE = auto()
    LETTER = auto()
    MARK = auto()
    FITTED = auto()


@dataclass(frozen=True)
class Column:
    """One column.

    `key` columns together tell rows apart. A `may_be_empty` cell is None, or "" in a note. `least` and `most` bound a
    figure, `least` itself left out where `above`. A column that `may_be_missing` follows from the others. `folded`
    texts are alike whatever their case.
    """

    name: str
    kind: Kind
    key: bool = False
    may_be_empty: bool = False
    may_be_missing: bool = False
    folded: bool = False
    above: bool = False
    least: float = 0
    most: float = 0
    longest: int = NAME_LENGTH
    choices: tuple[str, ...] = ()


def _number(name: str, key: bool = False) -> Column:
    return Column(name, Kind.NUMBER, key=key, folded=True, longest=NUMBER_LENGTH)


def _text(name: str, key: bool = False, may_be_empty: bool = False) -> Column:
    return Column(name, Kind.TEXT, key=key, may_be_empty=may_be_empty)


def _note(name: str) -> Column:
    return Column(name, Kind.NOTE, may_be_empty=True, longest=NOTE_LENGTH)


def _flag(name: str) -> Column:
    return Column(name, Kind.FLAG)


def _whole(name: str, least: int, most: int, may_be_empty: bool = False) -> Column:
    return Column(name, Kind.WHOLE, may_be_empty=may_be_empty, least=least, most=most)


def _size(name: str) -> Column:
    return Column(name, Kind.FIGURE, may_be_empty=True, above=True, most=MOST_OF_STOCK)


def _moment(name: str, may_be_empty: bool = False, key: bool = False) -> Column:
    return Column(name, Kind.MOMENT, may_be_empty=may_be_empty, key=key)


COLUMNS: Mapping[Subject, tuple[Column, ...]] = {
    Subject.PARTS: (_number("number", key=True), _text("name"), _flag("wear")),
    Subject.REVISIONS: (
        _number("part", key=True),
        Column("letter", Kind.LETTER, key=True),
        *(_text(name) for name in ("process", "state", "stage", "interchange")),
        _note("interchange_why"),
        _note("changed"),
        _text("material", may_be_empty=True),
        _size("thickness_mm"),
        _text("file", may_be_empty=True),
        _text("file_sha256", may_be_empty=True),
        _text("unit"),
        *(_whole(name, 0, MOST_PIECES, may_be_empty=True) for name in ("unit_cost_cents", "lead_days")),
        _text("logged_by"),
        _moment("logged_at"),
        _text("released_by", may_be_empty=True),
        _moment("released_at", may_be_empty=True),
        _note("keep_pose"),
    ),
    Subject.ROBOTS: (_text("robot", key=True), _note("note"), _flag("active")),
    Subject.ASSEMBLIES: (
        _text("robot", key=True),
        _text("assembly", key=True),
        _text("parent", may_be_empty=True),
        _flag("module"),
    ),
    Subject.POSITIONS: (
        _text("robot", key=True),
        _text("assembly", may_be_empty=True),
        _text("position", key=True),
        _number("part"),
        _whole("quantity", 1, MOST_OF_A_PART),
        Column("required", Kind.LETTER),
        Column("fitted", Kind.FITTED, may_be_empty=True),
    ),
    Subject.SPARES: (
        _number("part", key=True),
        Column("revision", Kind.MARK, key=True),
        _text("place", key=True),
        _whole("quantity", 0, MOST_PIECES),
    ),
    Subject.REPLACEMENTS: (
        _number("part"),
        Column("revision_out", Kind.MARK),
        Column("revision_in", Kind.MARK),
        _text("robot", key=True),
        _text("position", key=True),
        Column("slot", Kind.WHOLE, key=True, least=1, most=MOST_OF_A_PART),
        _text("cause"),
        _text("by"),
        _moment("at", key=True),
        _note("note"),
    ),
    Subject.STOCK: (
        Column("label", Kind.TEXT, key=True, longest=NUMBER_LENGTH),
        Column("material", Kind.TEXT, folded=True),
        Column("form", Kind.CHOICE, choices=tuple(form.value for form in StockForm)),
        Column("amount", Kind.FIGURE, most=MOST_OF_STOCK),
        Column("unit", Kind.CHOICE, may_be_missing=True, choices=(GRAMS, PIECES_OF_SHEET)),
        _size("thickness_mm"),
        _size("width_mm"),
        _size("length_mm"),
        _moment("arrives", may_be_empty=True),
        _note("note"),
    ),
    Subject.COMPETITIONS: (_text("competition", key=True), _moment("starts"), _moment("parts_due")),
    Subject.ENTRIES: (
        _text("competition", key=True),
        _text("robot", key=True),
        _whole("matches", 0, MOST_MATCHES),
    ),
}

# Revisions need their files, and the log of replacements is what happened: neither is taken from a table.
ONLY_OUT = frozenset({Subject.REVISIONS, Subject.REPLACEMENTS})
