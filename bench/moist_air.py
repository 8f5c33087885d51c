"""States of moist air per second: ours against psychrolib and CoolProp, on the same arrays in one run.

From dry bulb and relative humidity: humidity ratio, enthalpy, wet bulb and dew point. Ratios count, not
seconds. Run as ``python bench/moist_air.py [states]``; psychrolib is also timed with numba where that is
installed, its compiling apart.
"""

from __future__ import annotations

import importlib.util
import sys
import time
from collections.abc import Callable
from types import ModuleType

import numpy as np
from numpy.typing import NDArray

from wringout.physics.moist_air import dew_point, enthalpy, humidity_ratio, wet_bulb

__all__ = ["run"]

Array = NDArray[np.float64]
Answer = tuple[Array, Array, Array, Array]
Work = Callable[[Array, Array], Answer]

PRESSURE = 101_325.0
ONE_BY_ONE = 2_000  # states for whoever does not take arrays


def ours(t: Array, rh: Array) -> Answer:
    w = humidity_ratio(t, rh, PRESSURE)
    return w, enthalpy(t, w), wet_bulb(t, w, PRESSURE), dew_point(w, PRESSURE)


def psychrolib_module(*, with_numba: bool) -> ModuleType | None:
    """A copy of psychrolib that has found numba, or has not; None where it is not to be had."""
    if importlib.util.find_spec("psychrolib") is None:
        return None
    if with_numba and importlib.util.find_spec("numba") is None:
        return None
    spec = importlib.util.find_spec("psychrolib")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    missing = object()
    found = sys.modules.get("numba", missing)
    if not with_numba:
        sys.modules["numba"] = None  # type: ignore[assignment]  # makes `import numba` fail
    try:
        spec.loader.exec_module(module)
    finally:
        if not with_numba:
            if found is missing:
                del sys.modules["numba"]
            else:
                sys.modules["numba"] = found  # type: ignore[assignment]
    module.SetUnitSystem(module.SI)
    return module


def by_psychrolib(library: ModuleType) -> Work:
    def arrays(t: Array, rh: Array) -> Answer:
        w = library.GetHumRatioFromRelHum(t, rh, PRESSURE)
        return (
            w,
            library.GetMoistAirEnthalpy(t, w),
            library.GetTWetBulbFromHumRatio(t, w, PRESSURE),
            library.GetTDewPointFromHumRatio(t, w, PRESSURE),
        )

    if library.has_numba:
        return arrays

    def singles(t: Array, rh: Array) -> Answer:
        states = [arrays(*pair) for pair in zip(t.tolist(), rh.tolist(), strict=True)]
        w, h, wet, dew = np.array(states).T
        return w, h, wet, dew

    return singles


def by_coolprop() -> Work | None:
    if importlib.util.find_spec("CoolProp") is None:
        return None
    from CoolProp.HumidAirProp import HAPropsSI

    def work(t: Array, rh: Array) -> Answer:
        w, h, wet, dew = (HAPropsSI(out, "T", t + 273.15, "R", rh, "P", PRESSURE) for out in "WHBD")
        return w, h, wet - 273.15, dew - 273.15

    return work


def rate(work: Work, t: Array, rh: Array, runs: int) -> tuple[float, Answer]:
    """States per second in the fastest of some runs, and the answer."""
    answer = work(t, rh)  # compiles, fills caches
    seconds = []
    for _ in range(runs):
        start = time.perf_counter()
        work(t, rh)
        seconds.append(time.perf_counter() - start)
    return t.size / min(seconds), answer


def apart(mine: Answer, other: Answer) -> str:
    w, h, wet, dew = (np.abs(a[: b.size] - b).max() for a, b in zip(mine, other, strict=True))
    relative = np.abs(mine[0][: other[0].size] / other[0] - 1.0).max()
    return f"w {relative:.3%} ({w:.1e}), h {h:.0f} J/kg, wet bulb {wet:.4f} K, dew point {dew:.4f} K"


def run(states: int = 100_000) -> list[tuple[str, str]]:
    """Time everybody and say how far the answers are apart.

    Parameters
    ----------
    states : int
        How many states those who take arrays get.

    Returns
    -------
    list of (str, str)
        What was measured, and the result in words.
    """
    rng = np.random.default_rng(1)
    # dew and wet bulb above 0 degC: below, the libraries mean ice where we say dew point
    t, rh = rng.uniform(15.0, 40.0, states), rng.uniform(0.4, 0.98, states)
    own_rate, own = rate(ours, t, rh, 7)
    lines = [("wringout", f"{own_rate:,.0f} states/s, {states:,} at once")]

    def against(name: str, work: Work, count: int, runs: int) -> None:
        other_rate, other = rate(work, t[:count], rh[:count], runs)
        lines.append(
            (name, f"{other_rate:,.0f} states/s; wringout is {own_rate / other_rate:,.1f} times as fast")
        )
        lines.append((f"{name}, largest difference", apart(own, other)))

    for name, with_numba in (("psychrolib with numba", True), ("psychrolib", False)):
        library = psychrolib_module(with_numba=with_numba)
        if library is None:
            lines.append((name, "not installed here"))
        else:
            against(name, by_psychrolib(library), states if with_numba else ONE_BY_ONE, 3)
    coolprop = by_coolprop()
    if coolprop is None:
        lines.append(("CoolProp", "not installed here"))
    else:
        against("CoolProp", coolprop, min(states, ONE_BY_ONE), 2)
    return lines


if __name__ == "__main__":
    for what, result in run(*(int(argument) for argument in sys.argv[1:2])):
        sys.stdout.write(f"{what:35} {result}\n")
