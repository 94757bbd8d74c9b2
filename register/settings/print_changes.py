"""Single print settings changed on top of a shop's, as a command gives them."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

from register.domain.shop import ShopSettings
from register.errors import BadSettings
from register.settings.machine_tables import check_print, print_values

_WHERE = "--settings"


def changed_prints(settings: ShopSettings, changes: Sequence[str]) -> ShopSettings:
    """`settings` with print settings changed for every machine and material.

    Parameters
    ----------
    changes
        Each as `infill_share=0.4`; the name carries the unit.

    Raises
    ------
    BadSettings
        If a change is not of that form, names no setting, or is out of its range.
    """
    given = print_values(_WHERE, dict(_pair(change) for change in changes))
    changed = settings.shop.print_settings.overridden(given)
    check_print(_WHERE, changed)
    return replace(
        settings,
        shop=replace(settings.shop, print_settings=changed),
        machines=tuple(replace(each, print_overrides=_less(each.print_overrides, given)) for each in settings.machines),
        materials=tuple(
            replace(each, print_overrides=_less(each.print_overrides, given)) for each in settings.materials
        ),
    )


def _less(overrides: Mapping[str, float], given: Mapping[str, float]) -> dict[str, float]:
    """Without what the command says: it wins over machine and material."""
    return {name: figure for name, figure in overrides.items() if name not in given}


def _pair(change: str) -> tuple[str, float | int]:
    name, _, figure = change.partition("=")
    plain = figure.strip()
    try:
        return name.strip(), int(plain) if plain.isascii() and plain.isdigit() and len(plain) < 10 else float(plain)
    except ValueError:
        raise BadSettings(f"{change!r} changes no print setting.", "Write it like infill_share=0.4.") from None
