"""The reheat in time: valve travel, the loop as plug flow between source and coil; hot gas with its lag."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from wringout.machine.design import AIR_EXPONENT, REHEAT_AIR_SHARE, WATER_EXPONENT, Design
from wringout.machine.motion_numbers import Columns, Number, Numbers
from wringout.machine.motion_storage import HOT_GAS_TIME, REHEAT_COIL_TIME, STANDING_TIME, Storage
from wringout.machine.parameters import Array
from wringout.machine.recovered_heat import exchange, offer
from wringout.machine.water_side import (
    BOILER_RESERVE,
    FLOW_SWITCH,
    Plug,
    coil_port,
    flows,
    plug,
)

__all__ = ["HotGas", "Loop", "Pipes", "Stem", "source_terms"]

KNOTS = 513  # of valve position, between which flows and exchangers are looked up
MOST_HEAT, MOST_RISE = 1e12, 1e3  # W and K that stand for no limit
SWITCH_WIDTH = 0.004  # of design flow, over which the settled machine's flow switch turns
STANDING_SHARE = 3e-4  # of design flow; less than that renews no source
AIR_SPECIFIC_HEAT = 1016.0  # J/(kg K), as the settled machine takes it

Rows = NDArray[np.intp]


class Stem:
    """The actuator: its stem runs at constant speed to where the signal sends it."""

    def __init__(
        self,
        n: Numbers,
        design: Design,
        p: dict[str, Number],
        fields: dict[str, Array],
        step: float,
        travel: float,
    ) -> None:
        self.n = n
        signal = design.unit.reheat.valve.signal
        shut, full = (plug(design, fields, np.full(1, command)).signal for command in (0.0, 1.0))
        low, span = signal.low, signal.high - signal.low
        start, rise = (shut - low) / span, (full - shut) / span
        if signal.coil_open_at == "low":
            start, rise = 1.0 - start, -rise
        self.start, self.rise = _numbers(n, start, fields), _numbers(n, rise, fields)
        self.stuck, self.stuck_at = p["stuck"], p["stuck_at"]
        self.loose, self.loose_at = p["loose"], p["loose_at"]
        self.most = step / (travel * p["travel_ratio"])
        self.position = self.stem = p["zero"]

    def target(self, command: Number) -> Number:
        """Where the stem comes to rest."""
        return self.n.pick(self.stuck, self.stuck_at, self.n.share(self.start + self.rise * command))

    def settle(self, command: Number) -> None:
        """Put the stem where it comes to rest."""
        self.stem = self.target(command)
        self.position = self.n.pick(self.loose, self.loose_at, self.stem)

    def move(self, command: Number) -> None:
        """Run for one step."""
        n = self.n
        way = self.target(command) - self.stem
        self.stem = self.stem + n.most(n.least(way, self.most), -self.most)
        self.position = n.pick(self.loose, self.loose_at, self.stem)


def _numbers(n: Numbers, values: Array, fields: dict[str, Array]) -> Number:
    wide = np.broadcast_to(values, fields["air_ratio"].shape)
    return np.array(wide) if n.many else float(wide[0])


class Pipes:
    """Supply and return pipe of one loop as plug flow: what went in comes out when its volume has passed.

    Both pipes hold the same volume and see the same flow, so that one mark finds the parcel in both. A
    parcel cools towards the room by its age. Nothing mixes within a pipe; a parcel's temperature is
    interpolated once, between the two steps at which its neighbours went in.
    """

    def __init__(self, n: Numbers, steps: int, samples: int, volume: Number, decay: Number) -> None:
        self.n, self.volume, self.decay = n, volume, decay
        self.count = 0
        # each parcel: volume that had passed when it went in, supply and return temperature, and when
        self.parcels: Any = np.empty((steps + 3, samples, 4)) if n.many else []
        self.mark: Any = np.zeros(samples, dtype=np.intp) if n.many else 0
        self.samples = np.arange(samples)
        self.total: Number = volume * 0.0

    def push(self, out: Number, back: Number, now: Number) -> None:
        """Let a parcel into each pipe: supply water at the source, mixed water behind the coil."""
        if self.n.many:
            row = self.parcels[self.count]
            row[:, 0], row[:, 1], row[:, 2], row[:, 3] = self.total, out, back, now
        else:
            self.parcels.append((self.total, out, back, now))
        self.count += 1

    def fill(self, out: Number, back: Number, now: float, main: Number) -> None:
        """Fill both pipes with water that has been flowing evenly for long."""
        age = self.volume / self.n.most(main, 1e-9)
        self.total = self.total - self.volume * (1.0 + 1e-9)
        self.push(out, back, now - age)
        self.total = self.total * 0.0
        self.push(out, back, now)

    def leave(self, main: Number, step: float, now: float, around: Number) -> tuple[Number, Number]:
        """Move the water for one step and give what leaves the supply and the return pipe."""
        self.total = self.total + main * step
        place = self.total - self.volume
        return self._many(place, now, around) if self.n.many else self._one(place, now, around)

    def _one(self, place: float, now: float, around: float) -> tuple[float, float]:
        parcels, last, k = self.parcels, self.count - 2, self.mark
        while k < last and parcels[k + 1][0] <= place:
            k += 1
        self.mark = k
        start, gone, back, when = parcels[k]
        end, gone_next, back_next, when_next = parcels[k + 1]
        part = min((place - start) / (end - start), 1.0) if end > start else 0.0
        kept = self.n.exp(-self.decay * (now - when - part * (when_next - when)))
        gone += part * (gone_next - gone) - around
        back += part * (back_next - back) - around
        return around + kept * gone, around + kept * back

    def _many(self, place: Array, now: float, around: Array) -> tuple[Array, Array]:
        parcels, last, mark, rows = self.parcels, self.count - 2, self.mark, self.samples
        while True:
            after = parcels[mark + 1, rows]
            ahead = (after[:, 0] <= place) & (mark < last)
            if not ahead.any():
                break
            mark = mark + ahead
        self.mark = mark
        before = parcels[mark, rows]
        wide = after - before
        span = wide[:, 0]
        part = np.minimum((place - before[:, 0]) / np.where(span > 0.0, span, np.inf), 1.0)
        parcel = before + part[:, None] * wide
        kept = np.exp(self.decay * (parcel[:, 3] - now))
        return around + kept * (parcel[:, 1] - around), around + kept * (parcel[:, 2] - around)


def source_terms(design: Design, p: dict[str, Array], main: Array) -> tuple[Array, Array, Array, Array]:
    """What a source can do at a flow of the main.

    Parameters
    ----------
    design : Design
    p : dict of array, (samples,)
        Machine parameters.
    main : array, (knots, samples), [m3/s]

    Returns
    -------
    (array, array, array, array)
        Whether it is live [0..1]; for recovered heat how far it lifts water towards the gas [-] and the
        temperature it can come to [degC], for a boiler 0 and 0; the most its heat lifts water [K].
    """
    loop = design.loop
    assert loop is not None
    per_flow = loop.density * loop.specific_heat
    main_rate = np.maximum(main, 1e-12) * per_flow
    switch = np.clip((main / loop.main_flow - FLOW_SWITCH) / SWITCH_WIDTH, -40.0, 40.0)
    live = 1.0 / (1.0 + np.exp(-switch))
    nothing = np.zeros_like(main_rate)
    if not design.reclaim:
        return live, nothing, nothing, design.source_heat * BOILER_RESERVE / main_rate
    can = offer(design, p, main_rate)
    return live, can.lift, can.towards, np.minimum(can.heat, MOST_HEAT) / main_rate


class Loop:
    """Hot-water reheat in time: valve, loop and source; gives the air its heat [W]."""

    def __init__(
        self,
        n: Numbers,
        design: Design,
        p: dict[str, Number],
        fields: dict[str, Array],
        store: Storage,
        step: float,
        supply: Array,
        steps: int,
    ) -> None:
        loop = design.loop
        assert loop is not None
        self.n, self.step = n, step
        self.valve = Stem(n, design, p, fields, step, store.travel_time)
        per_flow = loop.density * loop.specific_heat
        self.per_flow = per_flow
        position = Columns.knots(KNOTS)[:, None] + np.zeros(len(supply))
        main, coil, _, _ = flows(design, fields, Plug(position, position, position))
        main, coil = np.broadcast_arrays(main, coil)
        _, lift, hot, rise = source_terms(design, fields, main)
        main_rate = np.maximum(main, 1e-12) * per_flow
        coil_rate = np.maximum(np.minimum(coil, main), 1e-13) * per_flow
        ratio_water = np.maximum(coil_rate / design.reheat_water_rate, 1e-5)
        conductance = (
            design.reheat_conductance
            * fields["reheat_coil_ratio"]
            / (
                REHEAT_AIR_SHARE * (supply / design.reheat_rated_flow) ** -AIR_EXPONENT
                + (1.0 - REHEAT_AIR_SHARE) * ratio_water**-WATER_EXPONENT
            )
        )
        pull = exchange(conductance, coil_rate, supply * AIR_SPECIFIC_HEAT)
        columns = [main, pull, lift, np.minimum(rise, MOST_RISE), np.minimum(pull / main_rate, 1.0)]
        self.table = Columns.of(columns, n.many)
        self.look = self.table.many if n.many else self.table.one
        self.reclaim = design.reclaim
        self.hot = _numbers(n, hot[0], fields) if design.reclaim else p["zero"]
        self.asked = design.source_out + p["source_out_shift"] + p["boiler_shift"]
        volume = loop.pipe_volume * p["loop_volume_ratio"]
        decay = loop.pipe_conductance / (per_flow * volume)
        self.pipes = Pipes(n, steps, len(supply), volume, decay)
        held = loop.main_flow * REHEAT_COIL_TIME * per_flow
        lag = held / (loop.main_flow * per_flow + design.reheat_conductance) * p["coil_mass_ratio"]
        self.follows = 1.0 - n.exp(-step / lag)
        self.vessel = loop.main_flow * store.source_time * p["source_mass_ratio"]
        self.per_main = 1.0 / loop.main_flow
        self.stops = -1.0 / (STANDING_SHARE * loop.main_flow)
        zero = p["zero"]
        self.source_out = self.source_in = self.coil_in = self.heat = self.drawn = zero
        self.row: Any = None

    def given(self, source_in: Number, main: Number, lift: Number, rise: Number) -> Number:
        """Water that the source makes of what comes back."""
        n = self.n
        switch = n.most(n.least((main * self.per_main - FLOW_SWITCH) / SWITCH_WIDTH, 40.0), -40.0)
        live = 1.0 / (1.0 + n.exp(-switch))
        if self.reclaim:
            most = source_in + n.least(lift * (self.hot - source_in), rise)
            out = n.pick(self.asked < most, n.most(self.asked, source_in), most)
        else:
            out = n.most(n.least(self.asked, source_in + rise), source_in)
        return source_in + live * (out - source_in)

    def settle(self, command: Number, coil_in: Number, source_in: Number, source_out: Number) -> None:
        """Start from a loop that has been running long."""
        self.valve.settle(command)
        self.row = self.look(self.valve.position)
        self.coil_in, self.source_in, self.source_out = coil_in, source_in, source_out

    def fill(self, air_t: Number, now: float) -> None:
        """Fill the pipes and warm the coil to match."""
        main, pull, _, _, drawn = self.row
        self.drawn = self.heat = pull * (self.coil_in - air_t)
        mixed = self.coil_in - drawn * (self.coil_in - air_t)
        self.pipes.fill(self.source_out, mixed, now, main)

    def remember(self, other: Loop) -> None:
        """Take over the water of the loop before a change."""
        for name in ("source_out", "source_in", "coil_in", "heat", "drawn"):
            setattr(self, name, getattr(other, name))
        self.valve.stem = other.valve.stem
        self.valve.position = self.n.pick(self.valve.loose, self.valve.loose_at, self.valve.stem)
        volume, decay = self.pipes.volume, self.pipes.decay
        self.pipes = other.pipes
        self.pipes.volume, self.pipes.decay = volume, decay

    def advance(self, command: Number, air_t: Number, around: Number, now: float) -> Number:
        """Let valve, water and source run for one step; the heat that reaches the air [W]."""
        n, step = self.n, self.step
        self.valve.move(command)
        self.row = self.look(self.valve.position)
        main, pull, lift, rise, drawn = self.row
        self.coil_in, self.source_in = self.pipes.leave(main, step, now, around)
        over_air = self.coil_in - air_t
        self.drawn = pull * over_air
        target = self.given(self.source_in, main, lift, rise)
        # a source without any flow does not follow its water, it cools to the room
        renewed = main * step / self.vessel
        kept = n.exp(-renewed)
        self.source_out = target + kept * (self.source_out - target)
        standing = n.exp(main * self.stops) * (step / STANDING_TIME)
        self.source_out = self.source_out + standing * (around - self.source_out)
        self.pipes.push(self.source_out, self.coil_in - drawn * over_air, now)
        self.heat = self.heat + self.follows * (self.drawn - self.heat)
        return self.heat


class HotGas:
    """Hot-gas reheat in time: the valve's share of the running stages' discharge, with the coil's lag."""

    def __init__(
        self,
        n: Numbers,
        design: Design,
        p: dict[str, Number],
        fields: dict[str, Array],
        store: Storage,
        step: float,
        supply: Array,
    ) -> None:
        self.n = n
        self.valve = Stem(n, design, p, fields, step, store.travel_time)
        position = Columns.knots(KNOTS)[:, None] + np.zeros(len(supply))
        share = np.minimum(coil_port(design, fields, position) * fields["hot_gas_ratio"], 1.0)
        self.table = Columns.of([share + 0.0 * position], n.many)
        self.look = self.table.many if n.many else self.table.one
        ratio = supply / design.reheat_rated_flow
        units = design.hot_gas_effectiveness_units * fields["reheat_coil_ratio"] * ratio ** (AIR_EXPONENT - 1)
        takes = supply * AIR_SPECIFIC_HEAT * (1.0 - np.exp(-units))
        self.takes = _numbers(n, takes, fields)
        self.ratio, self.leak = n.least(p["hot_gas_ratio"], 1.0), p["valve_leak"]
        self.follows = 1.0 - n.exp(-step / (HOT_GAS_TIME * p["coil_mass_ratio"]))
        self.heat = self.taken = p["zero"]

    def remember(self, other: HotGas) -> None:
        """Take over what the coil held before a change."""
        self.heat, self.taken = other.heat, other.taken
        self.valve.stem = other.valve.stem
        self.valve.position = self.n.pick(self.valve.loose, self.valve.loose_at, self.valve.stem)

    def target(self, air_t: Number, rejected: Number, condensing: Number) -> Number:
        """Heat [W] that the gas gives once the coil has followed."""
        n = self.n
        most = self.takes * n.most(condensing - air_t, 0.0)
        there = n.most(rejected, 0.0)
        (share,) = self.look(self.valve.position)
        return n.most(self._least(share * there, most), self.leak * self._least(self.ratio * there, most))

    def _least(self, a: Number, b: Number) -> Number:
        """The smaller of two heats, rounded where they meet as in water_side."""
        least, most = self.n.least(a, b), self.n.most(a, b)
        return least / (1.0 + (least / self.n.most(most, 1e-9)) ** 6) ** (1.0 / 6.0)

    def advance(self, command: Number, air_t: Number, rejected: Number, condensing: Number) -> Number:
        """Let valve and coil run for one step; the heat that reaches the air [W]."""
        n = self.n
        self.valve.move(command)
        self.heat = self.heat + self.follows * (self.target(air_t, rejected, condensing) - self.heat)
        self.taken = n.share(self.heat / n.most(rejected, 1.0))
        return self.heat
