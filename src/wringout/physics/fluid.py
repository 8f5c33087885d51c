"""Loop liquids: density, specific heat, viscosity and freeze point of water and of glycol mixtures.

Short polynomials, made by scripts/make_fluid_fits.py, so that no property library is needed at run time.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from wringout.errors import InputError
from wringout.physics._limits import Array, floats, within

__all__ = [
    "Fluid",
    "FLUIDS",
    "LARGEST_CONCENTRATION",
    "temperature_limits",
    "freeze_point",
    "density",
    "specific_heat",
    "viscosity",
    "capacity_rate",
]

Fluid = Literal["water", "propylene_glycol", "ethylene_glycol"]
FLUIDS: tuple[Fluid, ...] = ("water", "propylene_glycol", "ethylene_glycol")
LARGEST_CONCENTRATION = 0.6
"""Largest mass fraction of glycol the fits are made for."""

_HOTTEST = {"water": 130.0, "propylene_glycol": 100.0, "ethylene_glycol": 100.0}
_TEMPERATURE_SCALE = {
    "water": (65.0, 65.0),
    "propylene_glycol": (25.0, 75.0),
    "ethylene_glycol": (25.0, 75.0),
}
_SLACK = 1e-6  # K; a temperature at the freeze point itself is not refused over rounding

# Rows: powers of scaled temperature; columns: powers of scaled concentration, (mass fraction / 0.3) - 1.
# Viscosity: the natural logarithm. SOURCE: scripts/make_fluid_fits.py with CoolProp 8.0.0 (IAPWS-95 water
# at 3 bar, incompressible MPG and MEG after Melinder 2010).
_COEFFICIENTS: dict[str, dict[str, tuple[tuple[float, ...], ...]]] = {
    "water": {
        "density": (  # largest relative error 3.1e-06
            (980.63862,),
            (-35.312066,),
            (-11.932535,),
            (2.2333462,),
            (-0.95228717,),
            (0.33791744,),
            (-0.35463604,),
            (0.19273356,),
        ),
        "specific_heat": (  # largest relative error 3.6e-05
            (4186.8645,),
            (33.340477,),
            (32.242076,),
            (2.9221806,),
            (8.8814547,),
            (-7.9660621,),
            (11.84098,),
            (-6.7723158,),
        ),
        "viscosity": (  # largest relative error 3.0e-05
            (-7.7448794,),
            (-0.93495851,),
            (0.29777195,),
            (-0.10138667,),
            (0.043250463,),
            (-0.019297739,),
            (0.0097606656,),
            (-0.0091593325,),
            (0.004456685,),
        ),
    },
    "propylene_glycol": {
        "density": (  # largest relative error 7.0e-05
            (
                1021.4081,
                25.045864,
                -2.0807708,
                -4.0255335,
                -0.8907215,
            ),
            (
                -36.744461,
                -23.351203,
                1.9580372,
                6.1015751,
                -1.4674527,
            ),
            (
                -16.932881,
                10.117314,
                -2.8288736,
                -1.2821062,
                0.52510158,
            ),
            (
                5.6824073,
                -1.8790692,
                1.6620103,
                0.17681553,
                -0.41069509,
            ),
        ),
        "specific_heat": (  # largest relative error 3.5e-04
            (
                3870.5733,
                -392.90973,
                -144.79965,
                -16.132449,
                47.353608,
            ),
            (
                201.6416,
                117.0835,
                -13.614199,
                75.614825,
                -40.842435,
            ),
            (
                -8.6480537,
                -19.836505,
                78.012893,
                -40.729141,
                -11.118611,
            ),
            (
                -3.9516848,
                22.654591,
                -26.540904,
                -3.7439291,
                8.6961441,
            ),
        ),
        "viscosity": (  # largest relative error 1.2e-02
            (
                -6.0002641,
                1.072733,
                0.06587166,
                -0.025048659,
                -0.034400303,
            ),
            (
                -2.5706328,
                -1.0480725,
                -0.012881879,
                0.25050411,
                0.036410562,
            ),
            (
                1.5965056,
                0.79813582,
                -0.15479226,
                -0.23264319,
                0.096378712,
            ),
            (
                -0.59239297,
                -0.30691261,
                0.17996,
                0.12441762,
                -0.26033113,
            ),
            (
                -0.030590378,
                0.17025395,
                -0.032920898,
                -0.2702236,
                0.1549099,
            ),
            (
                0.027269199,
                -0.096527054,
                -0.071576887,
                0.14840856,
                0.0083267696,
            ),
        ),
    },
    "ethylene_glycol": {
        "density": (  # largest relative error 1.5e-04
            (
                1035.9322,
                40.464521,
                -0.072617486,
                -1.6206743,
                -0.65300366,
            ),
            (
                -32.626005,
                -17.267196,
                5.6584031,
                3.3453223,
                -4.6281122,
            ),
            (
                -15.816268,
                8.4805332,
                -3.3381694,
                -2.1841892,
                1.076476,
            ),
            (
                1.9116483,
                -0.16190155,
                2.6461917,
                0.3998777,
                -0.83511859,
            ),
        ),
        "specific_heat": (  # largest relative error 1.2e-03
            (
                3733.1874,
                -544.97525,
                -100.24795,
                21.165531,
                23.5945,
            ),
            (
                217.84803,
                247.97187,
                11.329666,
                3.4039418,
                -17.767137,
            ),
            (
                -25.736417,
                -82.167288,
                66.855857,
                -10.626587,
                -35.611084,
            ),
            (
                -3.3940411,
                12.768028,
                -52.064766,
                -13.228422,
                27.6267,
            ),
        ),
        "viscosity": (  # largest relative error 6.4e-03
            (
                -6.2785158,
                0.77905644,
                -0.011002223,
                -0.012287542,
                0.035077354,
            ),
            (
                -2.0910711,
                -0.3064953,
                0.060228394,
                -0.00085834823,
                0.006608583,
            ),
            (
                1.0752025,
                0.22883559,
                0.16706824,
                0.059970736,
                -0.052173221,
            ),
            (
                -0.31384753,
                -0.15627612,
                -0.34418106,
                -0.066437608,
                0.13345307,
            ),
            (
                0.01932431,
                -0.078705586,
                -0.0015610606,
                0.13379807,
                -0.068862559,
            ),
            (
                -0.016859231,
                0.043067753,
                0.049836325,
                -0.071124807,
                -0.01257117,
            ),
        ),
    },
}
_FREEZE_POINT: dict[str, tuple[float, ...]] = {
    "propylene_glycol": (-12.789104, -19.4415, -9.4217482, -5.9032829, -2.8030067, 0.355995),
    "ethylene_glycol": (-14.575778, -23.567475, -11.83549, -2.0608275, 0.81095309, 0.027702),
}


def _concentration(fluid: str, concentration: ArrayLike) -> Array:
    if fluid not in _COEFFICIENTS:
        raise InputError(f"fluid {fluid!r} is not known: choose one of {', '.join(FLUIDS)}")
    name = "glycol concentration"
    if fluid == "water":
        return within(f"{name} in water", concentration, "", 0.0, 0.0, check="name the glycol as the fluid")
    advice = "it is a mass fraction, 0.3 for 30 %"
    return within(name, concentration, "", 0.0, LARGEST_CONCENTRATION, check=advice)


def freeze_point(fluid: Fluid = "water", concentration: ArrayLike = 0.0) -> Array:
    """Give the temperature at which a loop liquid begins to freeze.

    Parameters
    ----------
    fluid : {"water", "propylene_glycol", "ethylene_glycol"}
        The liquid.
    concentration : array_like, any shape, in [kg/kg]
        Mass fraction of glycol, 0 to 0.6; 0 for water.

    Returns
    -------
    ndarray, shape of `concentration`, in [degC]
        Freeze point (first crystals; slush stays pumpable a little below); NaN where `concentration` is NaN.

    Raises
    ------
    InputError
        Unknown `fluid` or `concentration` outside its limits.

    References
    ----------
    CoolProp 8.0.0, incompressible MPG and MEG, after Melinder, Properties of Secondary Working Fluids (IIR
    2010); carried over without error.
    """
    share = _concentration(fluid, concentration)
    if fluid == "water":
        return share * 0.0
    x = share / 0.3 - 1.0
    total = np.zeros_like(x)
    for coefficient in reversed(_FREEZE_POINT[fluid]):
        total = total * x + coefficient
    return total


def temperature_limits(fluid: Fluid = "water", concentration: ArrayLike = 0.0) -> tuple[Array, float]:
    """Give the temperatures between which the properties of a liquid are known here.

    Parameters
    ----------
    fluid : {"water", "propylene_glycol", "ethylene_glycol"}
        The liquid.
    concentration : array_like, any shape, in [kg/kg]
        Mass fraction of glycol.

    Returns
    -------
    coldest : ndarray, shape of `concentration`, in [degC]
        The freeze point.
    hottest : float, in [degC]
        130 for water, 100 for glycol mixtures.

    Raises
    ------
    InputError
        As `freeze_point`.
    """
    return freeze_point(fluid, concentration), _HOTTEST[fluid]


def _evaluate(prop: str, temperature: ArrayLike, fluid: Fluid, concentration: ArrayLike) -> Array:
    share = _concentration(fluid, concentration)
    hottest = _HOTTEST[fluid]
    name = f"temperature of {fluid.replace('_', ' ')}"
    if fluid == "water":
        t = within(
            name, temperature, "degC", -_SLACK, hottest, check="outside it is ice or steam at loop pressure"
        )
    else:
        t = within(name, temperature, "degC", -60.0, hottest)
        freezes = freeze_point(fluid, share)
        frozen = t < freezes - _SLACK
        if bool(np.any(frozen)):
            all_t, all_freezes = np.broadcast_arrays(t, freezes)
            found, least = all_t[frozen].flat[0], all_freezes[frozen].flat[0]
            raise InputError(
                f"{name} is {found:.6g} degC: it freezes at {least:.4g} degC at its concentration"
            )
    middle, half = _TEMPERATURE_SCALE[fluid]
    u = (t - middle) / half
    rows = _COEFFICIENTS[fluid][prop]
    # a concentration shared by all samples is folded into the coefficients first
    v = share / 0.3 - 1.0
    total: Array = floats(0.0)
    for row in reversed(rows):
        coefficient: Array = floats(row[-1])
        for value in reversed(row[:-1]):
            coefficient = coefficient * v + value
        total = total * u + coefficient
    if fluid == "water":
        return total + share * 0.0
    return total


def density(temperature: ArrayLike, fluid: Fluid = "water", concentration: ArrayLike = 0.0) -> Array:
    """Give the density of a loop liquid.

    Parameters
    ----------
    temperature : array_like, any shape, in [degC]
        Temperature, from the freeze point to 130 (water) or 100 (glycol mixtures).
    fluid : {"water", "propylene_glycol", "ethylene_glycol"}
        The liquid.
    concentration : array_like, broadcastable, in [kg/kg]
        Mass fraction of glycol, 0 to 0.6; 0 for water.

    Returns
    -------
    ndarray, broadcast shape, in [kg/m3]
        Density; NaN where an input is NaN.

    Raises
    ------
    InputError
        Unknown `fluid`, or an input outside its limits.

    Notes
    -----
    Within 4e-6 (water), 1e-4 (propylene) and 2e-4 (ethylene glycol) of the source. Water at 3 bar; a
    pressure of 10 bar adds 3e-4.

    References
    ----------
    CoolProp 8.0.0: IAPWS-95; incompressible MPG and MEG after Melinder 2010.
    """
    return _evaluate("density", temperature, fluid, concentration)


def specific_heat(temperature: ArrayLike, fluid: Fluid = "water", concentration: ArrayLike = 0.0) -> Array:
    """Give the specific heat of a loop liquid.

    Parameters
    ----------
    temperature : array_like, any shape, in [degC]
        Temperature, from the freeze point to 130 (water) or 100 (glycol mixtures).
    fluid : {"water", "propylene_glycol", "ethylene_glycol"}
        The liquid.
    concentration : array_like, broadcastable, in [kg/kg]
        Mass fraction of glycol, 0 to 0.6; 0 for water.

    Returns
    -------
    ndarray, broadcast shape, in [J/(kg K)]
        Specific heat; NaN where an input is NaN.

    Raises
    ------
    InputError
        Unknown `fluid`, or an input outside its limits.

    Notes
    -----
    Within 4e-5 (water), 4e-4 (propylene) and 1.3e-3 (ethylene glycol) of the source.

    References
    ----------
    CoolProp 8.0.0: IAPWS-95; incompressible MPG and MEG after Melinder 2010.
    """
    return _evaluate("specific_heat", temperature, fluid, concentration)


def viscosity(temperature: ArrayLike, fluid: Fluid = "water", concentration: ArrayLike = 0.0) -> Array:
    """Give the dynamic viscosity of a loop liquid.

    Parameters
    ----------
    temperature : array_like, any shape, in [degC]
        Temperature, from the freeze point to 130 (water) or 100 (glycol mixtures).
    fluid : {"water", "propylene_glycol", "ethylene_glycol"}
        The liquid.
    concentration : array_like, broadcastable, in [kg/kg]
        Mass fraction of glycol, 0 to 0.6; 0 for water.

    Returns
    -------
    ndarray, broadcast shape, in [Pa s]
        Dynamic viscosity; NaN where an input is NaN.

    Raises
    ------
    InputError
        Unknown `fluid`, or an input outside its limits.

    Notes
    -----
    Within 4e-5 (water), 1.2 % (propylene) and 0.7 % (ethylene glycol) of the source.

    References
    ----------
    CoolProp 8.0.0: IAPWS formulation 2008 for viscosity; incompressible MPG and MEG after Melinder 2010.
    """
    return np.exp(_evaluate("viscosity", temperature, fluid, concentration))


def capacity_rate(
    flow: ArrayLike, temperature: ArrayLike, fluid: Fluid = "water", concentration: ArrayLike = 0.0
) -> Array:
    """Give the heat a flow of loop liquid carries for each kelvin.

    Parameters
    ----------
    flow : array_like, any shape, in [m3/s]
        Volume flow, measured at `temperature`.
    temperature : array_like, broadcastable, in [degC]
        Temperature at which density and specific heat are taken.
    fluid : {"water", "propylene_glycol", "ethylene_glycol"}
        The liquid.
    concentration : array_like, broadcastable, in [kg/kg]
        Mass fraction of glycol, 0 to 0.6; 0 for water.

    Returns
    -------
    ndarray, broadcast shape, in [W/K]
        ``flow density specific_heat``; NaN where an input is NaN.

    Raises
    ------
    InputError
        `flow` below 0, unknown `fluid`, or an input outside its limits.

    Notes
    -----
    The trade's 500 (Btu/h for each gpm and degF) is this for water near 60 degF; at 180 degF it is 487, in
    50 % propylene glycol 444 at 120 degF.
    """
    q = within("flow", flow, "m3/s", 0.0)
    return (
        q
        * _evaluate("density", temperature, fluid, concentration)
        * _evaluate("specific_heat", temperature, fluid, concentration)
    )
