"""What a name or a note may hold: any script and any sign, but nothing that drives a terminal."""

import unicodedata
from collections.abc import Callable

from register.errors import BadText

NAME_LENGTH = 200
NUMBER_LENGTH = 64
NOTE_LENGTH = 2000

# Directional overrides and other format characters can make a name read as another one;
# joiners belong to emoji and to several scripts and stay.
_JOINERS = {"\u200c", "\u200d"}


def _hidden(character: str) -> bool:
    category = unicodedata.category(character)
    return category in {"Cc", "Cs", "Zl", "Zp"} or (category == "Cf" and character not in _JOINERS)


def clean_text(text: str, what: str, longest: int = NAME_LENGTH) -> str:
    """`text` without surrounding blanks, or a refusal.

    Parameters
    ----------
    text
        As a person gave it.
    what
        What it is, for the message: "part name".
    longest
        In characters.

    Raises
    ------
    BadText
        Empty, too long, or holding control or direction characters.
    """
    kept = unicodedata.normalize("NFC", text.strip())
    if not kept:
        raise BadText(f"The {what} is empty.", "Give at least one character.")
    if len(kept) > longest:
        raise BadText(f"The {what} has {len(kept)} characters.", f"Use at most {longest}.")
    # A printable text holds nothing hidden, which spares a look at each of its characters.
    if not kept.isprintable() and any(_hidden(character) for character in kept):
        raise BadText(
            f"The {what} holds a control character.", "Type it again without tabs, line ends or hidden signs."
        )
    return kept


def shown(text: str) -> str:
    """`text` with every hidden character written out, for text that comes from a file or a path."""
    return without_hidden(text, lambda character: f"\\x{ord(character):02x}")


def without_hidden(text: str, instead: Callable[[str], str]) -> str:
    """`text` with what `instead` gives for each hidden character of it."""
    if text.isprintable():
        return text
    return "".join(instead(character) if _hidden(character) else character for character in text)


def visible_alone(text: str) -> str:
    """`text` without its hidden characters, line ends aside: for the last gate before a screen, as wide as it was."""
    return without_hidden(text, lambda character: character if character == "\n" else "")
