"""Pipes: steel sizes, contents and transit, heat lost bare and insulated, cooling along them, friction."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from wringout.errors import InputError, NotConverged
from wringout.physics._limits import Array, floats, within

__all__ = [
    "STEEL_PIPES",
    "STEEL_ROUGHNESS",
    "SteelPipe",
    "steel_pipe",
    "volume",
    "transit_time",
    "velocity",
    "heat_loss",
    "loss_conductance",
    "leaving_temperature",
    "friction_factor",
    "pressure_drop",
]

_INCH = 0.0254
_STEFAN_BOLTZMANN = 5.670374419e-8
STEEL_ROUGHNESS = 4.5e-5
"""Roughness of commercial steel in m (Moody, Trans. ASME 66 (1944); from memory)."""


class SteelPipe(NamedTuple):
    """A steel pipe of schedule 40: the trade's name for its size in inches, and its two diameters in m."""

    name: str
    outside_diameter: float
    inside_diameter: float


STEEL_PIPES: tuple[SteelPipe, ...] = tuple(
    SteelPipe(name, outside * _INCH, inside * _INCH)
    for name, outside, inside in (
        ("1/2", 0.840, 0.622),
        ("3/4", 1.050, 0.824),
        ("1", 1.315, 1.049),
        ("1-1/4", 1.660, 1.380),
        ("1-1/2", 1.900, 1.610),
        ("2", 2.375, 2.067),
        ("2-1/2", 2.875, 2.469),
        ("3", 3.500, 3.068),
        ("4", 4.500, 4.026),
        ("5", 5.563, 5.047),
        ("6", 6.625, 6.065),
        ("8", 8.625, 7.981),
        ("10", 10.750, 10.020),
        ("12", 12.750, 11.938),
    )
)
"""Schedule 40 steel pipe (ASME B36.10M; diameters from memory, checked against the fluids library)."""


def _nominal(name: str) -> float:
    """Give the size in inches that a trade name such as 1-1/4 says."""
    whole, _, part = name.rpartition("-")
    top, _, bottom = part.partition("/")
    return (float(whole) if whole else 0.0) + float(top) / float(bottom or 1.0)


def steel_pipe(size: str | float) -> SteelPipe:
    """Give the diameters of a steel pipe of schedule 40.

    Parameters
    ----------
    size : str or float, in [inch name] or [m]
        The trade's name (``"1-1/4"``), or the nominal size in metres (0.0508 for the 2 in. pipe), which is
        neither of the two diameters.

    Returns
    -------
    SteelPipe
        Name, outside and inside diameter in [m].

    Raises
    ------
    InputError
        No such size; the message lists the sizes.
    """
    for pipe in STEEL_PIPES:
        if isinstance(size, str):
            if pipe.name == size.strip().removesuffix("in").strip():
                return pipe
        elif abs(_nominal(pipe.name) * _INCH - size) < 0.02 * size:
            return pipe
    shown = size if isinstance(size, str) else f"{size / _INCH:.4g} in ({size:.4g} m)"
    raise InputError(
        f"pipe size {shown} is none of schedule 40: {', '.join(pipe.name for pipe in STEEL_PIPES)} in"
    )


def volume(length: ArrayLike, inside_diameter: ArrayLike) -> Array:
    """Give what a pipe holds.

    Parameters
    ----------
    length : array_like, any shape, in [m]
        Length.
    inside_diameter : array_like, broadcastable, in [m]
        Inside diameter.

    Returns
    -------
    ndarray, broadcast shape, in [m3]
        Volume; NaN where an input is NaN.

    Raises
    ------
    InputError
        `length` below 0 or `inside_diameter` not above 0.
    """
    d = within("inside diameter", inside_diameter, "m", 0.0, above_low=True)
    return within("pipe length", length, "m", 0.0) * (np.pi / 4.0 * d * d)


def velocity(flow: ArrayLike, inside_diameter: ArrayLike) -> Array:
    """Give the mean velocity in a pipe.

    Parameters
    ----------
    flow : array_like, any shape, in [m3/s]
        Flow.
    inside_diameter : array_like, broadcastable, in [m]
        Inside diameter.

    Returns
    -------
    ndarray, broadcast shape, in [m/s]
        Velocity; NaN where an input is NaN.

    Raises
    ------
    InputError
        `flow` below 0 or `inside_diameter` not above 0.
    """
    d = within("inside diameter", inside_diameter, "m", 0.0, above_low=True)
    return within("flow", flow, "m3/s", 0.0) / (np.pi / 4.0 * d * d)


def transit_time(length: ArrayLike, inside_diameter: ArrayLike, flow: ArrayLike) -> Array:
    """Give the time water takes from one end of a pipe to the other.

    Parameters
    ----------
    length : array_like, any shape, in [m]
        Length.
    inside_diameter : array_like, broadcastable, in [m]
        Inside diameter.
    flow : array_like, broadcastable, in [m3/s]
        Flow.

    Returns
    -------
    ndarray, broadcast shape, in [s]
        Contents over flow, infinite without flow; NaN where an input is NaN.

    Raises
    ------
    InputError
        `length` not above 0, `flow` below 0 or `inside_diameter` not above 0.

    Notes
    -----
    Plug flow: the first of the new water arrives a little earlier, and in slow flow much of it later.
    """
    contents = volume(within("pipe length", length, "m", 0.0, above_low=True), inside_diameter)
    with np.errstate(divide="ignore"):
        return contents / within("flow", flow, "m3/s", 0.0)


def _surface_coefficient(surface: Array, ambient: Array, diameter: Array, emissivity: Array) -> Array:
    """Give convection and radiation of a horizontal pipe's surface in W/(m2 K)."""
    film = 0.5 * (surface + ambient) + 273.15
    # air at atmospheric pressure: Sutherland's law, and conductivity and specific heat as power laws,
    # within 1 % of the tables from -50 to 250 degC
    dynamic = 1.458e-6 * film * np.sqrt(film) / (film + 110.4)
    kinematic = dynamic * film * (287.05 / 101325.0)
    conductivity = 0.02624 * (film / 300.0) ** 0.8646
    prandtl = dynamic * (1006.0 * (1.0 + 1.2e-7 * (film - 273.15) ** 2 * 4.0)) / conductivity
    rayleigh = (
        9.80665
        / film
        * np.abs(surface - ambient)
        * (diameter * diameter * diameter)
        / (kinematic * kinematic)
        * prandtl
    )
    nusselt = (0.60 + 0.387 * rayleigh ** (1 / 6) / (1.0 + (0.559 / prandtl) ** (9 / 16)) ** (8 / 27)) ** 2
    hot, cold = surface + 273.15, ambient + 273.15
    radiation = emissivity * _STEFAN_BOLTZMANN * (hot * hot + cold * cold) * (hot + cold)
    return nusselt * conductivity / diameter + radiation


def heat_loss(
    temperature: ArrayLike,
    ambient: ArrayLike,
    outside_diameter: ArrayLike,
    insulation: ArrayLike = 0.0,
    conductivity: ArrayLike = 0.039,
    emissivity: ArrayLike = 0.9,
) -> Array:
    """Give the heat each metre of a horizontal pipe loses to still air.

    Parameters
    ----------
    temperature : array_like, any shape, in [degC]
        Of the liquid; pipe wall and inner film are taken to be as warm.
    ambient : array_like, broadcastable, in [degC]
        Air and surroundings.
    outside_diameter : array_like, broadcastable, in [m]
        Of the bare pipe.
    insulation : array_like, broadcastable, in [m]
        Thickness; 0 for a bare pipe.
    conductivity : array_like, broadcastable, in [W/(m K)]
        Of the insulation; 0.039 (0.27 Btu in/(h ft2 degF)) is mineral fibre at hot-water temperature.
    emissivity : array_like, broadcastable, in [-]
        Of the outer surface: 0.9 painted or jacketed with paper or plastic, 0.7 to 0.8 bare oxidised steel,
        0.1 bright metal.

    Returns
    -------
    ndarray, broadcast shape, in [W/m]
        Heat lost, negative where the pipe is colder than the air; NaN where an input is NaN.

    Raises
    ------
    InputError
        A temperature outside -50 to 250 degC, `emissivity` outside 0 to 1, or a dimension or conductivity
        not above 0.
    NotConverged
        The surface temperature did not settle.

    Notes
    -----
    Natural convection after Churchill and Chu, radiation to surroundings as warm as the air, conduction
    through the insulation shell; fittings, hangers, draughts and condensation left out. Within 15 % of
    handbook tables, which differ as much among themselves.

    References
    ----------
    Churchill and Chu, Int. J. Heat Mass Transfer 18 (1975) 1049, horizontal cylinder (equation from memory,
    checked against the ht library).
    """
    t = within("pipe temperature", temperature, "degC", -50.0, 250.0)
    air = within("ambient temperature", ambient, "degC", -50.0, 250.0)
    bare = within("outside diameter", outside_diameter, "m", 0.0, above_low=True)
    outer = bare + 2.0 * within("insulation thickness", insulation, "m", 0.0)
    shell = np.log(outer / bare) / (
        2.0 * np.pi * within("conductivity of the insulation", conductivity, "W/(m K)", 0.0, above_low=True)
    )
    eps = within("emissivity", emissivity, "", 0.0, 1.0)
    surface = np.where(shell > 0.0, air + 0.2 * (t - air), t)
    # the film coefficient goes with a low power of the difference, so that plain substitution contracts well
    for _ in range(60):
        film = 1.0 / (_surface_coefficient(surface, air, outer, eps) * (np.pi * outer))
        settled = air + (t - air) * (film / (film + shell))
        change = float(np.fmax.reduce(np.abs(settled - surface), axis=None, initial=0.0))
        surface = settled
        if change < 1e-9:
            return (t - air) / (film + shell)
    raise NotConverged(f"surface temperature of the pipe still moves by {change:.2g} K", surface)


def loss_conductance(
    temperature: ArrayLike,
    ambient: ArrayLike,
    outside_diameter: ArrayLike,
    insulation: ArrayLike = 0.0,
    conductivity: ArrayLike = 0.039,
    emissivity: ArrayLike = 0.9,
) -> Array:
    """Give a pipe's heat loss for each metre and kelvin over the air, at the temperatures it was asked for.

    Parameters
    ----------
    temperature, ambient, outside_diameter, insulation, conductivity, emissivity : array_like
        As in `heat_loss`, in [degC], [degC], [m], [m], [W/(m K)], [-]; `temperature` may equal `ambient`.

    Returns
    -------
    ndarray, broadcast shape, in [W/(m K)]
        Loss over temperature difference; NaN where an input is NaN.

    Raises
    ------
    InputError, NotConverged
        As `heat_loss`.

    Notes
    -----
    Nearly constant for an insulated pipe (2 % from 40 to 80 degC), so that one value serves many samples;
    for a bare pipe it grows by a third over that span.
    """
    t, air = floats(temperature), floats(ambient)
    # no difference, no loss: the limit is as good as a tenth of a kelvin
    difference = np.where(np.abs(t - air) < 0.1, 0.1, t - air)
    return (
        heat_loss(air + difference, air, outside_diameter, insulation, conductivity, emissivity) / difference
    )


def leaving_temperature(
    entering: ArrayLike,
    ambient: ArrayLike,
    conductance: ArrayLike,
    length: ArrayLike,
    capacity_rate: ArrayLike,
) -> Array:
    """Give the temperature at the end of a pipe.

    Parameters
    ----------
    entering : array_like, any shape, in [degC]
        Liquid that enters.
    ambient : array_like, broadcastable, in [degC]
        Air around the pipe.
    conductance : array_like, broadcastable, in [W/(m K)]
        From `loss_conductance`.
    length : array_like, broadcastable, in [m]
        Length.
    capacity_rate : array_like, broadcastable, in [W/K]
        Of the flow; without flow the liquid ends up at `ambient`.

    Returns
    -------
    ndarray, broadcast shape, in [degC]
        ``ambient + (entering - ambient) exp(-conductance length / capacity_rate)``; NaN where an input is
        NaN.

    Raises
    ------
    InputError
        `conductance`, `length` or `capacity_rate` below 0.
    """
    loss = within("loss conductance", conductance, "W/(m K)", 0.0) * within("pipe length", length, "m", 0.0)
    rate = within("capacity rate", capacity_rate, "W/K", 0.0)
    air = floats(ambient)
    # a pipe that loses nothing keeps its temperature even without flow, where loss / rate is 0/0
    units = loss / np.where((rate == 0.0) & (loss == 0.0), 1.0, np.where(rate == 0.0, 1e-300, rate))
    return air + (floats(entering) - air) * np.exp(-units)


def friction_factor(reynolds: ArrayLike, relative_roughness: ArrayLike = 0.0) -> Array:
    """Give the Darcy friction factor of a round pipe.

    Parameters
    ----------
    reynolds : array_like, any shape, in [-]
        Reynolds number on the inside diameter, above 0.
    relative_roughness : array_like, broadcastable, in [-]
        Roughness over inside diameter, 0 to 0.05.

    Returns
    -------
    ndarray, broadcast shape, in [-]
        Darcy factor (four times Fanning's); NaN where an input is NaN.

    Raises
    ------
    InputError
        `reynolds` not above 0 or `relative_roughness` outside 0 to 0.05.

    Notes
    -----
    ``64/Re`` up to 2000, Haaland's formula from 4000 (within 2 % of Colebrook), a straight line between
    them, where nature is undecided and a continuous curve is what a model needs.

    References
    ----------
    Haaland, J. Fluids Eng. 105 (1983) 89 (equation from memory, checked against the fluids library).
    """
    re = within("Reynolds number", reynolds, "", 0.0, above_low=True)
    rough = within("relative roughness", relative_roughness, "", 0.0, 0.05)
    turbulent_re = np.maximum(re, 4000.0)
    turbulent = (-1.8 * np.log10((rough / 3.7) ** 1.11 + 6.9 / turbulent_re)) ** -2
    laminar = 64.0 / np.minimum(re, 2000.0)
    share = np.minimum(np.maximum((re - 2000.0) / 2000.0, 0.0), 1.0)
    return (1.0 - share) * laminar + share * turbulent


def pressure_drop(
    flow: ArrayLike,
    length: ArrayLike,
    inside_diameter: ArrayLike,
    density: ArrayLike,
    viscosity: ArrayLike,
    roughness: ArrayLike = STEEL_ROUGHNESS,
) -> Array:
    """Give the pressure lost to friction in a straight pipe.

    Parameters
    ----------
    flow : array_like, any shape, in [m3/s]
        Flow.
    length : array_like, broadcastable, in [m]
        Length; add fittings as lengths of pipe.
    inside_diameter : array_like, broadcastable, in [m]
        Inside diameter.
    density : array_like, broadcastable, in [kg/m3]
        Of the liquid.
    viscosity : array_like, broadcastable, in [Pa s]
        Dynamic viscosity of the liquid.
    roughness : array_like, broadcastable, in [m]
        Of the wall; new commercial steel unless given.

    Returns
    -------
    ndarray, broadcast shape, in [Pa]
        ``f (L/D) density v**2 / 2``, 0 without flow; NaN where an input is NaN.

    Raises
    ------
    InputError
        `flow` or `length` below 0, or a dimension or property not above 0.
    """
    d = within("inside diameter", inside_diameter, "m", 0.0, above_low=True)
    rho = within("density", density, "kg/m3", 0.0, above_low=True)
    mu = within("viscosity", viscosity, "Pa s", 0.0, above_low=True)
    v = velocity(flow, d)
    # without flow the factor is unbounded and multiplies nothing
    reynolds = np.maximum(rho * v * d / mu, 1e-9)
    factor = friction_factor(reynolds, within("roughness", roughness, "m", 0.0) / d)
    return factor * within("pipe length", length, "m", 0.0) / d * (0.5 * rho * v * v)
