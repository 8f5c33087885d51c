"""The dew point a room may have: its coldest surface, read or worked out for glass, an ice hall's ceiling,
a pipe."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from wringout.errors import InputError
from wringout.physics.moist_air import relative_humidity, saturated_humidity_ratio, standard_pressure
from wringout.physics.pipe import heat_loss, steel_pipe
from wringout.quantity import Dimension
from wringout.setting_up.answer import Answer, Array, Value, Word, worked
from wringout.setting_up.inputs import Ask, Inputs
from wringout.setting_up.subject import Subject

__all__ = ["COLD_SURFACE", "ceiling_t", "disk_view", "pipe_surface_t", "surface_t"]

_D = Dimension
STEFAN_BOLTZMANN = 5.670374419e-8
RESISTANCE = {
    "glass": 0.13,
    "wall": 0.25,
}  # m2 K/W inside: ISO 13788 for glazing and frames, and behind furniture
MARGIN = 1.0  # K that the dew point is kept under the surface; common practice 1 to 2 K

ASKS = (
    Ask(
        "kind",
        "surface",
        choices=("read", "glass", "wall", "ceiling", "pipe"),
        assume="read",
        why="read with a probe",
    ),
    Ask(
        "room-t",
        "air of the room",
        _D.TEMPERATURE,
        -30.0,
        50.0,
        spread=0.4,
        point="space.t return.t shown.space_t",
        path="control.space_t",
        example="74 degF",
    ),
    Ask(
        "surface-t",
        "surface, read with a probe pressed on",
        _D.TEMPERATURE,
        -40.0,
        50.0,
        spread=0.8,
        optional=True,
        example="48 degF",
    ),
    Ask(
        "behind-t",
        "air behind the surface (outdoors, inside the case, under the roof)",
        _D.TEMPERATURE,
        -50.0,
        60.0,
        spread=1.0,
        point="outdoor.t",
        optional=True,
        example="34 degF",
    ),
    Ask("u-value", "U-value", _D.HEAT_TRANSFER, 0.01, 10.0, 0.1, optional=True, example="0.32 Btu/hft2F"),
    Ask(
        "emissivity",
        "emissivity of the ceiling",
        _D.FRACTION,
        0.01,
        1.0,
        0.1,
        assume="90 %",
        why="paint, wood, dusty metal",
    ),
    Ask(
        "ice-t",
        "surface that the ceiling sees",
        _D.TEMPERATURE,
        -40.0,
        30.0,
        spread=0.5,
        assume="25 degF",
        why="usual of a rink",
    ),
    Ask(
        "ice-view",
        "share of the ceiling's view that is ice",
        _D.FRACTION,
        0.0,
        1.0,
        0.1,
        assume="65 %",
        why="rink 26 x 60 m, 10 m under the roof",
    ),
    Ask(
        "film",
        "film between air and ceiling",
        _D.HEAT_TRANSFER,
        0.1,
        20.0,
        0.3,
        assume="2 W/m2K",
        why="still warm air under a ceiling, 1 to 3",
    ),
    Ask(
        "pipe-t",
        "liquid in the pipe",
        _D.TEMPERATURE,
        -40.0,
        40.0,
        spread=0.6,
        point="chilled.water_in",
        path="cooling.rated.water_in",
        optional=True,
        example="44 degF",
    ),
    Ask("pipe-size", "nominal size of the pipe", _D.SMALL_LENGTH, 0.01, 0.31, optional=True, example="2 in"),
    Ask("insulation", "insulation on the pipe", _D.SMALL_LENGTH, 0.0, 0.3, 0.1, assume="0 in", why="bare"),
    Ask(
        "room-dew-point",
        "dew point of the room now",
        _D.TEMPERATURE,
        -50.0,
        35.0,
        spread=0.8,
        point="space.dew_point shown.dew_point",
        path="control.dew_point",
        optional=True,
        example="55 degF",
    ),
    Ask(
        "altitude",
        "height above the sea",
        _D.LENGTH,
        -400.0,
        5000.0,
        path="site.altitude",
        assume="0 ft",
        why="sea level",
    ),
)


def surface_t(room_t: Array, behind_t: Array, u_value: Array, resistance: float) -> Array:
    """Inside surface of glass or wall [degC]: ``room - U R_si (room - behind)``.

    ``1 - U R_si`` is the temperature factor f_Rsi of ISO 13788.
    """
    return room_t - u_value * resistance * (room_t - behind_t)


def disk_view(radius: float, height: float) -> float:
    """Share of a round ceiling's view that a round floor of the same radius takes [-]."""
    r = radius / height
    s = 2.0 + 1.0 / r**2
    return 0.5 * (s - float(np.sqrt(s * s - 4.0)))


def ceiling_t(
    room_t: Array, behind_t: Array, u_value: Array, film: Array, emissivity: Array, ice_t: Array, view: Array
) -> Array:
    """Ceiling over ice [degC], where what air and walls give it goes to the roof and, by radiation, to the
    ice.

    ``u_value`` from the ceiling's surface to the air behind, ``film`` to the room's air [W/(m2 K)]; ice and
    walls black, walls as warm as the air.
    """
    room, ice = room_t + 273.15, ice_t + 273.15
    t = np.array(room_t, dtype=np.float64)
    for _ in range(30):  # Newton; the balance is smooth and steep
        k = t + 273.15
        seen = view * ice**4 + (1.0 - view) * room**4
        balance = (
            film * (room_t - t) + u_value * (behind_t - t) + emissivity * STEFAN_BOLTZMANN * (seen - k**4)
        )
        t = t + balance / (film + u_value + 4.0 * emissivity * STEFAN_BOLTZMANN * k**3)
    return t


def pipe_surface_t(pipe_t: Array, room_t: Array, outside: float, insulation: Array) -> Array:
    """Outer surface of a pipe's insulation [degC]; the pipe itself where it is bare."""
    conductivity = 0.039
    outer = outside + 2.0 * insulation
    shell = np.log(outer / outside) / (2.0 * np.pi * conductivity)
    return pipe_t - shell * heat_loss(pipe_t, room_t, outside, insulation, conductivity)


def _answer(x: Inputs) -> Answer:
    kind = x.word("kind")
    inputs, law, formula = _LAWS[kind](x)
    pressure = float(standard_pressure(x["altitude"].value))

    def limits(*values: Array) -> list[Array]:
        surface = law(*values[:-1])
        room = values[-1]
        most = np.minimum(surface, room)
        rh = relative_humidity(room, saturated_humidity_ratio(most, pressure), pressure)
        return [surface, surface - MARGIN, rh]

    (t, s_t, of), (limit, s_limit, _), (rh, s_rh, _) = worked([*inputs, x["room-t"]], limits)
    results = [
        Value("limit", "dew point to keep under", limit, s_limit, _D.TEMPERATURE, "computed", mostly=of),
        Value("surface", "coldest surface", t, s_t, _D.TEMPERATURE, "computed", mostly=of),
        Value("rh", "relative humidity at which it turns wet", min(rh, 1.0), s_rh, _D.FRACTION, "computed"),
    ]
    warnings, do = [], ["Press the probe on, insulate it from the air, wait until it stands still."]
    if t < 0.0:
        warnings.append("Under freezing: frost instead of drops, and it grows; the limit is the frost point.")
    if "room-dew-point" in x:
        now = x["room-dew-point"]
        spare = limit - now.value
        sigma = float(np.hypot(s_limit, now.sigma))
        results.insert(
            1, Value("spare", "left until that limit", spare, sigma, _D.TEMPERATURE_DIFFERENCE, "computed")
        )
        if spare + MARGIN < 0.0:
            warnings.append("The room's dew point lies over this surface: it is wet now, or will be.")
        elif spare < 2.0 * sigma:
            warnings.append("Too close to call: read the surface and the room again, at the coldest hour.")
    do.append(f"Keep the room's dew point {MARGIN:g} K (1.8 degF) under the coldest surface.")
    return Answer(
        "cold-surface",
        "The dew point that the coldest surface allows",
        formula,
        "ISO 13788 (temperature factor; inside 0.13 m2 K/W at glazing, 0.25 elsewhere; from "
        "memory); radiation: "
        "diffuse grey ceiling between black ice and walls, Incropera, Fundamentals of Heat and "
        "Mass Transfer, ch. 13; "
        "pipe: Churchill and Chu (physics.pipe)",
        _taken(x, inputs),
        tuple(results),
        tuple(do),
        tuple(warnings),
        ("Frames, corners, door edges and hangers are colder than the middle: read them.",),
    )


def _taken(x: Inputs, inputs: list[Value]) -> tuple[Value | Word, ...]:
    """The inputs that this kind of surface rests on, of all that could be asked."""
    used = {one.key for one in inputs} | {"kind", "room-t", "room-dew-point", "altitude", "pipe-size"}
    return tuple(one for one in x.all() if one.key in used)


def _need(x: Inputs, *keys: str) -> list[Value]:
    for key in keys:
        if key not in x:
            ask = next(ask for ask in ASKS if ask.key == key)
            raise InputError(
                f'missing: {ask.words}; write for example --{key} "{ask.example}"',
                f"--{key}",
            )
    return [x[key] for key in keys]


_Law = tuple[list[Value], Callable[..., Array], tuple[str, ...]]  # inputs, law, formula in words


def _read(x: Inputs) -> _Law:
    return _need(x, "surface-t"), lambda t: t, ("limit = surface as read - margin",)


def _plane(x: Inputs) -> _Law:
    inside = RESISTANCE[x.word("kind")]
    inputs = _need(x, "behind-t", "u-value")
    room = x["room-t"]
    words = (f"surface = room - U x {inside:g} m2K/W x (room - behind)", "limit = surface - margin")
    return [room, *inputs], lambda r, b, u: surface_t(r, b, u, inside), words


def _ceiling(x: Inputs) -> _Law:
    inputs = [
        x["room-t"],
        *_need(x, "behind-t", "u-value"),
        x["film"],
        x["emissivity"],
        x["ice-t"],
        x["ice-view"],
    ]
    words = (
        "film (room - c) + U (behind - c) + e sigma (F ice^4 + (1 - F) room^4 - c^4) = 0",
        "limit = c - margin",
    )
    return (
        inputs,
        lambda r, b, u, h, e, i, f: ceiling_t(r, b, u, h, np.clip(e, 0.0, 1.0), i, np.clip(f, 0.0, 1.0)),
        words,
    )


def _pipe(x: Inputs) -> _Law:
    t, size = _need(x, "pipe-t", "pipe-size")
    outside = steel_pipe(size.value).outside_diameter
    words = ("surface = liquid + loss per metre x ln(D/d) / (2 pi k)", "limit = surface - margin")
    return (
        [t, x["room-t"], x["insulation"]],
        lambda p, r, i: pipe_surface_t(p, r, outside, np.maximum(i, 0.0)),
        words,
    )


_LAWS = {"read": _read, "glass": _plane, "wall": _plane, "ceiling": _ceiling, "pipe": _pipe}
COLD_SURFACE = Subject(
    "cold-surface", "The dew point that the coldest surface allows", ASKS, ("ladder_place",), _answer
)
