"""The chance of enough spares, against closed forms and published tables."""

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from register.errors import BadQuantity
from register.stocking.demand import advised, chance_of_enough, expected_use

# A log so long that the rate is as good as known: the negative binomial is then Poisson with the mean (r + 1/2) H / T.
LONG_LOG = 10**12


@pytest.mark.parametrize(("spares", "chance"), [(0, 0.018), (1, 0.092), (2, 0.238), (3, 0.433), (4, 0.629), (5, 0.785)])
def test_with_the_rate_known_it_is_the_published_poisson_table(spares: int, chance: float) -> None:
    # Source: Stevenson, *Operations Management*, p. 537: Poisson with mean 4, cumulative.
    found = chance_of_enough(spares, LONG_LOG, float(LONG_LOG), 4.0)
    assert found == pytest.approx(chance, abs=0.0005)


def test_two_spares_for_half_a_failure_expected() -> None:
    # Source: MIL-HDBK-338B, example 5.3.8.1 (second-hand): m = 0.5, two spares, 0.986.
    found = chance_of_enough(2, LONG_LOG, float(LONG_LOG), 0.5)
    assert found == pytest.approx(0.986, abs=0.0005)
    # Closed form: e^-0.5 (1 + 0.5 + 0.125).
    assert found == pytest.approx(math.exp(-0.5) * 1.625, rel=1e-9)


def test_the_chance_of_none_and_of_at_most_one_in_closed_form() -> None:
    # r = 3, T = 20, H = 10: shape 3.5, p = 20 / 30. P(0) = p^3.5; P(1) = 3.5 (1 - p) p^3.5.
    none = (2 / 3) ** 3.5
    assert chance_of_enough(0, 3, 20.0, 10.0) == pytest.approx(none, rel=1e-12)
    assert chance_of_enough(1, 3, 20.0, 10.0) == pytest.approx(none * (1 + 3.5 / 3), rel=1e-12)


def test_a_log_without_a_replacement_still_leaves_some_chance_of_one() -> None:
    # Shape 1/2, p = 30 / 40: P(0) = sqrt(0.75).
    assert chance_of_enough(0, 0, 30.0, 10.0) == pytest.approx(math.sqrt(0.75), rel=1e-12)
    assert expected_use(0, 30.0, 10.0) == pytest.approx(1 / 6)


def test_what_is_expected_is_the_mean_of_the_chances() -> None:
    # The mean is the sum over s of the chance that more than s are used. (r + 1/2) H / T = 4.5 * 12 / 36 = 1.5.
    assert expected_use(4, 36.0, 12.0) == pytest.approx(1.5)
    more_than = [1 - (chance_of_enough(spares, 4, 36.0, 12.0) or 0.0) for spares in range(200)]
    assert math.fsum(more_than) == pytest.approx(1.5, abs=1e-9)


@given(st.integers(0, 60), st.floats(0.5, 500), st.floats(0, 500))
def test_the_chance_rises_with_the_spares_up_to_one(replacements: int, exposure: float, ahead: float) -> None:
    found = [chance_of_enough(spares, replacements, exposure, ahead) or 0.0 for spares in range(12)]
    assert all(0 <= one <= later <= 1 for one, later in pairwise(found))
    assert chance_of_enough(10**6, replacements, exposure, ahead) == pytest.approx(1.0, abs=1e-6)


@given(st.integers(0, 30), st.floats(1, 200), st.floats(0.1, 200), st.floats(0.05, 0.99))
def test_the_advice_is_the_fewest_that_reach_the_target(
    replacements: int, exposure: float, ahead: float, target: float
) -> None:
    spares = advised(target, replacements, exposure, ahead, most=10**6)
    assert spares is not None
    assert (chance_of_enough(spares, replacements, exposure, ahead) or 0.0) >= target
    if spares:
        one_less = chance_of_enough(spares - 1, replacements, exposure, ahead)
        assert one_less is not None
        assert one_less < target


def test_advice_from_the_published_table() -> None:
    # Poisson with mean 4: P(X <= 5) = .785, P(X <= 4) = .629. Source: Stevenson, *Operations Management*, p. 537.
    assert advised(0.78, LONG_LOG, float(LONG_LOG), 4.0) == 5
    assert advised(0.62, LONG_LOG, float(LONG_LOG), 4.0) == 4


def test_advice_stops_at_the_most() -> None:
    assert advised(0.9, 500, 10.0, 10.0, most=40) == 40


def test_without_a_log_there_is_no_figure() -> None:
    assert expected_use(0, 0.0, 10.0) is None
    assert chance_of_enough(3, 0, 0.0, 10.0) is None
    assert advised(0.9, 0, 0.0, 10.0) is None


def test_nothing_ahead_needs_nothing() -> None:
    assert expected_use(5, 10.0, 0.0) == 0.0
    assert chance_of_enough(0, 5, 10.0, 0.0) == 1.0
    assert advised(0.99, 5, 10.0, 0.0) == 0


def test_a_first_chance_too_small_for_a_float_does_not_make_the_rest_vanish() -> None:
    # Mean 5000.5 with a known rate: P(0) = e^-5000 is 0 in floats. The median of Poisson(m) lies between m - ln 2 and
    # m + 1/3 (Choi 1994, from memory), so the chance passes one half there.
    below = chance_of_enough(4999, LONG_LOG, float(LONG_LOG), 5000.5)
    above = chance_of_enough(5001, LONG_LOG, float(LONG_LOG), 5000.5)
    assert below is not None and above is not None
    assert below < 0.5 < above
    # By the normal law, one standard deviation (70.7) above the mean: 0.841, skewness below 0.003.
    assert chance_of_enough(5071, LONG_LOG, float(LONG_LOG), 5000.5) == pytest.approx(0.8413, abs=0.003)


@pytest.mark.parametrize(
    "figures", [(-1, 1.0, 1.0), (1, -1.0, 1.0), (1, 1.0, -1.0), (1, math.nan, 1.0), (1, 1.0, math.inf)]
)
def test_figures_out_of_range_are_refused(figures: tuple[int, float, float]) -> None:
    for asked in (
        lambda: expected_use(*figures),
        lambda: chance_of_enough(1, *figures),
        lambda: advised(0.9, *figures),
    ):
        with pytest.raises(BadQuantity) as refusal:
            asked()
        assert refusal.value.cure


@pytest.mark.parametrize("target", [0.0, 1.0, -0.5, 2.0, math.nan])
def test_a_target_that_is_no_chance_is_refused(target: float) -> None:
    with pytest.raises(BadQuantity):
        advised(target, 1, 10.0, 1.0)


def test_spares_below_none_are_refused() -> None:
    with pytest.raises(BadQuantity):
        chance_of_enough(-1, 1, 10.0, 1.0)
