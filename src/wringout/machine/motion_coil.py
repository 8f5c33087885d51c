"""The cooling coil in time: metal and retained water with one surface temperature, fed by stages or by water.

The surface takes heat from the air and gives it to the refrigerant or the water; where both agree it stands
still, and there it is the surface of the settled machine. Water stays on the fins: up to what they hold it
drips only late, and once cooling stops it goes back into the air.
"""

from __future__ import annotations

import numpy as np

from wringout.machine.air_side import (
    CIRCUIT_EXPONENT,
    MODULATION_LEAST,
    Airflows,
    Mixed,
    condensing_over_outdoor,
    cool,
)
from wringout.machine.conditions import Conditions
from wringout.machine.design import AIR_EXPONENT, COIL_TO_EVAPORATING, Design
from wringout.machine.motion_control import Control
from wringout.machine.motion_numbers import Curve, Number, Numbers
from wringout.machine.motion_storage import CHILLED_TRAVEL, DRAIN_TIME, STAGE_TIME, Storage
from wringout.machine.parameters import Array
from wringout.physics.air_constants import (
    LATENT_HEAT,
    SPECIFIC_HEAT_DRY_AIR,
    SPECIFIC_HEAT_VAPOUR,
    SPECIFIC_HEAT_WATER,
)
from wringout.physics.cooling_coil import MOIST_SPECIFIC_HEAT
from wringout.physics.direct_expansion import CAPACITY_PER_CONDENSING, CAPACITY_PER_EVAPORATING
from wringout.physics.moist_air import saturated_humidity_ratio, temperature_of_saturated_enthalpy

__all__ = ["ChilledCoil", "DirectCoil", "Saturation"]

REJECTED = 1.25  # heat to condensers over cooling, as the settled machine takes it
COLDEST_SURFACE = -25.0  # degC, as the settled machine takes it
STEM_KNOTS = 201  # of a chilled-water valve; the edge of its shut-off travel is one of them
STEM_NEAR = 0.02  # how far one look at the settled coil serves a moving stem
LOOK_TIME = 60.0  # s, and for how long
AIR_NEAR, RATIO_NEAR = 0.5, 4e-4  # K, kg/kg: how far one look at the settled coil serves


class Saturation:
    """Saturated air at one pressure, looked up."""

    def __init__(self, n: Numbers, pressure: float) -> None:
        knots = np.linspace(-45.0, 75.0, 2401)
        self.ratio = Curve("a temperature", -45.0, 75.0, saturated_humidity_ratio(knots, pressure), n.many)
        heat = np.linspace(-2.0e4, 1.5e5, 3401)
        self.of_heat = Curve(
            "an enthalpy", -2.0e4, 1.5e5, temperature_of_saturated_enthalpy(heat, pressure), n.many
        )


def _heat_content(t: Number, w: Number) -> Number:
    return SPECIFIC_HEAT_DRY_AIR * t + w * (LATENT_HEAT + SPECIFIC_HEAT_VAPOUR * t)


class _Surface:
    """Metal, its retained water, and the air that passes."""

    def __init__(
        self,
        n: Numbers,
        design: Design,
        p: dict[str, Number],
        store: Storage,
        step: float,
        supply: Number,
        saturation: Saturation,
    ) -> None:
        self.n, self.step, self.supply, self.saturation = n, step, supply, saturation
        self.conductance = (
            design.cooling_air_conductance
            * p["cooling_coil_ratio"]
            * p["coil_dirt_ratio"]
            * (supply / design.cooling_rated_flow) ** AIR_EXPONENT
        )
        self.units = self.conductance / (supply * MOIST_SPECIFIC_HEAT)
        self.metal = store.coil_heat * p["coil_mass_ratio"]
        self.holds = store.retained * p["retained_ratio"]
        self.drains = (1.0 - n.exp(-step / DRAIN_TIME + p["zero"])) / step
        zero = p["zero"]
        self.zero = zero
        self.surface = self.water = self.total = self.dripping = zero
        self.leaving_t = self.leaving_w = zero

    def remember(self, other: _Surface) -> None:
        """Take over what the coil held before a change."""
        for name in ("surface", "water", "total", "dripping", "leaving_t", "leaving_w"):
            setattr(self, name, getattr(other, name))

    def wring(
        self, t: Number, w: Number, fog: Number, bypass: Number, taken: Number, taken_slope: Number
    ) -> None:
        """Pass air for one step while heat is taken out at the back of the surface.

        Semi-implicit in the surface temperature, so that long steps stay stable.
        """
        n, step, s = self.n, self.step, self.surface
        saturated, rise = self.saturation.ratio.with_slope(s)
        touched = self.supply * (1.0 - bypass)
        drop = w - saturated
        # a surface over the dew point gives back what it holds, as far as it is still wet
        wet = n.pick(drop > 0.0, 1.0, n.share(self.water / self.holds))
        drop = drop * wet
        shed = touched * drop
        given = self.supply * (
            _heat_content(t, w) - _heat_content(s + bypass * (t - s), w - (1.0 - bypass) * drop)
        ) - shed * (SPECIFIC_HEAT_WATER * s)
        slope = touched * (SPECIFIC_HEAT_DRY_AIR + wet * rise * LATENT_HEAT) + taken_slope
        inertia = self.metal + self.water * SPECIFIC_HEAT_WATER
        s = s + step * (given - taken) / (inertia + step * slope)
        s = n.most(s, COLDEST_SURFACE)
        self.surface = s
        saturated = self.saturation.ratio.at(s)
        drop = w - saturated
        drop = drop * n.pick(drop > 0.0, 1.0, wet)
        shed = n.most(touched * drop, -self.water / step)
        drop = shed / touched
        self.dripping = n.most(self.water - self.holds, 0.0) * self.drains
        # droplets of an over-saturated mixture drift onto the fins
        self.water = self.water + step * (shed + self.supply * fog - self.dripping)
        self.leaving_t = s + bypass * (t - s)
        self.leaving_w = w - (1.0 - bypass) * drop
        self.total = self.supply * (
            _heat_content(t, w) - _heat_content(self.leaving_t, self.leaving_w)
        ) - shed * (SPECIFIC_HEAT_WATER * s)

    def start(
        self, surface: Number, leaving_t: Number, leaving_w: Number, shed: Number, total: Number
    ) -> None:
        """Start from a coil that has been running long."""
        n = self.n
        self.surface, self.leaving_t, self.leaving_w, self.total = surface, leaving_t, leaving_w, total
        shed = n.most(shed, 0.0)
        self.water = n.pick(shed > 1e-7, self.holds + shed / self.drains, 0.0)
        self.dripping = shed


class DirectCoil(_Surface):
    """Direct expansion: stages that take heat by their load, the surface's and the outdoor temperature."""

    def __init__(
        self,
        n: Numbers,
        design: Design,
        p: dict[str, Number],
        store: Storage,
        step: float,
        supply: Number,
        saturation: Saturation,
    ) -> None:
        super().__init__(n, design, p, store, step, supply, saturation)
        count = len(design.stage_share)
        self.shares, self.modulating = design.stage_share, design.stage_modulating
        self.capacity = [p[f"stage_capacity.{i}"] for i in range(count)]
        self.turns = [n.pick(p[f"stage_load.{i}"] > 0.0, 1.0, 0.0) for i in range(count)]
        self.design, self.p, self.hot_gas = design, p, not design.hot_water
        self.add = [p[f"condensing_add.{i}"] for i in range(count)]
        self.condenser, self.feedback = p["condenser_capacity_ratio"], design.evaporator_feedback
        self.unloaded, self.unloaded_at = p["unloaded"], p["unloaded_at"]
        self.rated = design.cooling_total
        self.full = design.cooling_total * p["capacity_ratio"]
        self.condensing_rated = design.condensing_rated
        self.evaporating_rated = design.surface_rated - COIL_TO_EVAPORATING
        self.follows = 1.0 - n.exp(-step / STAGE_TIME + p["zero"])
        self.part: list[Number] = [self.zero] * count
        self.load: list[Number] = [self.zero] * count
        self.over = self.zero
        self.bypass = self.zero
        self._resistance: Number = self.zero
        self._key: list[Number] | None = None

    def remember(self, other: _Surface) -> None:
        """Take over what coil and stages held before a change."""
        super().remember(other)
        if isinstance(other, DirectCoil):
            self.part, self.load, self.over = list(other.part), list(other.load), other.over

    def settle_stages(self, loads: list[Number]) -> None:
        """Put every stage at the load that it gives."""
        n = self.n
        self.load = loads
        pairs = zip(loads, self.capacity, strict=True)
        self.part = [n.pick(cap > 0.0, load / n.most(cap, 1e-9), 0.0) for load, cap in pairs]

    @property
    def rejected(self) -> Number:
        """Heat to the condensers [W]."""
        return REJECTED * self.total

    def _circuits(self, on: list[Number]) -> None:
        """What follows from which stages run; worked out anew only when one turns."""
        n = self.n
        active, called = self.zero, self.zero
        for share, flag, turns in zip(self.shares, on, self.turns, strict=True):
            active = active + share * flag * turns
            called = called + flag
        wetted = n.most(active, 0.05)
        # with every stage off the whole coil is one wet surface to the air
        contact = n.pick(called > 0.5, wetted**CIRCUIT_EXPONENT, 1.0)
        self.bypass = n.exp(-self.units * contact)
        self._resistance = COIL_TO_EVAPORATING / (self.rated * wetted)

    def advance(
        self, control: Control, air: tuple[Number, Number, Number], outdoor_t: Number, gas_taken: Number
    ) -> None:
        """Let stages and coil run for one step, with the air (t, w, fog) that comes."""
        n, a = self.n, CAPACITY_PER_EVAPORATING
        on = control.on
        if n.many or self._key != on:
            self._circuits(on)
            self._key = list(on)
        sound, given, lifted, weighted = self.zero, self.zero, self.zero, self.zero
        for i, share in enumerate(self.shares):
            runs = on[i] * self.turns[i]
            target = runs
            if self.modulating[i]:
                asked = n.most(control.modulation, MODULATION_LEAST)
                target = runs * n.pick(self.unloaded, self.unloaded_at, asked)
            # a compressor takes up load slowly and drops it at once
            part = (self.part[i] + self.follows * (target - self.part[i])) * runs
            self.part[i] = part
            load = part * self.capacity[i]
            self.load[i] = load
            over = condensing_over_outdoor(self.design, self.p, i, part, gas_taken)
            sound = sound + share * part
            given = given + share * load
            # what a cause adds to the condensing temperature it has taken from the capacity itself
            lifted = lifted + share * part * (over - self.add[i])
            if self.hot_gas:
                over = condensing_over_outdoor(self.design, self.p, i, n.least(load, 1.0), gas_taken)
            weighted = weighted + share * load * over
        self.over = weighted / n.most(given, 1e-9)
        lift = n.pick(sound > 1e-9, outdoor_t + lifted / n.most(sound, 1e-9) - self.condensing_rated, 0.0)
        left = given * self.condenser
        given = left / (1.0 + self.feedback * (sound - left))
        at_condensing = self.full * given * n.most(1.0 + CAPACITY_PER_CONDENSING * lift, 0.1)
        share = at_condensing / (1.0 + a * self._resistance * at_condensing)
        taken = share * (1.0 + a * (self.surface - self.evaporating_rated))
        self.wring(*air, self.bypass, taken, share * a)


class ChilledCoil(_Surface):
    """Chilled water: the valve's stem travels, and behind the surface the water takes what the settled coil
    would give it at this air and stem.

    `air_side.cool` says what that is. It is asked for many machines about every minute, with the slope
    against the stem, and anew when one has moved its stem; for a single machine for all stems at once, with
    the slopes against the air's state, and anew when the air has moved on.
    """

    def __init__(
        self,
        n: Numbers,
        design: Design,
        p: dict[str, Number],
        fields: dict[str, Array],
        store: Storage,
        step: float,
        supply: Number,
        saturation: Saturation,
    ) -> None:
        super().__init__(n, design, p, store, step, supply, saturation)
        self.design = design
        self.loose_fields = {**fields, "chilled_stuck": np.full(1, np.nan)}
        wide = np.atleast_1d(np.asarray(supply, dtype=np.float64))
        self.water_in = design.chilled_in + p["chilled_in_shift"] + p["chilled_warm"]
        self.cold: Number = self.water_in
        if n.many:  # each machine twice, at its stem and a little on, in one look at the settled coil
            wide, self.cold = np.tile(wide, 2), np.tile(self.water_in, 2)
            self.loose_fields = {
                name: np.tile(array, 2) if array.shape[0] > 1 else array
                for name, array in self.loose_fields.items()
            }
        self.flow = Airflows(wide, 0.0 * wide, wide / design.air_flow)
        self.bypass = n.exp(-self.units)
        self.stuck, self.stuck_at = p["chilled_is_stuck"], p["chilled_stuck"]
        self.stem = self.zero
        self.most_travel = step / (CHILLED_TRAVEL * p["travel_ratio"])
        self._stems = np.repeat(np.linspace(0.0, 1.0, STEM_KNOTS), 3)
        self._age = np.inf
        self._stem_then = self._pull_then = self._pull_slope = self.zero
        self._air: tuple[float, float] | None = None
        self._rows: list[tuple[float, float, float]] = []

    def remember(self, other: _Surface) -> None:
        """Take over coil and stem from before a change."""
        super().remember(other)
        if isinstance(other, ChilledCoil):
            self.stem = other.stem

    def settle_stem(self, asked: Number) -> None:
        """Put the stem where it comes to rest."""
        self.stem = self.n.pick(self.stuck, self.stuck_at, self.n.share(asked))

    def advance(
        self, control: Control, air: tuple[Number, Number, Number], outdoor_t: Number, gas_taken: Number
    ) -> None:
        """Let valve, water and coil run for one step, with the air (t, w, fog) that comes."""
        n = self.n
        t, w, fog = air
        target = n.pick(self.stuck, self.stuck_at, n.share(control.modulation * control.on[0]))
        way = target - self.stem
        self.stem = self.stem + n.most(n.least(way, self.most_travel), -self.most_travel)
        pull = self._pull_of_many(t, w) if n.many else self._pull_of_one(t, w)
        self.wring(t, w, fog, self.bypass, pull * (self.surface - self.water_in), pull)

    def _pull(self, t: Array, w: Array, stem: Array) -> Array:
        """Conductance [W/K] from surface to entering water with which the coil rests where it should."""
        nothing = np.zeros_like(t)
        one = np.ones(1)
        c = Conditions(one, one, one, one, 0.0 * one, one, stem, 0.0 * one)
        coil = cool(
            self.design,
            self.loose_fields,
            c,
            self.flow,
            Mixed(nothing, w, t, t, w, nothing),
            nothing,
        ).air
        # air as warm as the water: nothing to divide by, and nothing to take
        return np.asarray(np.maximum(coil.total, 0.0) / np.maximum(coil.surface - self.cold, 0.02))

    def _pull_of_many(self, t: Array, w: Array) -> Array:
        self._age += self.step
        stem = self.stem
        if self._age >= LOOK_TIME or np.abs(stem - self._stem_then).max() > STEM_NEAR:
            ahead = np.where(stem < 0.5, stem + STEM_NEAR, stem - STEM_NEAR)
            both = self._pull(np.tile(t, 2), np.tile(w, 2), np.concatenate([stem, ahead]))
            first, then = both.reshape(2, -1)
            self._pull_then, self._stem_then = first, stem
            self._pull_slope = (then - first) / (ahead - stem)
            self._age = 0.0
        return np.asarray(np.maximum(self._pull_then + self._pull_slope * (stem - self._stem_then), 0.0))

    def _pull_of_one(self, t: float, w: float) -> float:
        if self._air is None or abs(t - self._air[0]) > AIR_NEAR or abs(w - self._air[1]) > RATIO_NEAR:
            self._air = (t, w)
            count = STEM_KNOTS
            pull = self._pull(
                t + np.tile([0.0, AIR_NEAR, 0.0], count),
                w + np.tile([0.0, 0.0, RATIO_NEAR], count),
                self._stems,
            ).reshape(count, 3)
            slopes = (pull[:, 1:] - pull[:, :1]) / np.array([AIR_NEAR, RATIO_NEAR])
            self._rows = [tuple(row) for row in np.hstack([pull[:, :1], slopes]).tolist()]
        t0, w0 = self._air
        place = self.stem * (STEM_KNOTS - 1)
        i = min(int(place), STEM_KNOTS - 2)
        low, high = self._rows[i], self._rows[i + 1]
        dt, dw = t - t0, w - w0
        below = low[0] + low[1] * dt + low[2] * dw
        above = high[0] + high[1] * dt + high[2] * dw
        return float(max(below + (place - i) * (above - below), 0.0))
