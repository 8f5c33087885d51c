"""When a live point has come to rest: first-order ways with a known answer, drift, swings, few and noisy
rows."""

from __future__ import annotations

import math

import numpy as np
import pytest

from wringout.proof.steadiness import Steadiness, line_of, noise_of, steadiness, student_95, tail_of

SIGMA = 0.4  # K, about a careful reading of an air temperature


def first_order(tau: float, way: float, duration: float, step: float = 5.0) -> tuple[np.ndarray, np.ndarray]:
    time = np.arange(0.0, duration + step, step)
    return time, 20.0 + way * (1.0 - np.exp(-time / tau))


def first_steady(time: np.ndarray, values: np.ndarray, **more: float) -> Steadiness | None:
    """What is found when it is first called steady, looked at every half minute."""
    for now in np.arange(120.0, time[-1], 30.0):
        seen = time <= now
        found = steadiness(time[seen], values[seen], 0.0, SIGMA, more.get("longest", 200.0))
        if found.kind == "steady":
            return found
    return None


@pytest.mark.parametrize(
    ("freedom", "published"), [(4, 2.132), (6, 1.943), (10, 1.812), (20, 1.725), (60, 1.671), (1e9, 1.645)]
)
def test_students_t_is_that_of_the_tables(freedom: float, published: float) -> None:
    # SOURCE: Student's t, 5 % one-sided, as printed in any handbook of statistics (from memory), 3 decimals
    assert student_95(freedom) == pytest.approx(published, abs=0.006)


def test_what_is_left_of_a_first_order_way_is_known() -> None:
    # identity: after n time constants exp(-n) of the way is left
    for tau, after in ((60.0, 2.0), (100.0, 3.0), (150.0, 4.0)):
        time, values = first_order(tau, 10.0, after * tau)
        found = tail_of(time, values, 200.0, noise=0.01)
        assert found.left == pytest.approx(10.0 * math.exp(-after), rel=0.08)
        assert found.bound >= found.left
        assert found.time_constant == pytest.approx(tau, rel=0.15)


def test_a_first_order_way_is_steady_when_less_than_half_a_reading_is_left() -> None:
    # identity: 10 exp(-t / 100 s) = 0.2 K at 100 ln 50 = 391 s; the line over the last 120 s moves by 0.4 K
    # (one reading) from 10 (e^1.2 - 1) exp(-t / 100 s) = 0.4 on: 100 ln 58 = 406 s
    time, values = first_order(100.0, 10.0, 1500.0)
    found = first_steady(time, values)
    assert found is not None
    late = next(
        now
        for now in np.arange(120.0, 1500.0, 10.0)
        if steadiness(time[time <= now], values[time <= now], 0.0, SIGMA, 200.0).kind == "steady"
    )
    assert 391.0 <= late <= 460.0
    assert abs(found.value - 30.0) <= math.hypot(SIGMA, found.spread)


def test_the_value_taken_is_within_its_uncertainty_in_95_of_100() -> None:
    rng = np.random.default_rng(5)
    inside = taken = 0
    for _ in range(60):
        tau, way = rng.uniform(20.0, 180.0), rng.uniform(-20.0, 20.0)
        noise = rng.uniform(0.01, 0.3)
        time, values = first_order(tau, way, 2400.0, step=float(rng.choice([5.0, 10.0, 20.0])))
        values = np.round(values + rng.normal(0.0, noise, len(values)), 1)
        found = first_steady(time, values)
        if found is not None:
            taken += 1
            inside += abs(found.value - 20.0 - way) <= 2.0 * math.hypot(0.5 * SIGMA, found.spread)
    assert taken >= 57
    assert inside >= 0.95 * taken


def test_a_room_that_drifts_slowly_lets_the_reading_be_taken_and_one_that_races_does_not() -> None:
    time, values = first_order(60.0, 8.0, 1800.0)
    slow = first_steady(time, values + 1.0 / 3600.0 * time)
    assert slow is not None
    later = steadiness(time, values + 1.0 / 3600.0 * time, 0.0, SIGMA, 200.0)
    assert later.drift == pytest.approx(1.0 / 3600.0, rel=0.01)
    assert first_steady(time, values + 20.0 / 3600.0 * time) is None


def test_rows_that_scatter_too_much_or_are_too_few_are_never_steady_by_chance() -> None:
    """A slope that cannot be told from zero is no rest: two readings of noise would pass."""
    rng = np.random.default_rng(1)
    time = np.arange(0.0, 121.0, 20.0)
    passed = sum(
        steadiness(time, rng.normal(0.0, 1.0, len(time)), 0.0, SIGMA, 100.0).kind == "steady"
        for _ in range(200)
    )
    assert passed <= 4
    few = steadiness(time[:4], np.ones(4), 0.0, SIGMA, 100.0)
    assert few.kind == "few"


def test_what_came_before_is_not_looked_at() -> None:
    time = np.arange(0.0, 601.0, 5.0)
    values = np.where(time < 500.0, 20.0, 30.0)
    assert steadiness(time, values, 500.0, SIGMA, 100.0).kind == "few"
    assert steadiness(time, values, 0.0, SIGMA, 100.0).kind == "moving"


def test_a_swing_is_told_with_its_period_and_never_waited_for() -> None:
    time = np.arange(0.0, 3001.0, 10.0)
    rng = np.random.default_rng(2)
    values = 20.0 + 1.5 * np.sin(2.0 * np.pi * time / 400.0) + rng.normal(0.0, 0.05, len(time))
    found = steadiness(time, values, 0.0, SIGMA, 100.0)
    assert found.kind == "swings"
    assert found.period == pytest.approx(400.0, rel=0.05)
    assert found.amplitude == pytest.approx(1.5, rel=0.1)
    assert math.isinf(found.left)


def test_a_count_is_steady_when_it_has_stood_for_a_window() -> None:
    time = np.arange(0.0, 301.0, 10.0)
    values = np.where(time < 100.0, 2.0, 3.0)
    found = steadiness(time, values, 0.0, 0.0, 100.0, exact=True)
    assert (found.kind, found.value) == ("steady", 3.0)
    assert steadiness(time[:18], values[:18], 0.0, 0.0, 100.0, exact=True).kind == "moving"


def test_the_time_left_of_a_first_order_way_is_about_right() -> None:
    # identity: from 200 s on, 10 exp(-2) falls to 0.2 in 100 ln(6.77) = 191 s
    time, values = first_order(100.0, 10.0, 200.0)
    found = steadiness(time, values, 0.0, SIGMA, 200.0)
    assert found.kind == "moving"
    assert found.left == pytest.approx(191.0, rel=0.25)


def test_scatter_is_told_apart_from_a_way() -> None:
    rng = np.random.default_rng(3)
    ramp = np.arange(2000) * 0.5
    assert noise_of(ramp) == pytest.approx(0.0, abs=1e-9)
    assert noise_of(ramp + rng.normal(0.0, 0.2, 2000)) == pytest.approx(0.2, rel=0.1)


def test_correlated_scatter_makes_the_bound_wider() -> None:
    rng = np.random.default_rng(4)
    time = np.arange(200.0)
    white = rng.normal(0.0, 1.0, 200)
    red = np.empty(200)
    red[0] = white[0]
    for k in range(1, 200):
        red[k] = 0.9 * red[k - 1] + math.sqrt(1.0 - 0.81) * white[k]
    assert line_of(time, red).bound > 1.5 * line_of(time, white).bound
