"""What the unit document says of each part, turned once into the constants that the machine computes with."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wringout.documents.unit import Unit
from wringout.physics.cooling_coil import MOIST_SPECIFIC_HEAT, apparatus_dew_point, chilled_water_coil
from wringout.physics.direct_expansion import CAPACITY_PER_EVAPORATING
from wringout.physics.fluid import density, specific_heat
from wringout.physics.hydronics import STANDARD_GRAVITY
from wringout.physics.moist_air import (
    humidity_ratio_from_wet_bulb,
    saturated_enthalpy,
    saturated_humidity_ratio,
    specific_volume,
    standard_pressure,
)
from wringout.physics.refrigerant import critical_point

__all__ = ["AIR_EXPONENT", "GAS_RESERVE", "WATER_EXPONENT", "Design", "LoopDesign", "design"]

AIR_EXPONENT = 0.65  # finned coils, air side: 0.4 to 0.8 by geometry (references of exchanger.py)
WATER_EXPONENT = 0.8  # turbulent flow in tubes, Dittus and Boelter
REHEAT_AIR_SHARE = 0.7  # of a hot-water coil's resistance at rating; common practice for finned heating coils
VALVE_AUTHORITY = 0.5  # common practice for selecting a control valve, of the leg it controls
LEG_SHARE = (
    0.35  # of the pump's head spent in coil leg and valve; judgement, the rest in main, strainer and source
)
PUMP_SHUTOFF_RATIO = 1.3  # of small circulating pumps, common practice 1.2 to 1.4
RANGEABILITY = 40.0  # of equal-percentage valves: 30 to 50 in catalogues (common practice)
COIL_TO_EVAPORATING = 4.0  # K from coil surface to refrigerant at rating; common practice 3 to 6 K
LIQUID_UNDER_CONDENSING = 4.0  # K, of the liquid that leaves a condensing exchanger (common practice)
LEAST_PINCH = 3.0  # K of condensing temperature over the water it has to make (common practice)
CLEAR_OF_CRITICAL = 15.0  # K; closer to it a gas condenses over hardly any latent heat, and glides
GAS_RESERVE = 1.3  # a plant at usual load has more gas than the exchanger's rating; judgement
AIR_COIL_RATING_DENSITY = 1.2  # kg/m3, standard air of coil ratings


@dataclass(frozen=True)
class LoopDesign:
    """A water loop at design: flows [m3/s], pressures [Pa], quadratic resistances [Pa/(m3/s)2]."""

    density: float
    specific_heat: float
    main_flow: float
    coil_flow: float
    shutoff_pressure: float
    pump_resistance: float
    main_resistance: float
    strainer_resistance: float
    coil_resistance: float
    valve_resistance: float
    bypass_resistance: float
    pipe_conductance: float
    pipe_volume: float


@dataclass(frozen=True)
class Design:
    """Constants of one unit, SI; built by :func:`design` and never changed."""

    unit: Unit
    pressure: float
    air_flow: float
    air_volume: float
    outdoor_flow_share: float
    cooling_total: float
    cooling_air_conductance: float
    cooling_water_conductance: float
    cooling_rated_flow: float
    surface_rated: float
    condensing_rated: float
    evaporator_feedback: float
    stage_share: tuple[float, ...]
    stage_modulating: tuple[bool, ...]
    stage_current: tuple[float, ...]
    chilled_capacity_rate: float
    chilled_in: float
    reheat_conductance: float
    reheat_rated_flow: float
    reheat_water_rate: float
    hot_gas_effectiveness_units: float
    loop: LoopDesign | None
    source_heat: float
    source_out: float
    exchanger_conductance: float
    gas_capacity_rate: float
    gas_in: float
    gas_out: float
    gas_condensing: float

    @property
    def dx(self) -> bool:
        """Whether stages of direct expansion do the cooling."""
        return self.unit.cooling.kind == "dx"

    @property
    def hot_water(self) -> bool:
        """Whether a water loop carries the reheat."""
        return self.unit.reheat.kind == "hot_water"

    @property
    def gas_condenses(self) -> bool:
        """Whether the plant's gas condenses in the exchanger; above its critical point it glides."""
        return self.gas_condensing > 0.0

    @property
    def reclaim(self) -> bool:
        """Whether the loop's heat is recovered from a refrigeration plant."""
        return self.unit.source is not None and self.unit.source.kind == "reclaim"

    @property
    def three_way(self) -> bool:
        """Whether the reheat valve has a bypass port."""
        return self.unit.reheat.valve.ways == "three"


def counterflow_conductance(
    heat: float, hot_in: float, cold_in: float, hot_rate: float, cold_rate: float
) -> float:
    """Conductance [W/K] of a counterflow exchanger from one rating; an impossible rating is met as far as
    it can be.

    Parameters
    ----------
    heat : float, [W]
    hot_in : float, [degC]
    cold_in : float, [degC]
    hot_rate : float, [W/K]
    cold_rate : float, [W/K]

    Returns
    -------
    float, [W/K]

    Notes
    -----
    The inverse of the counterflow effectiveness; effectiveness is held under 0.97, so that a schedule
    which asks a little more than any exchanger can give still makes a machine.
    """
    least, most = min(hot_rate, cold_rate), max(hot_rate, cold_rate)
    effectiveness = min(max(heat / (least * max(hot_in - cold_in, 0.5)), 0.02), 0.97)
    ratio = least / most
    if ratio > 0.9999:
        units = effectiveness / (1.0 - effectiveness)
    else:
        units = float(np.log((1.0 - effectiveness * ratio) / (1.0 - effectiveness)) / (1.0 - ratio))
    return units * least


def chilled_conductance(
    unit: Unit,
    total: float,
    air_conductance: float,
    flow: float,
    pressure: float,
    rate: float,
    water_in: float,
) -> float:
    """Water-side conductance [W/K] with which a chilled-water coil meets its rated total."""
    rated = unit.cooling.rated
    w = float(humidity_ratio_from_wet_bulb(rated.entering_t, rated.entering_wb, pressure))
    low, high = 0.05 * air_conductance, 60.0 * air_conductance
    # the coil costs as much for sixty conductances as for one: nine looks come as near as fifty halvings
    every = np.ones(63)
    for _ in range(9):
        tried = np.geomspace(low, high, 65)
        air, _ = chilled_water_coil(
            rated.entering_t * every,
            w * every,
            flow * every,
            water_in * every,
            rate * every,
            air_conductance * every,
            tried[1:-1],
            pressure,
        )
        under = int(np.count_nonzero(air.total < total))
        low, high = float(tried[under]), float(tried[under + 1])
    return float(np.sqrt(low * high))


def loop_design(unit: Unit) -> LoopDesign:
    """Resistances of pump, main, strainer, coil, valve and bypass from the loop's design flow and head."""
    loop = unit.loop
    assert loop is not None
    supply_t = unit.reheat.rated.water_in if unit.reheat.rated.water_in is not None else 50.0
    rho = float(density(supply_t - 8.0, loop.fluid, loop.concentration))
    cp = float(specific_heat(supply_t - 8.0, loop.fluid, loop.concentration))
    main = loop.flow
    coil = min(unit.reheat.rated.water_flow or main, main)
    head = rho * STANDARD_GRAVITY * loop.pump_head
    leg = LEG_SHARE * head
    strainer = min(loop.strainer_drop, 0.4 * head)
    valve = VALVE_AUTHORITY * leg
    if unit.reheat.valve.ways == "three":
        # balanced: full bypass passes what the full coil leg passes, the port as large as the coil's
        coil = main
        bypass = (leg - valve) / main**2
    else:
        spare = max(main - coil, 0.02 * main)
        bypass = leg / spare**2
    pipe = loop.pipe
    outside = pipe.size * 1.13
    if pipe.insulation > 0.002:
        # insulation of 0.04 W/mK and a still-air film of 10 W/m2K (common practice)
        wrapped = outside + 2.0 * pipe.insulation
        per_metre = 1.0 / (np.log(wrapped / outside) / (2 * np.pi * 0.04) + 1.0 / (10.0 * np.pi * wrapped))
    else:
        per_metre = 11.0 * np.pi * outside
    return LoopDesign(
        density=rho,
        specific_heat=cp,
        main_flow=main,
        coil_flow=coil,
        shutoff_pressure=PUMP_SHUTOFF_RATIO * head,
        pump_resistance=(PUMP_SHUTOFF_RATIO - 1.0) * head / main**2,
        main_resistance=(head - leg - strainer) / main**2,
        strainer_resistance=strainer / main**2,
        coil_resistance=(leg - valve) / coil**2,
        valve_resistance=valve / coil**2,
        bypass_resistance=bypass,
        pipe_conductance=float(per_metre) * pipe.length,
        pipe_volume=np.pi / 4 * pipe.size**2 * pipe.length,
    )


def design(unit: Unit) -> Design:
    """Turn a unit document into the constants of its machine.

    Parameters
    ----------
    unit : Unit
        Complete document, SI.

    Returns
    -------
    Design

    Raises
    ------
    InputError
        When a rating contradicts itself (see apparatus_dew_point).

    Notes
    -----
    Coil conductances follow from the ratings: the sensible share gives the bypass factor and so the air
    side, the total gives the rest.
    """
    pressure = float(standard_pressure(unit.site.altitude))
    space_w = float(saturated_humidity_ratio(unit.space.design.dew_point, pressure))
    volume = float(specific_volume(unit.space.design.t - 3.0, space_w, pressure))
    air_flow = unit.air.supply_airflow / volume

    rated = unit.cooling.rated
    rated_flow = rated.airflow * AIR_COIL_RATING_DENSITY
    rating_pressure = 101325.0
    rated_w = float(humidity_ratio_from_wet_bulb(rated.entering_t, rated.entering_wb, rating_pressure))
    surface = apparatus_dew_point(
        rated.entering_t, rated_w, rated.total, rated.sensible, rated_flow, rating_pressure
    )
    air_conductance = -np.log(max(surface.bypass, 0.005)) * rated_flow * MOIST_SPECIFIC_HEAT
    chilled_rate = chilled_in = water_conductance = 0.0
    if unit.cooling.kind == "chilled_water":
        chilled_in = rated.water_in if rated.water_in is not None else 7.0
        chilled_flow = rated.water_flow if rated.water_flow is not None else rated.total / (4.19e6 * 5.5)
        chilled_rate = chilled_flow * 4.19e6
        water_conductance = chilled_conductance(
            unit, rated.total, air_conductance, rated_flow, rating_pressure, chilled_rate, chilled_in
        )
    stages = unit.cooling.stages
    # K of surface and refrigerant that the rated load pulls them down by, in compressor capacity
    saturation_slope = saturated_enthalpy(surface.temperature + 0.5, rating_pressure) - saturated_enthalpy(
        surface.temperature - 0.5, rating_pressure
    )
    pulled = COIL_TO_EVAPORATING + rated.total / (
        rated_flow * (1.0 - surface.bypass) * float(saturation_slope)
    )
    condensing_rated = (rated.outdoor_t or 35.0) + (unit.cooling.condensing_over_outdoor or 14.0)

    heating = unit.reheat.rated
    reheat_flow = heating.airflow * AIR_COIL_RATING_DENSITY
    air_rate = reheat_flow * 1012.0
    loop: LoopDesign | None = None
    source_heat = source_out = exchanger = gas_rate = gas_in = gas_out = reheat_conductance = water_rate = 0.0
    gas_units = gas_condensing = 0.0
    if unit.reheat.kind == "hot_water":
        loop = loop_design(unit)
        flow = heating.water_flow or loop.main_flow
        water_rate = flow * loop.density * loop.specific_heat
        reheat_conductance = counterflow_conductance(
            heating.heat, heating.water_in or 50.0, heating.entering_t, water_rate, air_rate
        )
        source = unit.source
        assert source is not None
        source_heat, source_out = source.rated.heat, source.rated.water_out
        if source.kind == "reclaim":
            gas_in = source.gas.in_ if source.gas else 95.0
            gas_out = source.gas.out if source.gas else 45.0
            gas_rate = source_heat / max(gas_in - gas_out, 5.0)
            main_rate = loop.main_flow * loop.density * loop.specific_heat
            water_in = source_out - source_heat / main_rate
            critical = critical_point(source.refrigerant or "R744").temperature
            if critical > max(gas_out, source_out) + CLEAR_OF_CRITICAL:
                gas_condensing = max(gas_out + LIQUID_UNDER_CONDENSING, source_out + LEAST_PINCH)
                reached = min(source_heat / (main_rate * (gas_condensing - water_in)), 0.97)
                exchanger = float(-main_rate * np.log1p(-reached))
            else:
                exchanger = counterflow_conductance(source_heat, gas_in, water_in, gas_rate, main_rate)
    else:
        condensing = heating.condensing_t or 43.0
        effectiveness = min(heating.heat / (air_rate * max(condensing - heating.entering_t, 3.0)), 0.95)
        gas_units = float(-np.log(1.0 - effectiveness))
    return Design(
        unit=unit,
        pressure=pressure,
        air_flow=air_flow,
        air_volume=volume,
        outdoor_flow_share=unit.air.outdoor_airflow / unit.air.supply_airflow,
        cooling_total=rated.total,
        cooling_air_conductance=float(air_conductance),
        cooling_water_conductance=water_conductance,
        cooling_rated_flow=rated_flow,
        surface_rated=surface.temperature,
        condensing_rated=condensing_rated,
        evaporator_feedback=CAPACITY_PER_EVAPORATING * pulled,
        stage_share=tuple(stage.share for stage in stages),
        stage_modulating=tuple(stage.modulating for stage in stages),
        stage_current=tuple(stage.current for stage in stages),
        chilled_capacity_rate=chilled_rate,
        chilled_in=chilled_in,
        reheat_conductance=reheat_conductance,
        reheat_rated_flow=reheat_flow,
        reheat_water_rate=water_rate,
        hot_gas_effectiveness_units=gas_units,
        loop=loop,
        source_heat=source_heat,
        source_out=source_out,
        exchanger_conductance=exchanger,
        gas_capacity_rate=gas_rate,
        gas_in=gas_in,
        gas_out=gas_out,
        gas_condensing=gas_condensing,
    )
