"""SOURCE: ht 1.2.0, ``effectiveness_from_NTU``, an independent implementation of the textbook relations.

A table computed with it outside this project (to 5 digits), and the library itself. Its crossflow is the
exact integral for both streams unmixed, by quadrature.
"""

from __future__ import annotations

import numpy as np
import pytest
from ht import LMTD
from ht.hx import NTU_from_effectiveness, effectiveness_from_NTU

from wringout.physics import exchanger

ARRANGEMENTS = {
    "counterflow": exchanger.counterflow,
    "parallel": exchanger.parallel_flow,
    "crossflow": exchanger.crossflow_both_unmixed,
    "crossflow approximate": exchanger.crossflow_both_unmixed_kays_london,
    "crossflow, mixed Cmin": exchanger.crossflow_minimum_mixed,
    "crossflow, mixed Cmax": exchanger.crossflow_maximum_mixed,
    "S&T": exchanger.shell_and_tube_one_pass,
}

# NTU, Cr: counterflow, parallel, crossflow unmixed, smaller mixed, larger mixed, shell and tube
TABLE = [
    (1, 0.25, 0.59829, 0.57080, 0.58801, 0.58720, 0.58470, 0.58411),
    (1, 0.5, 0.56473, 0.51791, 0.54749, 0.54476, 0.54197, 0.53994),
    (1, 1, 0.50000, 0.43233, 0.47622, 0.46854, 0.46854, 0.46267),
    (2, 0.5, 0.77460, 0.63348, 0.73241, 0.71755, 0.70201, 0.69309),
    (2, 1, 0.66667, 0.49084, 0.61425, 0.57881, 0.57881, 0.55681),
    (3, 0.25, 0.91881, 0.78119, 0.88846, 0.87883, 0.84578, 0.84076),
    (5, 0.7, 0.92067, 0.58812, 0.84448, None, None, 0.68350),
]
COLUMNS = (
    exchanger.counterflow,
    exchanger.parallel_flow,
    exchanger.crossflow_both_unmixed,
    exchanger.crossflow_minimum_mixed,
    exchanger.crossflow_maximum_mixed,
    exchanger.shell_and_tube_one_pass,
)


@pytest.mark.parametrize("row", TABLE, ids=lambda row: f"NTU {row[0]}, Cr {row[1]}")
def test_each_arrangement_has_the_effectiveness_of_the_table(row: tuple[float, ...]) -> None:
    ntu, ratio, *expected = row
    for arrangement, value in zip(COLUMNS, expected, strict=True):
        if value is not None:
            assert arrangement(ntu, ratio) == pytest.approx(value, abs=6e-6)


@pytest.mark.parametrize(
    ("ntu", "effectiveness"), [(0.5, 0.39347), (1, 0.63212), (2, 0.86466), (3, 0.95021), (5, 0.99326)]
)
def test_where_one_stream_does_not_warm_the_arrangement_does_not_matter(
    ntu: float, effectiveness: float
) -> None:
    for arrangement in COLUMNS:
        assert arrangement(ntu, 0.0) == pytest.approx(effectiveness, abs=6e-6)


@pytest.mark.parametrize("subtype", ARRANGEMENTS)
def test_each_arrangement_is_that_of_the_library_everywhere(subtype: str) -> None:
    ntu, ratio = (
        axis.ravel() for axis in np.meshgrid([0.01, 0.3, 1.1, 2.7, 6.0, 12.0], [0.02, 0.3, 0.8, 1.0])
    )
    pairs = zip(ntu, ratio, strict=True)
    theirs = np.array([effectiveness_from_NTU(float(n), float(c), subtype=subtype) for n, c in pairs])
    assert np.max(np.abs(ARRANGEMENTS[subtype](ntu, ratio) - theirs)) < 2e-7


def test_the_approximate_crossflow_formula_is_off_by_as_much_as_it_says() -> None:
    ntu, ratio = np.meshgrid(np.linspace(0.05, 10.0, 200), np.linspace(0.0, 1.0, 101))
    exact = exchanger.crossflow_both_unmixed(ntu, ratio)
    apart = np.max(np.abs(exchanger.crossflow_both_unmixed_kays_london(ntu, ratio) - exact))
    assert 0.015 < apart < 0.020
    # the one value of the source
    assert exchanger.crossflow_both_unmixed_kays_london(2.0, 0.5) == pytest.approx(0.73876, abs=6e-6)


@pytest.mark.parametrize(("effectiveness", "ratio"), [(0.3, 0.9), (0.75472, 0.45), (0.6, 1.0), (0.85, 0.2)])
def test_sizing_gives_the_transfer_units_of_the_library(effectiveness: float, ratio: float) -> None:
    counter = NTU_from_effectiveness(effectiveness, ratio, subtype="counterflow")
    cross = NTU_from_effectiveness(effectiveness, ratio, subtype="crossflow")
    ours = exchanger.ntu_from_effectiveness_counterflow(effectiveness, ratio)
    assert ours == pytest.approx(counter, rel=1e-9)
    assert exchanger.ntu_from_effectiveness_crossflow(effectiveness, ratio) == pytest.approx(cross, rel=1e-6)


def test_the_mean_difference_is_that_of_the_library() -> None:
    assert exchanger.log_mean_difference(80.0, 15.0) == pytest.approx(
        LMTD(100.0, 40.0, 20.0, 25.0, False), rel=1e-12
    )
    assert exchanger.log_mean_difference(75.0, 20.0) == pytest.approx(
        LMTD(100.0, 40.0, 20.0, 25.0), rel=1e-12
    )
