"""The shop and its machines."""

from rich.console import Group, RenderableType
from rich.text import Text

from register.domain.machines import Machine
from register.domain.shop import ShopSettings
from register.reports.wording import line, local, table

_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


def shop_sheet(settings: ShopSettings) -> RenderableType:
    """The shop: hours, machines, materials, people."""
    shop = settings.shop
    hours = ", ".join(f"{_DAYS[each.weekday]} {each.opens:%H:%M}–{each.closes:%H:%M}" for each in shop.hours)
    return Group(
        Text(f"{shop.name}  {shop.zone}", style="bold"),
        line(f"Attended hours: {hours or 'none yet: nothing can be planned'}"),
        machine_list(settings.machines, shop.zone),
        line("Materials: " + (", ".join(each.name for each in settings.materials) or "none")),
        line("Tools: " + (", ".join(each.name for each in settings.tools) or "none")),
        line("People: " + (", ".join(each.name for each in settings.people) or "none")),
    )


def machine_list(machines: tuple[Machine, ...], zone: str) -> RenderableType:
    """Machines and whether each may run with nobody there."""
    if not machines:
        return line("No machine is there yet. Name them in shop.toml and read it with `pitwright shop read`.")
    rows = [
        (
            each.name,
            each.process.value,
            " × ".join(f"{side:g}" for side in each.size_mm) + " mm",
            "out of order" if each.out_of_order else "in order",
            _leave(each, zone),
        )
        for each in machines
    ]
    return table(("machine", "makes parts", "travel", "state", "unattended"), rows)


def _leave(machine: Machine, zone: str) -> str:
    given = machine.permission
    if given is None:
        return "no"
    return (
        f"up to {given.longest_h:g} h, by leave of {given.given_by} ({local(given.given_at, zone)}): {given.conditions}"
    )
