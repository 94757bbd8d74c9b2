"""Written quantities: what is read, and that all else is refused instead of guessed."""

import subprocess
import sys
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from register.errors import BadQuantity
from register.units.quantities import duration_s, length_mm, mass_g, speed_mm_s, spindle_rpm

READERS = (length_mm, mass_g, duration_s, speed_mm_s, spindle_rpm)

# Source: NIST SP 811, appendix B.8: 1 in = 25.4 mm, 1 ft = 304.8 mm and 1 mil (thou) = 0.0254 mm, all exact.
LENGTHS = {
    "25.4 mm": 25.4,
    "0.25 in": 25.4 / 4,
    "1-1/2 in": 25.4 * 1.5,
    "1 1/2 in": 25.4 * 1.5,
    "1½ in": 25.4 * 1.5,
    "½ in": 12.7,
    "1\u20442 in": 12.7,
    '1/8"': 3.175,
    "1/8”": 3.175,
    "11/2 in": 139.7,
    "5' 6-1/2\"": 5 * 304.8 + 6.5 * 25.4,
    "5'-6 1/2\"": 5 * 304.8 + 6.5 * 25.4,
    "5 ft 6 in": 5 * 304.8 + 6 * 25.4,
    "12'": 12 * 304.8,
    "12 thou": 12 * 0.0254,
    "0,5 mm": 0.5,
    ".5 mm": 0.5,
    "3.175mm": 3.175,
    "\u00a03.175\u202fmm ": 3.175,
    "3 MM": 3.0,
    "2 Inches": 50.8,
    "1.2 m": 1200.0,
    "2 cm": 20.0,
    "50 µm": 0.05,
    "50 \u03bcm": 0.05,
    "0 mm": 0.0,
}


@pytest.mark.parametrize(("text", "expected_mm"), LENGTHS.items())
def test_lengths_are_read_as_a_shop_writes_them(text: str, expected_mm: float) -> None:
    assert length_mm(text) == pytest.approx(expected_mm, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "expected_g"),
    # Source: NIST SP 811, appendix B.8: 1 lb = 453.592 37 g exactly; 1 oz is a sixteenth, 28.349 523 125 g.
    {
        "1 lb": 453.59237,
        "1 oz": 28.349523125,
        "8 oz": 226.796185,
        "1 lb 4 oz": 453.59237 * 1.25,
        "1.2 kg": 1200.0,
        "1,2 Kg": 1200.0,
        "35 g": 35.0,
        "500 mg": 0.5,
    }.items(),
)
def test_masses_are_read_as_a_shop_writes_them(text: str, expected_g: float) -> None:
    assert mass_g(text) == pytest.approx(expected_g, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "expected_s"),
    {
        "1 h 30 min": 5400.0,
        "1h30min": 5400.0,
        "90 min": 5400.0,
        "1,5 h": 5400.0,
        "1 1/2 hours": 5400.0,
        "2 d": 2 * 24 * 3600.0,
        "1 wk 1 d": 8 * 24 * 3600.0,
        "2 d 4 h 10 min 5.5 s": 2 * 86400 + 4 * 3600 + 600 + 5.5,
        "45 sec": 45.0,
    }.items(),
)
def test_durations_are_read_as_a_shop_writes_them(text: str, expected_s: float) -> None:
    assert duration_s(text) == expected_s


@pytest.mark.parametrize(
    ("text", "expected_mm_s"),
    {
        "3600 mm/min": 60.0,
        "3600 mm / min": 60.0,
        "60 mm/s": 60.0,
        "100 in/min": 2540 / 60,
        "100 ipm": 2540 / 60,
        "3 m/min": 50.0,
        "10 ft/min": 3048 / 60,
    }.items(),
)
def test_speeds_are_read_as_a_shop_writes_them(text: str, expected_mm_s: float) -> None:
    assert speed_mm_s(text) == pytest.approx(expected_mm_s, rel=1e-15)


def test_spindle_speeds_are_read_as_a_shop_writes_them() -> None:
    assert spindle_rpm("18000 rpm") == spindle_rpm("18000 r/min") == 18000.0


def test_what_pint_alone_misreads_in_silence_is_read_right_here() -> None:
    # The misreading is looked up in pint itself, so this stops being a reason once pint reads these right.
    import pint

    alone: pint.UnitRegistry[Any] = pint.UnitRegistry()
    assert alone.Quantity("1 1/2 in").magnitude == 0.5
    assert alone.Quantity("0,5 mm").magnitude == 0
    assert alone.Quantity("1 h 30 min").magnitude == 30
    assert (length_mm("1 1/2 in"), length_mm("0,5 mm"), duration_s("1 h 30 min")) == (38.1, 0.5, 5400.0)


@pytest.mark.parametrize(
    "text",
    [
        "",
        " ",
        "mm",
        "5",
        "five mm",
        "1,234 mm",
        "0,125 in",
        "1,234.5 mm",
        "1.234,5 mm",
        "1,2,3 mm",
        "1.2.3 mm",
        "1'234 mm",
        "18 000 mm",
        "-1 mm",
        "−1 mm",
        "+1 mm",
        "nan mm",
        "inf mm",
        "1e9 mm",
        "1e999999999 mm",
        "10**9 mm",
        "9" * 80 + " mm",
        "9999999999999 mm",
        "3 kg",
        "3 min",
        "1 + 1 mm",
        "2*3 mm",
        "2 × 10 mm",
        "(2 mm)",
        "1 - 1/2 in",
        "1/0 in",
        "1 5/4 in",
        "1.5/2 in",
        "1 1 1/2 in",
        "1 in 2 ft",
        "1 mm 2 mm",
        "1 ft 2 ft",
        "1.5 ft 3 in",
        "3 m 2 in",
        "5' 6",
        "5 Mm",
        "5 M",
        "5 furlongs",
        "0x10 mm",
        "٣ mm",
        "3 mm; drop table",
        "3 mm\n4 mm",
        "__import__('os') mm",
    ],
)
def test_a_length_that_would_have_to_be_guessed_is_refused_with_a_right_example(text: str) -> None:
    with pytest.raises(BadQuantity) as refused:
        length_mm(text)
    assert "3.175 mm" in refused.value.cure
    assert refused.value.what.endswith(".")


def test_mil_is_refused_because_shops_mean_two_lengths_by_it() -> None:
    with pytest.raises(BadQuantity, match=r"thou or mm\.$"):
        length_mm("10 mil")


@pytest.mark.parametrize("text", ["1:30", "1h30", "30 m", "1 h, 30 min", "30 min 1 h", "1.5 h 30 min", "1 h 1 h"])
def test_a_duration_that_would_have_to_be_guessed_is_refused(text: str) -> None:
    with pytest.raises(BadQuantity, match="1 h 30 min"):
        duration_s(text)


@pytest.mark.parametrize("text", ["18,000 rpm", "18 000 rpm", "18k rpm", "300 Hz", "60 mm/s"])
def test_a_spindle_speed_that_would_have_to_be_guessed_is_refused(text: str) -> None:
    with pytest.raises(BadQuantity, match="18000 rpm"):
        spindle_rpm(text)


def test_a_refusal_says_what_the_unit_measures_instead() -> None:
    with pytest.raises(BadQuantity, match="'3 kg' is a mass"):
        length_mm("3 kg")


def test_a_bare_number_takes_the_default_unit_and_a_written_unit_wins() -> None:
    assert length_mm("1-1/2", default_unit="in") == 38.1
    assert length_mm("5 mm", default_unit="in") == 5.0
    with pytest.raises(BadQuantity):
        length_mm("5' 6", default_unit="in")


@given(st.text(max_size=80))
def test_any_text_gives_a_number_that_a_shop_can_have_or_a_refusal(text: str) -> None:
    for reader in READERS:
        try:
            number = reader(text)
        except BadQuantity:
            continue
        assert 0.0 <= number <= 1e9


@given(st.text(alphabet="0123456789.,/-'\" eEmincftkgozhdsrp½¼×+*µ", max_size=16))
def test_texts_that_look_like_quantities_give_a_number_or_a_refusal(text: str) -> None:
    for reader in READERS:
        try:
            number = reader(text)
        except BadQuantity:
            continue
        assert 0.0 <= number <= 1e9


@given(st.integers(0, 40), st.integers(1, 63), st.sampled_from([2, 4, 8, 16, 32, 64]))
def test_every_spelling_of_a_fraction_of_an_inch_is_the_same_length(whole: int, top: int, bottom: int) -> None:
    top %= bottom
    # A dyadic fraction has an exact decimal form, so both sides are the same number of inches.
    expected = length_mm(f"{whole + top / bottom:.6f} in")
    assert length_mm(f"{whole}-{top}/{bottom} in") == expected
    assert length_mm(f"{whole} {top}/{bottom} in") == expected
    assert length_mm(f'{whole * bottom + top}/{bottom}"') == expected


@given(st.integers(0, 10**8))
def test_a_decimal_comma_reads_as_a_decimal_point(hundredths: int) -> None:
    whole, part = divmod(hundredths, 100)
    assert length_mm(f"{whole},{part:02d} mm") == length_mm(f"{whole}.{part:02d} mm") == hundredths / 100


def test_pint_is_loaded_only_when_a_unit_has_to_be_converted() -> None:
    program = (
        "import sys\n"
        "from register.units import moments, money, quantities, sheets, written\n"
        "quantities.length_mm('3 mm')\n"
        "assert 'pint' not in sys.modules\n"
        "quantities.length_mm('3 in')\n"
        "assert 'pint' in sys.modules\n"
    )
    subprocess.run([sys.executable, "-c", program], check=True, timeout=60)
