"""Parts: adding one, the list with its warnings, and one part whole."""

from collections.abc import Collection

from register.domain.estimates import PrintedEstimate
from register.domain.part_views import Page, PartLine, PartSheet
from register.domain.parts import Part, checked_number
from register.domain.revisions import MAY_BE_MADE, Revision, RevisionState
from register.domain.spares import Signal, SpareLine
from register.domain.texts import clean_text
from register.opening import Register
from register.stocking.lines import spare_line
from register.stocking.spools import spools_for
from register.store import jobs, part_lists, parts, pieces, position_lists, stock, wear
from register.store.transaction import Reading


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


def list_parts(register: Register, find: str = "", page: Page | None = None) -> tuple[PartLine, ...]:
    """Parts whose number or name holds `find`, each with its newest revision and its warnings.

    Parameters
    ----------
    page
        The piece of the list that is wanted; all of it if None. A page costs the same wherever it lies.
    """
    with register.store.reading() as view:
        found = parts.page(view, page.after, page.count, find) if page else parts.parts(view, find)
        numbers = {each.number for each in found} if page or find else None
        newest = part_lists.newest(view, numbers)
        counts = pieces.counts(view, numbers)
        lines = _spare_lines(view, register, numbers)
    return tuple(_line(each, newest.get(each.number), counts.get(each.number, 0), lines) for each in found)


def show_part(register: Register, number: str) -> PartSheet:
    """One part with its revisions, estimates, places on robots, pieces on hand and warnings; raises NotFound."""
    with register.store.reading() as view:
        part = parts.part(view, number)
        history = parts.revisions(view, number)
        estimates = {each.letter: parts.estimate_of(view, part.number, each.letter) for each in history}
        uses = position_lists.where_used(view, part.number)
        on_hand = pieces.on_hand(view, part.number)
        spare = _spare_lines(view, register, {part.number}).get(part.number)
        lots = stock.lots(view)
        promised_g = jobs.promised_g(view)
    spools = {
        each.letter: spools_for(estimate, 1, lots, register.clock(), promised_g.get(estimate.material, 0.0))
        for each in history
        if each.state in MAY_BE_MADE and isinstance(estimate := estimates[each.letter], PrintedEstimate)
    }
    return PartSheet(
        part,
        history,
        estimates,
        tuple(use.position for use in uses),
        tuple(use.within for use in uses),
        on_hand,
        spare,
        _warnings(history[-1] if history else None, spare),
        spools,
    )


def _spare_lines(view: Reading, register: Register, numbers: Collection[str] | None) -> dict[str, SpareLine]:
    cases = wear.wear_cases(view, register.clock(), numbers)
    return {case.part.number: spare_line(case) for case in cases}


def _line(part: Part, newest: Revision | None, on_hand: int, lines: dict[str, SpareLine]) -> PartLine:
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
        _warnings(newest, lines.get(part.number)),
    )


def _warnings(newest: Revision | None, line: SpareLine | None) -> tuple[str, ...]:
    said: list[str] = []
    if newest is None:
        said.append("has no revision yet")
    elif newest.state is RevisionState.DRAFT:
        said.append(f"revision {newest.letter} is a draft")
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
