"""What a call's readings say of the air, as inputs: dew points from pairs of temperature and relative
humidity."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from wringout.ledger.propagation import propagate
from wringout.physics.moist_air import dew_point, humidity_ratio
from wringout.quantity import Dimension, UnitSystem, format
from wringout.setting_up.answer import Array

__all__ = ["DEW_POINTS", "with_dew_points"]

Readings = Mapping[str, tuple[float, float, str]]

# name of the dew point -> the pairs it may come from, the best one first
DEW_POINTS: dict[str, tuple[tuple[str, str], ...]] = {
    "outdoor.dew_point": (("outdoor.t", "outdoor.rh"),),
    "space.dew_point": (("space.t", "space.rh"), ("return.t", "return.rh")),
}


def with_dew_points(
    readings: Readings, pressure: float, system: UnitSystem
) -> dict[str, tuple[float, float, str]]:
    """Readings with the dew points that they hold in pairs, each with its standard deviation.

    ``pressure`` [Pa]; the text of a dew point names the two readings it comes from.
    """

    def law(x: Array) -> Array:
        share = np.clip(x[:, 1], 0.01, 1.0)
        return np.asarray(dew_point(humidity_ratio(x[:, 0], share, pressure), pressure))[:, None]

    found = dict(readings)
    for name, pairs in DEW_POINTS.items():
        for first, second in pairs:
            if first in readings and second in readings:
                (t, s_t, t_text), (rh, s_rh, rh_text) = readings[first], readings[second]
                told = propagate(law, [t, rh], np.diag([s_t**2, s_rh**2]))
                value = float(told.value[0])
                shown = format(value, Dimension.TEMPERATURE, system)
                found[name] = (value, float(told.sigma[0]), f"{shown} (from {t_text} and {rh_text})")
                break
    return found
