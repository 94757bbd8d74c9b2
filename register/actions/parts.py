"""Parts: adding one, the list with its warnings, and one part whole."""

from register.domain.part_views import PartLine, PartSheet
from register.domain.parts import Part, checked_number
from register.domain.revisions import Revision, RevisionState
from register.domain.spares import Signal, SpareLine
from register.domain.texts import clean_text
from register.opening import Register
from register.stocking.lines import spare_line
from register.store import parts, pieces, robots, wear


def add_part(register: Register, number: str, name: str, is_wear: bool) -> Part:
    """Add a part.

    Raises
    ------
    BadText
        If the number or the name cannot be kept.
    NotAllowed
        If the number is taken.
    """
    wanted = Part(checked_number(number), clean_text(name, "part name"), is_wear)
    with register.store.writing(register.who, f"add part {wanted.number}") as tx:
        parts.add_part(tx, wanted)
    return wanted


def list_parts(register: Register, find: str = "") -> tuple[PartLine, ...]:
    """Parts whose number or name holds `find`, each with its newest revision and its warnings."""
    with register.store.reading() as view:
        found = parts.parts(view, find)
        histories = parts.histories(view)
        on_hand = pieces.on_hand(view)
        lines = {case.part.number: spare_line(case) for case in wear.wear_cases(view, register.clock())}
    counts: dict[str, int] = {}
    for each in on_hand:
        counts[each.part] = counts.get(each.part, 0) + each.quantity
    return tuple(_line(part, histories.get(part.number, ()), counts.get(part.number, 0), lines) for part in found)


def show_part(register: Register, number: str) -> PartSheet:
    """One part with its revisions, estimates, places on robots, pieces on hand and warnings; raises NotFound."""
    with register.store.reading() as view:
        part = parts.part(view, number)
        history = parts.revisions(view, number)
        estimates = {each.letter: parts.estimate_of(view, part.number, each.letter) for each in history}
        places = tuple(each for each in robots.positions(view, active_only=False) if each.part == part.number)
        on_hand = pieces.on_hand(view, part.number)
        lines = {case.part.number: spare_line(case) for case in wear.wear_cases(view, register.clock())}
    return PartSheet(
        part, history, estimates, places, on_hand, lines.get(part.number), _warnings(history, lines.get(part.number))
    )


def _line(part: Part, history: tuple[Revision, ...], on_hand: int, lines: dict[str, SpareLine]) -> PartLine:
    newest = history[-1] if history else None
    return PartLine(
        part.number,
        part.name,
        part.wear,
        newest.letter if newest else None,
        newest.state.value if newest else None,
        newest.process if newest else None,
        newest.material if newest else None,
        on_hand,
        lines[part.number].signal.value if part.number in lines else None,
        _warnings(history, lines.get(part.number)),
    )


def _warnings(history: tuple[Revision, ...], line: SpareLine | None) -> tuple[str, ...]:
    said: list[str] = []
    if not history:
        said.append("has no revision yet")
    elif history[-1].state is RevisionState.DRAFT:
        said.append(f"revision {history[-1].letter} is a draft")
    if line is not None and line.signal is Signal.NO_SPARE:
        said.append(f"NO SPARE for {' and '.join(line.without)}")
    elif line is not None and line.signal is Signal.SHORT:
        said.append(f"SHORT: {line.usable_now} usable, {line.advised} advised")
    if line is not None:
        said.extend(
            f"{each.quantity} {f'of revision {each.revision}' if each.revision else 'unmarked'} not counted: "
            f"{each.why.removeprefix('unmarked: ')}"
            for each in line.unusable
        )
    return tuple(said)
