"""The unit document: what the machine is meant to be. SI inside, every field filled.

The fields are those of the document format. A field that a kind of unit does not have is None (stages:
empty); every other one holds a value, given or assumed, and ``unit.provenance`` says which.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Literal

from pydantic import Field

from wringout.documents.measure import Measure, Part
from wringout.documents.provenance import Provenance
from wringout.quantity import Dimension

__all__ = [
    "UNIT_FORMAT",
    "Refrigerant",
    "Site",
    "SupplyFan",
    "Air",
    "Stage",
    "CoolingRated",
    "Cooling",
    "ReheatRated",
    "Signal",
    "Valve",
    "Reheat",
    "Pipe",
    "Loop",
    "SourceRated",
    "Gas",
    "Source",
    "SpaceDesign",
    "DesignDay",
    "Space",
    "Control",
    "Unit",
]

UNIT_FORMAT = "wringout-unit/1"

Refrigerant = Literal[
    "R744",
    "R134a",
    "R404A",
    "R407A",
    "R407C",
    "R407F",
    "R410A",
    "R448A",
    "R449A",
    "R454B",
    "R513A",
    "R32",
    "R507A",
]

_D = Dimension
Altitude = Annotated[float, Measure(_D.LENGTH, -500.0, 5000.0)]
Airflow = Annotated[float, Measure(_D.AIRFLOW, 0.02, 100.0)]
OutdoorAirflow = Annotated[float, Measure(_D.AIRFLOW, 0.0, 100.0)]
AirTemperature = Annotated[float, Measure(_D.TEMPERATURE, -45.0, 60.0)]
WaterTemperature = Annotated[float, Measure(_D.TEMPERATURE, -15.0, 115.0)]
GasTemperature = Annotated[float, Measure(_D.TEMPERATURE, 0.0, 180.0)]
Difference = Annotated[float, Measure(_D.TEMPERATURE_DIFFERENCE, 0.0, 60.0)]
AirDrop = Annotated[float, Measure(_D.PRESSURE_DIFFERENCE, 5.0, 1500.0)]
WaterDrop = Annotated[float, Measure(_D.PRESSURE_DIFFERENCE, 50.0, 200e3, ip="psi", si="kPa")]
Heat = Annotated[float, Measure(_D.POWER, 100.0, 20e6)]
Cold = Annotated[float, Measure(_D.POWER, 100.0, 20e6, ip="ton")]
Gain = Annotated[float, Measure(_D.POWER, -20e6, 20e6)]
WaterFlow = Annotated[float, Measure(_D.WATER_FLOW, 1e-5, 0.5)]
Head = Annotated[float, Measure(_D.HEAD, 0.5, 150.0)]
Moisture = Annotated[float, Measure(_D.MASS_FLOW, -0.5, 1.0)]
Current = Annotated[float, Measure(_D.CURRENT, 0.1, 2000.0)]


class Site(Part):
    """The building."""

    name: str
    altitude: Altitude


class SupplyFan(Part):
    """The supply fan at design: frequency [Hz] (variable drive), heat rise [K], current [A]."""

    drive: Literal["variable", "belt", "direct"]
    speed: Annotated[float | None, Measure(_D.FREQUENCY, 5.0, 200.0)] = None
    heat_rise: Annotated[float, Measure(_D.TEMPERATURE_DIFFERENCE, 0.0, 10.0)]
    current: Current


class Air(Part):
    """The air path at design: airflows [m3/s], clean filter [Pa]."""

    supply_airflow: Airflow
    outdoor_airflow: OutdoorAirflow
    supply_fan: SupplyFan
    filter_drop: AirDrop


class Stage(Part):
    """One compressor stage: share of the rated capacity [0..1], current [A]."""

    id: str
    share: Annotated[float, Measure(_D.FRACTION, 0.01, 1.0)]
    modulating: bool
    current: Current


class CoolingRated(Part):
    """Rating point of the cooling: power [W], temperatures [degC], airflow and water flow [m3/s]."""

    total: Cold
    sensible: Cold
    entering_t: AirTemperature
    entering_wb: AirTemperature
    airflow: Airflow
    outdoor_t: AirTemperature | None = None
    water_in: WaterTemperature | None = None
    water_out: WaterTemperature | None = None
    water_flow: WaterFlow | None = None


class Cooling(Part):
    """Stages of direct expansion, or a chilled-water coil with a two-way valve."""

    kind: Literal["dx", "chilled_water"]
    stages: tuple[Stage, ...] = ()
    rated: CoolingRated
    superheat: Difference | None = None
    condensing_over_outdoor: Difference | None = None


class ReheatRated(Part):
    """Rating point of the reheat coil: power [W], temperatures [degC], airflow and water flow [m3/s]."""

    heat: Heat
    entering_t: AirTemperature
    airflow: Airflow
    water_in: WaterTemperature | None = None
    water_flow: WaterFlow | None = None
    condensing_t: GasTemperature | None = None


class Signal(Part):
    """Span of the control signal at the actuator [V] and which end opens the coil."""

    low: Annotated[float, Measure(_D.SIGNAL, 0.0, 24.0)]
    high: Annotated[float, Measure(_D.SIGNAL, 0.0, 24.0)]
    coil_open_at: Literal["high", "low"]


class Valve(Part):
    """The reheat valve and its actuator; ``travel_time`` [s] from end to end."""

    ways: Literal["three", "two"]
    placement: Literal["mixing", "diverting"] | None = None
    characteristic: Literal["linear", "equal_percentage"]
    signal: Signal
    travel_time: Annotated[float, Measure(_D.TIME, 1.0, 900.0)]


class Reheat(Part):
    """The reheat coil with its valve."""

    kind: Literal["hot_water", "hot_gas"]
    rated: ReheatRated
    valve: Valve


class Pipe(Part):
    """Pipe between source and coil, one way: length, size and insulation thickness [m]."""

    length: Annotated[float, Measure(_D.LENGTH, 0.5, 3000.0)]
    size: Annotated[float, Measure(_D.SMALL_LENGTH, 0.008, 0.4)]
    insulation: Annotated[float, Measure(_D.SMALL_LENGTH, 0.0, 0.2)]


class Loop(Part):
    """The hot-water loop: concentration by mass [0..1], flow [m3/s], head [m of water], strainer [Pa]."""

    fluid: Literal["water", "propylene_glycol", "ethylene_glycol"]
    concentration: Annotated[float, Measure(_D.FRACTION, 0.0, 0.6)]
    flow: WaterFlow
    pump_head: Head
    strainer_drop: WaterDrop
    pipe: Pipe


class SourceRated(Part):
    """Rating point of the heat source: power [W], leaving water [degC]."""

    heat: Heat
    water_out: WaterTemperature


class Gas(Part):
    """Design temperatures of the discharge gas at the reclaim exchanger [degC]."""

    in_: Annotated[GasTemperature, Field(alias="in")]
    out: GasTemperature


class Source(Part):
    """Where the loop's heat comes from; the last three fields only for recovered heat."""

    kind: Literal["reclaim", "boiler"]
    rated: SourceRated
    refrigerant: Refrigerant | None = None
    gas: Gas | None = None
    upstream: Literal["service_water", "none"] | None = None


class SpaceDesign(Part):
    """Design state of the space [degC]."""

    t: AirTemperature
    dew_point: AirTemperature


class DesignDay(Part):
    """Outdoor design state [degC]."""

    outdoor_t: AirTemperature
    outdoor_dew_point: AirTemperature


class Space(Part):
    """The space: area [m2], volume [m3], moisture [kg/s] and gain [W] at design, infiltration [m3/s]."""

    floor_area: Annotated[float, Measure(_D.AREA, 1.0, 1e6)]
    volume: Annotated[float, Measure(_D.VOLUME, 2.0, 1e8)]
    people: Annotated[float, Measure(_D.COUNT, 0.0, 1e5, bare=True)]
    moisture: Moisture
    sensible: Gain
    infiltration: Annotated[float, Measure(_D.AIRFLOW, 0.0, 100.0)]
    design: SpaceDesign
    design_day: DesignDay


class Control(Part):
    """Set points [degC] and the band of the stages [K]."""

    dew_point: AirTemperature
    dew_point_band: Annotated[float, Measure(_D.TEMPERATURE_DIFFERENCE, 0.1, 15.0)]
    space_t: AirTemperature


class Unit(Part):
    """A unit document, complete and in SI."""

    name: str
    site: Site
    air: Air
    cooling: Cooling
    reheat: Reheat
    loop: Loop | None = None
    source: Source | None = None
    space: Space
    control: Control
    provenance: Mapping[str, Provenance] = Field(default_factory=dict, repr=False)

    @property
    def stage_ids(self) -> tuple[str, ...]:
        """Ids of the stages in the order in which they are called."""
        return tuple(stage.id for stage in self.cooling.stages)

    @property
    def refrigerant(self) -> str | None:
        """Refrigerant whose heat is recovered, if any."""
        return self.source.refrigerant if self.source is not None else None

    def given(self, path: str) -> bool:
        """Whether the value at a path such as ``air.outdoor_airflow`` stood in the document."""
        entry = self.provenance.get(path)
        return entry is not None and entry.kind == "given"
