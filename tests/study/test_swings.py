"""Where the figures of weighing/trend_signs.py come from: how reheat commands swing, with a control's gain
several times too high and without, on machine-made trends of invented units.

Half the units of each pair have `control-hunting` besides whatever else is wrong with them. Printed beside
the module's figures; the module's spreads must hold what is found here.
"""

from __future__ import annotations

import math
import sys

import numpy as np
import pytest

from logged_units import logged
from motion_cases import UNITS, unit
from wringout.catalogue.causes import prior_weights
from wringout.trends.evidence import trend_evidence
from wringout.weighing.trend_signs import LEAST_FREE, ODD, PERIODS, SHOWS_PERIOD, SWINGS

pytestmark = pytest.mark.study

EACH = 24  # units of one kind


def seen() -> tuple[dict[bool, list[float]], dict[bool, list[float]]]:
    """Logarithms of swings and periods, with the cause and without."""
    swings: dict[bool, list[float]] = {True: [], False: []}
    periods: dict[bool, list[float]] = {True: [], False: []}
    for number, name in enumerate(UNITS):
        document = unit(name)
        rng = np.random.default_rng(number)
        others = [cause for cause in prior_weights(document) if cause != "control-hunting"]
        wrong = [
            tuple(map(str, rng.choice(others, rng.integers(0, 3), replace=False))) for _ in range(EACH // 2)
        ]
        pairs = [*wrong, *((*causes, "control-hunting") for causes in wrong)]
        for one in logged(document, pairs, seed=100 + number):
            e = trend_evidence(one.trend, document)
            free = 1.0 - e.command_low - e.command_high
            if not free >= LEAST_FREE:
                continue
            hunts = "control-hunting" in one.wrong
            swing = e.swing_command / math.sqrt(free)
            swings[hunts].append(math.log(max(swing, 0.003)))
            if swing > SHOWS_PERIOD and e.swing_period > 0.0:
                periods[hunts].append(math.log(e.swing_period))
    return swings, periods


def test_the_figures_hold_what_machine_made_trends_show() -> None:
    swings, periods = seen()
    for what, found, figures in (("swing", swings, SWINGS), ("period", periods, PERIODS)):
        for hunts, logs in found.items():
            middle, spread = figures[hunts]
            low, half, high = np.percentile(logs, [10, 50, 90])
            sys.stdout.write(
                f"{what}, {'with' if hunts else 'without'}: {len(logs)} units, tenth {math.exp(low):.3g}, "
                f"median {math.exp(half):.3g}, ninetieth {math.exp(high):.3g}; figures "
                f"{math.exp(middle):.3g} by {math.exp(spread):.3g}\n"
            )
            assert abs(half - middle) < spread
            # of a normal distribution a ninth lies further out; besides, units that show just any swing
            outside = float(np.mean(np.abs(np.array(logs) - middle) > 1.6 * spread))
            expected = 0.11 * (1.0 - ODD[hunts]) + ODD[hunts]
            assert outside < expected + 2.0 * math.sqrt(expected * (1.0 - expected) / len(logs))
