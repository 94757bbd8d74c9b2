"""Tables of the register as they leave it: rows of plain values, in the order of their columns."""

from collections.abc import Callable, Mapping

from sqlalchemy import select as core_select
from sqlmodel import Session, col, select

from register.domain.table_columns import DECIMALS, EMPTY, GRAMS, PIECES_OF_SHEET, UNMARKED, Subject, Values
from register.store import competitions, parts, pieces, robots, stock
from register.store.position_lists import positions
from register.store.row import metadata
from register.store.tables.parts import FittedRow, PositionRow, RevisionRow, RobotRow
from register.store.transaction import Reading


def rows(reading: Reading, subject: Subject) -> tuple[Values, ...]:
    """Every row of a table, sorted by its key."""
    return _ROWS[subject](reading)


def fitted_letters(session: Session) -> dict[str, dict[int, str]]:
    """What is fitted, by the key of the position and the slot; an empty slot is left out."""
    found: dict[str, dict[int, str]] = {}
    for key, slot, letter in session.exec(
        select(FittedRow.position_key, FittedRow.slot, RevisionRow.letter).outerjoin(
            RevisionRow, col(FittedRow.revision_key) == col(RevisionRow.key)
        )
    ):
        found.setdefault(key, {})[slot] = letter or UNMARKED
    return found


def _parts(reading: Reading) -> tuple[Values, ...]:
    # Columns and not mapped rows: a table of parts may be long.
    part = metadata.tables["part"].c
    wanted = core_select(part.number, part.name, part.wear).order_by(part.number_folded)
    return tuple((number, name, wear) for number, name, wear in reading.session.connection().execute(wanted))


def _revisions(reading: Reading) -> tuple[Values, ...]:
    return tuple(
        (
            *(each.part, each.letter, each.process.value, each.state.value, each.stage.value, each.interchange.value),
            *(each.interchange_why, each.changed, each.material, each.thickness_mm, each.file_name, each.file_sha256),
            *(each.unit, each.unit_cost_cents, each.lead_days, each.logged_by, each.logged_at),
            *(each.released_by, each.released_at, each.keep_pose),
        )
        for history in parts.histories(reading).values()
        for each in history
    )


def _robots(reading: Reading) -> tuple[Values, ...]:
    found = reading.session.exec(select(RobotRow).order_by(col(RobotRow.name)))
    return tuple((row.name, row.note, row.active) for row in found)


def _assemblies(reading: Reading) -> tuple[Values, ...]:
    return tuple(
        (each.robot, each.name, each.parent, each.module)
        for robot in robots.robots(reading)
        for each in robot.assemblies
    )


def _positions(reading: Reading) -> tuple[Values, ...]:
    owners = select(PositionRow.key, RobotRow.name, PositionRow.name).join(RobotRow)
    keys = {(robot, name): key for key, robot, name in reading.session.exec(owners)}
    letters = fitted_letters(reading.session)
    found: list[Values] = []
    for each in positions(reading):
        there = letters.get(keys[each.robot, each.name], {})
        fitted = tuple(there.get(slot, EMPTY) for slot in range(1, each.quantity + 1))
        found.append((each.robot, each.assembly, each.name, each.part, each.quantity, each.required, fitted))
    return tuple(found)


def _spares(reading: Reading) -> tuple[Values, ...]:
    return tuple((each.part, each.revision or UNMARKED, each.place, each.quantity) for each in pieces.on_hand(reading))


def _replacements(reading: Reading) -> tuple[Values, ...]:
    return tuple(
        (
            *(each.part, each.removed or UNMARKED, each.fitted or UNMARKED, each.robot, each.position, each.slot),
            *(each.cause.value, each.by, each.at, each.note),
        )
        for each in pieces.replacements(reading)
    )


def _stock(reading: Reading) -> tuple[Values, ...]:
    return tuple(
        (
            *(each.label, each.material, each.form.value, round(each.amount, DECIMALS) + 0.0),
            GRAMS if each.form.weighed else PIECES_OF_SHEET,
            *(each.thickness_mm, each.width_mm, each.length_mm, each.arrives, each.note),
        )
        for each in stock.lots(reading)
    )


def _competitions(reading: Reading) -> tuple[Values, ...]:
    return tuple((each.name, each.starts, each.parts_due) for each in competitions.competitions(reading))


def _entries(reading: Reading) -> tuple[Values, ...]:
    return tuple(
        (each.name, entry.robot, entry.matches) for each in competitions.competitions(reading) for entry in each.entries
    )


_ROWS: Mapping[Subject, Callable[[Reading], tuple[Values, ...]]] = {
    Subject.PARTS: _parts,
    Subject.REVISIONS: _revisions,
    Subject.ROBOTS: _robots,
    Subject.ASSEMBLIES: _assemblies,
    Subject.POSITIONS: _positions,
    Subject.SPARES: _spares,
    Subject.REPLACEMENTS: _replacements,
    Subject.STOCK: _stock,
    Subject.COMPETITIONS: _competitions,
    Subject.ENTRIES: _entries,
}
