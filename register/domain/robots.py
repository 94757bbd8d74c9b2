"""Robots: what each is meant to carry and what is on it now."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Position:
    """A place on a robot for `quantity` like pieces.

    `required` is the letter that it is meant to carry; `fitted` the letters on it now, one a piece, None where the
    piece is unmarked or missing.
    """

    robot: str
    assembly: str | None
    name: str
    part: str
    quantity: int
    required: str
    fitted: tuple[str | None, ...] = ()


@dataclass(frozen=True)
class Assembly:
    """A group of positions; a module is an assembly that the pit swaps whole."""

    robot: str
    name: str
    parent: str | None = None
    module: bool = False


@dataclass(frozen=True)
class Robot:
    """A robot with its structure, as the register holds it. A robot that is not `active` needs no spares."""

    name: str
    note: str = ""
    active: bool = True
    assemblies: tuple[Assembly, ...] = ()
    positions: tuple[Position, ...] = ()


@dataclass(frozen=True)
class Use:
    """Where a part is used: a position, and the assemblies around it from the outermost to the one that holds it."""

    position: Position
    within: tuple[str, ...] = ()
