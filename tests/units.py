"""Unit documents of invented buildings, one of each kind, for tests of the machine; and rows to settle.

The figures are a schedule's: round numbers that fit each other. No such building exists.
"""

from __future__ import annotations

import numpy as np

from wringout.documents.load import unit_from_text
from wringout.machine.acts import ACTS, Variant, variants
from wringout.machine.conditions import Conditions
from wringout.machine.design import Design, design
from wringout.machine.parameters import Array, Values, healthy_values, neutral, spreads

__all__ = [
    "BOILER_DIVERTING",
    "CHILLED_TWO_WAY",
    "HOT_GAS",
    "RECLAIM_MIXING",
    "RECLAIM_UPSTREAM",
    "UNITS",
    "at_design",
    "conditions",
    "healthy",
    "machine",
    "random_conditions",
    "random_machine",
    "under_control",
    "weather",
    "with_cause",
]

RECLAIM_MIXING = """\
format: wringout-unit/1
name: Ice hall unit 1
site: {name: Marrow Hill Ice Hall (invented), altitude: 820 ft}
air:
  supply_airflow: 8400 cfm
  outdoor_airflow: 1100 cfm
  supply_fan: {drive: variable, speed: 54 Hz, heat_rise: 1.6 delta_degF, current: 13 A}
  filter_drop: 0.42 inWC
cooling:
  kind: dx
  stages:
    - {id: k1, share: 40 %, modulating: yes, current: 26 A}
    - {id: k2, share: 30 %, current: 20 A}
    - {id: k3, share: 30 %, current: 20 A}
  rated: {total: 25 ton, sensible: 17 ton, entering_t: 80 degF, entering_wb: 67 degF,
          outdoor_t: 95 degF, airflow: 8400 cfm}
  superheat: 12 delta_degF
  condensing_over_outdoor: 25 delta_degF
reheat:
  kind: hot_water
  rated: {heat: 230000 Btu/h, entering_t: 50 degF, airflow: 8400 cfm, water_in: 115 degF, water_flow: 24 gpm}
  valve:
    ways: three
    placement: mixing
    characteristic: equal_percentage
    signal: {low: 2 V, high: 10 V, coil_open_at: high}
    travel_time: 90 s
loop:
  fluid: water
  flow: 24 gpm
  pump_head: 40 ft
  strainer_drop: 0.8 psi
  pipe: {length: 200 ft, size: 2 in, insulation: 1 in}
source:
  kind: reclaim
  rated: {heat: 270000 Btu/h, water_out: 115 degF}
  refrigerant: R744
  gas: {in: 215 degF, out: 105 degF}
  upstream: none
space:
  floor_area: 17000 ft2
  volume: 400000 ft3
  people: 120
  moisture: 28 lb/h
  sensible: -70000 Btu/h
  infiltration: 600 cfm
  design: {t: 60 degF, dew_point: 42 degF}
  design_day: {outdoor_t: 86 degF, outdoor_dew_point: 71 degF}
control:
  dew_point: 42 degF
  dew_point_band: 3 delta_degF
  space_t: 60 degF
"""

RECLAIM_UPSTREAM = (
    RECLAIM_MIXING.replace("upstream: none", "upstream: service_water")
    .replace("Ice hall unit 1", "Ice hall unit 2")
    .replace("fluid: water", "fluid: propylene_glycol\n  concentration: 30 %")
    .replace("refrigerant: R744", "refrigerant: R448A")
    .replace("gas: {in: 215 degF, out: 105 degF}", "gas: {in: 175 degF, out: 112 degF}")
)

CHILLED_TWO_WAY = """\
format: wringout-unit/1
name: Archive unit
site: {name: Tolling Street Paper Archive (invented), altitude: 60 m}
air:
  supply_airflow: 2.8 m3/s
  outdoor_airflow: 0.3 m3/s
  supply_fan: {drive: belt, heat_rise: 0.9 delta_degC, current: 8.5 A}
  filter_drop: 110 Pa
cooling:
  kind: chilled_water
  rated: {total: 62 kW, sensible: 42 kW, entering_t: 26 degC, entering_wb: 19 degC, airflow: 2.8 m3/s,
          water_in: 6 degC, water_out: 12 degC, water_flow: 2.47 L/s}
reheat:
  kind: hot_water
  rated: {heat: 48 kW, entering_t: 11 degC, airflow: 2.8 m3/s, water_in: 65 degC, water_flow: 0.6 L/s}
  valve:
    ways: two
    characteristic: equal_percentage
    signal: {low: 0 V, high: 10 V, coil_open_at: high}
    travel_time: 150 s
loop:
  fluid: water
  flow: 0.7 L/s
  pump_head: 6 m
  strainer_drop: 4 kPa
  pipe: {length: 40 m, size: 32 mm, insulation: 25 mm}
source:
  kind: boiler
  rated: {heat: 58 kW, water_out: 65 degC}
space:
  floor_area: 1400 m2
  volume: 5600 m3
  people: 12
  moisture: 2.5 kg/h
  sensible: 9 kW
  infiltration: 0.12 m3/s
  design: {t: 20 degC, dew_point: 9 degC}
  design_day: {outdoor_t: 30 degC, outdoor_dew_point: 21 degC}
control:
  dew_point: 9 degC
  dew_point_band: 1.5 delta_degC
  space_t: 20 degC
"""

BOILER_DIVERTING = """\
format: wringout-unit/1
name: Packing room unit
site: {name: Ochre Lane Seed Packers (invented), altitude: 1600 m}
air:
  supply_airflow: 5200 cfm
  outdoor_airflow: 900 cfm
  supply_fan: {drive: variable, speed: 47 Hz, heat_rise: 1.4 delta_degF, current: 9 A}
  filter_drop: 0.4 inWC
cooling:
  kind: dx
  stages:
    - {id: lead, share: 50 %, current: 22 A}
    - {id: lag, share: 50 %, current: 22 A}
  rated: {total: 15 ton, sensible: 10.2 ton, entering_t: 80 degF, entering_wb: 67 degF,
          outdoor_t: 95 degF, airflow: 5200 cfm}
reheat:
  kind: hot_water
  rated: {heat: 140000 Btu/h, entering_t: 52 degF, airflow: 5200 cfm, water_in: 150 degF, water_flow: 9.5 gpm}
  valve:
    ways: three
    placement: diverting
    characteristic: linear
    signal: {low: 4 mA, high: 20 mA, coil_open_at: low}
    travel_time: 60 s
loop:
  fluid: water
  flow: 9.5 gpm
  pump_head: 26 ft
  strainer_drop: 0.6 psi
  pipe: {length: 90 ft, size: 1.5 in, insulation: 1 in}
source:
  kind: boiler
  rated: {heat: 165000 Btu/h, water_out: 150 degF}
space:
  floor_area: 8000 ft2
  volume: 128000 ft3
  people: 30
  moisture: 12 lb/h
  sensible: 30000 Btu/h
  infiltration: 250 cfm
  design: {t: 70 degF, dew_point: 50 degF}
  design_day: {outdoor_t: 88 degF, outdoor_dew_point: 66 degF}
control:
  dew_point: 50 degF
  dew_point_band: 3 delta_degF
  space_t: 70 degF
"""

HOT_GAS = """\
format: wringout-unit/1
name: Reading room unit
site: {name: Lintel Square Reading Room (invented), altitude: 150 ft}
air:
  supply_airflow: 3000 cfm
  outdoor_airflow: 500 cfm
  supply_fan: {drive: direct, heat_rise: 1.2 delta_degF, current: 5.5 A}
  filter_drop: 0.35 inWC
cooling:
  kind: dx
  stages:
    - {id: c1, share: 50 %, modulating: yes, current: 15 A}
    - {id: c2, share: 50 %, current: 15 A}
  rated: {total: 9 ton, sensible: 6.1 ton, entering_t: 80 degF, entering_wb: 67 degF,
          outdoor_t: 95 degF, airflow: 3000 cfm}
  superheat: 10 delta_degF
  condensing_over_outdoor: 27 delta_degF
reheat:
  kind: hot_gas
  rated: {heat: 85000 Btu/h, entering_t: 52 degF, airflow: 3000 cfm, condensing_t: 112 degF}
  valve:
    ways: three
    placement: diverting
    characteristic: linear
    signal: {low: 2 V, high: 10 V, coil_open_at: high}
    travel_time: 45 s
space:
  floor_area: 5000 ft2
  volume: 90000 ft3
  people: 25
  moisture: 7 lb/h
  sensible: 24000 Btu/h
  infiltration: 180 cfm
  design: {t: 73 degF, dew_point: 52 degF}
  design_day: {outdoor_t: 90 degF, outdoor_dew_point: 75 degF}
control:
  dew_point: 52 degF
  dew_point_band: 3 delta_degF
  space_t: 73 degF
"""

UNITS = {
    "recovered heat, mixing valve": RECLAIM_MIXING,
    "recovered heat behind service water, glycol": RECLAIM_UPSTREAM,
    "chilled water, boiler, two-way valve": CHILLED_TWO_WAY,
    "boiler, diverting valve, signal reversed by design": BOILER_DIVERTING,
    "hot gas": HOT_GAS,
}
"""Documents by kind of unit."""


def machine(text: str) -> Design:
    """The machine of a unit document."""
    return design(unit_from_text(text))


def healthy(d: Design, z: Array | None = None) -> dict[str, Array]:
    """A machine as its schedule says (no ``z``), or as rows of standard normal numbers have it."""
    rows = spreads(d)
    return neutral(d) | healthy_values(rows, np.zeros((1, len(rows))) if z is None else z)


def random_machine(d: Design, samples: int, generator: np.random.Generator) -> dict[str, Array]:
    """Healthy machines, each with spreads of its own."""
    return healthy(d, generator.standard_normal((samples, len(spreads(d)))))


def conditions(
    d: Design,
    *,
    outdoor_t: float | None = None,
    outdoor_dew_point: float | None = None,
    space_t: float | None = None,
    space_dew_point: float | None = None,
    command: float = 0.5,
    stages: float | None = None,
    modulation: float = 0.8,
    rewetting: float = 0.0,
) -> Conditions:
    """Weather of the design day, the room at its set points and every stage called, but for what is given."""
    day, control = d.unit.space.design_day, d.unit.control

    def one(value: float | None, otherwise: float) -> Array:
        return np.full(1, otherwise if value is None else value)

    return Conditions(
        one(outdoor_t, day.outdoor_t),
        one(outdoor_dew_point, day.outdoor_dew_point),
        one(space_t, control.space_t),
        one(space_dew_point, control.dew_point + 0.5),
        np.full(1, command),
        one(stages, most_stages(d)),
        np.full(1, modulation),
        np.full(1, rewetting),
    )


def at_design(d: Design) -> Conditions:
    """The design day with every stage and the reheat full on."""
    return conditions(d, command=1.0, modulation=1.0)


def most_stages(d: Design) -> float:
    """Stages that can be called; 1 for chilled water."""
    return float(len(d.stage_share)) if d.dx else 1.0


def random_conditions(d: Design, samples: int, generator: np.random.Generator) -> Conditions:
    """Any weather and room that a service call meets, with any call for cooling and reheat."""
    day, control = d.unit.space.design_day, d.unit.control
    outdoor_t = day.outdoor_t + generator.uniform(-20.0, 8.0, samples)
    outdoor_dew = np.minimum(day.outdoor_dew_point + generator.uniform(-15.0, 5.0, samples), outdoor_t - 0.2)
    space_t = control.space_t + generator.uniform(-6.0, 6.0, samples)
    space_dew = np.minimum(control.dew_point + generator.uniform(-4.0, 9.0, samples), space_t - 1.2)
    most = most_stages(d)
    whole = generator.integers(0, int(most) + 1, samples).astype(float)
    stages = np.where(generator.random(samples) < 0.3, generator.uniform(0.0, most, samples), whole)
    return Conditions(
        outdoor_t,
        outdoor_dew,
        space_t,
        space_dew,
        np.clip(generator.uniform(-0.2, 1.2, samples), 0.0, 1.0),
        stages,
        generator.uniform(0.0, 1.0, samples),
        generator.uniform(0.0, 1.0, samples),
    )


def weather(d: Design, samples: int, generator: np.random.Generator) -> tuple[Array, Array, Array]:
    """Outdoor dry bulb and dew point within the design day, and where rooms are in the band of the stages."""
    day = d.unit.space.design_day
    outdoor_t = day.outdoor_t + generator.uniform(-12.0, 2.0, samples)
    outdoor_dew = np.minimum(day.outdoor_dew_point - generator.uniform(0.0, 8.0, samples), outdoor_t - 0.5)
    return outdoor_t, outdoor_dew, generator.uniform(0.15, 1.3, samples)


def under_control(
    d: Design, at: tuple[Array, Array, Array], values: Values, generator: np.random.Generator
) -> Conditions:
    """Machines dehumidifying as their control has them, in some `weather`."""
    outdoor_t, outdoor_dew, place = at
    control, samples = d.unit.control, place.size
    space_dew = control.dew_point + control.dew_point_band * (place - 0.5)
    seen = place + (values["dew_offset"] + values["dew_error"]) / control.dew_point_band
    most = most_stages(d)
    return Conditions(
        outdoor_t,
        outdoor_dew,
        control.space_t + generator.uniform(-1.5, 1.5, samples),
        space_dew,
        np.clip(generator.uniform(-0.1, 1.1, samples), 0.0, 1.0),
        np.clip(np.ceil(most * seen), 1.0, most),
        np.clip(seen, 0.0, 1.0),
        np.zeros(samples),
    )


def with_cause(
    d: Design,
    values: dict[str, Array],
    cause: str,
    severities: list[Array],
    variant: Variant | None = None,
) -> dict[str, Array]:
    """The machine with a cause at work, at severities from 0 to 1."""
    act = ACTS[cause]
    way = variants(cause, d.unit)[0] if variant is None else variant
    return values | act.move(values.__getitem__, way, severities)
