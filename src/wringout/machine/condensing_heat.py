"""Recovered heat from a gas that condenses: a pinch at its condensing temperature, and liquid behind it."""

from __future__ import annotations

import numpy as np

from wringout.machine.design import GAS_RESERVE, WATER_EXPONENT, Design
from wringout.machine.parameters import Array, Values

__all__ = ["condensate_leaving", "condensing", "gas_before", "share_on_offer", "temperature"]

FILM_SHARE = 0.5  # of the exchanger's resistance at rating lies in the condensing film (common practice)
# per kelvin, of the heat of condensing from superheated gas to liquid: about 1.0 and 1.5 kJ/(kg K) against
# 150..200 kJ/kg for the gases of such plants at 40..50 degC (from memory; R407C, R404A, R448A alike)
GAS_PER_KELVIN = 0.006
LIQUID_PER_KELVIN = 0.009


def condensing(design: Design, p: Values, main_rate: Array) -> tuple[Array, Array, Array]:
    """Give the most that a condensing exchanger does for the water.

    Parameters
    ----------
    design : Design
    p : Values
    main_rate : array, (samples,), [W/K]
        Capacity rate of the loop's water.

    Returns
    -------
    (array, array, array)
        How far it brings the water from its inlet towards condensing temperature [-]; that temperature
        [degC]; the most heat that the plant has to give [W].

    Notes
    -----
    With enough gas all plates condense and water meets one temperature: effectiveness 1 - exp(-NTU). With
    less, the gas there is condenses and its heat is what counts, whatever the water's temperature. The heat
    of superheat, a fifth at most, is taken at condensing temperature.
    """
    conductance = _plates(design, p, main_rate)
    heat = design.source_heat * share_on_offer(p) * (1.0 - p["upstream_share"])
    return -np.expm1(-conductance / main_rate), temperature(design, p), np.asarray(heat)


def gas_before(design: Design, p: Values, condensing_temperature: Array) -> Array:
    """Gas onto the exchanger: an exchanger upstream takes the superheat first, then condenses.

    Parameters
    ----------
    design : Design
    p : Values
    condensing_temperature : array, (samples,), [degC]

    Returns
    -------
    array, (samples,), [degC]
    """
    superheat = np.maximum(design.gas_in + p["gas_in_shift"] - condensing_temperature, 0.0)
    # of all the heat; what is left of the superheat after the exchanger upstream
    left = np.maximum(superheat - p["upstream_share"] / GAS_PER_KELVIN, 0.0)
    return np.asarray(condensing_temperature + left)


def condensate_leaving(
    design: Design, p: Values, main_rate: Array, condensing_temperature: Array, source_in: Array, heat: Array
) -> Array:
    """What leaves a condensing exchanger: liquid cooled by the plates that condensing does not need.

    Parameters
    ----------
    design : Design
    p : Values
    main_rate : array, (samples,), [W/K]
        Capacity rate of the loop's water.
    condensing_temperature : array, (samples,), [degC]
    source_in : array, (samples,), [degC]
        Water into the exchanger, where the liquid leaves.
    heat : array, (samples,), [W]

    Returns
    -------
    array, (samples,), [degC]

    Notes
    -----
    Condensing ``heat`` takes the conductance ``-C ln(1 - heat / (C apart))``; the rest of the plates stands
    full of liquid, whose capacity rate is small against the water's: it comes to the water as exp(-NTU).
    With gas to spare nothing is left over and the exchanger blows through at condensing temperature.
    """
    apart = condensing_temperature - source_in
    known = np.maximum(heat, 1.0)
    used = np.clip(known / (main_rate * np.maximum(apart, 1e-3)), 0.0, 1.0 - 1e-9)
    left = np.maximum(_plates(design, p, main_rate) + main_rate * np.log1p(-used), 0.0)
    return np.asarray(source_in + apart * np.exp(-np.minimum(left / (known * LIQUID_PER_KELVIN), 50.0)))


def share_on_offer(p: Values) -> Array:
    """Give the most gas that the plant has for the exchanger, as a share of the design's.

    Parameters
    ----------
    p : Values

    Returns
    -------
    array, (samples,), [-]
    """
    usual = GAS_RESERVE * p["plant_ratio"]
    # a starved plant is stated against the design heat, not against the reserve; a diverting valve that
    # stays put lets its share of all the gas there is through
    return np.asarray(np.where(p["gas_share"] < 1.0, p["gas_share"], usual) * p["diverted_share"])


def temperature(design: Design, p: Values) -> Array:
    """Give the temperature at which the plant's gas condenses.

    Parameters
    ----------
    design : Design
    p : Values

    Returns
    -------
    array, (samples,), [degC]
    """
    return np.asarray(design.gas_condensing + p["condensing_gas_shift"])


def _plates(design: Design, p: Values, main_rate: Array) -> Array:
    """Conductance [W/K]: condensing goes little with the gas's flow, the water film with the water's."""
    loop = design.loop
    assert loop is not None
    flow = np.maximum(main_rate / (loop.main_flow * loop.density * loop.specific_heat), 1e-3)
    resistance = FILM_SHARE + (1.0 - FILM_SHARE) * flow**-WATER_EXPONENT
    return np.asarray(design.exchanger_conductance * p["exchanger_ratio"] * p["fouling_ratio"] / resistance)
