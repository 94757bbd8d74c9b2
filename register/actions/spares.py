"""Spares: how each wear part stands, taking one, adding and counting, and the log of replacements."""

from collections.abc import Sequence
from dataclasses import replace

from register.domain.pieces import Cause, PieceMove, Replacement
from register.domain.revisions import Revision, accepts, ordinal
from register.domain.robots import Position
from register.domain.spares import OnHand, SpareLine, Taken, carried
from register.domain.texts import NOTE_LENGTH, clean_text
from register.errors import NoSpare, NotAllowed, NotFound
from register.opening import Register
from register.stocking.lines import spare_line
from register.store import parts, pieces, position_lists, robots, wear
from register.store.transaction import Reading, Writing

SHELF = "shelf"
MOST = 100_000


def list_spares(register: Register) -> tuple[SpareLine, ...]:
    """How every wear part stands, by number."""
    with register.store.reading() as view:
        cases = wear.wear_cases(view, register.clock())
    return tuple(spare_line(case) for case in cases)


def take_spare(
    register: Register, part: str, robot: str | None = None, place: str | None = None, letter: str | None = None
) -> Taken:
    """Take one usable piece.

    Parameters
    ----------
    robot
        The robot that it is for; any active one that carries the part if None.
    place
        Where it is taken from; wherever there is one if None.
    letter
        The revision; the newest usable one if None.

    Raises
    ------
    NotFound
        If the part, or the part on that robot, is not there.
    NoSpare
        If no usable piece is on hand; the message says what is there and why it does not count.
    """
    with register.store.writing(register.who, _taking(part, robot)) as tx:
        number = parts.part(tx, part).number
        found = _usable_piece(tx, number, _positions(tx, number, robot), place, letter)
        left = pieces.move_pieces(tx, number, found.revision, found.place, PieceMove.TAKEN, -1)
        return Taken(number, found.revision, found.place, left, _line(tx, number, register))


def add_spares(register: Register, part: str, letter: str | None, quantity: int, place: str, note: str = "") -> int:
    """Put pieces on hand and give back how many are at that place then.

    Parameters
    ----------
    letter
        None for unmarked pieces.

    Raises
    ------
    NotFound, NotAllowed
        If the part or the revision is not there; if the quantity is none.
    """
    if not 1 <= quantity <= MOST:
        raise NotAllowed(f"{quantity} is no number of spares.", f"Give a whole number from 1 to {MOST}.")
    place = clean_text(place, "place")
    note = clean_text(note, "note", NOTE_LENGTH) if note.strip() else ""
    with register.store.writing(register.who, f"add {quantity} of {part} at {place}") as tx:
        return pieces.move_pieces(tx, part, letter, place, PieceMove.RECEIVED, quantity, note=note)


def count_spares(register: Register, part: str, letter: str | None, quantity: int, place: str, why: str) -> int:
    """Set a place to what was counted there and give back the difference; one that differs needs its reason.

    Raises
    ------
    NotFound, NotAllowed
        If the part or the revision is not there; if the count differs and no reason is given.
    """
    if not 0 <= quantity <= MOST:
        raise NotAllowed(f"{quantity} is no count.", f"Give a whole number from 0 to {MOST}.")
    place = clean_text(place, "place")
    with register.store.writing(register.who, f"count {part} at {place}") as tx:
        wanted = parts.revision(tx, part, letter).letter if letter else None
        number = parts.part(tx, part).number
        standing = sum(
            each.quantity for each in pieces.on_hand(tx, number) if each.place == place and each.revision == wanted
        )
        if standing != quantity and not why.strip():
            raise NotAllowed(f"{place} should hold {standing} of {part}, not {quantity}.", "Say why with --because.")
        note = clean_text(why, "reason", NOTE_LENGTH) if why.strip() else ""
        pieces.move_pieces(tx, part, wanted, place, PieceMove.COUNTED, quantity - standing, note=note)
        return quantity - standing


def log_replacement(
    register: Register, robot: str, position: str, cause: Cause, slot: int = 1, from_spares: bool = True, note: str = ""
) -> Replacement:
    """Log that a piece was replaced: a usable spare is taken and fitted in its slot, in one operation.

    Parameters
    ----------
    from_spares
        False if the new piece came from nowhere that the register knows; it is then fitted as unmarked.

    Raises
    ------
    NotFound
        If the position is not there.
    NoSpare
        If no usable piece is on hand.
    """
    note = clean_text(note, "note", NOTE_LENGTH) if note.strip() else ""
    with register.store.writing(register.who, f"replace {position} on {robot}: {cause.value}") as tx:
        place = _position(tx, robot, position)
        letter = None
        if from_spares:
            found = _usable_piece(tx, place.part, [place], None, None)
            letter = found.revision
            pieces.move_pieces(tx, place.part, letter, found.place, PieceMove.FITTED, -1)
        removed = robots.fit(tx, robot, position, slot, letter)
        done = Replacement(place.part, robot, place.name, slot, removed, letter, cause, tx.who, tx.at, note)
        pieces.add_replacement(tx, done)
        return done


def record_past_replacement(register: Register, past: Replacement) -> Replacement:
    """Enter a replacement of earlier days in the log; nothing is taken from the spares and nothing is fitted.

    Raises
    ------
    NotFound, NotAllowed
        If a part, position or revision is not there; if it is not in the past, or the position holds no such piece.
    """
    if past.at > register.clock():
        raise NotAllowed(f"The replacement at {past.position} lies in the future.", "Give the time when it was done.")
    with register.store.writing(register.who, f"log an earlier replacement at {past.position} on {past.robot}") as tx:
        place = _position(tx, past.robot, past.position)
        if place.part != parts.part(tx, past.part).number or not 1 <= past.slot <= place.quantity:
            raise NotAllowed(
                f"{place.name} on {past.robot} holds {place.quantity} of {place.part}, "
                f"so no piece {past.slot} of {past.part} was replaced there.",
                "Name the part and the piece that sit there.",
            )
        done = replace(past, by=tx.who)
        pieces.add_replacement(tx, done)
    return done


def list_replacements(register: Register) -> tuple[Replacement, ...]:
    """Every replacement, oldest first."""
    with register.store.reading() as view:
        return pieces.replacements(view)


def _taking(part: str, robot: str | None) -> str:
    return f"take a spare {part}" + (f" for {robot}" if robot else "")


def _positions(reading: Reading, number: str, robot: str | None) -> list[Position]:
    found = [each for each in position_lists.positions_of(reading, number) if robot in (None, each.robot)]
    if robot is not None and not found:
        robots.robot(reading, robot)
        raise NotFound(f"{robot} carries no {number}.", f"See `pitwright part show {number}`.")
    return found


def _position(reading: Reading, robot: str, name: str) -> Position:
    found = next((each for each in robots.robot(reading, robot).positions if each.name == name.strip()), None)
    if found is None:
        raise NotFound(f"{robot} has no position {name!r}.", f"See `pitwright robot show {robot}`.")
    return found


def _usable_piece(
    writing: Writing, number: str, positions: Sequence[Position], place: str | None, letter: str | None
) -> OnHand:
    history = parts.revisions(writing, number)
    there = [each for each in pieces.on_hand(writing, number) if each.quantity > 0]
    usable = [
        each
        for each in there
        if each.revision is not None
        and place in (None, each.place)
        and (letter is None or letter.strip().upper() == each.revision)
        and _fits(history, positions, each.revision)
    ]
    if usable:
        return max(usable, key=lambda each: ordinal(each.revision or "A"))
    listed = ", ".join(f"{each.quantity} × {each.revision or 'unmarked'} at {each.place}" for each in there) or "none"
    takes = " or ".join(sorted({known for each in positions for known in carried(each)}, key=ordinal))
    asked = "".join((f" of revision {letter.strip().upper()}" if letter else "", f" at {place}" if place else ""))
    raise NoSpare(
        f"No usable spare of {number}{asked} is on hand (there: {listed}; fitted: {takes or 'nowhere'}).",
        "Make or order one; enter what is there already with `pitwright spare add`.",
    )


def _fits(history: Sequence[Revision], positions: Sequence[Position], letter: str) -> bool:
    return any(accepts(history, fitted, letter) for position in positions for fitted in carried(position))


def _line(reading: Reading, number: str, register: Register) -> SpareLine | None:
    return next((spare_line(case) for case in wear.wear_cases(reading, register.clock(), {number})), None)
