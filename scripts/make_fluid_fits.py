"""Fit water and glycol properties to CoolProp and print the tables that physics/fluid.py holds.

Run: python scripts/make_fluid_fits.py > fits.txt
Water is the IAPWS-95 formulation at 3 bar; the glycols are CoolProp's incompressible fluids MPG and MEG,
themselves fits to data collected by Melinder (2010). Prints the largest error of each fit over its
coefficients.
"""

from __future__ import annotations

import sys

import CoolProp.CoolProp as CP
import numpy as np
from numpy.polynomial import polynomial as poly
from numpy.typing import NDArray

PRESSURE = 3e5
PROPERTIES = {"density": "D", "specific_heat": "C", "viscosity": "V"}


def show(name: str, coefficients: NDArray[np.float64], error: float) -> None:
    """Print one table."""
    sys.stdout.write(f"# {name}: largest relative error {error:.1e}\n")
    for row in np.atleast_2d(coefficients):
        sys.stdout.write("    (" + ", ".join(f"{value:.10g}" for value in row) + "),\n")


def water() -> None:
    """Fit water from 0 to 130 degC; the logarithm for viscosity."""
    t = np.linspace(0.01, 130.0, 1301)
    u = (t - 65.0) / 65.0
    for name, key in PROPERTIES.items():
        values = CP.PropsSI(key, "T", t + 273.15, "P", PRESSURE, "Water")
        viscous = name == "viscosity"
        coefficients = poly.polyfit(u, np.log(values) if viscous else values, 8 if viscous else 7)
        model = poly.polyval(u, coefficients)
        model = np.exp(model) if viscous else model
        show(f"water {name}", coefficients, float(np.max(np.abs(model / values - 1.0))))


def glycol(name: str, code: str) -> None:
    """Fit a glycol from its freeze point to 100 degC and 0 to 60 % by mass."""
    shares = np.linspace(0.0, 0.6, 25)
    mixtures = [f"INCOMP::{code}[{share}]" for share in shares]
    freeze = np.array([CP.PropsSI("T_freeze", "T", 300.0, "P", PRESSURE, mix) for mix in mixtures]) - 273.15
    v = shares / 0.3 - 1.0
    coefficients = poly.polyfit(v, freeze, 5)
    error = float(np.max(np.abs(poly.polyval(v, coefficients) - freeze)))
    show(f"{name} freeze point (error in K)", coefficients, error)
    t = np.concatenate([np.linspace(coldest, 100.0, 41) for coldest in freeze])
    u, v = (t - 25.0) / 75.0, np.repeat(v, 41)
    for prop, key in PROPERTIES.items():
        values = np.array(
            [CP.PropsSI(key, "T", at + 273.15, "P", PRESSURE, mixtures[i // 41]) for i, at in enumerate(t)]
        )
        viscous = prop == "viscosity"
        degrees = [5 if viscous else 3, 4]
        design = poly.polyvander2d(u, v, degrees)
        solution = np.linalg.lstsq(design, np.log(values) if viscous else values, rcond=None)[0]
        model = design @ solution
        model = np.exp(model) if viscous else model
        error = float(np.max(np.abs(model / values - 1.0)))
        show(f"{name} {prop}", solution.reshape(degrees[0] + 1, degrees[1] + 1), error)


if __name__ == "__main__":
    sys.stdout.write(f"# CoolProp {CP.get_global_param_string('version')}\n")
    water()
    glycol("propylene glycol", "MPG")
    glycol("ethylene glycol", "MEG")
