"""Tables out of the register and into it: CSV or JSON, seen before it is done, done whole or not at all."""

from dataclasses import dataclass, replace
from datetime import datetime

from register.domain.exchange import Comparison, Faults, ImportReport, TableRow, compared, report_of
from register.domain.table_columns import ONLY_OUT, Subject, TableForm
from register.domain.table_rows import material_form, named
from register.errors import NotAllowed, NotFound, UnknownMaterial
from register.estimate.whole import material_named
from register.opening import Register
from register.settings.tables_text import read_table, written_table
from register.store import exchange, history, shops
from register.store.exchange_steps import steps_for
from register.store.exchange_writing import Steps, write
from register.store.transaction import Reading


def export_table(register: Register, subject: Subject, form: TableForm) -> bytes:
    """A table of the register as a file, sorted by its key."""
    with register.store.reading() as view:
        rows = exchange.rows(view, subject)
    return written_table(subject, rows, form)


def import_table(
    register: Register, subject: Subject, content: bytes, form: TableForm, dry_run: bool = False
) -> ImportReport:
    """Take a table in: rows that are new are added, others changed, and none is ever taken out.

    What the register counts by moves gets a move that makes up the difference. All of it is one operation, which one
    undo takes back; where nothing differs, nothing is written.

    Parameters
    ----------
    dry_run
        Only say what would be added and changed; every refusal comes as it would.

    Raises
    ------
    BadFile
        If the file cannot be read as this table, or a row of it cannot be taken in.
    NotAllowed
        If tables of this subject only go out.
    """
    if subject in ONLY_OUT:
        raise NotAllowed(
            f"A table of {subject.value} goes out but does not come in: the register needs more than a table tells.",
            "Log revisions with their files, and replacements one by one.",
        )
    with register.store.reading() as view:
        zone = _zone(view)
    wanted = read_table(subject, content, form, zone)
    with register.store.reading() as view:
        prepared = _prepared(view, subject, wanted, register.who, register.clock())
    comparison = prepared.comparison
    if dry_run or not (comparison.added or comparison.changed):
        return report_of(comparison, dry_run, None)
    counts = f"{len(comparison.added)} added, {len(comparison.changed)} changed"
    with register.store.writing(register.who, f"import {subject.value}: {counts}") as tx:
        if tx.operation != prepared.stood_on + 1:
            # Someone has written meanwhile, so the table is held against the register anew.
            prepared = _prepared(tx, subject, wanted, tx.who, tx.at)
        write(tx, prepared.steps)
        return report_of(prepared.comparison, False, tx.operation)


@dataclass(frozen=True)
class _Prepared:
    """An import worked out whole, and the operation that it stood on."""

    comparison: Comparison
    steps: Steps
    stood_on: int


def _prepared(view: Reading, subject: Subject, wanted: tuple[TableRow, ...], who: str, at: datetime) -> _Prepared:
    comparison = compared(subject, exchange.rows(view, subject), wanted)
    if subject is Subject.STOCK:
        comparison = replace(comparison, added=_with_materials(view, comparison.added))
    return _Prepared(comparison, steps_for(view, comparison, who, at), history.last_operation(view))


def _with_materials(view: Reading, lots: tuple[TableRow, ...]) -> tuple[TableRow, ...]:
    """New lots with their material as the shop calls it; refused if it has none such."""
    if not lots:
        return lots
    settings = shops.settings(view)
    faults = Faults()
    found: list[TableRow] = []
    for lot in lots:
        row = named(Subject.STOCK, lot.values)
        try:
            material = material_named(str(row["material"]), material_form(str(row["form"])), settings)
        except UnknownMaterial as unknown:
            faults.note(lot.line, unknown.what, unknown.cure)
        else:
            found.append(replace(lot, values=tuple((row | {"material": material.name}).values())))
    faults.refuse_if_any()
    return tuple(found)


def _zone(view: Reading) -> str:
    try:
        return shops.shop(view).zone
    except NotFound:
        return "UTC"
