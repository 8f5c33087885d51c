"""States of the air for the moist-air chart: as read, with uncertainty, and as a healthy machine would have
them."""

from __future__ import annotations

from typing import Any

import numpy as np

from wringout.documents.call import Call
from wringout.documents.states import operating_states
from wringout.machine.known import KnownMachine
from wringout.machine.parameters import Array
from wringout.physics.moist_air import humidity_ratio
from wringout.physics.saturated_air import saturated_humidity_ratio
from wringout.showing.expected import Scene, scene

__all__ = ["chart_states", "saturation"]

DRAWS = 400
PLACES = ("outdoor", "return", "mixed", "coil_leaving", "supply", "space")


def chart_states(
    call: Call, rng: np.random.Generator, known: KnownMachine | None = None
) -> list[dict[str, Any]]:
    """For each operating state: places with dry bulb [degC] and humidity ratio [kg/kg], means and covariance;
    expected of any healthy machine, or of this one as far as it is ``known``.

    Where the coil leaves air, only its temperature is read; reheat adds no water, so its humidity ratio is
    that of the supply air.
    """
    found = []
    for snapshot in operating_states(call):
        at = scene(call, rng, snapshot, known)
        read = _read(at, rng)
        if read:
            found.append(
                {
                    "state": snapshot.state,
                    "machine": snapshot.machine_epoch,
                    "visit": snapshot.visit,
                    "pressure": float(at.design.pressure),
                    "read": read,
                    "expected": _expected(at),
                }
            )
    return found


def saturation(pressure: float, low: float, high: float, count: int = 60) -> tuple[list[float], list[float]]:
    """The saturation line at a pressure [Pa] between two temperatures [degC]."""
    t = np.linspace(low, high, count)
    return t.tolist(), np.asarray(saturated_humidity_ratio(t, pressure)).tolist()


def moisture_at(t: float, rh: float, pressure: float) -> float:
    """Humidity ratio [kg/kg] for the lines of equal relative humidity."""
    return float(humidity_ratio(t, rh, pressure))


def _state(t: Array, w: Array) -> dict[str, Any]:
    cov = np.cov(t, w)
    return {
        "t": float(np.mean(t)),
        "w": float(np.mean(w)),
        "tt": float(cov[0, 0]),
        "tw": float(cov[0, 1]),
        "ww": float(cov[1, 1]),
    }


def _read(at: Scene, rng: np.random.Generator) -> dict[str, Any]:
    found: dict[str, Any] = {}
    drawn: dict[str, tuple[Array, Array]] = {}
    for place in PLACES:
        t, rh = at.seen.get(f"{place}.t"), at.seen.get(f"{place}.rh")
        if t is None or rh is None:
            continue
        warm = t.value + t.sigma * rng.standard_normal(DRAWS)
        damp = np.clip(rh.value + rh.sigma * rng.standard_normal(DRAWS), 0.005, 1.0)
        drawn[place] = warm, np.asarray(humidity_ratio(warm, damp, at.design.pressure))
        found[place] = _state(*drawn[place])
    coil = at.seen.get("coil_leaving.t")
    if coil is not None and "supply" in drawn:
        warm = coil.value + coil.sigma * rng.standard_normal(DRAWS)
        found["coil_leaving"] = _state(warm, drawn["supply"][1])
    return found


def _expected(at: Scene) -> dict[str, Any]:
    s = at.machines
    states = {
        "outdoor": (s.conditions.outdoor_t, s.mixed.outdoor_w),
        "return": (s.mixed.return_t, s.mixed.space_w),
        "mixed": (s.mixed.dry_bulb, s.mixed.humidity_ratio),
        "coil_leaving": (s.cooling.air.dry_bulb, s.supply_w),
        "supply": (s.supply_t, s.supply_w),
    }
    ones = np.ones_like(np.asarray(s.supply_t))
    return {name: _state(np.asarray(t) * ones, np.asarray(w) * ones) for name, (t, w) in states.items()}
