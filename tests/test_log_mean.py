"""The log-mean difference read backwards: there and back, a root finder, limits, refusals."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from wringout.errors import InputError
from wringout.physics.exchanger import log_mean_difference
from wringout.physics.log_mean import difference_from_log_mean


@settings(max_examples=300, deadline=None)
@given(st.floats(0.05, 150.0), st.floats(1e-3, 1000.0))
def test_there_and_back(near: float, ratio: float) -> None:
    far = near * ratio
    mean = float(log_mean_difference(near, far))
    assert float(difference_from_log_mean(mean, near)) == pytest.approx(far, rel=1e-6, abs=1e-7 * near)


@pytest.mark.parametrize("mean", [0.02, 0.3, 0.349, 0.351, 0.7, 1.0 - 1e-5, 1.0 + 1e-5, 3.0, 40.0])
def test_a_root_finder_comes_to_the_same_end(mean: float) -> None:
    def off(y: float) -> float:
        return float(np.expm1(y) / y - mean) if y else 1.0 - mean

    end = np.exp(brentq(off, -200.0, 20.0, xtol=1e-13))
    assert float(difference_from_log_mean(mean, 1.0)) == pytest.approx(end, rel=1e-7, abs=1e-12)


def test_an_even_exchanger_has_one_difference_throughout() -> None:
    assert float(difference_from_log_mean(12.0, 12.0)) == pytest.approx(12.0, rel=1e-12)


def test_no_heat_means_that_the_other_end_pinches() -> None:
    assert float(difference_from_log_mean(0.0, 30.0)) == 0.0


def test_arrays_broadcast_and_what_is_not_known_stays_so() -> None:
    found = difference_from_log_mean(np.array([[5.0], [8.0]]), np.array([4.0, np.nan, 9.0]))
    assert found.shape == (2, 3)
    np.testing.assert_array_equal(np.isnan(found), [[False, True, False]] * 2)
    assert found[1, 2] == difference_from_log_mean(8.0, 9.0)


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(InputError, match="log-mean difference is -1 K"):
        difference_from_log_mean(-1.0, 5.0)
    with pytest.raises(InputError, match="difference at one end is 0 K"):
        difference_from_log_mean(5.0, 0.0)
