"""Bringing an old register up to date."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Upgrade:
    """What an upgrade does, or has done.

    `changes` is one line of words for each schema step, none if the register is up to date already; `backup` names the
    copy that was made before, None as long as nothing was done.
    """

    register: str
    from_schema: int
    to_schema: int
    changes: tuple[str, ...]
    backup: str | None = None
