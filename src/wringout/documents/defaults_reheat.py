"""What stands in for missing fields of reheat coil, valve, loop and heat source; see `defaults`."""

from __future__ import annotations

import math

from wringout.documents.filler import AIR_HEAT, WATER_HEAT, Filler
from wringout.quantity import to_si

__all__ = ["fill_hot_gas", "fill_hot_water", "fill_valve"]

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


def fill_hot_water(v: Filler) -> None:
    """Coil, loop and source, each fitting what is known of the others."""
    rated, source = "reheat.rated", "source.rated"
    boiler, two = v["source.kind"] == "boiler", v["reheat.valve.ways"] == "two"
    _air(v)
    if f"{source}.water_out" in v:
        v.assume(f"{rated}.water_in", v[f"{source}.water_out"], "water leaving the source", 1.0)
    usual = 150.0 if boiler else 115.0
    warm, words = to_si(usual, "degF", "temperature"), f"usual from a {v['source.kind']}"
    if "source.gas.in" in v and v["source.gas.in"] - 10.0 < warm:
        warm, words = v["source.gas.in"] - 10.0, "10 K below the gas that warms it"
    v.assume(f"{rated}.water_in", warm, words, 5.0)
    v.assume(f"{source}.water_out", v[f"{rated}.water_in"], "water entering the coil", 1.0)
    bypass = 7.0 / 6.0 if two else 1.0
    if "loop.flow" in v:
        words = "six sevenths of the loop's flow" if two else "the loop's flow"
        v.scaled(f"{rated}.water_flow", v["loop.flow"] / bypass, words, 0.05)
    _power(v)
    v.scaled(f"{source}.heat", 1.15 * v[f"{rated}.heat"], "15 % over the coil", 0.1)
    drop = 30.0 if boiler else 20.0
    kelvin = to_si(drop, "delta_degF", "temperature_difference")
    words = f"rated heat at a drop of {drop:.0f} delta_degF"
    if kelvin > (limit := 0.6 * (v[f"{rated}.water_in"] - v[f"{rated}.entering_t"])):
        kelvin, words = max(limit, 0.1), "rated heat, water cooled six tenths of the way to the air"
    v.scaled(f"{rated}.water_flow", v[f"{rated}.heat"] / (WATER_HEAT * kelvin), words, 0.2)
    words = "seven sixths of the coil's flow (small fixed bypass)" if two else "the coil's flow"
    v.scaled("loop.flow", bypass * v[f"{rated}.water_flow"], words, 0.05)
    _loop(v)
    if not boiler:
        _reclaim(v)


def fill_hot_gas(v: Filler) -> None:
    """Coil and valve in the discharge line of the unit's own stages."""
    _air(v)
    v.assume("reheat.rated.condensing_t", to_si(110.0, "degF", "temperature"), "usual", 4.0)
    _power(v)
    v.assume("reheat.valve.ways", "three", "usual for hot gas")
    if v["reheat.valve.ways"] == "three":
        v.assume("reheat.valve.placement", "diverting", "usual for hot gas")


def fill_valve(v: Filler) -> None:
    """The valve and its control signal."""
    valve, water = "reheat.valve", v["reheat.kind"] == "hot_water"
    if v[f"{valve}.ways"] == "three":
        v.assume(f"{valve}.placement", "mixing", "usual")
    characteristic = "equal_percentage" if water else "linear"
    v.assume(
        f"{valve}.characteristic", characteristic, "usual for hot water" if water else "usual for hot gas"
    )
    v.assume(
        f"{valve}.signal.low", 2.0 if v.values.get(f"{valve}.signal.high", 10.0) > 2.0 else 0.0, "usual span"
    )
    v.assume(f"{valve}.signal.high", 10.0, "usual span")
    v.assume(f"{valve}.signal.coil_open_at", "high", "usual")
    v.assume(f"{valve}.travel_time", 90.0, "usual", 30.0)


def _air(v: Filler) -> None:
    v.assume("reheat.rated.airflow", v["air.supply_airflow"], "supply airflow")
    off_coil = to_si(52.0, "degF", "temperature")
    v.assume("reheat.rated.entering_t", off_coil, "usual off the cooling coil", 1.5)


def _power(v: Filler) -> None:
    """The least of what the air usually takes and what the heat at hand can give."""
    rated = "reheat.rated"
    hot = v[f"{rated}.water_in"] if f"{rated}.water_in" in v else v[f"{rated}.condensing_t"]
    apart = max(hot - v[f"{rated}.entering_t"], 0.1)
    air = AIR_HEAT * v[f"{rated}.airflow"]
    rise = to_si(30.0, "delta_degF", "temperature_difference")
    choices = [
        (air * rise, "rated airflow raised by 30 delta_degF"),
        (air * 0.7 * apart, "rated airflow raised 70 % of the way to what heats it"),
    ]
    if f"{rated}.water_flow" in v:
        most = WATER_HEAT * v[f"{rated}.water_flow"] * 0.6 * apart
        choices.append((most, "the coil's water cooled six tenths of the way to the air"))
    if "source.rated.heat" in v:
        choices.append((v["source.rated.heat"] / 1.15, "the source's heat over 1.15"))
    if v["reheat.kind"] == "hot_gas":
        choices.append((0.95 * v["cooling.rated.total"], "95 % of the cooling's total"))
    heat, rule = min(choices)
    v.scaled(f"{rated}.heat", heat, rule, 0.2)


def _loop(v: Filler) -> None:
    v.assume("loop.fluid", "water", "usual")
    water = v["loop.fluid"] == "water"
    v.assume(
        "loop.concentration",
        0.0 if water else 0.30,
        "plain water" if water else "usual",
        0.0 if water else 0.05,
    )
    v.scaled("loop.pipe.length", to_si(150.0, "ft", "length"), "usual", 0.4)
    flow = v["loop.flow"]
    nominal = next((size for size, bore in PIPES if flow / (math.pi / 4.0 * bore**2) <= 1.2), 10.0)
    v.scaled("loop.pipe.size", to_si(nominal, "in", "small_length"), "smallest pipe under 4 ft/s", 0.1)
    v.assume("loop.pipe.insulation", to_si(1.0, "in", "small_length"), "usual", 0.006)
    head = to_si(15.0, "ft", "head") + 0.04 * 1.5 * 2.0 * v["loop.pipe.length"]
    v.scaled("loop.pump_head", head, "15 ft, and 4 ft per 100 ft of pipe and fittings (half again)", 0.25)
    v.scaled(
        "loop.strainer_drop", to_si(0.8, "psi", "pressure_difference"), "usual for a clean strainer", 0.3
    )


def _reclaim(v: Filler) -> None:
    v.assume("source.refrigerant", "R744", "usual in new plants")
    carbon_dioxide = v["source.refrigerant"] == "R744"
    water = v["source.rated.water_out"]
    usual = 220.0 if carbon_dioxide else 175.0
    hot = max(to_si(usual, "degF", "temperature"), water + 10.0)
    v.assume("source.gas.in", hot, f"usual with {v['source.refrigerant']}, and over the water", 8.0)
    if carbon_dioxide:  # no condensing: the gas follows the water down
        cold = water - v["source.rated.heat"] / (v["loop.flow"] * WATER_HEAT) + 5.0
        rule = "5 K over the water that comes back"
    else:
        cold, rule = water, "condensed at about the temperature of the leaving water"
    cold = min(max(cold, 1.0), v["source.gas.in"] - 5.0)
    v.assume("source.gas.out", cold, rule, 3.0)
    v.assume("source.upstream", "none", "nothing else takes the heat first")
