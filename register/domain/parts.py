"""Parts: what the shop has a number for."""

from dataclasses import dataclass
from enum import StrEnum

from register.domain.texts import NUMBER_LENGTH, clean_text
from register.errors import BadText


class Process(StrEnum):
    """How a revision comes to be."""

    PRINTED = "printed"
    ROUTED = "routed"
    BOUGHT = "bought"


@dataclass(frozen=True)
class Part:
    """A part number; what it is made of stands on its revisions.

    `wear` marks a part that is fitted to be replaced; `version` counts the row's changes.
    """

    number: str
    name: str
    wear: bool = False
    version: int = 1


def checked_number(text: str) -> str:
    """A part number as it is kept: no blanks inside, at most 64 characters.

    Raises
    ------
    BadText
        If it is empty, too long or holds a blank or a control character.
    """
    number = clean_text(text, "part number", NUMBER_LENGTH)
    if len(number.split()) > 1:
        raise BadText(f"The part number {number!r} has a blank in it.", "Join it with a dash.")
    if number.startswith("-"):
        raise BadText(f"The part number {number!r} begins with a dash.", "Begin it with a letter or a figure.")
    return number
