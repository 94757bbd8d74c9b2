"""What backup, restore, export, import and check say."""

from rich.console import Group, RenderableType
from rich.text import Text

from register.domain.exchange import ImportReport
from register.domain.keeping import Archive, Backup, BackupMade, BackupReason, CheckReport, Restored
from register.reports.wording import counted, line, local, table

_REASONS = {
    BackupReason.ASKED: "asked for",
    BackupReason.DAILY: "before the day's first write",
    BackupReason.BEFORE_UPGRADE: "before an upgrade",
    BackupReason.BEFORE_RESTORE: "before a restore",
}


def backup_list(found: tuple[Backup, ...], zone: str) -> RenderableType:
    """Backups, newest first."""
    if not found:
        return line("There is no backup yet.")
    rows = [(each.name, local(each.made_at, zone), _REASONS[each.reason], _size(each.bytes)) for each in found]
    return table(("name", "made", "why", "size"), rows, ("size",))


def backup_made(done: BackupMade) -> RenderableType:
    """A backup that was made."""
    kept = f"{counted(len(done.backups), 'backup')} {'is' if len(done.backups) == 1 else 'are'} kept."
    return line(f"Backed up to {done.made}, and read whole; {kept}")


def restored(done: Restored) -> RenderableType:
    """What a restore did, and how to take it back."""
    said = line(f"The register is as {done.source} has it: {_content(done.operations, done.files)}.")
    if done.before is None:
        return said
    if done.damaged:
        return Group(said, line(f"The damaged database was put aside as {done.before}."))
    return Group(said, line(f"What was there before is {done.before}; `pitwright restore` brings that back."))


def exported(done: Archive) -> RenderableType:
    """A register that was put into one file."""
    return line(f"Wrote {done.path}: {_content(done.operations, done.files)}, {_size(done.bytes)}.")


def imported(done: Archive) -> RenderableType:
    """A register that was made from one file."""
    return line(f"Made the register {done.path}: {_content(done.operations, done.files)}.")


def checked(found: CheckReport) -> RenderableType:
    """What was read, and every fault with its cure."""
    lines: list[RenderableType] = []
    if found.faults:
        for fault in found.faults:
            lines += [Text.assemble(("WRONG ", "bold red"), line(fault.what)), line(f"      {fault.cure}")]
    else:
        counts = f"{counted(found.rows, 'row')}, {counted(found.files, 'file')} and {counted(found.backups, 'backup')}"
        lines.append(line(f"The register is sound: {counts} were read."))
    lines += [line(f"Removed {name}.") for name in found.removed]
    if found.loose_files:
        them = f"{counted(found.loose_files, 'file')} ({_size(found.loose_bytes)})"
        lines.append(line(f"Nothing needs {them} any more; `pitwright check --tidy` removes what is left over."))
    lines.append(line(f"Newest backup: {found.newest_backup or 'none yet; `pitwright backup` makes one'}."))
    return Group(*lines)


def table_exported(path: str, table: str, size_bytes: int) -> RenderableType:
    """A table that was written into a file."""
    return line(f"Wrote the table of {table} into {path}, {_size(size_bytes)}.")


def table_imported(done: ImportReport) -> RenderableType:
    """What an import did or would do, with its first changes row by row."""
    verb = "would be" if done.dry_run else "were"
    said = f"{counted(done.rows, 'row')} read: {done.added} {verb} added, {done.changed} changed; {done.left} stand so."
    rows = [
        (
            str(each.line),
            each.row,
            each.change,
            ", ".join(
                f"{cell.column} {cell.new}"
                if cell.old is None
                else f"{cell.column} {cell.old or '–'} → {cell.new or '–'}"
                for cell in each.columns
            ),
        )
        for each in done.changes
    ]
    lines: list[RenderableType] = [line(said)]
    if rows:
        lines.append(table(("line", "row", "change", "what"), rows, ("line",)))
    if len(rows) < done.added + done.changed:
        lines.append(line(f"The first {len(rows)} are shown."))
    if done.not_named:
        lines.append(line(f"{counted(done.not_named, 'row')} of the register not in the file: left as they are."))
    return Group(*lines)


def _content(operations: int, files: int) -> str:
    return f"{counted(operations, 'operation')} and {counted(files, 'file')}"


def _size(size_bytes: int) -> str:
    """`417 kB`, `12.3 MB`."""
    return f"{size_bytes / 1e6:.1f} MB" if size_bytes >= 1_000_000 else f"{-(-size_bytes // 1000)} kB"
