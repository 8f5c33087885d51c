"""Make the refrigerant tables that physics/refrigerant.py reads, with CoolProp.

Run: python scripts/make_refrigerant_tables.py [FILE]
Writes src/wringout/physics/refrigerant_tables.npz unless told otherwise. For each refrigerant:

- bubble and dew temperature on 101 knots evenly spaced in ln(pressure);
- enthalpy of gas on (pressure, superheat) and of liquid on (pressure, subcooling), and for carbon dioxide
above its
  critical pressure on (pressure, distance from the pseudo-critical temperature).

Pressure knots are even in cbrt(abs(ln(p / p_critical))), which straightens the saturation line's enthalpies
towards the critical point; temperature knots are even in asinh(difference / 4 K), which crowds them where
enthalpy bends. Enthalpies are shifted to 200 kJ/kg for saturated liquid at 0 degC (IIR). Blends of known
composition that CoolProp holds as pseudo-pure fluids are taken as such, the others as its predefined
mixtures (".mix").
"""

from __future__ import annotations

import contextlib
import sys
from pathlib import Path

import CoolProp
import CoolProp.CoolProp as CP
import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline, PchipInterpolator

Array = NDArray[np.float64]

NAMES = {
    "R744": "CarbonDioxide",
    "R134a": "R134a",
    "R404A": "R404A",
    "R407A": "R407A.mix",
    "R407C": "R407C",
    "R407F": "R407F.mix",
    "R410A": "R410A",
    "R448A": "R448A.mix",
    "R449A": "R449A.mix",
    "R454B": "R454B.mix",
    "R513A": "R513A.mix",
    "R32": "R32",
    "R507A": "R507A",
}
SATURATION_KNOTS = 101
SCALE = (
    0.05,
    8.0,
)  # K, of the asinh spacing: at the critical pressure, and growth with the square of distance
COLDEST_DEW = -55.0 + 273.15
HOTTEST_GAS, COLDEST_LIQUID = 180.0, -80.0  # K from saturation
SUPER_COLD, SUPER_HOT = -75.0, 170.0  # K from the pseudo-critical temperature
HIGHEST_R744 = 140e5
NEAREST = 0.97  # of the critical pressure, as far as the tables of all but carbon dioxide go
NEAREST_MIXTURE = 0.9  # where CoolProp works the blend out as a mixture: its flash fails further up
MOST_HOLES = 4  # knots of a row that the density solver may miss
COLDEST_SOLVED = -65.0 + 273.15  # K; colder liquid is carried on in a straight line


def critical(state: CoolProp.AbstractState) -> tuple[float, float]:
    """Give critical temperature in K and pressure in Pa; of a mixture, its stable critical point."""
    if len(state.fluid_names()) == 1:
        return state.T_critical(), state.p_critical()
    points = [
        point for point in state.all_critical_points() if point.stable and point.p > 1e6 and point.T > 250.0
    ]
    best = max(points, key=lambda point: point.T)
    return best.T, best.p


class Edge:
    """One side of the saturation line, temperature in K and enthalpy in J/kg over pressure.

    A mixture's flash fails at scattered pressures when it starts from nothing, so it is led up from 10 bar
    and down from there with each answer as the guess for the next, and a cubic spline in ln(pressure) goes
    through the answers. A pure or pseudo-pure fluid is asked directly.
    """

    def __init__(self, state: CoolProp.AbstractState, quality: float, p_low: float, p_high: float) -> None:
        self.state, self.quality = state, quality
        self.spline: CubicSpline | None = None
        if len(state.fluid_names()) == 1:
            return
        start = np.log(1e6)
        upwards = self._lead(np.linspace(start, np.log(p_high) + 1e-3, 200))
        downwards = self._lead(np.linspace(start, np.log(p_low) - 1e-3, 200))
        for part in (upwards, downwards):
            # a flash that settled on a wrong root would stand out from its neighbours
            bend = float(np.max(np.abs(np.diff(np.array(part)[:, 1], 2))))
            if bend > 0.05:
                raise ValueError(f"the saturation line bends by {bend:.3f} K between neighbours")
        rows = np.array(downwards[:0:-1] + upwards)
        self.spline = CubicSpline(rows[:, 0], rows[:, 1:])

    def _lead(self, log_pressures: Array) -> list[tuple[float, float, float]]:
        state, guesses = self.state, CoolProp.CoolProp.PyGuessesStructure()
        state.update(CP.PQ_INPUTS, 1e6, self.quality)
        answers = []
        for log_p in log_pressures:
            guesses.T = state.T()
            guesses.rhomolar_liq = state.saturated_liquid_keyed_output(CP.iDmolar)
            guesses.rhomolar_vap = state.saturated_vapor_keyed_output(CP.iDmolar)
            guesses.x, guesses.y = state.mole_fractions_liquid(), state.mole_fractions_vapor()
            state.update_with_guesses(CP.PQ_INPUTS, float(np.exp(log_p)), self.quality, guesses)
            answers.append((float(log_p), state.T(), state.hmass()))
        return answers

    def at(self, pressure: float) -> tuple[float, float]:
        """Give temperature and enthalpy at a pressure."""
        if self.spline is None:
            self.state.update(CP.PQ_INPUTS, pressure, self.quality)
            return self.state.T(), self.state.hmass()
        temperature, enthalpy = self.spline(np.log(pressure))
        return float(temperature), float(enthalpy)


def single_phase(state: CoolProp.AbstractState, phase: int, pressure: float, temperatures: Array) -> Array:
    """Give enthalpies in J/kg, the equation of state held to one phase; NaN where it has no answer."""
    found = np.full(temperatures.shape, np.nan)
    state.specify_phase(phase)
    for i, temperature in enumerate(temperatures):
        if temperature < COLDEST_SOLVED:
            continue
        # close to saturation the density solver misses single points of blends; their neighbours' mean
        # stands in
        for off in (0.0, 0.01, 0.03, 0.1):
            with contextlib.suppress(ValueError):
                pair = []
                for sign in (-1.0, 1.0):
                    state.update(CP.PT_INPUTS, pressure, float(temperature + sign * off))
                    pair.append(state.hmass())
                found[i] = 0.5 * (pair[0] + pair[1])
                break
    state.unspecify_phase()
    return found


def carry_on(row: Array, differences: Array) -> Array:
    """Carry a row on in a straight line over liquid colder than asked for, and bridge single failures."""
    good = np.flatnonzero(np.isfinite(row))
    a, b = good[0], good[-1]
    holes = b + 1 - a - good.size
    if holes > MOST_HOLES:
        raise ValueError(f"{holes} holes inside a row of the table")
    filled = row.copy()
    if holes:
        # by knot number, in which the row is smooth
        filled[a : b + 1] = PchipInterpolator(good, row[good])(np.arange(a, b + 1))
    low, high = np.arange(a), np.arange(b + 1, row.size)
    slope = (row[a + 1] - row[a]) / (differences[a + 1] - differences[a])
    filled[low] = row[a] + slope * (differences[low] - differences[a])
    slope = (row[b] - row[b - 1]) / (differences[b] - differences[b - 1])
    filled[high] = row[b] + slope * (differences[high] - differences[b])
    return filled


def spaced(low: float, high: float, knots: int, distance: float) -> Array:
    """Give temperature differences even in asinh, crowded where enthalpy steepens to the critical point."""
    scale = SCALE[0] + SCALE[1] * distance**2
    return scale * np.sinh(np.linspace(np.arcsinh(low / scale), np.arcsinh(high / scale), knots))


def pseudo_critical(state: CoolProp.AbstractState, pressure: float, t_critical: float) -> float:
    """Give the temperature in K of greatest specific heat above the critical pressure."""
    low, high = t_critical, t_critical + 60.0
    for _ in range(5):
        grid = np.linspace(low, high, 61)
        heats = []
        for t in grid:
            state.update(CP.PT_INPUTS, pressure, float(t))
            heats.append(state.cpmass())
        best = int(np.argmax(heats))
        low, high = grid[max(best - 1, 0)], grid[min(best + 1, 60)]
    return float(0.5 * (low + high))


def table(name: str, fluid: str) -> dict[str, Array]:
    """Make all tables of one refrigerant."""
    state = CP.AbstractState("HEOS", fluid)
    is_r744 = name == "R744"
    t_critical, p_critical = critical(state)
    state.update(CP.QT_INPUTS, 0.0, 273.15)
    shift = 200e3 - state.hmass()
    if is_r744:
        p_low, p_high = state.trivial_keyed_output(CP.iP_triple) * 1.0001, p_critical
    else:
        state.update(CP.QT_INPUTS, 1.0, COLDEST_DEW)
        nearest = NEAREST if len(state.fluid_names()) == 1 else NEAREST_MIXTURE
        p_low, p_high = state.p(), nearest * p_critical
    pressures = np.exp(np.linspace(np.log(p_low), np.log(p_high), SATURATION_KNOTS))
    if is_r744:
        pressures[-1] = p_critical * (1.0 - 1e-9)
    edges = {quality: Edge(state, quality, p_low, p_high) for quality in (0.0, 1.0)}
    bubble, dew = (np.array([edges[quality].at(float(p))[0] for p in pressures]) for quality in (0.0, 1.0))
    knots_p, knots_t = (121, 81) if is_r744 else (41, 41)
    nearness = np.linspace(np.cbrt(np.log(p_critical / p_high)), np.cbrt(np.log(p_critical / p_low)), knots_p)
    gas, liquid = np.empty((knots_p, knots_t)), np.empty((knots_p, knots_t))
    sides = (
        (1.0, gas, (0.0, HOTTEST_GAS), CP.iphase_gas),
        (0.0, liquid, (COLDEST_LIQUID, 0.0), CP.iphase_liquid),
    )
    for i, distance in enumerate(nearness):
        pressure = float(p_critical * np.exp(-(distance**3)))
        pressure = min(max(pressure, p_low * (1.0 + 1e-12)), p_critical * (1.0 - 1e-9))
        for quality, grid, span, phase in sides:
            differences = spaced(*span, knots_t, float(distance))
            edge_t, edge_h = edges[quality].at(pressure)
            row = single_phase(state, phase, pressure, edge_t + differences)
            row[0 if quality else -1] = edge_h
            grid[i] = carry_on(row, differences)
    made = {
        "critical": np.array([t_critical - 273.15, p_critical]),
        "pressure": np.array([p_low, p_high]),
        "bubble": bubble - 273.15,
        "dew": dew - 273.15,
        "gas": gas + shift,
        "liquid": liquid + shift,
    }
    if is_r744:
        depth = np.linspace(0.0, np.cbrt(np.log(HIGHEST_R744 / p_critical)), 61)
        over, ridge = np.empty((depth.size, 201)), np.empty(depth.size)
        for i, distance in enumerate(depth):
            pressure = float(p_critical * np.exp(distance**3)) * (1.0 + 1e-9)
            ridge[i] = pseudo_critical(state, pressure, t_critical) if i else t_critical
            differences = spaced(SUPER_COLD, SUPER_HOT, over.shape[1], float(distance))
            row = single_phase(state, CP.iphase_not_imposed, pressure, ridge[i] + differences)
            over[i] = carry_on(row, differences)
        made |= {"super": over + shift, "ridge": ridge - 273.15}
    return made


def main(target: Path) -> None:
    """Make and write all tables."""
    tables: dict[str, Array] = {}
    for name, fluid in NAMES.items():
        for key, values in table(name, fluid).items():
            # float32 holds an enthalpy to 0.03 J/kg
            tables[f"{name}/{key}"] = values.astype(np.float32) if values.ndim == 2 else values
        sys.stdout.write(f"{name}: done\n")
    tables["version"] = np.array(CP.get_global_param_string("version"))
    np.savez_compressed(target, **tables)
    sys.stdout.write(f"{target}: {target.stat().st_size / 1024:.0f} KiB\n")


if __name__ == "__main__":
    default = Path(__file__).parent.parent / "src/wringout/physics/refrigerant_tables.npz"
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else default)
