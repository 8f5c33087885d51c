"""What only a trend shows, as a likelihood: a swinging command, and a dew point that follows another.

Each sign compares how often a unit with a cause shows such a number with how often one without it does, both
with wide tails; a unit about which nothing is assumed is the measure, at 0. Settled moments of the trend are
weighed by the machine's equations and are no part of this.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from wringout.weighing.hypothesis import Hypothesis
from wringout.weighing.prior import Prior
from wringout.weighing.trend import LoggedTrend

__all__ = ["FOLLOW_OFF", "FOLLOW_ON", "SIGNS", "STILL", "SWING", "Informed", "Sign", "informed", "signs_of"]

SIGNS = FOLLOW_ON, FOLLOW_OFF, SWING, STILL = (
    "trend follows on",
    "trend follows off",
    "trend swing",
    "trend still",
)
LEAST_HOURS = 3.0  # of a state, before its figures say anything; judgement
LEAST_FREE = 0.2  # of the time off its stops, for a command's swing to show

# Logarithms of the command's standard deviation (parts slower than 2.5 h taken off, of the time that it is
# off its stops), and of the period in seconds where it swings: middle and spread. From a study of
# machine-made trends of six invented units with every cause (tests/study/test_swings.py), spreads
# widened by judgement.
SWINGS = {True: (math.log(0.30), 0.45), False: (math.log(0.028), 0.70)}
PERIODS = {True: (math.log(800.0), 0.45), False: (math.log(2400.0), 0.55)}
ANY_SWING = (math.log(0.07), 1.4)
ANY_PERIOD = (math.log(1500.0), 1.0)
SHOWS_PERIOD = 0.06  # of the travel: a smaller swing's period is noise
# share in which a unit shows just any swing: with too high a gain one that is tamed, by a weak coil or by
# what else is wrong (a quarter in the study), without it one that nothing in the catalogue makes (judgement)
ODD = {True: 0.25, False: 0.015}
# share of the time in which the shown dew point is the outdoor one, within what sensors differ; judgement
FOLLOWS, FOLLOWS_NOT = 20.0, 25.0  # powers of densities that rise towards 1 and towards 0
ODD_FOLLOWING = {True: 0.08, False: 0.02}
# Of a command over the hours in which the unit dries: how often it stands still in between, stands at a
# stop, or moves, held by a hand and by control. A control stands still only at its stops: on a calm day it
# may move by the one per cent that a log resolves, and what a hand holds does not move at all; judgement.
STILL_TRAVEL = 0.005
LEAST_MOVE = 0.05  # of the travel, from which it moves for certain
STANDS = {
    True: {"between": 0.75, "stop": 0.17, "moves": 0.08},
    False: {"between": 0.005, "stop": 0.30, "moves": 0.695},
}


@dataclass(frozen=True)
class Sign:
    """One number of a trend and what it is worth: ``name``; ``value`` and ``other`` for telling it (a swing's
    period [s], how far a command travels [0..1]);
    ``with_cause`` and ``without`` log likelihoods against that of just any unit; ``cause`` it speaks of,
    and ``variant`` of that cause by its act's sign (None: any)."""

    name: str
    value: float
    other: float
    cause: str
    variant: float | None
    with_cause: float
    without: float

    def log_likelihood(self, hypothesis: Hypothesis) -> float:
        """Logarithm of the likelihood of a hypothesis by this sign, against that of just any unit."""
        held = any(
            part.cause == self.cause and self.variant in (None, part.variant.sign)
            for part in hypothesis.parts
        )
        return self.with_cause if held else self.without


@dataclass(frozen=True)
class Informed(Prior):
    """A prior that has seen a trend's signs."""

    signs: tuple[Sign, ...] = ()

    def log_probability(self, hypothesis: Hypothesis) -> float:
        """Logarithm of the prior probability of a set times the likelihood of the trend's signs.

        Parameters
        ----------
        hypothesis : Hypothesis

        Returns
        -------
        float
        """
        told = sum(sign.log_likelihood(hypothesis) for sign in self.signs)
        return Prior.log_probability(self, hypothesis) + told


def informed(prior: Prior, signs: Sequence[Sign]) -> Informed:
    """Give a prior the signs of a trend.

    Parameters
    ----------
    prior : Prior
    signs : sequence of Sign

    Returns
    -------
    Informed
    """
    return Informed(prior.weights, prior.counts, prior.beyond_design, tuple(signs))


def signs_of(trend: LoggedTrend) -> tuple[Sign, ...]:
    """Give what a trend shows that its settled moments do not.

    Parameters
    ----------
    trend : LoggedTrend

    Returns
    -------
    tuple of Sign
        Only those that say something; none for a trend that is too short or lacks the points.
    """
    found = [_swing(trend), _still(trend)]
    on, off = trend.hours * trend.share_on, trend.hours * (1.0 - trend.share_on)
    found += [
        _follows(FOLLOW_ON, trend.follows_on, on, 1.0),
        _follows(FOLLOW_OFF, trend.follows_off, off, -1.0),
    ]
    return tuple(sign for sign in found if sign is not None)


def _normal(x: float, middle: float, spread: float) -> float:
    return math.exp(-0.5 * ((x - middle) / spread) ** 2) / (spread * math.sqrt(2.0 * math.pi))


def _swing(trend: LoggedTrend) -> Sign | None:
    free = 1.0 - trend.command_low - trend.command_high
    dries = trend.hours * trend.share_on
    if not (free >= LEAST_FREE and dries >= LEAST_HOURS and trend.swing_command >= 0.0):
        return None
    swing = trend.swing_command / math.sqrt(free)
    x = math.log(max(swing, 0.003))
    any_unit = _normal(x, *ANY_SWING)
    logs = {}
    for hunts in (True, False):
        usual = (1.0 - ODD[hunts]) * _normal(x, *SWINGS[hunts]) / any_unit
        if swing > SHOWS_PERIOD and trend.swing_period > 0.0:
            y = math.log(trend.swing_period)
            usual *= _normal(y, *PERIODS[hunts]) / _normal(y, *ANY_PERIOD)
        logs[hunts] = math.log(usual + ODD[hunts])
    # the swing of a sine is as wide as its standard deviation times the square root of 8
    wide = min(trend.swing_command * math.sqrt(8.0), 1.0)
    return Sign(SWING, wide, trend.swing_period, "control-hunting", None, logs[True], logs[False])


def _still(trend: LoggedTrend) -> Sign | None:
    """Whether the command stands where nobody but a hand would leave it."""
    if not (trend.hours * trend.share_on >= LEAST_HOURS and trend.command_travel >= 0.0):
        return None
    where = trend.command_median
    if trend.command_travel > STILL_TRAVEL:
        # off and on again it travels without anybody's doing
        kind = "moves" if trend.share_on > 0.9 and trend.command_travel > LEAST_MOVE else ""
    else:
        kind = "between" if 0.02 < where < 0.98 else "stop"
    if not kind or not where >= 0.0:
        return None
    with_cause, without = (math.log(STANDS[held][kind]) for held in (True, False))
    return Sign(STILL, where, trend.command_travel, "output-in-hand", None, with_cause, without)


def _follows(name: str, share: float, hours: float, way: float) -> Sign | None:
    if not (share >= 0.0 and hours >= LEAST_HOURS):
        return None
    usual = {
        True: FOLLOWS * share ** (FOLLOWS - 1.0),
        False: FOLLOWS_NOT * (1.0 - share) ** (FOLLOWS_NOT - 1.0),
    }
    logs = {
        swapped: math.log((1.0 - ODD_FOLLOWING[swapped]) * usual[swapped] + ODD_FOLLOWING[swapped])
        for swapped in usual
    }
    # always swapped, it follows in either state; swapped while satisfied, in one of them
    variant = None if name == FOLLOW_OFF else way
    return Sign(name, share, math.nan, "dew-source-swapped", variant, logs[True], logs[False])
