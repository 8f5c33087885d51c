"""How probable a reading is: careful ones, slips and blunders; and severities as uniform numbers."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import integrate, stats

from wringout.weighing.likelihood import BLUNDER, BLUNDER_SCALE, SLIP_SCALE, log_density, pull, weight
from wringout.weighing.unknowns import uniform

SLIPS = [1e-6, 0.003, 0.03, 0.3]


@pytest.mark.parametrize("slip", SLIPS)
def test_the_density_of_a_reading_integrates_to_one(slip: float) -> None:
    def density(r: float) -> float:
        return float(np.exp(log_density(np.array([[r]]), np.array([slip])))[0, 0])

    near, _ = integrate.quad(density, 0.0, 60.0, limit=200)
    far, _ = integrate.quad(density, 60.0, np.inf, limit=200)
    assert 2.0 * (near + far) == pytest.approx(1.0, abs=1e-6)


def test_the_density_is_the_mixture_of_a_narrow_and_a_wide_normal_and_a_little_of_cauchys() -> None:
    r = np.linspace(-100.0, 100.0, 401)[:, None]
    wanted = (
        0.97 * stats.norm.pdf(r)
        + 0.03 * (1.0 - BLUNDER) * stats.norm.pdf(r, scale=SLIP_SCALE)
        + 0.03 * BLUNDER * stats.cauchy.pdf(r, scale=BLUNDER_SCALE)
    )
    assert np.exp(log_density(r, np.array([0.03]))) == pytest.approx(wanted, rel=1e-12)


@pytest.mark.parametrize("slip", SLIPS)
def test_the_weight_is_the_share_of_its_pull_that_a_reading_keeps(slip: float) -> None:
    r = np.linspace(-15.0, 15.0, 61)[:, None]
    r = r[np.abs(r[:, 0]) > 1e-6]
    step = 1e-5
    slope = (log_density(r + step, np.array([slip])) - log_density(r - step, np.array([slip]))) / (2 * step)
    assert weight(r, np.array([slip])) == pytest.approx(-slope / r, rel=1e-5)


@pytest.mark.parametrize("slip", SLIPS)
def test_a_fit_on_its_way_gives_no_reading_up(slip: float) -> None:
    kept = pull(np.linspace(-1000.0, 1000.0, 20_001)[:, None], np.array([slip]))
    assert kept.max() <= 1.0
    assert kept.min() >= 1.0 / SLIP_SCALE**2 > 1.0 / 18.5
    assert pull(np.array([[0.0]]), np.array([slip]))[0, 0] > 1.0 - slip
    assert pull(np.array([[40.0]]), np.array([slip]))[0, 0] == pytest.approx(1.0 / SLIP_SCALE**2)


def test_in_the_end_a_slip_keeps_an_eighteenth_of_its_pull_and_a_blunder_next_to_none() -> None:
    w = weight(np.array([[0.5, 6.0, 60.0, 6000.0]]), np.array([0.03]))[0]
    assert w[0] > 0.98
    assert w[1] == pytest.approx(1.0 / SLIP_SCALE**2, rel=0.1)
    assert w[2] == pytest.approx(2.0 / (BLUNDER_SCALE**2 + 60.0**2), rel=0.01)
    assert w[3] < 1e-7


def test_each_reading_has_its_own_share_of_slips_and_nan_stays_nan() -> None:
    r = np.array([[4.0, 4.0, np.nan]])
    with np.errstate(invalid="ignore"):
        density = log_density(r, np.array([0.003, 0.03, 0.03]))
    assert density[0, 0] < density[0, 1]
    assert np.isnan(density[0, 2])


def test_a_slip_of_twenty_deviations_costs_far_less_than_a_normal_error_would() -> None:
    far = float(log_density(np.array([[20.0]]), np.array([0.03]))[0, 0])
    assert far > stats.norm.logpdf(20.0) + 150.0


def test_an_absurd_reading_costs_a_little_more_the_further_it_is_out_but_never_hundreds_of_nats() -> None:
    r = np.array([[30.0, 100.0, 1000.0]])
    cost = -log_density(r, np.array([0.03]))[0]
    assert np.all(np.diff(cost) > 0.0)
    assert cost[-1] - cost[0] < 8.0
    assert cost[-1] < 25.0


def test_uniform_follows_the_normal_distribution_function() -> None:
    z = np.linspace(-6.0, 6.0, 24_001)
    u = uniform(z)
    assert np.abs(u - stats.norm.cdf(z)).max() < 2e-4
    assert (np.diff(u) > 0.0).all()
    assert u + uniform(-z) == pytest.approx(np.ones_like(z))
