"""The text of a machine program (ISO 6983, RS-274) block by block: words with their figures, comments left out."""

import io
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field

from register.domain.texts import shown
from register.errors import BadFile

LARGEST_BYTES = 60_000_000
MOST_BLOCKS = 1_000_000
MOST_LINES = 2_000_000
LONGEST_BLOCK = 1_000
# Program text in which more than so much is not understood is another language.
MOST_ODD_LINES, ODD_SHARE = 5, 0.1
LARGEST_FIGURE = 1e7

_COMMENT = re.compile(r"\([^()]*+\)|;.*+")
_CHECKSUM = re.compile(r"\*\d++$")
_WORD = re.compile(r"([A-Z])([-+]?(?:\d++\.?\d*+|\.\d++))")
_BLOCK = re.compile(r"(?:[A-Z][-+]?(?:\d++\.?\d*+|\.\d++))++")
_PROGRAM_NUMBER = re.compile(r"O\d{1,8}+")
_CODE_WITH_TEXT = re.compile(r"M\d{1,4}+(?:\.\d++)?+")
# What makes the words of a program depend on figures that only the machine knows.
_PARAMETRIC = re.compile(r"[#\[]|^O")

CURE = "Write it out as plain moves and give that program."


@dataclass
class Block:
    """One line: its codes, such as `G1` and `M6`, and its other words by their letter."""

    codes: list[str] = field(default_factory=list)
    words: dict[str, float] = field(default_factory=dict)


class Blocks:
    """The blocks of a program.

    Parameters
    ----------
    content
        The whole file.
    name
        For messages.
    """

    def __init__(self, content: bytes, name: str) -> None:
        self._content, self._name = content, shown(name)
        self._odd_lines = 0
        self.count = 0
        self.notes: Counter[str] = Counter()

    def __iter__(self) -> Iterator[Block]:
        """Every block with a word in it.

        Raises
        ------
        BadFile
            If the file is too large, is no such program, or is one whose moves depend on parameters.
        """
        if len(self._content) > LARGEST_BYTES:
            raise self._refusal(f"has more than {LARGEST_BYTES // 1_000_000} MB", "Give a shorter program.")
        if b"\0" in self._content:
            raise self._refusal("is no program text", "Give the program as text: .nc, .ngc, .tap or .gcode.")
        content = self._content if b"\n" in self._content else self._content.replace(b"\r", b"\n")
        if content.count(b"\n") > MOST_LINES:
            raise self._refusal(f"has more than {MOST_LINES} lines", "Estimate it in parts.")
        for number, line in enumerate(io.BytesIO(content), 1):
            block = self._block(line.decode("latin-1"), number)
            if block is not None:
                yield block
        if self._odd_lines > MOST_ODD_LINES + ODD_SHARE * self.count or not self.count:
            raise self._refusal("is no machine program", "Give the program as text: .nc, .ngc, .tap or .gcode.")
        if self._odd_lines:
            self.notes["lines that are no blocks were passed over"] += self._odd_lines

    def _block(self, line: str, number: int) -> Block | None:
        plain = "".join(_COMMENT.sub("", line[: LONGEST_BLOCK * 10]).split()).upper()
        if plain.startswith("/"):
            self.notes["blocks marked as optional are counted"] += 1
            plain = plain.lstrip("/")
        if not plain or plain.startswith("%"):
            return None
        plain = _CHECKSUM.sub("", plain)
        if not self.count and _PROGRAM_NUMBER.fullmatch(plain):
            return None
        if _PARAMETRIC.search(plain):
            raise self._refusal(f"has parameters, conditions or subprograms in line {number}", CURE)
        self.count += 1
        if self.count > MOST_BLOCKS:
            raise self._refusal(f"has more than {MOST_BLOCKS} blocks", "Estimate it in parts.")
        if len(plain) > LONGEST_BLOCK or not _BLOCK.fullmatch(plain):
            return self._odd(plain)
        return self._read(plain, number)

    def _odd(self, plain: str) -> Block | None:
        """A code with a text behind it, such as a message for a display, is known by the code alone."""
        code = _CODE_WITH_TEXT.match(plain)
        if code is not None:
            return Block([code[0]])
        self._odd_lines += 1
        return None

    def _read(self, plain: str, number: int) -> Block:
        block = Block()
        for letter, figures in _WORD.findall(plain):
            value = float(figures) if len(figures) <= 30 else LARGEST_FIGURE * 10
            if abs(value) > LARGEST_FIGURE:
                raise self._refusal(f"has a figure beyond all measure in line {number}", "Check that line.")
            if letter in "GM":
                block.codes.append(f"{letter}{value:g}")
            elif letter in block.words:
                raise self._refusal(f"says {letter} twice in line {number}", "Check that line.")
            else:
                block.words[letter] = value
        return block

    def _refusal(self, what: str, cure: str) -> BadFile:
        return BadFile(f"{self._name} {what}.", cure)
