"""SOURCE: JCGM 100:2008 (GUM), annex H, and JCGM 101:2008 (Monte Carlo), 9.2.

H.1 and H.2: inputs and results as the test suite of a published library of a national metrology institute
quotes them (read), and worked out once more elsewhere (computed). The GUM prints them rounded: 32 nm, 34 nm,
0.071, 0.295 and 0.236 ohm. JCGM 101, 9.2: recalled from memory and confirmed by a Monte Carlo run elsewhere.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from wringout.errors import InputError
from wringout.ledger.propagation import propagate

Array = NDArray[np.float64]

# --------------------------------------------------------------------------- H.1: an end gauge

STANDARD, ALPHA = 50_000_623.0, 11.5e-6  # nm; 1/K
GAUGE = {  # mean, standard deviation
    "length of the standard": (STANDARD, 25.0),
    "difference": (215.0, np.sqrt(5.8**2 + 3.9**2 + 6.7**2)),
    "coefficient of expansion": (ALPHA, 2e-6 / np.sqrt(3.0)),
    "difference of coefficients": (0.0, 1e-6 / np.sqrt(3.0)),
    "temperature from 20 degC": (-0.1, np.hypot(0.2, 0.5 / np.sqrt(2.0))),
    "difference of temperatures": (0.0, 0.05 / np.sqrt(3.0)),
}


def gauge(rows: Array) -> Array:
    length, difference, alpha, alpha_difference, theta, theta_difference = rows.T
    expansion = alpha_difference * theta + alpha * theta_difference
    return np.column_stack([length + difference - length * expansion])


def test_end_gauge_of_the_gum() -> None:
    mean, spread = np.array(list(GAUGE.values())).T
    found = propagate(gauge, mean, np.diag(spread**2))
    assert found.value[0] == pytest.approx(50_000_838.0, abs=0.5)
    assert found.sigma[0] == pytest.approx(31.66, abs=0.05)  # the GUM rounds to 32 nm
    assert np.abs(found.part[:, 0]) == pytest.approx([25.0, 9.7, 0.0, 2.9, 0.0, 16.6], abs=0.06)


def test_what_the_first_order_leaves_out_of_the_end_gauge() -> None:
    """The GUM adds terms of second order and comes to 34 nm (33.8): Monte Carlo has them, we do not."""
    mean, spread = np.array(list(GAUGE.values())).T
    drawn = mean + spread * np.random.default_rng(1).standard_normal((400_000, 6))
    assert gauge(drawn).std() == pytest.approx(33.8, abs=0.2)


# --------------------------------------------- H.2: resistance and reactance, measured together

VOLTS = [5.007, 4.994, 5.005, 4.990, 4.999]
AMPERES = [0.019663, 0.019639, 0.019640, 0.019685, 0.019678]
PHASE = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]


def impedance(rows: Array) -> Array:
    volts, amperes, phase = rows.T
    z = volts / amperes
    return np.column_stack([z * np.cos(phase), z * np.sin(phase), z])


def test_impedance_of_the_gum_with_its_correlations() -> None:
    """Three readings that go together: taken as independent, R would seem almost three times as uncertain
    and X a third less."""
    read = np.array([VOLTS, AMPERES, PHASE])
    covariance = np.cov(read) / read.shape[1]
    spread = np.sqrt(np.diag(covariance))
    assert spread == pytest.approx([0.0032, 0.0095e-3, 0.00075], rel=0.02)
    r = covariance / np.outer(spread, spread)
    assert [r[0, 1], r[0, 2], r[1, 2]] == pytest.approx([-0.36, 0.86, -0.65], abs=0.006)
    found = propagate(impedance, read.mean(axis=1), covariance)
    assert found.value == pytest.approx([127.732, 219.847, 254.260], abs=6e-4)
    assert found.sigma == pytest.approx([0.071, 0.295, 0.236], abs=0.0013)
    together = found.covariance[0, 1] / (found.sigma[0] * found.sigma[1])
    assert together == pytest.approx(-0.588, abs=0.005)
    apart = propagate(impedance, read.mean(axis=1), np.diag(spread**2))
    # products of independent inputs, by hand: relative variances add
    volts, amperes, phase = read.mean(axis=1)
    share = spread[:2] / [volts, amperes]
    turned = np.array([np.tan(phase), 1.0 / np.tan(phase), 0.0]) * spread[2]
    by_hand = np.abs(found.value) * np.sqrt(share[0] ** 2 + share[1] ** 2 + turned**2)
    assert apart.sigma == pytest.approx(by_hand, rel=1e-3)
    assert apart.sigma[0] > 2.5 * found.sigma[0]
    assert apart.sigma[1] < 0.75 * found.sigma[1]


# --------------------------------------------------------------------- JCGM 101: additive models


def total(rows: Array) -> Array:
    return rows.sum(axis=1, keepdims=True)


@pytest.mark.parametrize(
    ("spreads", "sigma", "interval"),
    [((1.0, 1.0, 1.0, 1.0), 2.0, 3.88), ((1.0, 1.0, 1.0, 10.0), 10.15, 17.0)],
)
def test_sum_of_rectangular_inputs(spreads: tuple[float, ...], sigma: float, interval: float) -> None:
    """JCGM 101, 9.2.3 and 9.2.4: the standard deviation is exact; the 95 % interval is not that of a normal
    distribution where one rectangular input rules."""
    u = np.array(spreads)
    found = propagate(total, np.zeros(4), np.diag(u**2))
    assert found.sigma[0] == pytest.approx(sigma, abs=0.005)
    drawn = np.random.default_rng(2).uniform(-1.0, 1.0, (400_000, 4)) * u * np.sqrt(3.0)
    summed = total(drawn)[:, 0]
    assert summed.std() == pytest.approx(found.sigma[0], rel=0.005)
    assert np.percentile(np.abs(summed), 95.0) == pytest.approx(interval, rel=0.01)


# ------------------------------------------------------------------------------------ and limits


def test_one_input_goes_through_a_straight_line_unchanged() -> None:
    found = propagate(lambda rows: 3.0 * rows + 1.0, [2.0], [[0.25]])
    assert found.value[0] == 7.0
    assert found.sigma[0] == pytest.approx(1.5)


def test_a_shared_reading_falls_out_of_a_difference() -> None:
    """Two routes over the same airflow: what it is wrong by, both are."""

    def routes(rows: Array) -> Array:
        flow, one, other = rows.T
        return np.column_stack([flow * one, flow * other, flow * one - flow * other])

    found = propagate(routes, [10.0, 5.0, 5.0], np.diag([1.0, 0.0, 0.0]))
    assert found.sigma == pytest.approx([5.0, 5.0, 0.0])


def test_inputs_that_are_wholly_one_add_like_one() -> None:
    found = propagate(total, [1.0, 1.0], [[4.0, 4.0], [4.0, 4.0]])
    assert found.sigma[0] == pytest.approx(4.0)
    against = propagate(total, [1.0, 1.0], [[4.0, -4.0], [-4.0, 4.0]])
    assert against.sigma[0] == pytest.approx(0.0, abs=1e-12)


def test_an_exact_input_takes_no_part() -> None:
    found = propagate(total, [1.0, 2.0], np.diag([0.0, 9.0]))
    assert found.sigma[0] == pytest.approx(3.0)
    assert found.part[0, 0] == 0.0


def test_nan_in_gives_nan_out_and_stays_where_it_belongs() -> None:
    found = propagate(lambda rows: rows * 2.0, [1.0, np.nan], np.diag([1.0, 1.0]))
    assert found.value[0] == 2.0
    assert found.sigma[0] == pytest.approx(2.0)
    assert np.isnan(found.value[1])


@pytest.mark.parametrize(
    ("mean", "covariance", "words"),
    [([1.0, 2.0], [[1.0]], "2 means need a covariance of 2 by 2"), ([1.0], [[-1.0]], "a variance is -1")],
)
def test_what_does_not_fit_is_refused(mean: list[float], covariance: list[list[float]], words: str) -> None:
    with pytest.raises(InputError, match=words):
        propagate(total, mean, covariance)
