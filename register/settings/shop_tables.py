"""The shop itself, its hours and its people in a shop.toml."""

import re
from collections.abc import Sequence
from datetime import date, datetime, time
from itertools import pairwise

from register.domain.machines import Machine, PrintSettings
from register.domain.people import Person
from register.domain.shop import HoursException, OpenHours, Shop
from register.errors import BadQuantity, BadSettings
from register.settings.fields import Span, Table
from register.settings.machine_tables import named, print_values
from register.units.moments import zone_named

WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
_MOST_TABLES = 1000
_SPAN = re.compile(r"([01][0-9]|2[0-3]):([0-5][0-9])\s*[-–]\s*(?:([01][0-9]|2[0-3]):([0-5][0-9])|24:00)", re.ASCII)


def tables_of(top: Table, key: str) -> Sequence[object]:
    """The tables of a list of the file; none where it is missing.

    Raises
    ------
    BadSettings
        If it is no list, or a very long one.
    """
    tables = top.raw(key) if key in top else []
    if not isinstance(tables, list):
        raise BadSettings(f"{top.where} has one {key} where a list is meant.", f"Write [[{key}]] in double brackets.")
    if len(tables) > _MOST_TABLES:
        raise BadSettings(f"{top.where} has {len(tables)} times [[{key}]].", f"Write at most {_MOST_TABLES}.")
    return tables


def read_shop_itself(top: Table) -> Shop:
    """`[shop]` with `[hours]`, every `[[exception]]` and `[print_settings]`."""
    if "shop" not in top:
        raise BadSettings(f"{top.where} has no [shop].", 'Add a line [shop] and below it name = "…".')
    table = Table("[shop]", top.raw("shop"), ("name", "zone", "currency", "chance_target"))
    zone = table.text("zone", "UTC")
    try:
        zone_named(zone)
    except BadQuantity as bad:
        raise table.refusal("zone", f"is {zone!r}, which the tz database does not know", bad.cure) from None
    currency = table.text("currency", "EUR")
    if not re.fullmatch(r"[A-Z]{3}", currency):
        raise table.refusal("currency", f"is {currency!r}", 'Write the three capitals of ISO 4217, such as "EUR".')
    values = print_values("[print_settings]", top.raw("print_settings")) if "print_settings" in top else {}
    return Shop(
        table.text("name"),
        zone,
        currency,
        _hours(top),
        _exceptions(top),
        table.number("chance_target", Span(0, 0.9999, open_low=True), 0.9),
        PrintSettings().overridden(values),
    )


def _hours(top: Table) -> tuple[OpenHours, ...]:
    table = Table("[hours]", top.raw("hours") if "hours" in top else {}, WEEKDAYS)
    return tuple(
        OpenHours(weekday, opens, closes)
        for weekday, day in enumerate(WEEKDAYS)
        for opens, closes in _spans(table, day)
    )


def _exceptions(top: Table) -> tuple[HoursException, ...]:
    found: list[HoursException] = []
    seen: set[date] = set()
    for number, content in enumerate(tables_of(top, "exception"), 1):
        table = Table(f"[[exception]] number {number}", content, ("day", "hours", "closed"))
        day = table.need("day")
        if not isinstance(day, date) or isinstance(day, datetime):
            raise table.refusal("day", "is not a day", "Write it without quotes, such as day = 2031-03-08.")
        if day in seen:
            raise table.refusal("day", f"is {day}, which an earlier one has", "Write all hours of a day in one list.")
        seen.add(day)
        spans = _spans(table, "hours")
        if table.flag("closed") == bool(spans):
            raise BadSettings(
                f"The [[exception]] of {day} must have either hours or closed = true.",
                'Write hours = ["10:00-18:00"], or closed = true.',
            )
        found.extend([HoursException(day, opens, closes) for opens, closes in spans] or [HoursException(day)])
    return tuple(found)


def _spans(table: Table, key: str) -> list[tuple[time, time]]:
    """The spans of hours of a key, ascending and apart; 24:00 is time(0), as everywhere in the plan."""
    spans: list[tuple[time, time]] = []
    for text in table.texts(key):
        found = _SPAN.fullmatch(text)
        if found is None:
            raise table.refusal(key, f"holds {text!r}", f'Write {key} = ["16:00-21:00"].')
        closes = time(int(found[3] or 0), int(found[4] or 0))
        spans.append((time(int(found[1]), int(found[2])), closes))
        if found[3] and closes <= spans[-1][0]:
            raise table.refusal(key, f"closes before it opens in {text!r}", "Write two days for hours past midnight.")
    for (_, sooner), (later, _) in pairwise(spans):
        if sooner == time(0) or later < sooner:
            raise table.refusal(key, "has hours that overlap or go back", "Write them in order and apart.")
    return spans


def read_person(where: str, content: object, machines: Sequence[Machine]) -> Person:
    """One `[[person]]`, signed off on machines among those given."""
    table = Table(where, content, ("name", "responsible_adult", "signed_off"))
    return Person(
        table.text("name"),
        table.flag("responsible_adult"),
        named(table, "signed_off", [each.name for each in machines], "machine"),
    )
