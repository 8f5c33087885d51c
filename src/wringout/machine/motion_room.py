"""The room in time: air and contents, for heat and for moisture, and the weather and loads that move them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from wringout.errors import InputError
from wringout.machine.design import Design
from wringout.machine.motion_coil import Saturation
from wringout.machine.motion_numbers import Number, Numbers
from wringout.machine.motion_storage import Storage
from wringout.machine.parameters import Array
from wringout.machine.room_side import USUAL_GAIN_SHARE
from wringout.physics.room import MOIST_SPECIFIC_HEAT

__all__ = ["HEATING_GRIP", "HEATING_UNDER", "Loads", "Room", "Weather"]

HEATING_UNDER = 5.0 / 1.8  # K under set point at which other heating holds the space (the sequence)
HEATING_GRIP = 3.0  # of that heating, over what the supply air carries away for each kelvin; judgement


def _series(name: str, time: Array, values: ArrayLike) -> Array:
    array = np.asarray(values, dtype=np.float64)
    if array.ndim == 0:
        array = np.full(time.shape, float(array))
    if array.shape[-1:] != time.shape or array.ndim > 2:
        raise InputError(
            f"{name} has the shape {array.shape}: wanted one value a time ({time.size}), or (samples, times)"
        )
    return array


def _times(time: ArrayLike) -> Array:
    array = np.atleast_1d(np.asarray(time, dtype=np.float64))
    if array.ndim != 1 or not np.all(np.diff(array) > 0.0):
        raise InputError("times must be seconds in rising order, each once")
    return array


@dataclass(frozen=True)
class Weather:
    """Outdoor air over time: ``time`` [s]; ``outdoor_t``, ``outdoor_dew_point`` [degC], (times,) or
    (samples, times). Straight lines between, held beyond the ends."""

    time: Array
    outdoor_t: Array
    outdoor_dew_point: Array

    @classmethod
    def of(cls, outdoor_t: ArrayLike, outdoor_dew_point: ArrayLike, time: ArrayLike = 0.0) -> Weather:
        """Weather from plain values.

        Parameters
        ----------
        outdoor_t : array_like, a number, (times,) or (samples, times), [degC]
        outdoor_dew_point : array_like, likewise, [degC]
        time : array_like, (times,), [s]

        Returns
        -------
        Weather

        Raises
        ------
        InputError
            Times that do not rise, or values that do not fit them.
        """
        at = _times(time)
        return cls(
            at,
            _series("outdoor_t", at, outdoor_t),
            _series("outdoor_dew_point", at, outdoor_dew_point),
        )


@dataclass(frozen=True)
class Loads:
    """What people and processes bring in, over time, as shares of the document's design figures:
    ``time`` [s]; ``moisture``, ``sensible`` [-], (times,) or (samples, times)."""

    time: Array
    moisture: Array
    sensible: Array

    @classmethod
    def of(
        cls, moisture: ArrayLike = 1.0, sensible: ArrayLike = USUAL_GAIN_SHARE, time: ArrayLike = 0.0
    ) -> Loads:
        """Loads from plain values; without any, those of the settled machine's usual day.

        Parameters
        ----------
        moisture : array_like, a number, (times,) or (samples, times), [-]
        sensible : array_like, likewise, [-]
        time : array_like, (times,), [s]

        Returns
        -------
        Loads

        Raises
        ------
        InputError
            Times that do not rise, or values that do not fit them.
        """
        at = _times(time)
        return cls(at, _series("moisture", at, moisture), _series("sensible", at, sensible))


class Room:
    """Well-mixed air with its contents; moves by one step of the supply air."""

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
        space = design.unit.space
        self.pressure = design.pressure
        self.leak = space.infiltration * p["infiltration_ratio"] * p["doors_ratio"]
        self.released = space.moisture * p["moisture_ratio"] * p["moisture_added_ratio"]
        self.sensible = space.sensible
        self.sensible_shift = 0.4 * abs(space.sensible) * p["sensible_shift"]
        self.air_mass = store.air_mass * p["room_air_ratio"]
        self.air_heat = store.air_heat * p["room_air_ratio"]
        self.film = store.contents_film + p["zero"]
        self.film_moisture = store.contents_moisture_film + p["zero"]
        self.contents_follow = 1.0 - n.exp(
            -step * store.contents_film / (store.contents_heat * p["contents_heat_ratio"])
        )
        self.contents_moisture_follow = 1.0 - n.exp(
            -step * store.contents_moisture_film / (store.contents_moisture * p["contents_moisture_ratio"])
        )
        self.heating_at = design.unit.control.space_t - HEATING_UNDER
        self.heating = HEATING_GRIP * MOIST_SPECIFIC_HEAT * supply
        zero = p["zero"]
        self.t = self.w = self.contents_t = self.contents_w = zero

    def remember(self, other: Room) -> None:
        """Take over the room before a change."""
        for name in ("t", "w", "contents_t", "contents_w"):
            setattr(self, name, getattr(other, name))

    def start(self, t: Number, w: Number) -> None:
        """Start with contents that have followed the air."""
        self.t, self.w, self.contents_t, self.contents_w = t, w, t, w

    def advance(
        self,
        supply_t: Number,
        supply_w: Number,
        outdoor_t: Number,
        outdoor_w: Number,
        moisture: Number,
        sensible: Number,
    ) -> None:
        """Let the air take up what comes in for one step, implicitly, and the contents follow it."""
        n, step = self.n, self.step
        # outdoor air counts at the density of the room it enters, as for the settled machine
        leak = self.leak * (self.pressure / (287.042 * 1.012)) / (self.t + 273.15)
        heat_leak = leak * MOIST_SPECIFIC_HEAT
        carried = self.supply * MOIST_SPECIFIC_HEAT
        heating = n.pick(self.t < self.heating_at, self.heating, 0.0)
        pull = heat_leak + carried + self.film + heating
        brought = (
            self.sensible * sensible
            + self.sensible_shift
            + heat_leak * outdoor_t
            + carried * supply_t
            + self.film * self.contents_t
            + heating * self.heating_at
        )
        self.t = (self.air_heat * self.t + step * brought) / (self.air_heat + step * pull)
        self.contents_t = self.contents_t + self.contents_follow * (self.t - self.contents_t)
        pull = leak + self.supply + self.film_moisture
        brought = (
            self.released * moisture
            + leak * outdoor_w
            + self.supply * supply_w
            + self.film_moisture * self.contents_w
        )
        w = (self.air_mass * self.w + step * brought) / (self.air_mass + step * pull)
        # air that would be over-saturated leaves the rest on walls and goods
        self.w = n.least(w, self.saturation.ratio.at(self.t))
        self.contents_w = self.contents_w + self.contents_moisture_follow * (self.w - self.contents_w)
