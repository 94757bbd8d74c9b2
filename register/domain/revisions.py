"""Revisions: their letters, their states, and which one works in place of which."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from register.domain.parts import Process
from register.errors import BadText

# I, O, Q, S, X and Z are not used; after Y comes AA. Source: ASME Y14.35.
LETTERS = "ABCDEFGHJKLMNPRTUVWY"


class RevisionState(StrEnum):
    """Where a revision stands; only a draft can still be changed."""

    DRAFT = "draft"
    RELEASED = "released"
    SUPERSEDED = "superseded"
    WITHDRAWN = "withdrawn"


MAY_BE_MADE = frozenset({RevisionState.DRAFT, RevisionState.RELEASED})


class Stage(StrEnum):
    """What a revision is for."""

    PROTOTYPE = "prototype"
    PRODUCTION = "production"


class Interchange(StrEnum):
    """Whether a revision and the one before it fit and work in each other's place.

    ONE_WAY: the newer works where the older was called for, not the other way round.
    """

    BOTH_WAYS = "both ways"
    ONE_WAY = "one way"
    NONE = "none"


@dataclass(frozen=True)
class Revision:
    """One revision of a part. `thickness_mm` belongs to sheet; `unit_cost_cents` and `lead_days` to bought parts.

    `version` counts the row's changes; a released revision never changes in what it describes. `keep_pose` says why it
    must be printed in the pose that its file has, such as which way it is loaded; "" if it may be turned.
    """

    part: str
    letter: str
    process: Process
    state: RevisionState
    stage: Stage
    interchange: Interchange
    material: str | None = None
    thickness_mm: float | None = None
    file_sha256: str | None = None
    file_name: str | None = None
    unit: str = "mm"
    unit_cost_cents: int | None = None
    lead_days: int | None = None
    changed: str = ""
    interchange_why: str = ""
    logged_by: str = ""
    logged_at: datetime | None = None
    released_by: str | None = None
    released_at: datetime | None = None
    version: int = 1
    keep_pose: str = ""


def ordinal(letter: str) -> int:
    """Place of a revision letter in the series, A = 1.

    Raises
    ------
    BadText
        If `letter` is not written in the letters of ASME Y14.35.
    """
    if not letter or any(sign not in LETTERS for sign in letter):
        raise BadText(
            f"{letter!r} is not a revision letter.",
            "Use A to Y without I, O, Q, S, X and Z, then AA, AB and so on.",
        )
    place = 0
    for sign in letter:
        place = place * len(LETTERS) + LETTERS.index(sign) + 1
    return place


def letter_at(place: int) -> str:
    """The revision letter at `place` in the series, 1 = A; the inverse of `ordinal`."""
    signs = ""
    while place > 0:
        place, index = divmod(place - 1, len(LETTERS))
        signs = LETTERS[index] + signs
    return signs


def successor(letter: str | None) -> str:
    """The letter that follows `letter`; A if there is none yet."""
    return "A" if letter is None else letter_at(ordinal(letter) + 1)


def accepts(history: Sequence[Revision], called_for: str, offered: str) -> bool:
    """Whether a piece of revision `offered` works where `called_for` is called for.

    Parameters
    ----------
    history
        Every revision of one part, in any order.
    called_for, offered
        Letters of that part.

    Notes
    -----
    Interchangeability is said of each revision against the one before it and followed along the chain: a newer
    piece needs every step up to be BOTH_WAYS or ONE_WAY, an older piece needs every step down to be BOTH_WAYS.
    A letter that the history does not hold is taken by nothing but itself: nobody has said what it works in place of.
    """
    low, high = sorted((ordinal(called_for), ordinal(offered)))
    if called_for != offered and not {called_for, offered} <= {revision.letter for revision in history}:
        return False
    steps = [revision.interchange for revision in history if low < ordinal(revision.letter) <= high]
    if ordinal(offered) >= ordinal(called_for):
        return all(step is not Interchange.NONE for step in steps)
    return all(step is Interchange.BOTH_WAYS for step in steps)
