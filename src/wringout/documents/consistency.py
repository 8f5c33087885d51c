"""What must hold between the fields of a unit: each failure names the fields and what would mend it."""

from __future__ import annotations

import math
from collections.abc import Callable

from wringout.documents.fields import Reader
from wringout.documents.filler import AIR_HEAT, WATER_HEAT, Filler
from wringout.quantity import format

__all__ = ["check_unit"]

THINNING = 8434.0  # m; near the ground pressure falls as exp(-altitude/scale), within 2 % up to 3000 m


def check_unit(v: Filler, reader: Reader) -> None:
    """Refuse a unit whose numbers contradict one another."""
    check = _Check(v, reader)
    check.ordered("air.outdoor_airflow", "air.supply_airflow", "airflow")
    _stages(check)
    check.ordered("cooling.rated.sensible", "cooling.rated.total", "power")
    check.ordered("cooling.rated.entering_wb", "cooling.rated.entering_t", "temperature")
    if "cooling.rated.water_in" in v:
        check.ordered("cooling.rated.water_in", "cooling.rated.water_out", "temperature", strict=True)
        check.ordered("cooling.rated.water_out", "cooling.rated.entering_t", "temperature", strict=True)
        _same_power(check, "cooling.rated", "total")
    check.ordered("reheat.valve.signal.low", "reheat.valve.signal.high", "signal", strict=True)
    hot = "reheat.rated.water_in" if v["reheat.kind"] == "hot_water" else "reheat.rated.condensing_t"
    check.ordered("reheat.rated.entering_t", hot, "temperature", strict=True)
    _cooled_air(check)
    _leaving_air(check, hot)
    if v["reheat.kind"] == "hot_water":
        check.ordered("reheat.rated.water_flow", "loop.flow", "water_flow", slack=1.01)
        _leaving_water(check)
        check.ordered("reheat.rated.water_in", "source.rated.water_out", "temperature", plus=2.0)
        if "source.gas.in" in v:
            check.ordered("source.gas.out", "source.gas.in", "temperature", strict=True)
            check.ordered("source.rated.water_out", "source.gas.in", "temperature", strict=True)
    for dew, dry in (
        ("space.design.dew_point", "space.design.t"),
        ("space.design_day.outdoor_dew_point", "space.design_day.outdoor_t"),
        ("control.dew_point", "control.space_t"),
    ):
        check.ordered(dew, dry, "temperature", strict=True)


class _Check:
    def __init__(self, values: Filler, reader: Reader) -> None:
        self.v, self.reader = values, reader

    def refuse(self, path: str, message: str, *others: str) -> None:
        """Complain in the line of the first of the fields that stood in the document."""
        lines = (self.v.provenance[p].line for p in (path, *others) if p in self.v.provenance)
        raise self.reader.error(message, next((line for line in lines if line is not None), None), path)

    def shown(self, path: str, dimension: str) -> str:
        source = self.v.provenance[path]
        words = source.text or format(self.v[path], dimension)
        return words if source.kind == "given" else f"{words} (assumed: {source.rule})"

    def ordered(
        self,
        low: str,
        high: str,
        dimension: str,
        *,
        strict: bool = False,
        slack: float = 1.0,
        plus: float = 0.0,
    ) -> None:
        """The first field may not exceed the second."""
        a, b = self.v[low], self.v[high] * slack + plus
        over: Callable[[float, float], bool] = float.__ge__ if strict else float.__gt__
        if over(float(a), float(b) + (0.0 if strict else 1e-9 * abs(b))):
            word = "below" if strict else "at most"
            self.refuse(
                low,
                f"{self.shown(low, dimension)} must be {word} {high}, which is {self.shown(high, dimension)}",
                high,
            )


def _stages(check: _Check) -> None:
    v = check.v
    ids = v.values.get("cooling.stages", ())
    if not ids:
        return
    shares = [v[f"cooling.stages.{name}.share"] for name in ids]
    first = f"cooling.stages.{ids[0]}.share"
    if abs(sum(shares) - 1.0) > 0.005 or min(shares) <= 0.0:
        words = " + ".join(f"{100 * share:.3g} %" for share in shares)
        check.refuse(
            first, f"the shares of the stages must add up to 100 %; found {words} = {100 * sum(shares):.4g} %"
        )
    for name in ids[1:]:
        path = f"cooling.stages.{name}.modulating"
        if v[path]:
            check.refuse(
                path, f"only the first stage ({ids[0]}) may modulate; list the modulating stage first"
            )


def _same_power(check: _Check, rated: str, power: str) -> None:
    """Water flow times its rise must be about the rated power: a factor of two is a slip of unit or digit."""
    v = check.v
    water = v[f"{rated}.water_flow"] * WATER_HEAT * (v[f"{rated}.water_out"] - v[f"{rated}.water_in"])
    if not 0.5 < water / v[f"{rated}.{power}"] < 2.0:
        check.refuse(
            f"{rated}.water_flow",
            f"{check.shown(f'{rated}.water_flow', 'water_flow')} warming from water_in to water_out takes up "
            f"{format(water, 'power')}, but {power} is {check.shown(f'{rated}.{power}', 'power')}",
            f"{rated}.{power}",
        )


def _air_heat(v: Filler, airflow: str) -> float:
    """What an airflow takes up [W/K]."""
    return float(AIR_HEAT * math.exp(-v["site.altitude"] / THINNING) * v[airflow])


def _cooled_air(check: _Check) -> None:
    """A rated capacity that would freeze the air is a slip of unit or digit."""
    v, power, airflow = check.v, "cooling.rated.sensible", "cooling.rated.airflow"
    leaving = v["cooling.rated.entering_t"] - v[power] / _air_heat(v, airflow)
    if leaving < -10.0:
        check.refuse(
            power,
            f"{check.shown(power, 'power')} would bring {check.shown(airflow, 'airflow')} of air to "
            f"{format(leaving, 'temperature')}",
            "cooling.rated.total",
            airflow,
        )


def _leaving_water(check: _Check) -> None:
    """Water does not leave a coil colder than the air came in."""
    v, flow, air = check.v, "reheat.rated.water_flow", "reheat.rated.entering_t"
    leaving = v["reheat.rated.water_in"] - v["reheat.rated.heat"] / (WATER_HEAT * v[flow])
    if leaving <= v[air]:
        check.refuse(
            flow,
            f"{check.shown(flow, 'water_flow')} giving off {check.shown('reheat.rated.heat', 'power')} would "
            f"leave at {format(leaving, 'temperature')}, colder than the entering air of "
            f"{check.shown(air, 'temperature')}",
            "reheat.rated.heat",
            "loop.flow",
        )


def _leaving_air(check: _Check, hot: str) -> None:
    """No coil warms air beyond what warms it."""
    v, power = check.v, "reheat.rated.heat"
    leaving = v["reheat.rated.entering_t"] + v[power] / _air_heat(v, "reheat.rated.airflow")
    if leaving >= v[hot]:
        check.refuse(
            power,
            f"{check.shown(power, 'power')} would bring the air to {format(leaving, 'temperature')}, over "
            f"{hot} of {check.shown(hot, 'temperature')}",
            "reheat.rated.airflow",
            hot,
        )
