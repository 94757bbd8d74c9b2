"""What is said of a folder that was taken in: in short, then file by file where a person has to look."""

from collections import Counter

from rich.console import Group, RenderableType

from register.domain.mesh_imports import FileLine, MeshImportReport, Outcome
from register.reports.wording import counted, joined, line, table
from register.units.money import written_money
from register.units.written import written_duration, written_mass

# So many parts are listed; `pitwright part list` has them all. What has to be looked after is listed whole.
MOST_LISTED = 40
MOST_NAMED = 10
_IN_SHORT = (
    (Outcome.ADDED, "added"),
    (Outcome.REVISED, "logged as a new revision"),
    (Outcome.KNOWN, "known already"),
    (Outcome.CHANGED, "changed and left"),
    (Outcome.REFUSED, "refused"),
    (Outcome.SKIPPED, "skipped"),
    (Outcome.NOT_REACHED, "not reached"),
)
_WITH_REASONS = (
    (Outcome.KNOWN, "Known under another name:"),
    (Outcome.CHANGED, "Changed, and left for you to decide:"),
    (Outcome.REFUSED, "Refused:"),
)


def folder_imported(done: MeshImportReport, currency: str) -> RenderableType:
    """What became of every file of a folder."""
    lines: list[RenderableType] = [line(_in_short(done))]
    taken = _of(done, Outcome.ADDED, Outcome.REVISED)
    if taken:
        lines.append(_parts(taken[:MOST_LISTED], currency))
        if len(taken) > MOST_LISTED:
            lines.append(line(f"The first {MOST_LISTED} are shown; `pitwright part list` has all parts."))
    doubtful = [(each.file, warning) for each in taken for warning in each.warnings]
    if doubtful:
        lines += [line("Look at these:"), table(("file", "warning"), doubtful)]
    for outcome, heading in _WITH_REASONS:
        found = [each for each in _of(done, outcome) if each.what]
        if found:
            rows = [(each.file, f"{each.what} {each.cure}".strip()) for each in found]
            lines += [line(heading), table(("file", "why"), rows)]
    skipped = _of(done, Outcome.SKIPPED)
    if skipped:
        lines.append(line(f"Skipped: {_skipped(skipped)}."))
    lines += [line(each) for each in _afterwards(done)]
    return Group(*lines)


def _in_short(done: MeshImportReport) -> str:
    count = Counter(each.outcome for each in done.files)
    counts = [f"{count[outcome]} {words}" for outcome, words in _IN_SHORT if count[outcome]]
    looked = f"{counted(len(done.files), 'file')} in {done.folder}"
    if not counts:
        return f"{done.folder} holds no files."
    return f"{looked}: {joined(counts)}{'; nothing was written, since this is a dry run' if done.dry_run else ''}."


def _of(done: MeshImportReport, *outcomes: Outcome) -> list[FileLine]:
    return [each for each in done.files if each.outcome in outcomes]


def _parts(taken: list[FileLine], currency: str) -> RenderableType:
    rows = [
        (
            each.part,
            each.name,
            f"{each.revision} draft",
            each.material,
            written_mass(each.mass_g or 0.0),
            written_duration(each.duration_s or 0.0),
            written_money(each.cost_cents or 0, currency),
        )
        for each in taken
    ]
    headings = ("part", "name", "revision", "material", "mass", "time", "cost")
    return table(headings, rows, ("mass", "time", "cost"))


def _skipped(skipped: list[FileLine]) -> str:
    """Files with a reason of their own by name, and the others by what their names end with."""
    named = [f"{each.file} {each.what}" for each in skipped if each.what]
    others = Counter(_ending(each.file) for each in skipped if not each.what)
    kinds = [f"{count} {ending}" for ending, count in sorted(others.items())]
    said = [f"{counted(sum(others.values()), 'file')} of other kinds ({', '.join(kinds)})"] if kinds else []
    more = [f"{len(named) - MOST_NAMED} more"] if len(named) > MOST_NAMED else []
    return joined([*said, *named[:MOST_NAMED], *more])


def _ending(path: str) -> str:
    stem, dot, ending = path.rpartition("/")[2].rpartition(".")
    return f".{ending.casefold()}" if stem and dot and len(ending) <= 10 else "without an ending"


def _afterwards(done: MeshImportReport) -> list[str]:
    said: list[str] = []
    if done.new_revisions:
        said.append("New revisions are said not to be interchangeable: no spare of the ones before counts for them.")
    if done.operations:
        undos = joined(f"`pitwright undo {number}`" for number in reversed(done.operations))
        said.append(f"{undos} {'takes' if len(done.operations) == 1 else 'take'} it back.")
    return said
