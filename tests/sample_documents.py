"""Documents of invented buildings for the tests: one of each kind of unit, a call and a trend document."""

from __future__ import annotations

RECLAIM = """\
format: wringout-unit/1
name: Cellar unit
site: {name: Alder Court Cheese Cellar (invented), altitude: 310 ft}
air:
  supply_airflow: 6200 cfm
  outdoor_airflow: 700 cfm
  supply_fan: {drive: variable, speed: 49 Hz, heat_rise: 1.4 delta_degF, current: 9.5 A}
  filter_drop: 0.38 inWC
cooling:
  kind: dx
  stages:
    - {id: a1, share: 40 %, modulating: yes, current: 17 A}
    - {id: a2, share: 60 %, current: 24 A}
  rated: {total: 20 ton, sensible: 14 ton, entering_t: 80 degF, entering_wb: 67 degF,
          outdoor_t: 95 degF, airflow: 6200 cfm}
  superheat: 11 delta_degF
  condensing_over_outdoor: 23 delta_degF
reheat:
  kind: hot_water
  rated: {heat: 190000 Btu/h, entering_t: 51 degF, airflow: 6200 cfm, water_in: 118 degF, water_flow: 20 gpm}
  valve:
    ways: three
    placement: diverting
    characteristic: linear
    signal: {low: 4 mA, high: 20 mA, coil_open_at: low}
    travel_time: 1.5 min
loop:
  fluid: propylene_glycol
  concentration: 30 %
  flow: 20 gpm
  pump_head: 14 psi
  strainer_drop: 0.7 psi
  pipe: {length: 180 ft, size: 2 in, insulation: 3/4 in}
source:
  kind: reclaim
  rated: {heat: 215 MBH, water_out: 118 degF}
  refrigerant: R448A
  gas: {in: 178 degF, out: 112 degF}
  upstream: none
space:
  floor_area: 9000 ft2
  volume: 108000 ft3
  people: 12
  moisture: 40 lb/h
  sensible: -20000 Btu/h
  infiltration: 260 cfm
  design: {t: 62 degF, dew_point: 48 degF}
  design_day: {outdoor_t: 89 degF, outdoor_dew_point: 72 degF}
control:
  dew_point: 48 degF
  dew_point_band: 2.5 delta_degF
  space_t: 62 degF
"""

HEADS = {
    "dx reclaim": """\
format: wringout-unit/1
name: Unit A
air: {supply_airflow: 8000 cfm}
cooling: {kind: dx, stages: [{id: c1}, {id: c2}]}
reheat: {kind: hot_water, valve: {ways: three}}
source: {kind: reclaim}
""",
    "dx boiler": """\
format: wringout-unit/1
name: Unit B
air: {supply_airflow: 3.5 m3/s}
cooling: {kind: dx, stages: [{id: c1, modulating: yes}]}
reheat: {kind: hot_water, valve: {ways: three, placement: mixing}}
source: {kind: boiler}
""",
    "dx hot gas": """\
format: wringout-unit/1
name: Unit C
air: {supply_airflow: 2400 cfm}
cooling: {kind: dx, stages: [{id: c1}, {id: c2}, {id: c3}]}
reheat: {kind: hot_gas}
""",
    "chilled boiler two-way": """\
format: wringout-unit/1
name: Unit D
air: {supply_airflow: 12000 cfm}
cooling: {kind: chilled_water}
reheat: {kind: hot_water, valve: {ways: two}}
source: {kind: boiler}
""",
    "chilled reclaim": """\
format: wringout-unit/1
name: Unit E
air: {supply_airflow: 12000 cfm}
cooling: {kind: chilled_water}
reheat: {kind: hot_water, valve: {ways: three}}
source: {kind: reclaim, refrigerant: R134a}
""",
}

CALL = """\
format: wringout-call/1
unit: unit.yaml
complaint: The cheese sweats since Easter.
events:
  - {at: 2027-05-04T09:00:00, kind: reading, point: supply.t, value: 61.5 degF, by: handheld}
  - {at: 2027-05-04T09:01:00, kind: reading, point: supply.rh, value: 62 %}
  - {at: 2027-05-04T09:02:00, kind: reading, point: shown.dehumidifying, value: yes, by: display}
  - {at: 2027-05-04T09:03:00, kind: reading, point: shown.stages_called, value: 2 count, by: display}
  - {at: 2027-05-04T09:10:00, kind: reading, point: stage.a2.current, value: 23.1 A, accuracy: 0.5 A}
  - {at: 2027-05-04T09:15:00, kind: force, item: reheat.command, to: 100 %}
  - {at: 2027-05-04T09:30:00, kind: reading, point: supply.t, value: 25.6 degC, accuracy: 1 delta_degF}
  - {at: 2027-05-04T09:34:00, kind: force, item: reheat.command, to: 50 %}
  - {at: 2027-05-04T09:50:00, kind: reading, point: loop.flow, value: 1.26 L/s, accuracy: 4 %}
  - {at: 2027-05-04T09:51:00, kind: release, item: reheat.command}
  - {at: 2027-05-04T10:05:00, kind: reading, point: supply.t, value: 62.0 degF}
  - {at: 2027-05-04T10:20:00, kind: change, cause: strainer-plugged, text: cleaned the loop strainer}
  - {at: 2027-05-04T10:35:00, kind: reading, point: supply.t, value: 66.4 degF}
  - {at: 2027-05-04T10:36:00, kind: note, text: "cover screw missing: coil panel"}
  - {at: 2027-05-11T10:00:00, kind: reading, point: supply.t, value: 65.1 degF}
"""

TREND = """\
format: wringout-trend/1
file: trend.csv
time: {column: "Date/Time", format: "%m/%d/%Y %H:%M"}
columns:
  "AI 4 Raum": {point: shown.space_t, unit: degC}
  "AI 5": {point: shown.dew_point, unit: degF}
  "AO 1 %": {point: shown.reheat_command, unit: "%"}
"""
