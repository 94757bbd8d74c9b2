"""A material and its thickness in one text."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from register.errors import BadQuantity
from register.units.sheets import split_material


@pytest.mark.parametrize(
    ("text", "name", "thickness_mm"),
    [
        # 1 in = 25.4 mm. Source: NIST SP 811.
        ("6061 3.175 mm", "6061", 3.175),
        ("6061 1/8 in", "6061", 3.175),
        ("6061 ⅛ in", "6061", 3.175),
        ("6061-T6, 0,5 mm", "6061-T6", 0.5),
        ("alloy 5052 1/4 in", "alloy 5052", 6.35),
        ("birch plywood 1/4 in", "birch plywood", 6.35),
        ('birch plywood 1/4"', "birch plywood", 6.35),
        ("birch plywood 1-1/4 in", "birch plywood", 31.75),
        ("polycarbonate 3mm", "polycarbonate", 3.0),
        ("PC  3 MM", "PC", 3.0),
        ("PA 12 3 mm", "PA 12", 3.0),
    ],
)
def test_a_thickness_is_parted_from_the_name(text: str, name: str, thickness_mm: float) -> None:
    assert split_material(text) == (name, thickness_mm)


@pytest.mark.parametrize("name", ["PLA", "PA 12", "PA12-CF", "6061", "birch plywood", "PC/ABS", "Leichtschaum-PLA"])
def test_a_name_without_a_thickness_stays_whole(name: str) -> None:
    assert split_material(name) == (name, None)


@pytest.mark.parametrize(
    "text",
    [
        "",
        " ",
        "3 mm",
        "1/4 in",
        "12 1/4 in",
        "6061 3.175",
        "6061 1/4",
        "6061 0 mm",
        "6061 -3 mm",
        "6061 1,234 mm",
        "PA 12 1/2 in",
        "birch 1 1/4 in",
        "6061 3 mm 4 mm",
        "6061 10 mil",
        "6061 1/0 in",
        "x" * 500,
    ],
)
def test_a_material_whose_thickness_would_have_to_be_guessed_is_refused(text: str) -> None:
    with pytest.raises(BadQuantity, match=r"mm"):
        split_material(text)


@given(st.text(max_size=300) | st.text(alphabet="PLA 0123456789.,/-'\"minft½", max_size=20))
def test_any_text_gives_a_name_and_a_positive_thickness_or_a_refusal(text: str) -> None:
    try:
        name, thickness_mm = split_material(text)
    except BadQuantity:
        return
    assert name.strip()
    assert thickness_mm is None or 0 < thickness_mm <= 1e9
