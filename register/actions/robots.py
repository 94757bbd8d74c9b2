"""Robots: their structure, what each position is meant to carry, and what is fitted."""

from register.domain.revisions import RevisionState
from register.domain.robots import Assembly, Position, Robot
from register.domain.texts import NOTE_LENGTH, clean_text
from register.errors import NotAllowed
from register.opening import Register
from register.store import parts, robots
from register.store.transaction import Reading

MOST_OF_A_PART = 10_000


def add_robot(register: Register, name: str, note: str = "") -> Robot:
    """Add a robot; raises NotAllowed if its name is taken."""
    name = clean_text(name, "robot's name")
    note = clean_text(note, "note", NOTE_LENGTH) if note.strip() else ""
    with register.store.writing(register.who, f"add robot {name}") as tx:
        robots.add_robot(tx, name, note)
    return Robot(name, note)


def list_robots(register: Register) -> tuple[Robot, ...]:
    """Every robot with its structure."""
    with register.store.reading() as view:
        return robots.robots(view)


def show_robot(register: Register, name: str) -> Robot:
    """One robot with its structure; raises NotFound."""
    with register.store.reading() as view:
        return robots.robot(view, name)


def add_assembly(register: Register, robot: str, name: str, parent: str | None, module: bool) -> Robot:
    """Add an assembly; `module` says that the pit swaps it whole.

    Raises
    ------
    NotFound, NotAllowed
        If the robot or the parent is not there; if the name is taken.
    """
    wanted = Assembly(robot, clean_text(name, "assembly's name"), parent, module)
    with register.store.writing(register.who, f"add assembly {wanted.name} to {robot}") as tx:
        robots.add_assembly(tx, wanted)
        tx.session.flush()
        return robots.robot(tx, robot)


def add_position(
    register: Register, robot: str, assembly: str | None, name: str, part: str, quantity: int, letter: str | None
) -> Robot:
    """Add a position for `quantity` pieces of a part.

    Parameters
    ----------
    letter
        The revision that it is meant to carry; the released one if None.

    Raises
    ------
    NotFound, NotAllowed
        If something named is not there; if the name is taken or no revision is released.
    """
    name = clean_text(name, "position's name")
    if not 1 <= quantity <= MOST_OF_A_PART:
        raise NotAllowed(
            f"A position cannot hold {quantity} pieces.", f"Give a whole number from 1 to {MOST_OF_A_PART}."
        )
    with register.store.writing(register.who, f"add position {name} to {robot}") as tx:
        number = parts.part(tx, part).number
        wanted = Position(robot, assembly, name, number, quantity, letter or _released(tx, number))
        robots.add_position(tx, wanted)
        tx.session.flush()
        return robots.robot(tx, robot)


def require_revision(register: Register, robot: str, position: str, letter: str) -> Robot:
    """Change what a position is meant to carry; raises NotFound."""
    with register.store.writing(register.who, f"require revision {letter.upper()} at {position} on {robot}") as tx:
        robots.require(tx, robot, position, letter)
        tx.session.flush()
        return robots.robot(tx, robot)


def record_fitted(register: Register, robot: str, position: str, letters: tuple[str | None, ...]) -> Robot:
    """Record what is fitted at a position now, one entry a piece.

    Parameters
    ----------
    letters
        A letter, "" for an unmarked piece, None where nothing is fitted; as many as the position holds.

    Raises
    ------
    NotFound, NotAllowed
        If the position or a revision is not there; if the count differs.
    """
    with register.store.writing(register.who, f"record what is fitted at {position} on {robot}") as tx:
        place = next((each for each in robots.robot(tx, robot).positions if each.name == position.strip()), None)
        if place is not None and len(letters) != place.quantity:
            raise NotAllowed(
                f"{position} on {robot} holds {place.quantity} pieces and {len(letters)} were given.",
                "Give one entry a piece.",
            )
        for slot, letter in enumerate(letters, 1):
            robots.fit(tx, robot, position, slot, letter or None, empty=letter is None)
        tx.session.flush()
        return robots.robot(tx, robot)


def _released(reading: Reading, number: str) -> str:
    released = [each.letter for each in parts.revisions(reading, number) if each.state is RevisionState.RELEASED]
    if not released:
        raise NotAllowed(f"Part {number} has no released revision.", "Release one, or name a revision.")
    return released[-1]
