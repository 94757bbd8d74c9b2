"""The people of the shop."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Person:
    """Someone of the shop. `signed_off` names the machines that this person may run alone.

    Only a responsible adult can give leave for unattended runs.
    """

    name: str
    responsible_adult: bool = False
    signed_off: tuple[str, ...] = ()
