"""What bounds the answer, on a few machine-made calls (`make study`; all of them: bounds.py)."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from bounds import KINDS, VARIANTS, Found, found, made, noiseless, readings_of

from wringout.catalogue.points import sigma

pytestmark = pytest.mark.study


@cache
def rows() -> tuple[Found, ...]:
    return tuple(row for number in range(len(KINDS)) for row in found(number))


def log_loss(variant: str) -> float:
    return float(np.mean([-np.log(max(r.truth, 1e-6)) for r in rows() if r.variant == variant]))


def test_every_variant_weighs_every_call() -> None:
    assert {(r.variant, r.kind) for r in rows()} == {(v, k) for v in VARIANTS for k in KINDS}


@pytest.mark.parametrize("variant", [v for v in VARIANTS if v != "walk-up"])
def test_knowing_more_than_a_walk_up_leaves_the_truth_more_probable(variant: str) -> None:
    assert log_loss(variant) < log_loss("walk-up")


def test_exact_instruments_differ_from_real_ones_by_their_error_and_by_slips() -> None:
    one = made(0)
    shown, exact = readings_of(one.call), noiseless(one)
    off = np.array([(shown[key].value - exact[key]) / sigma(key[1], exact[key]) for key in exact])
    # the model's own error is in the calls too: wider than the instrument's, and not by an order
    assert 1.0 < np.median(np.abs(off)) / 0.6745 < 6.0
