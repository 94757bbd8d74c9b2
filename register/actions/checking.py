"""Checking a register: every row, every link, every count, every file, and whether its backups can be read."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

from register.domain.clock import system_clock
from register.domain.keeping import CheckReport, Fault
from register.errors import StoreBroken
from register.opening import Register
from register.store import backup, health, orphans, parts, pieces, stock
from register.store.orphans import Loose
from register.store.transaction import Reading

# Younger files may belong to work that is going on.
LOOSE_AFTER = timedelta(hours=1)
# So much of the backups is read whole, the newest first; of the others only the head and the history. Each was read
# whole when it was made, and is again before it is brought back.
WHOLE_BACKUPS_BYTES = 300_000_000


def check_register(register: Register) -> CheckReport:
    """Read everything; a register that is not sound is refused.

    Raises
    ------
    StoreBroken
        If anything is wrong; the message names the first fault and counts the rest.
    """
    return sound(look_over(register))


def sound(report: CheckReport) -> CheckReport:
    """`report`, unless it holds a fault; raises StoreBroken, naming the first."""
    if not report.faults:
        return report
    first, more = report.faults[0], len(report.faults) - 1
    if more:
        raise StoreBroken(f"The register is not sound: {first.what.rstrip('.')}, and {more} more.", first.cure)
    raise StoreBroken(f"The register is not sound: {first.what}", first.cure)


def look_over(register: Register, tidy: bool = False) -> CheckReport:
    """Read everything and tell every fault.

    Parameters
    ----------
    tidy
        Also take away files that nothing needs any more, if no fault was found.
    """
    backups, faults = _backups(register.folder)
    newest = backups[0] if backups else None
    cure = f"Bring a backup back: `pitwright restore {newest}`." if newest else "Bring back a copy of the folder."
    with register.store.reading() as view:
        faults = [*health.faults(view, cure), *_overdrawn(view), *faults]
        named = parts.file_hashes(view)
        rows = health.row_count(view)
    faults += _faults_of_files(register, named)
    removed = orphans.take_away_loose_files(register.folder, _old()) if tidy and not faults else ()
    loose, more = _loose(register.folder)
    return CheckReport(
        rows,
        len(named),
        len(backups),
        newest,
        len(loose),
        sum(each.bytes for each in loose),
        tuple(str(each.path.relative_to(register.folder)) for each in removed),
        (*faults, *more),
    )


def look_over_unopened(folder: Path, why: StoreBroken) -> CheckReport:
    """What can be told of a register that cannot be opened: why, and which backup there is to bring back."""
    backups, faults = _backups(folder)
    cure = f"Bring a backup back: `pitwright restore {backups[0]}`." if backups else why.cure
    first = Fault(why.what, cure)
    return CheckReport(0, 0, len(backups), backups[0] if backups else None, 0, 0, (), (first, *faults))


def _old() -> datetime:
    # The files' own times are the computer's, whatever clock the register has.
    return system_clock() - LOOSE_AFTER


def _overdrawn(view: Reading) -> Iterator[Fault]:
    short = pieces.overdrawn(view)
    if short is not None:
        yield Fault(
            f"{short.place} holds {short.quantity} {short.part}.",
            "Count them, and say it with `pitwright spare count`.",
        )
    lot = stock.overdrawn(view)
    if lot is not None:
        yield Fault(
            f"Lot {lot} holds less than nothing.", "Weigh or count it, and say it with `pitwright stock count`."
        )


def _faults_of_files(register: Register, named: tuple[str, ...]) -> Iterator[Fault]:
    for sha256 in (*named, *orphans.spare_files(register.folder)):
        try:
            register.files.verify(sha256)
        except StoreBroken as broken:
            with register.store.reading() as view:
                users = [
                    f"{each.file_name} of {each.part} {each.letter}" for each in parts.revisions_of_file(view, sha256)
                ]
            it = f"it ({users[0]})" if users else "it"
            yield Fault(broken.what, f"Copy {it} there from a backup of files/, or log that file once more.")
    for path in orphans.links(register.folder):
        yield Fault(f"{path.relative_to(register.folder)} is a link.", "Put the file itself there, or remove the link.")


def _loose(folder: Path) -> tuple[tuple[Loose, ...], list[Fault]]:
    try:
        return orphans.loose_files(folder, _old()), []
    except StoreBroken as broken:
        return (), [Fault(broken.what, broken.cure)]


def _backups(folder: Path) -> tuple[list[str], list[Fault]]:
    """Names of the backups that can be read, newest first, and what is wrong with the others."""
    readable: list[str] = []
    faults: list[Fault] = []
    left_bytes = WHOLE_BACKUPS_BYTES
    for each in backup.list_backups(folder):
        left_bytes -= each.bytes
        said = backup.said_against(folder / backup.FOLDER / each.name, whole=left_bytes >= 0)
        if said is None:
            readable.append(each.name)
        else:
            cure = "Remove it; `pitwright backup` makes another."
            faults.append(Fault(f"The backup {each.name} is no use: {said}.", cure))
    return readable, faults
