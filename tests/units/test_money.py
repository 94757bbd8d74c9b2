"""Amounts of money."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from register.errors import BadQuantity
from register.units.money import money_cents, written_money


@pytest.mark.parametrize(
    ("text", "cents"),
    {"12.50": 1250, "12,50 EUR": 1250, "EUR 12.5": 1250, "€12": 1200, "12 €": 1200, "0": 0, "0.05": 5}.items(),
)
def test_amounts_are_read_in_hundredths(text: str, cents: int) -> None:
    assert money_cents(text, "EUR") == cents


def test_a_dollar_sign_stands_for_the_dollar_of_the_shop() -> None:
    assert money_cents("$3", "USD") == money_cents("$3", "CAD") == 300


@pytest.mark.parametrize(
    "text",
    [
        "",
        "€",
        "-3",
        "1,234",
        "1.234,56",
        "1,234.56",
        "1 234",
        "12.505",
        "12.",
        ".5",
        "1e3",
        "nan",
        "$12",
        "12 USD",
        "€ 12 EUR",
        "12 eur",
        "9" * 30,
        "١٢",
    ],
)
def test_an_amount_that_would_have_to_be_guessed_is_refused_with_a_right_example(text: str) -> None:
    with pytest.raises(BadQuantity, match=r"12\.50 EUR"):
        money_cents(text, "EUR")


@given(st.integers(0, 10**11 - 1))
def test_a_written_amount_reads_back_the_same(cents: int) -> None:
    assert money_cents(written_money(cents, "EUR"), "EUR") == cents


def test_amounts_are_written_with_two_decimals_and_the_currency() -> None:
    assert written_money(1250, "EUR") == "12.50 EUR"
    assert written_money(5, "USD") == "0.05 USD"
    assert written_money(-1205, "EUR") == "-12.05 EUR"


@given(st.text(max_size=80) | st.text(alphabet="0123456789.,€$ EUR", max_size=14))
def test_any_text_gives_an_amount_or_a_refusal(text: str) -> None:
    try:
        assert money_cents(text, "EUR") >= 0
    except BadQuantity:
        return
