"""shop.toml: read strictly, refused with what to write instead, written back equal."""

from dataclasses import fields, replace
from datetime import UTC, date, datetime, time

from hypothesis import given, settings
from hypothesis import strategies as st

from register.domain.machines import Machine, PowderSettings, PrintSettings, RouterLimits, Tool, UnattendedPermission
from register.domain.materials import Cutting, Form, Material
from register.domain.parts import Process
from register.domain.people import Person
from register.domain.shop import HoursException, OpenHours, Shop, ShopSettings
from register.errors import BadSettings
from register.settings.machine_tables import POWDER_SPANS, PRINT_SPANS, ROUTER_SPANS
from register.settings.shop_file import built_in, read_shop, written_shop

WHOLE = """
[shop]
name = "Werkstatt „Nord“"
zone = "Europe/Berlin"
currency = "CHF"
chance_target = 0.95

[hours]
monday = ["16:00-21:00"]
saturday = ["09:00-12:00", "13:00 – 24:00"]

[[exception]]
day = 2031-03-08
hours = ["10:00-12:00", "14:00-18:00"]

[[exception]]
day = 2031-03-10
closed = true

[print_settings]
line_width_mm = 0.5
contours = 2

[[tool]]
name = "small"
diameter_mm = 3.175
flutes = 1

[[material]]
name = "PLA"
form = "filament"
density_g_cm3 = 1.24
source = "label"
cost_per_kg_cents = 1999
[material.print_settings]
flow_limit_mm3_s = 9

[[material]]
name = "6061"
form = "sheet"
density_g_cm3 = 2.7
source = "label"
cost_per_m2_mm_cents = 2400
[material.cutting]
surface_speed_m_min = 180
depth_per_pass_d = 0.25
chip_loads_mm = [[2, 0.02], [3.175, 0.03]]

[[machine]]
name = "tall printer"
process = "printed"
size_mm = [200, 210, 220.5]
materials = ["PLA"]
cost_per_h_cents = 40
out_of_order = true
[machine.print_settings]
solid_top_layers = 6

[[material]]
name = "nylon powder"
form = "powder"
density_g_cm3 = 0.93
source = "label"
cost_per_kg_cents = 7000

[[machine]]
name = "powder printer"
process = "printed"
size_mm = [190, 250, 320]
materials = ["nylon powder"]
[machine.powder]
recoat_s = 8
recycled_share = 0.7

[[machine]]
name = "router"
process = "routed"
size_mm = [600, 400, 60]
set_up_s = 900
unload_s = 120
materials = ["6061"]
tools = ["small"]
[machine.router]
spindle_high_rpm = 18000

[[person]]
name = "Adult A"
responsible_adult = true

[[person]]
name = "Student B"
signed_off = ["tall printer"]
"""

WHOLE_READ = ShopSettings(
    Shop(
        "Werkstatt „Nord“",
        "Europe/Berlin",
        "CHF",
        (
            OpenHours(0, time(16), time(21)),
            OpenHours(5, time(9), time(12)),
            OpenHours(5, time(13), time(0)),  # 24:00 is the end of the day, which the plan writes as 00:00.
        ),
        (
            HoursException(date(2031, 3, 8), time(10), time(12)),
            HoursException(date(2031, 3, 8), time(14), time(18)),
            HoursException(date(2031, 3, 10)),
        ),
        0.95,
        replace(PrintSettings(), line_width_mm=0.5, contours=2),
    ),
    (
        Machine(
            "tall printer",
            Process.PRINTED,
            (200.0, 210.0, 220.5),
            cost_per_h_cents=40,
            materials=("PLA",),
            print_overrides={"solid_top_layers": 6},
            out_of_order=True,
        ),
        Machine(
            "powder printer",
            Process.PRINTED,
            (190.0, 250.0, 320.0),
            materials=("nylon powder",),
            powder=replace(PowderSettings(), recoat_s=8.0, recycled_share=0.7),
        ),
        Machine(
            "router",
            Process.ROUTED,
            (600.0, 400.0, 60.0),
            900.0,
            120.0,
            materials=("6061",),
            tools=("small",),
            router=replace(RouterLimits(), spindle_high_rpm=18000.0),
        ),
    ),
    (
        Material("PLA", Form.FILAMENT, 1.24, "label", 1.75, 1999, print_overrides={"flow_limit_mm3_s": 9.0}),
        Material(
            "6061",
            Form.SHEET,
            2.7,
            "label",
            cost_per_m2_mm_cents=2400,
            cutting=Cutting(180.0, ((2.0, 0.02), (3.175, 0.03)), 0.25),
        ),
        Material("nylon powder", Form.POWDER, 0.93, "label", cost_per_kg_cents=7000),
    ),
    (Tool("small", 3.175, 1),),
    (Person("Adult A", True), Person("Student B", False, ("tall printer",))),
)


def test_a_whole_file_reads_into_the_settings_that_it_says() -> None:
    assert read_shop(WHOLE.encode(), "shop.toml") == WHOLE_READ


def test_settings_are_written_so_that_they_read_back_equal() -> None:
    for each in (WHOLE_READ, built_in()):
        assert read_shop(written_shop(each).encode(), "shop.toml") == each


def test_a_file_of_another_editor_with_a_byte_order_mark_and_its_line_ends_is_read() -> None:
    assert read_shop(b"\xef\xbb\xbf" + WHOLE.replace("\n", "\r\n").encode(), "shop.toml") == WHOLE_READ


def test_every_setting_of_a_printer_and_limit_of_a_router_has_a_range_that_holds_its_default() -> None:
    for defaults, spans in (
        (PrintSettings(), PRINT_SPANS),
        (PowderSettings(), POWDER_SPANS),
        (RouterLimits(), ROUTER_SPANS),
    ):
        assert [each.name for each in fields(defaults)] == list(spans)
        assert all(span.holds(getattr(defaults, name)) for name, span in spans.items())


def test_leave_to_run_unattended_is_not_written_into_the_file() -> None:
    leave = UnattendedPermission("Adult A", datetime(2031, 3, 1, tzinfo=UTC), "detector over it", 10.0)
    printer = replace(WHOLE_READ.machines[0], permission=leave)
    kept = replace(WHOLE_READ, machines=(printer, *WHOLE_READ.machines[1:]))
    assert read_shop(written_shop(kept).encode(), "shop.toml") == WHOLE_READ


NAMES = st.text(alphabet=st.characters(exclude_categories=("Cc", "Cf", "Cs", "Zl", "Zp")), min_size=1, max_size=30)


@given(NAMES.filter(str.strip), st.floats(0.0001, 5.0), st.integers(0, 1000), st.floats(1e-6, 0.9999))
def test_any_name_and_number_survives_writing_and_reading(name: str, line: float, contours: int, chance: float) -> None:
    layer = min(0.2, line)
    prints = replace(
        PrintSettings(), line_width_mm=line, layer_height_mm=layer, first_layer_height_mm=layer, contours=contours
    )
    people = (Person(" ".join(name.split()) or "x"),)
    first = ShopSettings(Shop("x", chance_target=chance, print_settings=prints), people=people)
    read = read_shop(written_shop(first).encode(), "shop.toml")
    # A name is kept composed (NFC), so the first reading may compose it; from then on nothing changes.
    assert replace(read, people=()) == replace(first, people=())
    assert read_shop(written_shop(read).encode(), "shop.toml") == read


@settings(max_examples=200)
@given(st.integers(0, len(WHOLE.encode())), st.binary(max_size=6), st.integers(0, 40))
def test_a_damaged_file_gives_settings_or_a_refusal(place: int, put: bytes, dropped: int) -> None:
    data = WHOLE.encode()
    try:
        read = read_shop(data[:place] + put + data[place + dropped :], "shop.toml")
    except BadSettings:
        return
    assert read_shop(written_shop(read).encode(), "shop.toml") == read


VALUES = st.recursive(
    st.none().map(lambda _: "inf")
    | st.integers().map(str)
    | st.sampled_from(["true", '"x"', "1.5", "2031-03-08", "nan"]),
    lambda inner: (
        st.lists(inner, max_size=3).map(lambda each: f"[{', '.join(each)}]") | inner.map("{{name = {}}}".format)
    ),
    max_leaves=6,
)
KEYS = ["shop", "hours", "exception", "print_settings", "machine", "material", "tool", "person"]
INNER = ["name", "process", "form", "size_mm", "monday", "day", "hours", "chip_loads_mm", "cutting", "router", "flutes"]


@settings(max_examples=200)
@given(st.dictionaries(st.sampled_from(KEYS), st.dictionaries(st.sampled_from(INNER), VALUES) | VALUES))
def test_a_file_of_wrong_types_gives_settings_or_a_refusal(top: dict[str, dict[str, str] | str]) -> None:
    lines = [
        f"{key} = {value}"
        if isinstance(value, str)
        else f"{key} = [{{{', '.join(f'{inner} = {each}' for inner, each in value.items())}}}]"
        for key, value in top.items()
    ]
    try:
        read_shop("\n".join(lines).encode(), "shop.toml")
    except BadSettings as refused:
        assert refused.cure
