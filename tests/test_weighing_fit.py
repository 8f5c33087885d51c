"""Fits and evidence on machines whose answer is known: a linear one, one with a stop, and one slip."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy import integrate, stats

from wringout.machine.parameters import Array
from wringout.weighing import fit as fitting
from wringout.weighing import places as placing
from wringout.weighing.batch import Residuals
from wringout.weighing.fit import fit
from wringout.weighing.hypothesis import HEALTHY
from wringout.weighing.refine import refine

Machine = Callable[[Array], Array]
CAREFUL = 1e-9  # share of slips where readings are normal


@pytest.fixture
def pretend(monkeypatch: pytest.MonkeyPatch) -> Callable[..., Any]:
    """Puts functions of the unknowns in the machine's place, one a situation."""

    def put(
        machines: Sequence[Machine],
        read: Sequence[Array],
        sigma: Sequence[Array],
        width: int,
        slip: float = CAREFUL,
    ) -> Any:
        def residuals(at: Any, hypotheses: Any, blocks: Sequence[tuple[int, Any, Array]]) -> list[Residuals]:
            return [
                Residuals(
                    (read[i] - machines[i](z)) / sigma[i],
                    np.broadcast_to(np.log(sigma[i]), (z.shape[0], read[i].size)).copy(),
                    np.full(read[i].size, slip),
                )
                for i, _, z in blocks
            ]

        monkeypatch.setattr(fitting, "residuals", residuals)
        return SimpleNamespace(
            problem=SimpleNamespace(situations=(None,) * len(machines), design=SimpleNamespace(dx=False)),
            rows=(),
            relevant=(np.ones(width, dtype=bool),) * len(machines),
            first_severity=width,
            width=width,
        )

    return put


def linear(rows: int, columns: int, seed: int) -> tuple[Array, Array, Array]:
    """Slopes, standard deviations and readings of a linear machine."""
    rng = np.random.default_rng(seed)
    slopes = rng.normal(0.0, 1.5, (rows, columns))
    sigma = rng.uniform(0.2, 1.0, rows)
    return slopes, sigma, slopes @ rng.standard_normal(columns) + sigma * rng.standard_normal(rows)


def evidence_of(slopes: Array, sigma: Array, read: Array) -> float:
    """Log density of the readings of a linear machine: normal, prior and errors together."""
    return float(
        stats.multivariate_normal.logpdf(read, np.zeros(read.size), slopes @ slopes.T + np.diag(sigma**2))
    )


@pytest.mark.parametrize(("rows", "columns"), [(4, 7), (9, 3), (1, 1)])
def test_the_evidence_of_a_linear_machine_is_the_exact_one(
    pretend: Callable[..., Any], rows: int, columns: int
) -> None:
    slopes, sigma, read = linear(rows, columns, 11 + rows)
    at = pretend([lambda z: z @ slopes.T], [read], [sigma], columns)
    found = fit(at, [HEALTHY], np.zeros((1, columns)), rounds=8)
    assert found.log_evidence[0] == pytest.approx(evidence_of(slopes, sigma, read), abs=1e-3)
    best = np.linalg.solve((slopes.T / sigma**2) @ slopes + np.eye(columns), (slopes.T / sigma**2) @ read)
    assert found.z[0] == pytest.approx(best, abs=1e-3)


def test_readings_of_two_states_are_evidence_together(pretend: Callable[..., Any]) -> None:
    slopes, sigma, read = linear(7, 4, 5)
    at = pretend(
        [lambda z: z @ slopes[:3].T, lambda z: z @ slopes[3:].T],
        [read[:3], read[3:]],
        [sigma[:3], sigma[3:]],
        4,
    )
    found = fit(at, [HEALTHY], np.zeros((1, 4)), rounds=8)
    assert found.log_evidence[0] == pytest.approx(evidence_of(slopes, sigma, read), abs=1e-3)


def test_several_hypotheses_are_fitted_side_by_side_from_their_own_starts(
    pretend: Callable[..., Any],
) -> None:
    slopes, sigma, read = linear(5, 3, 8)
    at = pretend([lambda z: z @ slopes.T], [read], [sigma], 3)
    starts = np.array([[0.0, 0.0, 0.0], [2.0, -2.0, 1.0], [-3.0, 3.0, 3.0]])
    found = fit(at, [HEALTHY] * 3, starts, rounds=10)
    assert found.log_evidence == pytest.approx(np.full(3, evidence_of(slopes, sigma, read)), abs=2e-3)


def test_sampling_agrees_with_the_exact_evidence_of_a_linear_machine(pretend: Callable[..., Any]) -> None:
    slopes, sigma, read = linear(6, 8, 21)
    at = pretend([lambda z: z @ slopes.T], [read], [sigma], 8)
    found = fit(at, [HEALTHY], np.zeros((1, 8)), rounds=8)
    count = 4000
    r = refine(at, [HEALTHY], found.z, found.curvature.root, count, np.random.default_rng(3))
    # error of the logarithm of a mean of weights with this effective size, in pairs
    error = 2.0 / np.sqrt(float(r.effective[0]))
    assert r.effective[0] > 0.4 * count
    assert r.log_evidence[0] == pytest.approx(evidence_of(slopes, sigma, read), abs=3.0 * error)
    assert np.exp(r.log_weight).sum() == pytest.approx(1.0)
    mean = (np.exp(r.log_weight)[0][:, None] * r.samples[0]).sum(axis=0)
    assert mean == pytest.approx(found.z[0], abs=0.1)


def exact_with_a_stop(slope: float, sigma: float, read: float) -> float:
    """Log evidence where the machine answers with max(slope z, 0): by quadrature."""
    whole, _ = integrate.quad(
        lambda z: stats.norm.pdf(read, max(slope * z, 0.0), sigma) * stats.norm.pdf(z),
        -9.0,
        9.0,
        points=[0.0, read / slope],
        limit=400,
    )
    return float(np.log(whole))


@pytest.mark.parametrize(
    ("slope", "sigma", "read", "off", "within"),
    [
        # reads a little beyond the stop: the parabola sees no slope and takes the flat side for everything
        (3.0, 0.3, -0.2, 0.4, 0.05),
        # reads at the stop: the parabola sees the slope and forgets the flat side
        (1.0, 0.5, 0.0, 0.3, 0.15),
        (1.0, 0.5, 0.6, 0.3, 0.15),
        # ten standard deviations a unit: nearly all that is probable lies on the side without a slope
        (3.0, 0.3, 0.0, 1.0, 0.05),
        (3.0, 0.3, 0.1, 0.3, 0.1),
    ],
)
def test_sampling_puts_right_what_a_parabola_misses_at_a_stop(
    pretend: Callable[..., Any], slope: float, sigma: float, read: float, off: float, within: float
) -> None:
    at = pretend([lambda z: np.maximum(slope * z[:, :1], 0.0)], [np.array([read])], [np.array([sigma])], 1)
    found = fit(at, [HEALTHY], np.full((1, 1), 0.3), rounds=12)
    exact = exact_with_a_stop(slope, sigma, read)
    assert abs(found.log_evidence[0] - exact) > off
    r = refine(at, [HEALTHY], found.z, found.curvature.root, 6000, np.random.default_rng(4))
    assert r.log_evidence[0] == pytest.approx(exact, abs=within)
    few = refine(at, [HEALTHY], found.z, found.curvature.root, 256, np.random.default_rng(5))
    assert few.log_evidence[0] == pytest.approx(exact, abs=within + 0.15)


def test_sampling_counts_a_stage_more_that_no_slope_leads_to(
    pretend: Callable[..., Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    # a stage runs from half a unit of the first column up; the second column is what both must share
    def machine(z: Array) -> Array:
        return np.column_stack([np.where(z[:, 0] > 0.5, 2.0, 0.0) + z[:, 1], z[:, 1]])

    read, sigma = np.array([1.1, 0.3]), np.array([0.4, 0.3])
    at = pretend([machine], [read], [sigma], 2)
    monkeypatch.setattr(placing, "stage_steps", lambda at: [(0, 1.0)])
    found = fit(at, [HEALTHY], np.zeros((1, 2)), rounds=10)

    def side(shift: float) -> float:
        mean = np.array([shift, 0.0])
        spread = np.ones((2, 2)) + np.diag(sigma**2)
        return float(stats.multivariate_normal.pdf(read, mean, spread))

    exact = float(np.log(stats.norm.cdf(0.5) * side(0.0) + stats.norm.sf(0.5) * side(2.0)))
    assert found.log_evidence[0] > exact + 0.05 or found.log_evidence[0] < exact - 0.05
    r = refine(at, [HEALTHY], found.z, found.curvature.root, 4000, np.random.default_rng(6))
    assert r.log_evidence[0] == pytest.approx(exact, abs=0.05)
    above = np.exp(r.log_weight[0])[r.samples[0, :, 0] > 0.5].sum()
    assert above == pytest.approx(stats.norm.sf(0.5) * side(2.0) / np.exp(exact), abs=0.05)


def test_one_slip_among_good_readings_hardly_moves_the_fit(pretend: Callable[..., Any]) -> None:
    read = np.array([1.0, 1.1, 0.9, 1.0, 7.0])
    at = pretend([lambda z: np.repeat(z[:, :1], 5, axis=1)], [read], [np.full(5, 0.2)], 1, slip=0.03)
    found = fit(at, [HEALTHY], np.zeros((1, 1)), rounds=12)
    without = np.array([1.0, 1.1, 0.9, 1.0])
    at = pretend([lambda z: np.repeat(z[:, :1], 4, axis=1)], [without], [np.full(4, 0.2)], 1, slip=0.03)
    honest = fit(at, [HEALTHY], np.zeros((1, 1)), rounds=12)
    assert found.z[0, 0] == pytest.approx(honest.z[0, 0], abs=0.1)
    assert found.weights[0, 4] < 0.06
    assert found.weights[0, :4].min() > 0.9


def test_no_step_leads_out_of_reach(pretend: Callable[..., Any]) -> None:
    at = pretend([lambda z: z[:, :1] * 0.01], [np.array([9.0])], [np.array([0.01])], 1)
    found = fit(at, [HEALTHY], np.zeros((1, 1)), rounds=30)
    assert np.abs(found.z).max() <= fitting.REACH
