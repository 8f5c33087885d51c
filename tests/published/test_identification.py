"""First-order models, tuning and oscillation indices against published rules and examples.

SOURCES (each value's origin beside it):

- S. Skogestad, Simple analytic rules for model reduction and PID controller tuning, Journal of Process
Control 13
  (2003) 291-309: that the paper exists was read; the half rule, the tuning rule and the example processes are
  from memory, the numbers follow from them by arithmetic. Exact: tolerance is rounding.
- Two-point methods (Smith 1972; Sundaresan & Krishnaswamy 1978) as given in Seborg, Edgar, Mellichamp &
Doyle, Process
  Dynamics and Control: formulas from memory. Their own accuracy on a true first-order process is some per
  cent, as the constants are rounded; the expected figures are computed from the formulas on the exact
  response.
- Ultimate gain and period of exp(-s)/(s+1): computed independently with scipy.optimize.brentq on the phase
condition. - T. Hagglund, A control-loop performance monitor, Control Engineering Practice 3 (1995) 1543-1551
(existence read;
  limit and count from memory); N. F. Thornhill, B. Huang & H. Zhang, Journal of Process Control 13 (2003)
  91-100 (regularity, from memory); T. Miao & D. E. Seborg, IEEE CCA 1999 (decay ratio, from memory).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import optimize

from wringout.trends.first_order import (
    FirstOrder,
    half_rule_first_order,
    half_rule_second_order,
    simc_pi,
    simulated,
    smith_two_point,
    step_response,
    sundaresan_krishnaswamy_two_point,
    times_at,
    ultimate_point,
)
from wringout.trends.oscillation import (
    autocorrelation,
    decay_ratio,
    iae_limit,
    load_disturbances,
    oscillation_of,
    regularity,
    zero_crossing_intervals,
)

COIL = FirstOrder(gain=2.0, time_constant=60.0, dead_time=12.0)


@pytest.mark.parametrize(
    ("multiple", "share"), [(1.0, 0.632), (2.0, 0.865), (3.0, 0.950), (4.0, 0.982), (5.0, 0.993)]
)
def test_a_first_order_step_after_whole_time_constants(multiple: float, share: float) -> None:
    """63.2, 86.5, 95.0, 98.2 and 99.3 %: identity 1 - exp(-n), to the digits given."""
    model = FirstOrder(1.0, 60.0, 0.0)
    assert float(step_response(model, np.array(60.0 * multiple))) == pytest.approx(share, abs=5e-4)


def test_smith_two_point() -> None:
    """Gain 2, lag 60 s, dead time 12 s: 28.3 % at 31.96 s, 63.2 % at 72.0 s; method gives 60.06 s and 11.94
    s."""
    time = np.arange(0.0, 1200.0, 0.01)
    t28, t63 = times_at(time, step_response(COIL, time), (0.283, 0.632))
    assert t28 == pytest.approx(31.96, abs=0.02)
    assert t63 == pytest.approx(72.0, abs=0.05)
    found = smith_two_point(2.0, t28, t63)
    assert found.time_constant == pytest.approx(60.06, abs=0.1)
    assert found.dead_time == pytest.approx(11.94, abs=0.1)


def test_sundaresan_krishnaswamy_two_point() -> None:
    """The same response: 35.3 % at 38.12 s, 85.3 % at 127.04 s; method gives 59.57 s and 12.72 s."""
    time = np.arange(0.0, 1200.0, 0.01)
    t35, t85 = times_at(time, step_response(COIL, time), (0.353, 0.853))
    assert t35 == pytest.approx(38.12, abs=0.02)
    assert t85 == pytest.approx(127.04, abs=0.05)
    found = sundaresan_krishnaswamy_two_point(2.0, t35, t85)
    assert found.time_constant == pytest.approx(59.57, abs=0.1)
    assert found.dead_time == pytest.approx(12.72, abs=0.1)


def test_half_rule_on_two_lags() -> None:
    """1/((s+1)(0.2s+1)): theta 0.1, tau 1.1, and SIMC with tc = theta: Kc 5.5, tI 0.8."""
    model = half_rule_first_order(1.0, (1.0, 0.2))
    assert (model.time_constant, model.dead_time) == pytest.approx((1.1, 0.1))
    setting = simc_pi(model)
    assert (setting.gain, setting.integral_time) == pytest.approx((5.5, 0.8))


def test_half_rule_on_the_long_example() -> None:
    """(-0.3s+1)(0.08s+1)/((2s+1)(s+1)(0.4s+1)(0.2s+1)(0.05s+1)^3).

    First order: theta 1.47 and tau 2.5 (Kc 0.850, tI 2.5). Second order: theta 0.77, tau1 2, tau2 1.2. The
    small zero of 0.08 is taken off a neighbouring lag by the paper (0.05 + 0.2 + 0.4 ... - 0.08), so it comes
    as less delay.
    """
    lags = (2.0, 1.0, 0.4, 0.2, 0.05, 0.05, 0.05)
    model = half_rule_first_order(1.0, lags, inverse=(0.3, -0.08))
    assert (model.time_constant, model.dead_time) == pytest.approx((2.5, 1.47))
    setting = simc_pi(model)
    assert setting.gain == pytest.approx(0.850, abs=5e-4)
    assert setting.integral_time == pytest.approx(2.5)
    second = half_rule_second_order(1.0, lags, inverse=(0.3, -0.08))
    assert (second.first, second.second, second.dead_time) == pytest.approx((2.0, 1.2, 0.77))


def test_simc_on_a_coil() -> None:
    """Gain 2, lag 60 s, dead time 12 s: Kc 1.25, tI 60 s."""
    setting = simc_pi(COIL)
    assert (setting.gain, setting.integral_time) == pytest.approx((1.25, 60.0))


def test_the_ultimate_point() -> None:
    """exp(-s)/(s+1): omega 2.02876, period 3.0971, gain 2.26183, and the same from an independent root
    search."""
    gain, period = ultimate_point(FirstOrder(1.0, 1.0, 1.0))
    assert gain == pytest.approx(2.26183, abs=1e-5)
    assert period == pytest.approx(3.0971, abs=1e-4)
    for tau, theta in ((60.0, 12.0), (240.0, 90.0), (10.0, 100.0)):
        omega = optimize.brentq(
            lambda w, t=tau, d=theta: math.atan(w * t) + w * d - math.pi, 1e-9, math.pi / theta
        )
        gain, period = ultimate_point(FirstOrder(3.0, tau, theta))
        assert period == pytest.approx(2.0 * math.pi / omega, rel=1e-9)
        assert gain == pytest.approx(math.hypot(1.0, omega * tau) / 3.0, rel=1e-9)


def test_the_simulated_lag_is_the_exact_step_response() -> None:
    inputs = np.concatenate([np.zeros(5), np.ones(200)])[None, :]
    lagged = simulated(inputs, np.array([60.0, 300.0]), 2, 30.0)
    time = 30.0 * np.arange(205)
    for k, tau in enumerate((60.0, 300.0)):
        # the input steps at the fifth sample and is held: the first response is one step later, plus the
        # delay
        expected = step_response(FirstOrder(1.0, tau, 0.0), time - 30.0 * (5 + 2 - 1))
        assert lagged[k, 0] == pytest.approx(expected, abs=1e-12)


def test_hagglunds_limit() -> None:
    """a 1 %, integral time 120 s: 38.197 %*s."""
    assert iae_limit(1.0, 120.0) == pytest.approx(38.197, abs=5e-4)


def test_hagglunds_count_of_load_disturbances() -> None:
    """A sine of amplitude A and frequency w has an area of 2 A / w in each half period: over the limit for A
    > a."""
    step, period = 1.0, 120.0
    time = np.arange(0.0, 50.0 * period, step) + 0.25
    limit = iae_limit(1.0, period)
    loud = 1.1 * np.sin(2.0 * math.pi * time / period)
    quiet = 0.9 * np.sin(2.0 * math.pi * time / period)
    assert load_disturbances(loud, step, limit) >= 98, "two in each period, and ten already count as swinging"
    assert load_disturbances(quiet, step, limit) == 0


def test_thornhills_regularity() -> None:
    """r = mean / (3 sd) of the intervals: infinite for a clock, 1 where three deviations are the mean."""
    assert regularity(np.array([50.0, 50.0, 50.0, 50.0, 50.0])) == math.inf
    intervals = np.array([10.0, 20.0, 10.0, 20.0, 10.0, 20.0])
    spread = float(np.std(intervals, ddof=1))
    assert regularity(intervals) == pytest.approx(15.0 / (3.0 * spread))
    assert regularity(np.array([10.0, 10.0])) == 0.0, "two crossings prove nothing"


def test_zero_crossings_are_half_periods() -> None:
    time = np.arange(0.0, 3000.0, 7.0)
    intervals = zero_crossing_intervals(np.sin(2.0 * math.pi * time / 260.0 + 0.3), 7.0)
    assert intervals == pytest.approx(np.full(len(intervals), 130.0), abs=0.4)


def test_miao_and_seborgs_decay_ratio() -> None:
    """Of a steady oscillation the autocorrelation keeps its height; of a damped one it loses it."""
    time = np.arange(0.0, 20000.0, 10.0)
    steady, _ = decay_ratio(autocorrelation(np.sin(2.0 * math.pi * time / 500.0)))
    assert steady == pytest.approx(1.0, abs=0.02)
    noise = np.random.default_rng(7).normal(0.0, 1.0, len(time))
    plain, _ = decay_ratio(autocorrelation(noise))
    assert plain < 0.5


@pytest.mark.parametrize("period", [600.0, 1800.0, 4200.0])
@pytest.mark.parametrize("noise", [0.0, 0.5])
def test_period_and_amplitude_of_a_swing_in_noise(period: float, noise: float) -> None:
    time = np.arange(0.0, 10.0 * period, 60.0)
    rng = np.random.default_rng(3)
    values = 2.0 * np.sin(2.0 * math.pi * time / period) + noise * rng.normal(0.0, 1.0, len(time))
    found = oscillation_of(values, 60.0)
    assert found.swings
    assert found.period == pytest.approx(period, rel=0.03)
    assert found.amplitude == pytest.approx(math.hypot(2.0, math.sqrt(2.0) * noise), rel=0.05)


@pytest.mark.parametrize("seed", range(12))
def test_noise_and_random_walks_do_not_swing(seed: int) -> None:
    rng = np.random.default_rng(seed)
    white = rng.normal(0.0, 1.0, 480)
    assert not oscillation_of(white - white.mean(), 60.0).swings
    walk = np.cumsum(white)
    assert not oscillation_of(walk - np.linspace(walk[0], walk[-1], 480), 60.0).swings
