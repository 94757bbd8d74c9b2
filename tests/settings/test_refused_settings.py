"""What a shop.toml may not say: always BadSettings, by name and with what to write instead."""

import time as clock

import pytest

from register.errors import BadSettings
from register.settings.shop_file import LARGEST_FILE_BYTES, read_shop

SHOP = '[shop]\nname = "x"\n'
SHEET = SHOP + '[[material]]\nname = "6061"\nform = "sheet"\nsource = "s"\n'
CUT_SHEET = SHEET + "density_g_cm3 = 2.7\n[material.cutting]\nsurface_speed_m_min = 180\n"
PRINTER = SHOP + '[[machine]]\nname = "p"\nprocess = "printed"\nsize_mm = [1, 1, 1]\n'
ROUTER = SHOP + '[[machine]]\nname = "r"\nprocess = "routed"\nsize_mm = [1, 1, 1]\n'
POWDER = SHOP + '[[material]]\nname = "nylon"\nform = "powder"\nsource = "s"\ndensity_g_cm3 = 0.9\n'
FILAMENT = SHOP + '[[material]]\nname = "PLA"\nform = "filament"\nsource = "s"\ndensity_g_cm3 = 1.24\n'
PRINT = SHOP + "[print_settings]\n"


def refusal(text: str) -> BadSettings:
    with pytest.raises(BadSettings) as refused:
        read_shop(text.encode(), "shop.toml")
    return refused.value


@pytest.mark.parametrize(
    ("text", "table", "cure"),
    [
        (PRINT + "line_width_in = 0.018", "[print_settings]", "Write line_width_mm in mm."),
        (PRINT + "line_width = 0.45", "[print_settings]", "Write line_width_mm in mm."),
        (PRINT + "heating_min = 4", "[print_settings]", "Write heating_s in seconds."),
        (PRINT + "first_layer_speed_mm_min = 4", "[print_settings]", "Write first_layer_speed_mm_s in mm/s."),
        (PRINT + "infill_percent = 20", "[print_settings]", "Write infill_share as a share from 0 to 1."),
        (SHEET + "density_kg_m3 = 2700", "[[material]] '6061'", "Write density_g_cm3 in g/cm³."),
        (PRINTER + "set_up_min = 10", "[[machine]] 'p'", "Write set_up_s in seconds."),
        (PRINTER + "cost_per_h_eur = 1", "[[machine]] 'p'", "Write cost_per_h_cents in hundredths of the currency"),
        (ROUTER + "[machine.router]\nspindle_high_hz = 300", "[machine.router] of 'r'", "Write spindle_high_rpm"),
        (CUT_SHEET + "chip_loads_in = []", "[material.cutting] of '6061'", "Write chip_loads_mm in mm."),
        (CUT_SHEET + "depth_per_pass_mm = 1", "[material.cutting] of '6061'", "Write depth_per_pass_d in multiples"),
    ],
)
def test_a_key_in_another_unit_is_told_the_right_key_and_unit(text: str, table: str, cure: str) -> None:
    refused = refusal(text)
    assert table in refused.what
    assert refused.cure.startswith(cure)


@pytest.mark.parametrize(
    ("text", "near"),
    [
        (PRINT + "infil_share = 0.2", "infill_share"),
        (SHOP + "currrency = 'EUR'", "currency"),
        (SHOP + "[hours]\nmondays = []", "monday"),
        (SHOP + "[[materials]]\nname = 'x'", "material"),
        (SHOP + "[[person]]\nname = 'x'\nresponsible = true", "responsible_adult"),
    ],
)
def test_an_unknown_key_is_told_the_nearest_one(text: str, near: str) -> None:
    assert refusal(text).cure == f"The nearest one is {near}."


@pytest.mark.parametrize(
    "line", ["unattended = true", "permission = 'yes'", "longest_h = 9", "unattended_hours = 3", "permissions = []"]
)
def test_leave_to_run_unattended_is_never_taken_from_the_file(line: str) -> None:
    for text in (PRINTER + line, line + "\n" + SHOP):
        assert "a responsible adult records the leave" in refusal(text).cure


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (PRINT + 'line_width_mm = "0.45 mm"', "line_width_mm is the text '0.45 mm', not a number"),
        (PRINT + "line_width_mm = true", "line_width_mm is true"),
        (PRINT + "line_width_mm = nan", "line_width_mm is nan"),
        (PRINT + "line_width_mm = -inf", "line_width_mm is -inf"),
        (PRINT + "line_width_mm = 0", "line_width_mm is 0"),
        (PRINT + "line_width_mm = 0x" + "f" * 5000, "line_width_mm is far too large"),
        (PRINT + "contours = 2.0", "contours is a number with decimals"),
        (PRINT + "contours = true", "contours is true"),
        (PRINT + "infill_share = 20", "infill_share is 20"),
        (PRINT + "support_angle_deg = 91", "support_angle_deg is 91"),
        (PRINT + "layer_height_mm = 0.5", "layer_height_mm is 0.5, more than line_width_mm = 0.45"),
        (PRINTER + "[machine.print_settings]\nline_width_mm = 0.1", "[machine.print_settings] of 'p'"),
        (SHOP + "zone = 'Mars/Base'", "zone is 'Mars/Base'"),
        (SHOP + "currency = 'eur'", "currency is 'eur'"),
        (SHOP + "chance_target = 1", "chance_target is 1"),
        (SHOP + "name2 = 1", "'name2'"),
        ("[shop]\nname = ''", "name is empty"),
        ("[shop]\nname = 3", "name holds a whole number"),
        ('[shop]\nname = "a\\u0007b"', "control character"),
        ("[shop]\n", "[shop] has no name"),
        ("", "no [shop]"),
        ("shop = 3", "[shop] is a whole number"),
        ("[[shop]]\nname = 'x'", "[shop] is a list"),
        (SHOP + "[hours]\nmonday = '16:00-21:00'", "monday is the text"),
        (SHOP + "[hours]\nmonday = ['16-21']", "monday holds '16-21'"),
        (SHOP + "[hours]\nmonday = ['21:00-16:00']", "closes before it opens"),
        (SHOP + "[hours]\nmonday = ['16:00-25:00']", "monday holds"),
        (SHOP + "[hours]\nmonday = ['10:00-12:00', '11:00-13:00']", "overlap"),
        (SHOP + "[hours]\nmonday = ['10:00-24:00', '11:00-13:00']", "overlap"),
        (SHOP + "[[exception]]\nday = 2031-03-08", "either hours or closed"),
        (SHOP + "[[exception]]\nday = 2031-03-08\nclosed = true\nhours = ['10:00-12:00']", "either hours or closed"),
        (SHOP + "[[exception]]\nday = '2031-03-08'\nclosed = true", "day is not a day"),
        (SHOP + "[[exception]]\nday = 2031-03-08T10:00:00\nclosed = true", "day is not a day"),
        (SHOP + "\n[[exception]]\nday = 2031-03-08\nclosed = true" * 2, "which an earlier one has"),
        (SHOP + "[[exception]]\nday = 2031-02-30\nclosed = true", "no TOML"),
        (SHOP + "[[tool]]\nname = 't'\ndiameter_mm = 3\nflutes = 0", "flutes is 0"),
        (SHOP + "\n[[tool]]\nname = 't'\ndiameter_mm = 3\nflutes = 2" * 2, "two [[tool]] called 't'"),
        (SHOP + "\n[[person]]\nname = 'Ada'\n[[person]]\nname = 'ADA'", "two [[person]] called 'ADA'"),
        (SHOP + "[machine]\nname = 'x'", "one machine where a list is meant"),
        (PRINTER + "materials = ['PLA']", "materials names 'PLA'"),
        (PRINTER + "tools = []", "no key 'tools'"),
        (PRINTER + "[machine.router]\nspin_up_s = 3", "no key 'router'"),
        (ROUTER + "[machine.print_settings]\ncontours = 3", "no key 'print_settings'"),
        (ROUTER + "[machine.powder]\nrecoat_s = 8", "no key 'powder'"),
        (PRINTER + "[machine.powder]\nrecoat_s = 8\n[machine.print_settings]\ncontours = 3", "stands beside powder"),
        (PRINTER + "[machine.powder]\npacking_share = 0", "packing_share is 0"),
        (PRINTER + "[machine.powder]\nrecycled_share = 1.1", "recycled_share is 1.1"),
        (PRINTER + "[machine.powder]\ncontours = 3", "no key 'contours'"),
        (POWDER + PRINTER.removeprefix(SHOP) + 'materials = ["nylon"]', "no filament material of that name"),
        (
            FILAMENT + PRINTER.removeprefix(SHOP) + 'materials = ["PLA"]\n[machine.powder]\nrecoat_s = 8',
            "no powder material of that name",
        ),
        (POWDER + "filament_diameter_mm = 1.75", "no key 'filament_diameter_mm'"),
        (POWDER + "[material.print_settings]\ncontours = 3", "no key 'print_settings'"),
        (POWDER + "cost_per_m2_mm_cents = 3", "no key 'cost_per_m2_mm_cents'"),
        (ROUTER + "tools = ['none']", "tools names 'none'"),
        (ROUTER + "[machine.router]\nspindle_low_rpm = 30000", "spindle_low_rpm is above spindle_high_rpm"),
        (SHOP + "[[machine]]\nname = 'b'\nprocess = 'bought'", "does not say which process"),
        (SHOP + "[[machine]]\nname = 'b'\nprocess = ['printed']", "does not say which process"),
        (PRINTER.replace("[1, 1, 1]", "[1, 1]"), "size_mm has 2 entries"),
        (PRINTER.replace("[1, 1, 1]", "[1, 1, 0]"), "size_mm is 0"),
        (PRINTER.replace("[1, 1, 1]", "220"), "size_mm is a whole number"),
        (SHEET, "no density_g_cm3"),
        (SHEET + "density_g_cm3 = 2700", "density_g_cm3 is 2700"),
        (SHEET + "density_g_cm3 = 2.7\nfilament_diameter_mm = 1.75", "no key 'filament_diameter_mm'"),
        (SHEET.replace("6061", "6061 3 mm") + "density_g_cm3 = 2.7", "ends in a thickness"),
        (SHEET.replace("6061", "3 mm") + "density_g_cm3 = 2.7", "reads as a thickness"),
        (CUT_SHEET + "depth_per_pass_d = 1", "no chip_loads_mm"),
        (CUT_SHEET + "depth_per_pass_d = 1\nchip_loads_mm = []", "does not ascend"),
        (CUT_SHEET + "depth_per_pass_d = 1\nchip_loads_mm = [[3, 0.1], [2, 0.1]]", "does not ascend"),
        (CUT_SHEET + "depth_per_pass_d = 1\nchip_loads_mm = [[3, 0.1], [3, 0.1]]", "does not ascend"),
        (CUT_SHEET + "depth_per_pass_d = 1\nchip_loads_mm = [3, 0.1]", "not made of pairs"),
        (CUT_SHEET + "depth_per_pass_d = 1\nchip_loads_mm = [[0.1, 3]]", "a chip as thick as the tool"),
        (SHOP + "[[person]]\nname = 'x'\nsigned_off = ['lathe']", "signed_off names 'lathe'"),
        (SHOP + "[[person]]\nname = 'x'\nresponsible_adult = 'yes'", "responsible_adult is the text 'yes'"),
        (SHOP + "[[person]]\nresponsible_adult = true", "[[person]] number 1 has no name"),
        (SHOP + "x = [", "no TOML"),
        (SHOP + "x = " + "9" * 5000, "endless number"),
        (SHOP + "x = " + "[" * 100_000, "nests too deep"),
        (SHOP + "x = " + "{a=" * 100_000, "nests too deep"),
    ],
)
def test_a_value_that_cannot_be_meant_is_refused_by_name_with_a_cure(text: str, said: str) -> None:
    refused = refusal(text)
    assert said in refused.what
    assert refused.cure.endswith(".")
    assert len(str(refused)) < 600


def test_a_layer_that_only_machine_and_material_together_make_too_high_is_refused() -> None:
    material = (
        '[[material]]\nname = "PLA"\nform = "filament"\ndensity_g_cm3 = 1.24\nsource = "s"\n'
        "[material.print_settings]\nlayer_height_mm = 0.4\n"
    )
    narrow = 'materials = ["PLA"]\n[machine.print_settings]\nline_width_mm = 0.35\n'
    assert "'p' with 'PLA'" in refusal(PRINTER + narrow + material).what


@pytest.mark.parametrize(
    "data", [b"\xff\xfe[\x00", b"[shop]\nname = '\xe4'", bytes(range(256)), b"#" * (LARGEST_FILE_BYTES + 1)]
)
def test_bytes_that_are_no_shop_file_are_refused(data: bytes) -> None:
    with pytest.raises(BadSettings):
        read_shop(data, "shop.toml")


@pytest.mark.parametrize("chain", [".".join("a" * 400_000), "[" + ".".join(["'a'"] * 200_000) + "]", "a . " * 200_000])
def test_a_key_of_endless_words_is_refused_before_it_fills_the_memory(chain: str) -> None:
    began = clock.monotonic()
    assert "joins more than eight words" in refusal(f"{SHOP}{chain} = 1").what
    assert clock.monotonic() - began < 5.0
