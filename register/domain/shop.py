"""The shop: where it is, when somebody is there, and all that its shop.toml says."""

from dataclasses import dataclass, field
from datetime import date, time

from register.domain.machines import Machine, PrintSettings, Tool
from register.domain.materials import Material
from register.domain.people import Person


@dataclass(frozen=True)
class OpenHours:
    """Attended hours on one weekday (0 = Monday), wall-clock time in the shop's zone; `closes` is after `opens`."""

    weekday: int
    opens: time
    closes: time


@dataclass(frozen=True)
class HoursException:
    """One day that differs from its weekday. Closed all day if `opens` and `closes` are None."""

    day: date
    opens: time | None = None
    closes: time | None = None


@dataclass(frozen=True)
class Shop:
    """The shop itself.

    `zone` is a tz database name; `chance_target` is the chance of enough that spares are advised for.
    """

    name: str
    zone: str = "UTC"
    currency: str = "EUR"
    hours: tuple[OpenHours, ...] = ()
    exceptions: tuple[HoursException, ...] = ()
    chance_target: float = 0.9
    print_settings: PrintSettings = field(default_factory=PrintSettings)


@dataclass(frozen=True)
class ShopSettings:
    """All that a shop.toml holds, checked."""

    shop: Shop
    machines: tuple[Machine, ...] = ()
    materials: tuple[Material, ...] = ()
    tools: tuple[Tool, ...] = ()
    people: tuple[Person, ...] = ()
