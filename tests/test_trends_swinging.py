"""What is told as a swing and what is not, over many draws: machines of every kind, and loops worked out."""

from __future__ import annotations

import numpy as np
import pytest

from motion_cases import UNITS, healthy, machine, one_cause
from motion_trends import loads_of, made, weather_of
from wringout.trends.oscillation import own_decay
from wringout.trends.signals import high_pass
from wringout.trends.swinging import swinging_findings
from wringout.trends.table import DAY, HOUR, TrendTable

KINDS = sorted(UNITS)
EACH = 6  # machines of a kind
START = 1_815_004_800.0


def day_of(kind: str, seed: int, hunts: bool) -> TrendTable:
    """A day of a machine off its schedule as healthy ones are, its control tuned by hand, in any weather."""
    d = machine(kind)
    rng = np.random.default_rng(60 + seed)
    values = healthy(d, 1, rng)
    under_t, under_dew, moisture, sensible = rng.uniform((0.0, 1.0, 0.5, 0.3), (8.0, 8.0, 1.0, 0.9))
    return made(
        kind, days=1.0, weather=weather_of(d, 1.0, under_t, under_dew, seed),
        loads=loads_of(1.0, moisture, sensible), seed=seed,
        values=one_cause(d, values, "control-hunting") if hunts else values,
    )  # fmt: skip


def test_healthy_machines_of_every_kind_are_not_told_to_swing() -> None:
    """Day and night, people, a valve's curve and stages that cycle are there in all of them."""
    told = {
        (kind, seed): [f.driver for f in found]
        for kind in KINDS
        for seed in range(EACH)
        if (found := swinging_findings(day_of(kind, seed, hunts=False)))
    }
    assert len(told) <= 1, told


def test_control_that_hunts_is_told_on_most_machines_whose_command_is_off_its_stops() -> None:
    told = off_stops = 0
    for kind in KINDS:
        for seed in range(EACH):
            table = day_of(kind, seed, hunts=True)
            command = table["shown.reheat_command"]
            if np.mean((command > 0.02) & (command < 0.98)) < 0.3:
                continue
            off_stops += 1
            told += any(f.driver == "reheat" for f in swinging_findings(table))
    assert off_stops >= 0.8 * len(KINDS) * EACH
    assert told >= 0.7 * off_stops, f"{told} of {off_stops}"


# ------------------------------------------------------------------- a loop that stages kick, worked out


def loop(decay: float, period: float, cycle: float, seed: int, own: float = 0.0) -> TrendTable:
    """A day of a second-order loop about 45 % of its command.

    Every start and stop of a stage kicks it by a fifth of the travel, and it leaves ``decay`` of a swing
    after each ``period`` [s]; ``own`` is half of top to bottom of a swing that it keeps up for itself,
    whatever the stages do. A stage comes every ``cycle`` [s], as evenly as a steady load lets it, and stays
    for a third of that.
    """
    rng = np.random.default_rng(seed)
    minutes = np.arange(1440.0)
    lengths = np.tile([0.65, 0.35], int(DAY / cycle) + 2)
    switches = np.cumsum(cycle * lengths * rng.uniform(0.97, 1.03, len(lengths)))
    stages = 1.0 + np.searchsorted(switches, 60.0 * minutes) % 2
    damping, turn = -np.log(max(decay, 1e-6)) / period, 2.0 * np.pi / period
    since = 60.0 * np.arange(600.0)
    answer = 0.2 * np.exp(-damping * since) * np.sin(turn * since)
    swing = np.convolve(np.diff(stages, prepend=stages[0]), answer)[: len(minutes)]
    swing = swing + own * np.sin(turn * 60.0 * minutes + rng.uniform(0.0, 2.0 * np.pi))
    command = np.clip(0.45 + swing + rng.normal(0.0, 0.003, len(minutes)), 0.0, 1.0)
    supply = 12.0 - 4.0 * (stages - 1.0) + 15.0 * command + rng.normal(0.0, 0.05, len(minutes))
    return TrendTable(
        START + 60.0 * minutes,
        {
            "shown.reheat_command": np.round(command, 2),
            "shown.stages_called": stages,
            "shown.supply_t": np.round(supply, 1),
        },
    )


CASES = [(decay, times) for decay in (0.02, 0.1, 0.2) for times in (1.0, 1.5, 2.0, 2.2, 3.0)]


@pytest.mark.parametrize(("decay", "times"), CASES)
def test_a_tuned_loop_kicked_by_stages_is_not_told_to_swing(decay: float, times: float) -> None:
    """It leaves less than a quarter of a swing after each period, and is kicked anew every one to three."""
    told = [bool(swinging_findings(loop(decay, 1500.0, times * 1500.0, seed))) for seed in range(12)]
    assert sum(told) <= 1


@pytest.mark.parametrize("times", [2.7, 3.6, 5.3])
def test_a_loop_that_swings_for_itself_is_told_however_stages_kick_it(times: float) -> None:
    told = []
    for seed in range(12):
        found = swinging_findings(loop(0.1, 900.0, times * 900.0, seed, own=0.3))
        told += [f.period == pytest.approx(900.0, rel=0.1) for f in found if f.driver == "reheat"]
    assert sum(told) >= 11


@pytest.mark.parametrize("decay", [0.05, 0.2, 0.4, 0.7])
def test_how_much_of_a_swing_is_left_is_found_under_kicks(decay: float) -> None:
    """From the log of a kicked loop alone, within a tenth."""
    found = []
    for seed in range(24):
        table = loop(decay, 1500.0, 4000.0, seed)
        fast = [
            high_pass(table[p], int(2.5 * HOUR / 60.0))
            for p in ("shown.reheat_command", "shown.stages_called")
        ]
        found.append(own_decay(fast[0], fast[1], 60.0, 1500.0))
    assert np.median(found) == pytest.approx(decay, abs=0.1)


def test_a_swing_without_end_leaves_all_of_itself_whatever_its_shape() -> None:
    """A limit cycle between both stops is no sine: what counts is that it is there again a period later."""
    minutes = np.arange(360.0)
    square = 0.5 * np.sign(np.sin(2.0 * np.pi * (minutes + 0.5) / 12.0))
    kicks = np.where(minutes > 200.0, 0.5, -0.5)
    assert own_decay(square, kicks, 60.0, 720.0) > 0.9


def test_a_signal_too_short_to_tell_says_so() -> None:
    assert np.isnan(own_decay(np.arange(16.0), np.arange(16.0), 60.0, 600.0))
