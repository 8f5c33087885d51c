"""What stands in for a field that the document leaves out: rules of the trade in words, each with its spread.

Every rule is common practice and every spread an ESTIMATE of how far real units stray from it. Rules build on
one another, so that the numbers of a unit hang together: the reheat coil fits the airflow, the loop fits the
coil, the source fits the loop.
"""

from __future__ import annotations

import math
from typing import Any

from wringout.documents.fields import Found
from wringout.documents.provenance import Provenance
from wringout.quantity import to_si

__all__ = ["Filler", "fill"]

AIR_HEAT = 1.2 * 1006.0  # J/(m3 K) of standard air: the trade's 1.08 Btu/h per cfm and degF
WATER_HEAT = 990.0 * 4180.0  # J/(m3 K) at 45 degC: the trade's 500 Btu/h per gpm and degF
TON = float(to_si(1.0, "ton", "power"))
CFM = float(to_si(1.0, "cfm", "airflow"))
# nominal size [in], bore of steel pipe schedule 40 [m] (ASME B36.10M, recalled from memory)
PIPES = (
    (0.75, 0.0209),
    (1.0, 0.0266),
    (1.25, 0.0351),
    (1.5, 0.0409),
    (2.0, 0.0525),
    (2.5, 0.0627),
    (3.0, 0.0779),
    (4.0, 0.1023),
    (6.0, 0.1541),
    (8.0, 0.2027),
)


class Filler:
    """The values of a unit while they are being completed, with the source of each."""

    def __init__(self, found: dict[str, Found]) -> None:
        self.values: dict[str, Any] = {path: item.value for path, item in found.items()}
        self.provenance: dict[str, Provenance] = {
            path: Provenance("given", text=item.text, line=item.line)
            for path, item in found.items()
            if path != "cooling.stages"
        }

    def __getitem__(self, path: str) -> Any:
        return self.values[path]

    def __contains__(self, path: str) -> bool:
        return path in self.values

    def assume(self, path: str, value: Any, rule: str, spread: float = 0.0) -> None:
        """Fill a path that is still empty; ``spread`` is one standard deviation in SI."""
        if path not in self.values:
            self.values[path] = value
            self.provenance[path] = Provenance("assumed", rule=rule, sigma=spread)

    def scaled(self, path: str, value: float, rule: str, relative: float) -> None:
        """Fill a path; the spread is a share of the value."""
        self.assume(path, value, rule, abs(value) * relative)


def fill(found: dict[str, Found]) -> Filler:
    """Complete the values of a unit whose required fields are there."""
    values = Filler(found)
    _site_and_air(values)
    _cooling(values)
    if values["reheat.kind"] == "hot_water":
        _hot_water(values)
    else:
        _hot_gas(values)
    _valve(values)
    _space_and_control(values)
    return values


def _site_and_air(v: Filler) -> None:
    supply = v["air.supply_airflow"]
    v.assume("site.name", v["name"], "the name of the unit")
    v.assume("site.altitude", 0.0, "sea level", 150.0)
    v.scaled("air.outdoor_airflow", 0.15 * supply, "15 % of supply airflow", 0.4)
    fan = "air.supply_fan"
    v.assume(
        f"{fan}.drive",
        "variable" if f"{fan}.speed" in v else "belt",
        "variable where a speed is given, else belt",
    )
    if v[f"{fan}.drive"] == "variable":
        v.assume(f"{fan}.speed", 60.0, "60 Hz, full mains frequency", 6.0)
    v.assume(f"{fan}.heat_rise", to_si(1.5, "delta_degF", "temperature_difference"), "1.5 delta_degF", 0.3)
    v.scaled(f"{fan}.current", supply / CFM * 1.5e-3, "1.5 A per 1000 cfm (460 V, three phase)", 0.4)
    v.scaled("air.filter_drop", to_si(0.45, "inWC", "pressure_difference"), "0.45 inWC clean", 0.3)


def _cooling(v: Filler) -> None:
    rated, water = "cooling.rated", v["cooling.kind"] == "chilled_water"
    v.assume(f"{rated}.airflow", v["air.supply_airflow"], "supply airflow")
    v.assume(f"{rated}.entering_t", to_si(80.0, "degF", "temperature"), "80 degF, usual rating point", 1.0)
    wet_bulb = min(to_si(67.0, "degF", "temperature"), v[f"{rated}.entering_t"] - 1.0)
    v.assume(f"{rated}.entering_wb", wet_bulb, "67 degF, usual rating point", 1.0)
    if water:
        _chilled_water(v)
    airflow = v[f"{rated}.airflow"]
    total = airflow / CFM / 350.0 * TON
    if f"{rated}.sensible" in v:
        total = max(total, v[f"{rated}.sensible"] / 0.7)
    v.scaled(f"{rated}.total", total, "1 ton per 350 cfm", 0.25)
    per_ton = airflow / CFM / (v[f"{rated}.total"] / TON)
    share = min(max(0.60 + 0.0009 * (per_ton - 200.0), 0.55), 0.90)
    v.scaled(
        f"{rated}.sensible",
        share * v[f"{rated}.total"],
        f"{100 * share:.0f} % of total, at {per_ton:.0f} cfm a ton",
        0.07,
    )
    if water:
        rise = v[f"{rated}.water_out"] - v[f"{rated}.water_in"]
        flow = v[f"{rated}.total"] / (rise * WATER_HEAT)
        v.scaled(f"{rated}.water_flow", flow, "rated total over the rise of the water", 0.2)
    else:
        v.assume(f"{rated}.outdoor_t", to_si(95.0, "degF", "temperature"), "95 degF, usual rating point", 1.0)
        healthy = to_si(12.0, "delta_degF", "temperature_difference")
        v.assume("cooling.superheat", healthy, "12 delta_degF", 2.0)
        over = to_si(25.0, "delta_degF", "temperature_difference")
        v.assume("cooling.condensing_over_outdoor", over, "25 delta_degF", 3.0)
        _stages(v)


def _chilled_water(v: Filler) -> None:
    rated = "cooling.rated"
    have = {
        name: v.values.get(f"{rated}.{name}") for name in ("total", "water_in", "water_out", "water_flow")
    }
    usual_rise = to_si(10.0, "delta_degF", "temperature_difference")
    if have["total"] and have["water_flow"]:
        usual_rise = have["total"] / (have["water_flow"] * WATER_HEAT)
    if have["water_out"] is not None:
        v.assume(f"{rated}.water_in", have["water_out"] - usual_rise, "leaving water less its rise", 1.0)
    v.assume(f"{rated}.water_in", to_si(44.0, "degF", "temperature"), "44 degF", 1.5)
    rule = (
        "entering water plus its rise"
        if have["total"] and have["water_flow"]
        else "10 delta_degF over entering"
    )
    v.assume(f"{rated}.water_out", v[f"{rated}.water_in"] + usual_rise, rule, 1.5)
    if have["water_flow"]:
        rise = v[f"{rated}.water_out"] - v[f"{rated}.water_in"]
        v.scaled(f"{rated}.total", have["water_flow"] * WATER_HEAT * rise, "water flow times its rise", 0.15)


def _stages(v: Filler) -> None:
    ids = v["cooling.stages"]
    paths = [f"cooling.stages.{name}" for name in ids]
    missing = [path for path in paths if f"{path}.share" not in v]
    rest = 1.0 - sum(v[f"{path}.share"] for path in paths if path not in missing)
    for path in missing:
        v.assume(f"{path}.share", rest / len(missing), "an equal part of what the other stages leave", 0.05)
    known = [
        v[f"{p}.current"] / v[f"{p}.share"] for p in paths if f"{p}.current" in v and v[f"{p}.share"] > 0
    ]
    for path in paths:
        v.assume(f"{path}.modulating", False, "no")
        if known:
            whole, rule, spread = sum(known) / len(known), "in proportion to the other stages", 0.15
        else:
            whole = v["cooling.rated.total"] / TON * 1.8
            rule, spread = "1.8 A per ton (460 V, three phase)", 0.4
        v.scaled(f"{path}.current", v[f"{path}.share"] * whole, rule, spread)


def _hot_water(v: Filler) -> None:
    rated, source = "reheat.rated", "source.rated"
    boiler, two = v["source.kind"] == "boiler", v["reheat.valve.ways"] == "two"
    v.assume(f"{rated}.airflow", v["air.supply_airflow"], "supply airflow")
    v.assume(f"{rated}.entering_t", to_si(52.0, "degF", "temperature"), "52 degF, off the cooling coil", 1.5)
    if f"{source}.water_out" in v:
        v.assume(f"{rated}.water_in", v[f"{source}.water_out"], "water leaving the source", 1.0)
    usual = 150.0 if boiler else 115.0
    v.assume(
        f"{rated}.water_in",
        to_si(usual, "degF", "temperature"),
        f"{usual:.0f} degF from a {v['source.kind']}",
        5.0,
    )
    v.assume(f"{source}.water_out", v[f"{rated}.water_in"], "water entering the coil", 1.0)
    _reheat_power(v, limit=v[f"{source}.heat"] / 1.15 if f"{source}.heat" in v else math.inf)
    v.scaled(f"{source}.heat", 1.15 * v[f"{rated}.heat"], "15 % over the coil", 0.1)
    drop = 30.0 if boiler else 20.0
    kelvin = to_si(drop, "delta_degF", "temperature_difference")
    bypass = 7.0 / 6.0 if two else 1.0
    if "loop.flow" in v:
        words = "six sevenths of the loop's flow" if two else "the loop's flow"
        v.scaled(f"{rated}.water_flow", v["loop.flow"] / bypass, words, 0.05)
    coil = v[f"{rated}.heat"] / (WATER_HEAT * kelvin)
    v.scaled(f"{rated}.water_flow", coil, f"rated heat at a drop of {drop:.0f} delta_degF", 0.2)
    words = "seven sixths of the coil's flow (small fixed bypass)" if two else "the coil's flow"
    v.scaled("loop.flow", bypass * v[f"{rated}.water_flow"], words, 0.05)
    _loop(v)
    if not boiler:
        _reclaim(v)


def _reheat_power(v: Filler, limit: float) -> None:
    rated = "reheat.rated"
    rise = to_si(30.0, "delta_degF", "temperature_difference")
    hot = f"{rated}.water_in" if f"{rated}.water_in" in v else f"{rated}.condensing_t"
    rise = min(
        rise, 0.7 * (v[hot] - v[f"{rated}.entering_t"])
    )  # a coil of 70 % effectiveness, generous already
    heat = min(AIR_HEAT * v[f"{rated}.airflow"] * rise, limit)
    v.scaled(
        f"{rated}.heat", heat, "supply airflow raised by 30 delta_degF, as far as the source gives it", 0.2
    )


def _loop(v: Filler) -> None:
    v.assume("loop.fluid", "water", "water")
    water = v["loop.fluid"] == "water"
    v.assume(
        "loop.concentration", 0.0 if water else 0.30, "none" if water else "30 %", 0.0 if water else 0.05
    )
    v.scaled("loop.pipe.length", to_si(150.0, "ft", "length"), "150 ft one way", 0.4)
    flow = v["loop.flow"]
    nominal = next((size for size, bore in PIPES if flow / (math.pi / 4.0 * bore**2) <= 1.2), 10.0)
    v.scaled("loop.pipe.size", to_si(nominal, "in", "small_length"), "smallest pipe under 4 ft/s", 0.1)
    v.assume("loop.pipe.insulation", to_si(1.0, "in", "small_length"), "1 in", 0.006)
    head = to_si(15.0, "ft", "head") + 0.04 * 1.5 * 2.0 * v["loop.pipe.length"]
    v.scaled("loop.pump_head", head, "15 ft, and 4 ft per 100 ft of pipe and fittings (half again)", 0.25)
    v.scaled("loop.strainer_drop", to_si(0.8, "psi", "pressure_difference"), "0.8 psi clean", 0.3)


def _reclaim(v: Filler) -> None:
    v.assume("source.refrigerant", "R744", "R744")
    carbon_dioxide = v["source.refrigerant"] == "R744"
    hot = to_si(220.0 if carbon_dioxide else 175.0, "degF", "temperature")
    water = v["source.rated.water_out"]
    flow = v["loop.flow"]
    back = water - v["source.rated.heat"] / (flow * WATER_HEAT)
    v.assume(
        "source.gas.in",
        max(hot, water + 15.0),
        "220 degF (R744)" if carbon_dioxide else "175 degF (HFC blends)",
        8.0,
    )
    cold = min(max(back + 5.0, water - 5.0 if not carbon_dioxide else back + 5.0), v["source.gas.in"] - 5.0)
    v.assume("source.gas.out", cold, "a little over the water it warms", 3.0)
    v.assume("source.upstream", "none", "none")


def _hot_gas(v: Filler) -> None:
    rated = "reheat.rated"
    v.assume(f"{rated}.airflow", v["air.supply_airflow"], "supply airflow")
    v.assume(f"{rated}.entering_t", to_si(52.0, "degF", "temperature"), "52 degF, off the cooling coil", 1.5)
    v.assume(f"{rated}.condensing_t", to_si(110.0, "degF", "temperature"), "110 degF", 4.0)
    _reheat_power(v, limit=0.95 * v["cooling.rated.total"])
    v.assume("reheat.valve.ways", "three", "three, a hot-gas diverting valve")
    if v["reheat.valve.ways"] == "three":
        v.assume("reheat.valve.placement", "diverting", "diverting, as hot-gas valves are")


def _valve(v: Filler) -> None:
    valve, water = "reheat.valve", v["reheat.kind"] == "hot_water"
    if v[f"{valve}.ways"] == "three":
        v.assume(f"{valve}.placement", "mixing", "mixing")
    characteristic = "equal_percentage" if water else "linear"
    v.assume(f"{valve}.characteristic", characteristic, f"{characteristic}, usual for {v['reheat.kind']}")
    v.assume(f"{valve}.signal.low", 2.0 if v.values.get(f"{valve}.signal.high", 10.0) > 2.0 else 0.0, "2 V")
    v.assume(f"{valve}.signal.high", 10.0, "10 V")
    v.assume(f"{valve}.signal.coil_open_at", "high", "high")
    v.assume(f"{valve}.travel_time", 90.0, "90 s", 30.0)


def _space_and_control(v: Filler) -> None:
    supply = v["air.supply_airflow"]
    height = to_si(16.0, "ft", "length")
    if "space.volume" in v:
        v.scaled("space.floor_area", v["space.volume"] / height, "volume over a height of 16 ft", 0.3)
    v.scaled(
        "space.floor_area", supply / CFM / 0.6 * to_si(1.0, "ft2", "area"), "0.6 cfm of supply per ft2", 0.5
    )
    v.scaled("space.volume", v["space.floor_area"] * height, "floor area times a height of 16 ft", 0.3)
    people = float(round(v["air.outdoor_airflow"] / (20.0 * CFM)))
    v.assume("space.people", people, "one per 20 cfm of outdoor air", 0.6 * people)
    people = v["space.people"]
    each = to_si(0.25, "lb/h", "mass_flow")
    v.assume(
        "space.moisture",
        people * each,
        "0.25 lb/h a person",
        0.6 * people * each + to_si(3.0, "lb/h", "mass_flow"),
    )
    gain = people * to_si(250.0, "Btu/h", "power") + v["space.floor_area"] * 8.0
    v.assume("space.sensible", gain, "250 Btu/h a person and 8 W/m2 of light", 0.6 * abs(gain))
    leak = 0.15 * v["space.volume"] / 3600.0
    v.scaled("space.infiltration", leak, "0.15 changes of the space's air an hour", 0.6)
    for point, own, usual in (
        ("space.design.t", "control.space_t", 75.0),
        ("space.design.dew_point", "control.dew_point", 55.0),
    ):
        if own in v:
            v.assume(point, v[own], "the set point", 0.5)
        v.assume(point, to_si(usual, "degF", "temperature"), f"{usual:.0f} degF", 1.5)
        v.assume(own, v[point], "the design state", 0.5)
    v.assume(
        "control.dew_point_band", to_si(3.0, "delta_degF", "temperature_difference"), "3 delta_degF", 0.5
    )
    dew = v.values.get("space.design_day.outdoor_dew_point", to_si(74.0, "degF", "temperature"))
    outdoor = max(to_si(86.0, "degF", "temperature"), dew + 3.0)
    v.assume("space.design_day.outdoor_t", outdoor, "86 degF, a warm and wet summer's day", 2.5)
    dew = min(to_si(74.0, "degF", "temperature"), v["space.design_day.outdoor_t"] - 3.0)
    v.assume("space.design_day.outdoor_dew_point", dew, "74 degF, a warm and wet summer's day", 1.5)
