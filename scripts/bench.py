"""How fast: moist-air states a second, ours and a general-purpose library's, on the same arrays.

Run as `make bench`. Ratios count, not seconds: both run in this process, on this machine, one after the
other, and the best of three runs is taken. The library works on one state at a time here (without numba),
so it gets fewer of the same states; the largest differences between the answers are printed too.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable

import numpy as np
import psychrolib

from wringout.physics.moist_air import dew_point, enthalpy, humidity_ratio, wet_bulb

STATES = 100_000
LIBRARY_STATES = 2_000
PRESSURE = 101_325.0


def say(line: str) -> None:
    sys.stdout.write(line + "\n")


def best_of(runs: int, work: Callable[[], object]) -> float:
    """Seconds of the fastest run."""
    seconds = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        seconds.append(time.perf_counter() - start)
    return min(seconds)


def moist_air() -> None:
    """Humidity ratio, enthalpy, wet bulb and dew point from dry bulb and relative humidity."""
    rng = np.random.default_rng(1)
    # no dew point below 0 degC: the library means ice there, ours water (and frost_point ice)
    dry_bulb = rng.uniform(15.0, 40.0, STATES)
    rh = rng.uniform(0.4, 0.98, STATES)

    def ours() -> tuple[np.ndarray, ...]:
        w = humidity_ratio(dry_bulb, rh, PRESSURE)
        return w, enthalpy(dry_bulb, w), wet_bulb(dry_bulb, w, PRESSURE), dew_point(w, PRESSURE)

    psychrolib.SetUnitSystem(psychrolib.SI)

    def theirs() -> list[tuple[float, ...]]:
        states = []
        for t, r in zip(dry_bulb[:LIBRARY_STATES].tolist(), rh[:LIBRARY_STATES].tolist(), strict=True):
            w = psychrolib.GetHumRatioFromRelHum(t, r, PRESSURE)
            states.append(
                (
                    w,
                    psychrolib.GetMoistAirEnthalpy(t, w),
                    psychrolib.GetTWetBulbFromHumRatio(t, w, PRESSURE),
                    psychrolib.GetTDewPointFromHumRatio(t, w, PRESSURE),
                )
            )
        return states

    mine = np.stack(ours())[:, :LIBRARY_STATES]
    other = np.array(theirs()).T
    own_rate = STATES / best_of(3, ours)
    their_rate = LIBRARY_STATES / best_of(3, theirs)
    say("Moist air: (dry bulb, rh) -> humidity ratio, enthalpy, wet bulb, dew point")
    say(f"  wringout    {own_rate:14,.0f} states/s  ({STATES:,} at once)")
    say(f"  psychrolib  {their_rate:14,.0f} states/s  ({LIBRARY_STATES:,}, one by one)")
    say(f"  ratio       {own_rate / their_rate:14,.0f}")
    # psychrolib is ideal gas: humidity ratio lies below by the enhancement factor, up to 0.6 %
    differences = np.abs(mine - other).max(axis=1)
    say(
        f"  largest difference: w {np.abs(mine[0] / other[0] - 1.0).max():.2%}, h {differences[1]:.0f} J/kg, "
        f"wet bulb {differences[2]:.3f} K, dew point {differences[3]:.3f} K"
    )


if __name__ == "__main__":
    moist_air()
