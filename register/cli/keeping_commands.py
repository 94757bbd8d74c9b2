"""`pitwright backup`, `restore`, `export`, `import` and `check`: keeping the register, and taking it elsewhere."""

from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from register.actions import checking, exchange, keeping
from register.cli.here import Here, Nouns, here, read_file
from register.domain.clock import system_clock
from register.domain.exchange import ImportReport
from register.domain.keeping import CheckReport
from register.domain.table_columns import Subject, TableForm
from register.errors import BadFile, BadText, NotAllowed, RegisterError, StoreBroken
from register.reports import keeping as reports
from register.units.moments import moment

_ARCHIVE = ".zip"

Table = Annotated[
    Subject | None, typer.Option("--table", help="Which table it is; the file's name says it if left out.")
]


def add_single_verbs(app: Nouns) -> None:
    """Add the verbs."""
    app.verb("backup")(backup)
    app.verb("restore")(restore)
    app.verb("export")(export)
    app.verb("import")(import_)
    app.verb("check")(check)


def backup(
    context: typer.Context,
    only_list: Annotated[bool, typer.Option("--list", help="List the backups, make none.")] = False,
) -> None:
    """Back the register up while others go on working."""
    place = here(context)
    if only_list:
        found = keeping.list_backups(place.register_folder)
        place.show(found, lambda: reports.backup_list(found, _zone(place)))
        return
    made = keeping.back_up(place.register)
    place.show(made, lambda: reports.backup_made(made))


def restore(
    context: typer.Context,
    wanted: Annotated[str, typer.Argument(help="Name of a backup or its beginning, or a register's database file.")],
) -> None:
    """Bring a backup back; what is there now is backed up first."""
    place = here(context)
    done = keeping.restore_register(place.register_folder, wanted, place.person, _now(place))
    place.show(done, lambda: reports.restored(done))


def export(
    context: typer.Context,
    file: Annotated[
        Path, typer.Argument(help="New file: NAME.zip for all of it, parts.csv or parts.json for a table.")
    ],
    table: Table = None,
) -> None:
    """Write the whole register, or one table of it, into a file."""
    place = here(context)
    if file.suffix.lower() == _ARCHIVE:
        done = keeping.export_register(place.register, file)
        place.show(done, lambda: reports.exported(done))
        return
    subject, form = _table(file, table)
    content = exchange.export_table(place.register, subject, form)
    _write_new(file, content)
    view = {"path": str(file), "table": subject, "bytes": len(content)}
    place.show(view, lambda: reports.table_exported(str(file), subject.value, len(content)))


def import_(
    context: typer.Context,
    file: Annotated[Path, typer.Argument(help="NAME.zip for a whole register, parts.csv or parts.json for a table.")],
    folder: Annotated[
        Path | None,
        typer.Argument(help="Where the whole register goes; else as --register says.", show_default=False),
    ] = None,
    table: Table = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Only say what a table would change.")] = False,
) -> None:
    """Make a new register of an exported one, or take a table in."""
    place = here(context)
    if file.suffix.lower() == _ARCHIVE:
        done = keeping.import_register(file, folder or place.register_folder)
        place.show(done, lambda: reports.imported(done))
        return
    if folder is not None:
        raise NotAllowed("A table goes into the register, not into a folder.", "Leave the folder out.")
    subject, form = _table(file, table)
    report: ImportReport = exchange.import_table(place.register, subject, read_file(file), form, dry_run)
    place.show(report, lambda: reports.table_imported(report))


def check(
    context: typer.Context,
    tidy: Annotated[bool, typer.Option("--tidy", help="Also remove files that nothing needs any more.")] = False,
) -> None:
    """Read the whole register, every file and the backups, and say what is wrong and what can be done."""
    place = here(context)
    found = _checked(place, tidy)
    place.show(found, lambda: reports.checked(found))
    checking.sound(found)


def _checked(place: Here, tidy: bool) -> CheckReport:
    try:
        register = place.register
    except StoreBroken as broken:
        return checking.look_over_unopened(place.register_folder, broken)
    return checking.look_over(register, tidy)


def _now(place: Here) -> datetime:
    """The time for a register that need not open."""
    with suppress(RegisterError):
        return place.register.clock()
    return moment(place.as_of, "UTC") if place.as_of else system_clock()


def _zone(place: Here) -> str:
    with suppress(RegisterError):
        return place.zone
    return "UTC"


def _table(file: Path, table: Subject | None) -> tuple[Subject, TableForm]:
    """Which table a file holds or is to hold, by its name."""
    forms = {f".{form.value}": form for form in TableForm}
    form = forms.get(file.suffix.lower())
    if form is None:
        raise BadFile(
            f"{file.name} ends neither in .zip nor in .csv nor in .json.", "Give it the ending that it is to have."
        )
    if table is not None:
        return table, form
    names = [subject.value for subject in Subject]
    if file.stem not in names:
        raise BadText(f"{file.name} names no table.", f"Say with --table which of {', '.join(names)} it is.")
    return Subject(file.stem), form


def _write_new(path: Path, content: bytes) -> None:
    try:
        with path.open("xb") as sink:
            sink.write(content)
    except FileExistsError as error:
        raise NotAllowed(f"There is {path} already.", "Name another file, or remove that one.") from error
    except (OSError, ValueError) as error:
        with suppress(OSError, ValueError):
            path.unlink(missing_ok=True)
        why = getattr(error, "strerror", None) or "its name cannot be used"
        raise BadFile(f"{path} could not be written: {why}.", "Check the folder and the space there.") from error
