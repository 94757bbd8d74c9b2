"""The built-in machines and materials against published figures."""

import math

import pytest

from register.domain.materials import Form
from register.settings.shop_file import built_in

# g/cm³. Source: see each line; a maker's name stands here only as the source of a figure.
DENSITIES = {
    "PLA": (1.24, 1.24),  # NatureWorks Ingeo 4043D technical data sheet, ASTM D792
    "PETG": (1.25, 1.29),  # supplier data sheets
    "ABS": (1.04, 1.04),  # from memory
    "PC": (1.2, 1.2),  # SABIC Lexan 9034 data sheet, ASTM D792
    "polycarbonate": (1.2, 1.2),  # the same
    "acetal": (1.39, 1.425),  # supplier sheet, ISO 1183, for the copolymer; CAMEO chemicals
    "6061": (2.7, 2.7),  # amesweb.info material tables
    "5052": (2.68, 2.68),  # the same
    "birch plywood": (0.65, 0.71),  # supplier data sheet, by thickness
    "PA12": (0.96, 1.05),  # from memory: solid; the laser-sintered 0.88–0.96 is its lower bound
    "TPU": (1.1, 1.25),  # from memory
    "PA12 powder": (0.88, 0.96),  # supplier data sheets, laser-sintered parts
}


def test_built_in_densities_are_the_published_ones() -> None:
    built = {each.name: each.density_g_cm3 for each in built_in().materials}
    assert built.keys() == DENSITIES.keys()
    for name, (low, high) in DENSITIES.items():
        assert low <= built[name] <= high, name


# Chip loads in inches at 1/8 in and 1/4 in. Source: cutter-shop.com, chip load chart (aluminium, soft plastic, hard
# wood); 1/8 in plywood also asttooling.com.
CHIP_LOADS_IN = {
    "6061": ((0.003, 0.004), (0.005, 0.007)),
    "5052": ((0.003, 0.004), (0.005, 0.007)),
    "polycarbonate": ((0.003, 0.006), (0.007, 0.010)),
    "acetal": ((0.003, 0.006), (0.007, 0.010)),
    "birch plywood": ((0.003, 0.005), (0.009, 0.011)),
}
# Surface speeds in ft/min for high-speed steel, doubled for carbide. Source: Grizzly G0619 manual, p. 24.
SURFACE_SPEEDS_FT_MIN = {
    "6061": (300, 300),
    "5052": (300, 300),
    "polycarbonate": (300, 800),
    "acetal": (300, 800),
    "birch plywood": (300, 500),
}


def test_built_in_cutting_figures_lie_in_the_published_ranges() -> None:
    sheets = {each.name: each.cutting for each in built_in().materials if each.form is Form.SHEET}
    assert sheets.keys() == CHIP_LOADS_IN.keys()
    for name, cutting in sheets.items():
        assert cutting is not None
        chips = dict(cutting.chip_loads_mm)
        for diameter_mm, (low, high) in zip((3.175, 6.35), CHIP_LOADS_IN[name], strict=True):
            assert low - 1e-9 <= chips[diameter_mm] / 25.4 <= high + 1e-9, name
        # At 2 mm no chart has a figure: in proportion to the diameter. Common practice, no source.
        assert chips[2.0] == pytest.approx(chips[3.175] * 2 / 3.175, rel=0.01)
        slow, fast = SURFACE_SPEEDS_FT_MIN[name]
        assert 2 * slow <= cutting.surface_speed_m_min / 0.3048 + 1e-9 <= 2 * fast + 1e-6, name


def test_the_built_in_router_can_turn_every_tool_at_the_speed_of_aluminium() -> None:
    # N = 12 V/(π D), V in ft/min and D in inches. Source: SME, chapters.sme.org/s118.
    settings_in_force = built_in()
    (router,) = (each.router for each in settings_in_force.machines if each.router is not None)
    for diameter_in in (1 / 8, 1 / 4):
        wanted_rpm = 12 * 600 / (math.pi * diameter_in)
        assert router.spindle_low_rpm <= wanted_rpm <= router.spindle_high_rpm


def test_the_built_in_machines_take_every_built_in_material_and_tool_but_powder() -> None:
    built = built_in()
    printer, router = built.machines
    assert (printer.size_mm, router.size_mm) == ((220.0, 220.0, 250.0), (600.0, 400.0, 60.0))
    # Few shops have a powder printer, so none is built in.
    assert {*printer.materials, *router.materials} == {each.name for each in built.materials} - {"PA12 powder"}
    assert set(router.tools) == {each.name for each in built.tools}
    assert {each.diameter_mm for each in built.tools} == {2.0, 3.175, 6.35}
    assert all(each.permission is None for each in built.machines)
