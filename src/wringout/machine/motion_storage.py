"""What a unit and its room store, and how slow its parts are: none of it stands in a unit document.

Every figure is an estimate with its spread; a call's answer is therefore given with a band.
"""

from __future__ import annotations

from dataclasses import dataclass

from wringout.machine.design import Design
from wringout.machine.parameters import Spread

__all__ = ["MIXING_TIME", "SENSOR_LAG", "SUPPLY_SENSOR_LAG", "Storage", "storage", "storage_spreads"]

SPECIFIC_HEAT_AIR = 1006.0
AIR_NODE = 1.5  # heat of room air with what follows it at once, over that of the air alone; judgement, 1 to 3
CONTENTS_HEAT = 110.0e3  # J/(m2 K) of floor: "light", ISO 13790:2008 table 12 (read second-hand)
CONTENTS_FILM = (
    9.2  # W/(m2 K) of floor: 3.45 on 4.5 m2 and 9.1 on 2.5 m2 in series, ISO 13790:2008, 7.2.2 (as above)
)
CONTENTS_MOISTURE = 10.0  # over the air's own: humidity capacity multipliers of 10 to 25 (from memory)
CONTENTS_MOISTURE_TIME = 3.0 * 3600.0  # s, until the contents have followed to 63 %; ESTIMATE
COIL_METAL = 1.2  # J/K to the watt of rated cooling: fins and tubes of some 1.5 kg/kW; ESTIMATE
RETAINED_TIME = (
    1000.0  # s of rated condensate that a dry coil holds before it drips: Henderson and Rengarajan 1996
)
DRAIN_TIME = 90.0  # s that pan and trap take to pass on a change; ESTIMATE
STAGE_TIME = 45.0  # s until a compressor gives 63 % of a new load: 30 to 90 s at start (from memory)
CHILLED_TRAVEL = 90.0  # s, end to end, as the usual reheat actuator: the document names only that one
HOT_GAS_TIME = 40.0  # s for metal and refrigerant of a hot-gas coil; ESTIMATE
REHEAT_COIL_TIME = 12.0  # s of design flow that a hot-water coil holds, its metal counted as water; ESTIMATE
SOURCE_TIME = {"reclaim": 20.0, "boiler": 60.0}  # s of design flow held; ESTIMATE
STANDING_TIME = 3.0 * 3600.0  # s in which an exchanger without flow cools to its room; ESTIMATE
MIXING_TIME = 150.0  # s until air at the sensor has followed the room's mean to 63 %; ESTIMATE, 1 to 5 min
SENSOR_LAG = 120.0  # s, wall sensors in still air: 60 to 300 s (common practice)
SUPPLY_SENSOR_LAG = 40.0  # s, duct sensors in moving air: 20 to 60 s (common practice)


@dataclass(frozen=True)
class Storage:
    """Storage and lags of one unit at their estimates, SI.

    ``air_mass`` [kg] of dry air in the room; heat capacities [J/K]; ``contents_film`` [W/K];
    ``contents_moisture`` [kg of dry air that would hold as much]; ``contents_moisture_film`` [kg/s];
    ``retained`` most water on the cooling coil [kg]; times [s].
    """

    air_mass: float
    air_heat: float
    contents_heat: float
    contents_film: float
    contents_moisture: float
    contents_moisture_film: float
    coil_heat: float
    retained: float
    source_time: float
    travel_time: float


def storage(design: Design) -> Storage:
    """Estimate what one unit and its room store.

    Parameters
    ----------
    design : Design

    Returns
    -------
    Storage

    Notes
    -----
    Room air is well mixed. The contents are one lump for heat and one for moisture. Water on a coil follows
    the rated latent heat, as long as it takes to drip.

    References
    ----------
    H. I. Henderson, K. Rengarajan, ASHRAE Transactions 102(1), 1996, on water retained by coils (from
    memory). ISO 13790:2008, table 12 and 7.2.2 (read second-hand).
    """
    space = design.unit.space
    rated = design.unit.cooling.rated
    air_mass = space.volume / design.air_volume
    source = design.unit.source
    moisture = CONTENTS_MOISTURE * air_mass
    return Storage(
        air_mass=air_mass,
        air_heat=AIR_NODE * air_mass * SPECIFIC_HEAT_AIR,
        contents_heat=CONTENTS_HEAT * space.floor_area,
        contents_film=CONTENTS_FILM * space.floor_area,
        contents_moisture=moisture,
        contents_moisture_film=moisture / CONTENTS_MOISTURE_TIME,
        coil_heat=COIL_METAL * rated.total,
        retained=RETAINED_TIME * max(rated.total - rated.sensible, 0.02 * rated.total) / 2.5e6,
        source_time=SOURCE_TIME[source.kind] if source is not None else 0.0,
        travel_time=design.unit.reheat.valve.travel_time,
    )


_WHY = "not in any document: ESTIMATE"


def storage_spreads() -> tuple[Spread, ...]:
    """Give the unknowns that only time shows, beside those of parameters.spreads.

    Returns
    -------
    tuple of Spread
        Ratios to the estimates of `storage`; a machine without them in its values stands at the estimates.
    """
    return (
        Spread("room_air_ratio", "ratio", 0.20, "goods and dead corners take room or add: judgement"),
        Spread("contents_heat_ratio", "ratio", 0.50, _WHY),
        Spread("contents_moisture_ratio", "ratio", 0.60, _WHY),
        Spread("coil_mass_ratio", "ratio", 0.30, _WHY),
        Spread("retained_ratio", "ratio", 0.40, _WHY),
        Spread("loop_volume_ratio", "ratio", 0.12, "the length of pipe in a document is a round figure"),
        Spread("source_mass_ratio", "ratio", 0.40, _WHY),
        Spread("travel_ratio", "ratio", 0.08, "actuators differ from their sheet by load and supply"),
        Spread("sensor_lag_ratio", "ratio", 0.40, _WHY),
        Spread("controller_gain_ratio", "ratio", 0.30, "controllers are tuned by hand: judgement"),
    )
