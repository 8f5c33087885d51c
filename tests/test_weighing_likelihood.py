"""How probable a reading is: careful ones and slips; and severities as uniform numbers."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import integrate, stats

from wringout.weighing.likelihood import SLIP_SCALE, log_density, weight
from wringout.weighing.unknowns import uniform

SLIPS = [1e-6, 0.003, 0.03, 0.3]


@pytest.mark.parametrize("slip", SLIPS)
def test_the_density_of_a_reading_integrates_to_one(slip: float) -> None:
    total, _ = integrate.quad(
        lambda r: float(np.exp(log_density(np.array([[r]]), np.array([slip])))[0, 0]), -60.0, 60.0, limit=200
    )
    assert total == pytest.approx(1.0, abs=1e-9)


def test_the_density_is_the_mixture_of_a_narrow_and_a_wide_normal() -> None:
    r = np.linspace(-12.0, 12.0, 49)[:, None]
    wanted = 0.97 * stats.norm.pdf(r) + 0.03 * stats.norm.pdf(r, scale=SLIP_SCALE)
    assert np.exp(log_density(r, np.array([0.03]))) == pytest.approx(wanted, rel=1e-12)


@pytest.mark.parametrize("slip", SLIPS)
def test_the_weight_is_the_share_of_its_pull_that_a_reading_keeps(slip: float) -> None:
    r = np.linspace(-15.0, 15.0, 61)[:, None]
    r = r[np.abs(r[:, 0]) > 1e-6]
    step = 1e-5
    slope = (log_density(r + step, np.array([slip])) - log_density(r - step, np.array([slip]))) / (2 * step)
    assert weight(r, np.array([slip])) == pytest.approx(-slope / r, rel=1e-5)


@pytest.mark.parametrize("slip", SLIPS)
def test_a_slip_keeps_at_least_one_part_in_eighteen_and_a_half_of_its_pull(slip: float) -> None:
    w = weight(np.linspace(-1000.0, 1000.0, 20_001)[:, None], np.array([slip]))
    assert w.max() <= 1.0
    assert w.min() >= 1.0 / SLIP_SCALE**2 > 1.0 / 18.5
    assert weight(np.array([[0.0]]), np.array([slip]))[0, 0] > 1.0 - slip
    assert weight(np.array([[40.0]]), np.array([slip]))[0, 0] == pytest.approx(1.0 / SLIP_SCALE**2)


def test_each_reading_has_its_own_share_of_slips_and_nan_stays_nan() -> None:
    r = np.array([[4.0, 4.0, np.nan]])
    with np.errstate(invalid="ignore"):
        density = log_density(r, np.array([0.003, 0.03, 0.03]))
    assert density[0, 0] < density[0, 1]
    assert np.isnan(density[0, 2])


def test_a_slip_of_twenty_deviations_costs_far_less_than_a_normal_error_would() -> None:
    far = float(log_density(np.array([[20.0]]), np.array([0.03]))[0, 0])
    assert far > stats.norm.logpdf(20.0) + 150.0


def test_uniform_follows_the_normal_distribution_function() -> None:
    z = np.linspace(-6.0, 6.0, 24_001)
    u = uniform(z)
    assert np.abs(u - stats.norm.cdf(z)).max() < 2e-4
    assert (np.diff(u) > 0.0).all()
    assert u + uniform(-z) == pytest.approx(np.ones_like(z))
