"""The shop and its machines."""

from rich.console import Group, RenderableType

from register.domain.machines import Machine
from register.domain.people import Person
from register.domain.shop import Shop, ShopSettings
from register.reports.wording import line, local, table

_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


def shop_sheet(settings: ShopSettings) -> RenderableType:
    """The shop: hours, machines, materials, people."""
    shop = settings.shop
    return Group(
        line(f"{shop.name}  {shop.zone}", "bold"),
        line(f"Attended hours: {_hours(shop) or 'none yet: nothing can be planned'}"),
        *((line(f"Other hours: {_exceptions(shop)}"),) if shop.exceptions else ()),
        machine_list(settings.machines, shop.zone),
        line("Materials: " + (", ".join(each.name for each in settings.materials) or "none")),
        line("Tools: " + (", ".join(each.name for each in settings.tools) or "none")),
        line("People: " + (", ".join(map(_person, settings.people)) or "none")),
    )


def _hours(shop: Shop) -> str:
    """`Mon–Fri 16:00–20:30, Sat 10:00–17:00`: days that follow each other with the same hours are joined."""
    spans: list[tuple[str, list[int]]] = []
    for weekday in range(7):
        words = " and ".join(
            f"{each.opens:%H:%M}–{each.closes:%H:%M}" for each in shop.hours if each.weekday == weekday
        )
        if words and spans and spans[-1][0] == words and spans[-1][1][-1] == weekday - 1:
            spans[-1][1].append(weekday)
        elif words:
            spans.append((words, [weekday]))
    return ", ".join(
        f"{_DAYS[days[0]]}{f'–{_DAYS[days[-1]]}' if len(days) > 1 else ''} {words}" for words, days in spans
    )


def _exceptions(shop: Shop) -> str:
    return ", ".join(
        f"{each.day:%a %Y-%m-%d} "
        + (f"{each.opens:%H:%M}–{each.closes:%H:%M}" if each.opens and each.closes else "closed")
        for each in shop.exceptions
    )


def _person(person: Person) -> str:
    return f"{person.name} (responsible adult)" if person.responsible_adult else person.name


def machine_list(machines: tuple[Machine, ...], zone: str) -> RenderableType:
    """Machines and whether each may run with nobody there."""
    if not machines:
        return line("No machine is there yet. Name them in shop.toml and read it with `pitwright shop read`.")
    rows = [
        (
            each.name,
            each.process.value + (", in powder" if each.powder is not None else ""),
            " × ".join(f"{side:g}" for side in each.size_mm) + " mm",
            "out of order" if each.out_of_order else "in order",
            _leave(each, zone),
        )
        for each in machines
    ]
    return table(("machine", "parts", "largest part", "state", "with nobody there"), rows)


def _leave(machine: Machine, zone: str) -> str:
    given = machine.permission
    if given is None:
        return "no"
    return (
        f"up to {given.longest_h:g} h, by leave of {given.given_by} ({local(given.given_at, zone)}): {given.conditions}"
    )
