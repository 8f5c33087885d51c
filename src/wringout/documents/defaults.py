"""What stands in for a field that the document leaves out: rules of the trade in words, each with its spread.

Every rule is common practice and every spread an ESTIMATE of how far real units stray from it. Rules build on
one another, so that the numbers of a unit hang together: the reheat coil fits the airflow, the loop fits the
coil, the source fits the loop.
"""

from __future__ import annotations

from wringout.documents.defaults_reheat import fill_hot_gas, fill_hot_water, fill_valve
from wringout.documents.fields import Found
from wringout.documents.filler import CFM, TON, WATER_HEAT, Filler
from wringout.quantity import to_si

__all__ = ["fill"]


def fill(found: dict[str, Found]) -> Filler:
    """Complete the values of a unit whose required fields are there."""
    values = Filler(found)
    _site_and_air(values)
    _cooling(values)
    if values["reheat.kind"] == "hot_water":
        fill_hot_water(values)
    else:
        fill_hot_gas(values)
    fill_valve(values)
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
    v.assume(
        f"{fan}.heat_rise",
        to_si(1.5, "delta_degF", "temperature_difference"),
        "usual at about 3 inWC of fan pressure",
        0.3,
    )
    v.scaled(f"{fan}.current", supply / CFM * 1.5e-3, "1.5 A per 1000 cfm (460 V, three phase)", 0.4)
    v.scaled("air.filter_drop", to_si(0.45, "inWC", "pressure_difference"), "usual for a clean filter", 0.3)


def _cooling(v: Filler) -> None:
    rated, water = "cooling.rated", v["cooling.kind"] == "chilled_water"
    v.assume(f"{rated}.airflow", v["air.supply_airflow"], "supply airflow")
    v.assume(f"{rated}.entering_t", to_si(80.0, "degF", "temperature"), "usual rating point", 1.0)
    wet_bulb = min(to_si(67.0, "degF", "temperature"), v[f"{rated}.entering_t"] - 1.0)
    v.assume(f"{rated}.entering_wb", wet_bulb, "usual rating point", 1.0)
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
        v.assume(f"{rated}.outdoor_t", to_si(95.0, "degF", "temperature"), "usual rating point", 1.0)
        healthy = to_si(12.0, "delta_degF", "temperature_difference")
        v.assume("cooling.superheat", healthy, "usual for a healthy stage", 2.0)
        over = to_si(25.0, "delta_degF", "temperature_difference")
        v.assume("cooling.condensing_over_outdoor", over, "usual for a clean condenser", 3.0)
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
    v.assume(f"{rated}.water_in", to_si(44.0, "degF", "temperature"), "usual chilled water", 1.5)
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
        v.assume(f"{path}.modulating", False, "on or off")
        if known:
            whole, rule, spread = sum(known) / len(known), "in proportion to the other stages", 0.15
        else:
            whole = v["cooling.rated.total"] / TON * 1.8
            rule, spread = "1.8 A per ton (460 V, three phase)", 0.4
        v.scaled(f"{path}.current", v[f"{path}.share"] * whole, rule, spread)


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
    _set_points(v)
    v.assume("control.dew_point_band", to_si(3.0, "delta_degF", "temperature_difference"), "usual", 0.5)
    dew = v.values.get("space.design_day.outdoor_dew_point", to_si(74.0, "degF", "temperature"))
    outdoor = max(to_si(86.0, "degF", "temperature"), dew + 3.0)
    v.assume("space.design_day.outdoor_t", outdoor, "a warm and wet summer's day", 2.5)
    dew = min(to_si(74.0, "degF", "temperature"), v["space.design_day.outdoor_t"] - 3.0)
    v.assume("space.design_day.outdoor_dew_point", dew, "a warm and wet summer's day", 1.5)


def _set_points(v: Filler) -> None:
    """Set points and design state stand in for one another; dew points are kept 6 K below the space."""
    both = {"t": "control.space_t", "dew_point": "control.dew_point"}
    for name, own in both.items():
        if own in v:
            v.assume(f"space.design.{name}", v[own], "the set point", 0.5)
    dry, wet = to_si(75.0, "degF", "temperature"), to_si(55.0, "degF", "temperature")
    if "space.design.dew_point" in v and v["space.design.dew_point"] + 6.0 > dry:
        v.assume("space.design.t", v["space.design.dew_point"] + 6.0, "6 K over the dew point", 1.5)
    v.assume("space.design.t", dry, "usual where people stay", 1.5)
    if v["space.design.t"] - 6.0 < wet:
        v.assume("space.design.dew_point", v["space.design.t"] - 6.0, "6 K below the space", 1.5)
    v.assume("space.design.dew_point", wet, "75 degF and 50 % rh", 1.5)
    for name, own in both.items():
        v.assume(own, v[f"space.design.{name}"], "the design state", 0.5)
