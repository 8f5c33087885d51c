"""First order plus dead time: the model in which controllers of air handlers are tuned, and how it is found.

``gain`` is in units of the output per unit of the input, ``time_constant`` and ``dead_time`` in seconds. The
pure functions here are those of the textbooks; `action` uses them on trends.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wringout.trends.table import Array

__all__ = [
    "FirstOrder",
    "PiSetting",
    "SecondOrder",
    "half_rule_first_order",
    "half_rule_second_order",
    "simc_pi",
    "simulated",
    "smith_two_point",
    "step_response",
    "sundaresan_krishnaswamy_two_point",
    "times_at",
    "ultimate_point",
]


@dataclass(frozen=True, slots=True)
class FirstOrder:
    """gain * exp(-dead_time s) / (time_constant s + 1)."""

    gain: float
    time_constant: float
    dead_time: float


@dataclass(frozen=True, slots=True)
class SecondOrder:
    """gain * exp(-dead_time s) / ((first s + 1) (second s + 1))."""

    gain: float
    first: float
    second: float
    dead_time: float


@dataclass(frozen=True, slots=True)
class PiSetting:
    """A PI controller: gain [1/units of the process gain] and integral time [s]."""

    gain: float
    integral_time: float


def step_response(model: FirstOrder, time: Array, height: float = 1.0) -> Array:
    """The output after a step of the input at time 0.

    Parameters
    ----------
    model : FirstOrder
    time : array, any shape, [s]
    height : float

    Returns
    -------
    array
        NaN where time is NaN.
    """
    late = np.maximum(time - model.dead_time, 0.0)
    return np.asarray(model.gain * height * -np.expm1(-late / model.time_constant), dtype=float)


def times_at(time: Array, response: Array, shares: Sequence[float]) -> tuple[float, ...]:
    """When a step response first passes certain shares of its final change.

    Parameters
    ----------
    time, response : array, (samples,)
        From before the step (first sample) to where it has settled (last sample).
    shares : sequence of float
        Between 0 and 1.

    Returns
    -------
    tuple of float, [s]
        Interpolated between samples; NaN for a response that does not change.
    """
    total = response[-1] - response[0]
    if total == 0.0 or not np.isfinite(total):
        return tuple(math.nan for _ in shares)
    done = (response - response[0]) / total
    out = []
    for share in shares:
        k = int(np.argmax(done >= share))
        if k == 0:
            out.append(float(time[0]))
            continue
        part = (share - done[k - 1]) / (done[k] - done[k - 1])
        out.append(float(time[k - 1] + part * (time[k] - time[k - 1])))
    return tuple(out)


def smith_two_point(gain: float, t28: float, t63: float) -> FirstOrder:
    """The model through 28.3 % and 63.2 % of a step response.

    Notes
    -----
    time_constant = 1.5 (t63 - t28), dead_time = t63 - time_constant.

    References
    ----------
    Smith 1972, as in Seborg, Edgar, Mellichamp & Doyle, Process Dynamics and Control (formula from memory).
    """
    tau = 1.5 * (t63 - t28)
    return FirstOrder(gain, tau, t63 - tau)


def sundaresan_krishnaswamy_two_point(gain: float, t35: float, t85: float) -> FirstOrder:
    """The model through 35.3 % and 85.3 % of a step response.

    Notes
    -----
    time_constant = 0.67 (t85 - t35), dead_time = 1.3 t35 - 0.29 t85.

    References
    ----------
    Sundaresan & Krishnaswamy 1978, as in Seborg et al. (formula from memory).
    """
    return FirstOrder(gain, 0.67 * (t85 - t35), 1.3 * t35 - 0.29 * t85)


def half_rule_first_order(
    gain: float, lags: Sequence[float], inverse: Sequence[float] = (), delay: float = 0.0, step: float = 0.0
) -> FirstOrder:
    """A model with many lags brought down to first order: half of the first neglected lag each way.

    Parameters
    ----------
    gain : float
    lags : sequence of float, [s]
        Time constants of the lags.
    inverse : sequence of float, [s]
        Of inverse responses (zeros in the right half plane), positive.
    delay, step : float, [s]
        Dead time that is there already; sampling time (half of it counts as delay).

    Returns
    -------
    FirstOrder

    References
    ----------
    Skogestad, Simple analytic rules for model reduction and PID controller tuning, J. Process Control 13
    (2003) 291-309, half rule (from memory).
    """
    ordered = sorted(lags, reverse=True)
    second = ordered[1] if len(ordered) > 1 else 0.0
    tau = ordered[0] + 0.5 * second
    theta = delay + 0.5 * second + sum(ordered[2:]) + sum(inverse) + 0.5 * step
    return FirstOrder(gain, tau, theta)


def half_rule_second_order(
    gain: float, lags: Sequence[float], inverse: Sequence[float] = (), delay: float = 0.0
) -> SecondOrder:
    """A model with many lags brought down to second order by the half rule; see `half_rule_first_order`."""
    ordered = sorted(lags, reverse=True)
    third = ordered[2] if len(ordered) > 2 else 0.0
    theta = delay + 0.5 * third + sum(ordered[3:]) + sum(inverse)
    return SecondOrder(gain, ordered[0], ordered[1] + 0.5 * third, theta)


def simc_pi(model: FirstOrder, closed_loop: float | None = None) -> PiSetting:
    """PI setting for a first-order model.

    Parameters
    ----------
    model : FirstOrder
    closed_loop : float, optional
        Wanted time constant of the closed loop [s]; without it, the dead time.

    Returns
    -------
    PiSetting

    Notes
    -----
    Kc = tau / (K (tc + theta)), tI = min(tau, 4 (tc + theta)).

    References
    ----------
    Skogestad 2003, as in `half_rule_first_order`.
    """
    tc = model.dead_time if closed_loop is None else closed_loop
    whole = tc + model.dead_time
    return PiSetting(model.time_constant / (model.gain * whole), min(model.time_constant, 4.0 * whole))


def ultimate_point(model: FirstOrder) -> tuple[float, float]:
    """Gain and period at which proportional control of the model swings for ever.

    Returns
    -------
    tuple of float
        Ultimate gain, and ultimate period [s]; infinite gain and period 0 without dead time.

    Notes
    -----
    Phase -180 deg: atan(w tau) + w theta = pi, solved by bisection on w theta in (pi/2, pi).
    """
    if model.dead_time <= 0.0:
        return math.inf, 0.0
    low, high = 0.0, math.pi / model.dead_time
    for _ in range(200):
        middle = 0.5 * (low + high)
        if math.atan(middle * model.time_constant) + middle * model.dead_time < math.pi:
            low = middle
        else:
            high = middle
    omega = 0.5 * (low + high)
    gain = math.sqrt(1.0 + (omega * model.time_constant) ** 2) / abs(model.gain)
    return gain, 2.0 * math.pi / omega


def simulated(inputs: Array, time_constants: Array, delay: int, step: float) -> Array:
    """Inputs passed through first-order lags of gain one, for several time constants at once.

    Parameters
    ----------
    inputs : array, (chunks, samples)
        Even steps; no NaN. Every chunk starts settled at its first value.
    time_constants : array, (lags,), [s]
    delay : int
        Dead time in samples.
    step : float, [s]

    Returns
    -------
    array, (lags, chunks, samples)
    """
    shifted = inputs
    if delay:
        first = np.repeat(inputs[:, :1], delay, axis=1)
        shifted = np.concatenate([first, inputs[:, :-delay]], axis=1)[:, : inputs.shape[1]]
    keep = np.exp(-step / np.maximum(time_constants, 1e-9))[:, None]
    out = np.empty((len(time_constants), *inputs.shape))
    state = np.repeat(shifted[None, :, 0], len(time_constants), axis=0)
    for k in range(inputs.shape[1]):  # a recursion in time, all chunks and lags side by side
        state = keep * state + (1.0 - keep) * shifted[None, :, k]
        out[:, :, k] = state
    return out
