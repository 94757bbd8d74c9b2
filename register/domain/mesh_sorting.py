"""Which file of a folder is which part, and which are to be taken in: by names and by contents alone."""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from contextlib import suppress

from register.domain.mesh_imports import (
    FileLine,
    FoundFile,
    MeshImport,
    Outcome,
    Standing,
    Wanted,
    known,
    refused,
)
from register.domain.parts import Part, Process, checked_number
from register.domain.texts import clean_text, shown
from register.errors import BadText

MESHES = (".stl", ".3mf", ".obj", ".ply")
DRAWINGS = (".dxf",)


def endings(process: Process) -> tuple[str, ...]:
    """How the names of files end that a process takes, in small letters."""
    return (*MESHES, *DRAWINGS) if process is Process.ROUTED else MESHES


def told_by_name(path: str) -> tuple[str, str]:
    """Part number and name that a file's name tells.

    Notes
    -----
    `QS-101 wheel hub.stl` is part QS-101, "wheel hub". If the first word has no figure in it, the whole name is both,
    and its blanks are dashes in the number: `left bracket.stl` is part left-bracket, "left bracket".

    Raises
    ------
    BadText
        If the number or the name cannot be kept.
    """
    stem = path.rpartition("/")[2].rpartition(".")[0]
    words = stem.split()
    if len(words) > 1 and any(sign.isdigit() for sign in words[0]):
        return checked_number(words[0]), clean_text(" ".join(words[1:]), "part name")
    return checked_number("-".join(words)), clean_text(" ".join(words), "part name")


def numbers_told(paths: Iterable[str]) -> set[str]:
    """The part numbers that names of files tell, without those that cannot be kept."""
    found: set[str] = set()
    for path in paths:
        with suppress(BadText):
            found.add(told_by_name(path)[0])
    return found


def sorted_out(
    files: Iterable[FoundFile], standing: Standing, asked: MeshImport
) -> tuple[tuple[Wanted, ...], tuple[FileLine, ...]]:
    """Which files are to be taken in, and what is to be said of the others.

    Parameters
    ----------
    files
        With their hashes.
    """
    lines: list[FileLine] = []
    claims: dict[str, list[Wanted]] = defaultdict(list)
    for file in _unknown(files, standing, lines):
        try:
            wanted = _wanted(file, standing)
        except BadText as error:
            lines.append(refused(file.path, error.what, "Give the file another name."))
        else:
            claims[wanted.part.number.casefold()].append(wanted)
    chosen: list[Wanted] = []
    for rivals in claims.values():
        left = _at_odds(rivals) if len(rivals) > 1 else _left(rivals[0], asked)
        lines += left
        chosen += [] if left else rivals
    return tuple(chosen), tuple(lines)


def overtaken(wanted: Iterable[Wanted], now: Standing) -> dict[str, FileLine]:
    """Files that somebody else took in since they were sorted out, or whose part got another revision; by path."""
    found: dict[str, FileLine] = {}
    for each in wanted:
        path, number = each.file.path, each.part.number
        newest = now.newest.get(number.casefold())
        if each.file.sha256 in now.files:
            found[path] = known(path, *now.files[each.file.sha256], number)
        elif (newest.letter if newest else None) != (each.previous.letter if each.previous else None):
            found[path] = refused(path, f"{number} got another revision meanwhile.", "Import the folder again.")
    return found


def _unknown(files: Iterable[FoundFile], standing: Standing, lines: list[FileLine]) -> Iterator[FoundFile]:
    """Files whose content is new to the register, each once; the others are told of in `lines`."""
    first: dict[str, str] = {}
    for file in files:
        same = first.setdefault(file.sha256, file.path)
        if file.sha256 in standing.files:
            expected = "".join(numbers_told([file.path]))
            lines.append(known(file.path, *standing.files[file.sha256], expected))
        elif same != file.path:
            lines.append(FileLine(file.path, Outcome.KNOWN, what=f"It is the same as {shown(same)}."))
        else:
            yield file


def _wanted(file: FoundFile, standing: Standing) -> Wanted:
    number, name = told_by_name(file.path)
    folded = number.casefold()
    part = standing.parts.get(folded)
    return Wanted(file, part or Part(number, name), part is None, standing.newest.get(folded))


def _at_odds(rivals: list[Wanted]) -> list[FileLine]:
    """Files that claim one part number are refused, each naming the others."""
    lines = []
    for each in rivals:
        others = ", ".join(shown(other.file.path) for other in rivals if other is not each)
        what = f"It claims part {each.part.number}, and so does {others}."
        lines.append(refused(each.file.path, what, "Rename all but one, or take them out of the folder."))
    return lines


def _left(wanted: Wanted, asked: MeshImport) -> list[FileLine]:
    """Why a file is left to a person's decision, if it is."""
    before, number, path = wanted.previous, wanted.part.number, wanted.file.path
    if before is None:
        return []
    by_hand = f"Log it with `pitwright revision add {number} FILE`"
    if before.process is not asked.process:
        what = f"Revision {before.letter} of {number} is {before.process.value}, not {asked.process.value}."
        return [FileLine(path, Outcome.CHANGED, number, what=what, cure=f"{by_hand} if that is to change.")]
    if asked.new_revisions is None:
        what = f"It is not the file of revision {before.letter} of {number}, which is the newest."
        cure = f"{by_hand}, or import with --new-revisions WHY."
        return [FileLine(path, Outcome.CHANGED, number, what=what, cure=cure)]
    return []
