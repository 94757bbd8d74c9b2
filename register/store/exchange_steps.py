"""What a table from outside does to the register, worked out whole before anything is written."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from register.domain.exchange import Comparison, Faults
from register.domain.pieces import PieceMove
from register.domain.stock import StockMove
from register.domain.table_columns import EMPTY, UNMARKED, Cell, Subject
from register.domain.table_rows import named
from register.store.exchange_names import Names
from register.store.exchange_writing import Steps
from register.store.keys import new_key
from register.store.transaction import Reading

# What the ledgers say of a count that a table brought.
NOTE = "import"


def steps_for(reading: Reading, comparison: Comparison, who: str, at: datetime) -> Steps:
    """What must be written so that the register says what the table says.

    Parameters
    ----------
    who, at
        Who imports, and when.

    Raises
    ------
    BadFile
        If a row names something that is not there, or would change what cannot change.
    """
    work = _Work(Names(reading), Steps(at, who), Faults())
    _STEPS[comparison.subject](work, comparison)
    work.faults.refuse_if_any()
    return work.steps


@dataclass(frozen=True)
class _Row:
    """One row to add or change: its line, its values by column, and those that stand if it is changed."""

    line: int
    new: Mapping[str, Any]
    old: Mapping[str, Cell] | None


@dataclass(frozen=True)
class _Work:
    """What the steps of one table are worked out with. A name that is not there is noted and stands as ""."""

    names: Names
    steps: Steps
    faults: Faults

    def part(self, row: _Row) -> str:
        number = row.new["part"]
        return self._found(row, self.names.parts, number.casefold(), f"part {number!r}", "Import the parts first.")

    def revision(self, row: _Row, part_key: str, letter: str) -> str | None:
        if letter == UNMARKED or not part_key:
            return None
        what = f"revision {letter} of part {row.new['part']!r}"
        return self._found(row, self.names.revisions, (part_key, letter), what, "Log it with its file first.")

    def robot(self, row: _Row) -> str:
        name = row.new["robot"]
        return self._found(row, self.names.robots, name, f"robot {name!r}", "Import the robots first.")

    def assembly(self, row: _Row, robot_key: str, name: str | None) -> str | None:
        if name is None or not robot_key:
            return None
        what = f"assembly {name!r} on robot {row.new['robot']!r}"
        return self._found(row, self.names.assemblies, (robot_key, name), what, "Import the assemblies first.")

    def competition(self, row: _Row) -> str:
        name = row.new["competition"]
        cure = "Import the competitions first."
        return self._found(row, self.names.competitions, name, f"competition {name!r}", cure)

    def _found(self, row: _Row, keys: Mapping[Any, str], name: Any, what: str, cure: str) -> str:
        if name not in keys:
            self.faults.note(row.line, f"there is no {what}", cure)
        return keys.get(name, "")


def _rows(comparison: Comparison) -> Iterator[_Row]:
    subject = comparison.subject
    for row in comparison.added:
        yield _Row(row.line, named(subject, row.values), None)
    for row, before in comparison.changed:
        yield _Row(row.line, named(subject, row.values), named(subject, before))


def _part_steps(work: _Work, comparison: Comparison) -> None:
    # Keys of one moment differ by chance alone; in order they go into the index in order, which is quicker.
    keys = sorted(new_key(work.steps.at) for _ in comparison.added)
    rows = ((key, *row.values) for key, row in zip(keys, comparison.added, strict=True))
    if keys:
        work.steps.inserts["part"] = [
            {"key": key, "version": 1, "number": number, "number_folded": str(number).casefold()}
            | {"name": name, "wear": wear}
            for key, number, name, wear in rows
        ]
    for row, _ in comparison.changed:
        number, name, wear = row.values
        work.steps.update("part", work.names.parts[str(number).casefold()], name=name, wear=wear)


def _robot_steps(work: _Work, comparison: Comparison) -> None:
    for row in _rows(comparison):
        columns = {"note": row.new["note"], "active": row.new["active"]}
        if row.old is None:
            work.steps.insert("robot", name=row.new["robot"], **columns)
        else:
            work.steps.update("robot", work.robot(row), **columns)


def _assembly_steps(work: _Work, comparison: Comparison) -> None:
    assemblies, parents = work.names.assemblies, work.names.parents
    standing: list[tuple[_Row, str, str]] = []
    for row in _rows(comparison):
        robot_key, name = work.robot(row), row.new["assembly"]
        if row.old is None:
            assemblies[robot_key, name] = new_key(work.steps.at)
        standing.append((row, robot_key, assemblies[robot_key, name]))
    for row, robot_key, key in standing:
        parents[key] = work.assembly(row, robot_key, row.new["parent"])
        columns = {"parent_key": parents[key], "module": row.new["module"]}
        if row.old is None:
            rows = work.steps.inserts.setdefault("assembly", [])
            rows.append({"key": key, "version": 1, "robot_key": robot_key, "name": row.new["assembly"]} | columns)
        else:
            work.steps.update("assembly", key, **columns)
    in_a_circle = _in_a_circle(parents)
    for row, _, key in standing:
        if key in in_a_circle:
            work.faults.note(
                row.line, f"the assembly {row.new['assembly']!r} would stand in itself", "Mend its parent."
            )


def _in_a_circle(parents: Mapping[str, str | None]) -> set[str]:
    """Which rows lead back to themselves; each row is walked once."""
    settled: set[str] = set()
    circles: set[str] = set()
    for start in parents:
        trail: dict[str, None] = {}
        here: str | None = start
        while here and here not in settled and here not in trail:
            trail[here] = None
            here = parents.get(here)
        if here in trail:
            walked = list(trail)
            circles.update(walked[walked.index(str(here)) :])
        settled.update(trail)
    return circles


def _position_steps(work: _Work, comparison: Comparison) -> None:
    for row in _rows(comparison):
        robot_key, part_key = work.robot(row), work.part(row)
        columns = {
            "assembly_key": work.assembly(row, robot_key, row.new["assembly"]),
            "quantity": row.new["quantity"],
            "required_key": work.revision(row, part_key, row.new["required"]),
        }
        if row.old is None:
            name = row.new["position"]
            key = work.steps.insert("position", robot_key=robot_key, name=name, part_key=part_key, **columns)
        else:
            key = work.names.positions[robot_key, row.new["position"]]
            work.steps.update("position", key, **columns)
            _refuse_other(work, row, ("part",), "a position keeps its part")
        _fit(work, row, key, part_key)


def _fit(work: _Work, row: _Row, position_key: str, part_key: str) -> None:
    """Steps for what is fitted, slot by slot; slots beyond the quantity are emptied."""
    old: Any = row.old["fitted"] if row.old is not None else ()
    new = row.new["fitted"]
    for slot in range(1, max(len(old), len(new)) + 1):
        was = old[slot - 1] if slot <= len(old) else EMPTY
        now = new[slot - 1] if slot <= len(new) else EMPTY
        if was == now:
            continue
        columns = {"fitted_by": work.steps.who, "fitted_at": work.steps.at}
        if now != EMPTY:
            columns["revision_key"] = work.revision(row, part_key, now)
        if was == EMPTY:
            work.steps.insert("fitted", position_key=position_key, slot=slot, **columns)
        elif now == EMPTY:
            work.steps.delete("fitted", work.names.fitted[position_key, slot])
        else:
            work.steps.update("fitted", work.names.fitted[position_key, slot], **columns)


def _spare_steps(work: _Work, comparison: Comparison) -> None:
    for row in _rows(comparison):
        part_key = work.part(row)
        standing: Any = row.old["quantity"] if row.old is not None else 0
        work.steps.insert(
            "piece_move",
            part_key=part_key,
            revision_key=work.revision(row, part_key, row.new["revision"]),
            place=row.new["place"],
            move=PieceMove.COUNTED.value,
            quantity=row.new["quantity"] - standing,
            job_key=None,
            note=NOTE,
            at=work.steps.at,
        )


def _stock_steps(work: _Work, comparison: Comparison) -> None:
    for row in _rows(comparison):
        plain = {"arrives": row.new["arrives"], "note": row.new["note"]}
        if row.old is None:
            fixed = {name: row.new[name] for name in ("label", *_KEPT_OF_A_LOT)}
            key = work.steps.insert("lot", **fixed, **plain)
        else:
            key = work.names.lots[row.new["label"]]
            _refuse_other(work, row, _KEPT_OF_A_LOT, "a lot keeps its material, form and size")
            if any(row.old[name] != value for name, value in plain.items()):
                work.steps.update("lot", key, **plain)
        if row.old is None or row.old["amount"] != row.new["amount"]:
            # What is told is rounded; the ledger must add up to what was counted.
            amount = row.new["amount"] - (work.names.amounts[row.new["label"]] if row.old is not None else 0.0)
            moved = {"move": StockMove.COUNTED.value, "amount": amount}
            work.steps.insert("stock_move", lot_key=key, job_key=None, note=NOTE, at=work.steps.at, **moved)


_KEPT_OF_A_LOT = ("material", "form", "thickness_mm", "width_mm", "length_mm")


def _refuse_other(work: _Work, row: _Row, columns: tuple[str, ...], why: str) -> None:
    """Note a fault where a row would change what stays as it is."""
    for name in columns:
        old, new = (row.old or {}).get(name), row.new[name]
        if old != new and str(old).casefold() != str(new).casefold():
            work.faults.note(
                row.line, f"{name} would become {new} instead of {old}, but {why}", "Give it another name."
            )
            return


def _competition_steps(work: _Work, comparison: Comparison) -> None:
    for row in _rows(comparison):
        columns = {"starts": row.new["starts"], "parts_due": row.new["parts_due"]}
        if row.old is None:
            work.steps.insert("competition", name=row.new["competition"], **columns)
        else:
            work.steps.update("competition", work.competition(row), **columns)


def _entry_steps(work: _Work, comparison: Comparison) -> None:
    for row in _rows(comparison):
        keys = work.competition(row), work.robot(row)
        if row.old is None:
            work.steps.insert("entry", competition_key=keys[0], robot_key=keys[1], matches=row.new["matches"])
        else:
            work.steps.update("entry", work.names.entries[keys], matches=row.new["matches"])


_STEPS: Mapping[Subject, Callable[[_Work, Comparison], None]] = {
    Subject.PARTS: _part_steps,
    Subject.ROBOTS: _robot_steps,
    Subject.ASSEMBLIES: _assembly_steps,
    Subject.POSITIONS: _position_steps,
    Subject.SPARES: _spare_steps,
    Subject.STOCK: _stock_steps,
    Subject.COMPETITIONS: _competition_steps,
    Subject.ENTRIES: _entry_steps,
}
