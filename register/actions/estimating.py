"""Estimating a file, with a register's shop or without one."""

from collections.abc import Callable

from register.domain.estimates import Estimate, EstimateRequest, ProgramEstimate
from register.domain.shop import ShopSettings
from register.estimate import whole
from register.settings.print_changes import changed_prints
from register.settings.shop_file import built_in, read_shop


def estimate_file(
    content: bytes | None,
    name: str,
    request: EstimateRequest,
    settings: ShopSettings,
    tell: Callable[[float], None] | None = None,
) -> Estimate:
    """Estimate one piece from a file's bytes; nothing is kept.

    Parameters
    ----------
    tell
        Called with the share of a print's exact form that is done, 0 to 1.

    Raises
    ------
    Refused
        If the file, the material or the size is not fit for it.
    """
    return whole.estimate(content, name, request, settings, tell)


def estimate_program(content: bytes, name: str, machine: str | None, settings: ShopSettings) -> ProgramEstimate:
    """Estimate one run of a machine program, on the machine named or the shop's first that can; nothing is kept.

    Raises
    ------
    BadFile
        If it is no program whose moves can be known from it alone.
    NotFound
        If the shop has no machine of that name.
    NotAllowed
        If none of its machines could run it.
    """
    # With it comes numpy, which a list of spares does without.
    from register.estimate import gcode

    chosen = gcode.machine_for(content, settings, machine)
    return gcode.estimate_program(content, name, chosen, settings.shop.print_settings)


def settings_of(shop_file: bytes | None, name: str) -> ShopSettings:
    """The settings of a shop.toml, or the built-in ones if there is none; raises BadSettings."""
    return built_in() if shop_file is None else read_shop(shop_file, name)


def with_print_settings(settings: ShopSettings, changes: tuple[str, ...]) -> ShopSettings:
    """The settings with single print settings changed, `infill_share=0.4`, for every machine and material.

    Raises
    ------
    BadSettings
        If a change names no setting or is out of its range.
    """
    return changed_prints(settings, changes)
