"""A loop's contents, how long water takes through it, its freeze point, and how much glycol to add."""

from __future__ import annotations

from typing import Literal, cast

import numpy as np

from wringout.errors import InputError
from wringout.physics.fluid import LARGEST_CONCENTRATION, capacity_rate, density, freeze_point
from wringout.physics.pipe import steel_pipe, transit_time, volume
from wringout.quantity import Dimension
from wringout.setting_up.answer import Answer, Array, Value, worked
from wringout.setting_up.inputs import Ask, Inputs
from wringout.setting_up.subject import Subject

__all__ = ["LOOP_FILL", "concentration_for", "exchanged_volume"]

Glycol = Literal["propylene_glycol", "ethylene_glycol"]
GLYCOL_DENSITY = {
    "propylene_glycol": 1036.0,
    "ethylene_glycol": 1113.0,
}  # kg/m3 at 20 degC, handbooks (memory)
FILLED_AT = 20.0  # degC
MARGIN = 3.0  # K under the coldest air or surface that the loop may meet; common practice

_D = Dimension
_CONTENTS = ("gal", "L")
ASKS = (
    Ask(
        "fluid",
        "liquid",
        path="loop.fluid",
        choices=("water", "propylene_glycol", "ethylene_glycol"),
        assume="water",
        why="usual",
    ),
    Ask("length", "pipe, one way", _D.LENGTH, 0.1, 5000.0, 0.08, path="loop.pipe.length", example="220 ft"),
    Ask(
        "size", "nominal size of the pipe", _D.SMALL_LENGTH, 0.01, 0.31, path="loop.pipe.size", example="2 in"
    ),
    Ask(
        "others",
        "contents of coils, exchanger and tank",
        _D.VOLUME,
        0.0,
        500.0,
        0.2,
        assume="0 gal",
        why="none given: the loop holds more than its pipes",
        unit_shown=_CONTENTS,
        example="12 gal",
    ),
    Ask(
        "flow",
        "flow in the main",
        _D.WATER_FLOW,
        1e-6,
        1.0,
        0.05,
        point="loop.flow",
        path="loop.flow",
        example="25 gpm",
    ),
    Ask(
        "concentration",
        "glycol by mass now",
        _D.FRACTION,
        0.0,
        0.6,
        spread=0.01,
        path="loop.concentration",
        assume="0 %",
        why="plain water",
    ),
    Ask(
        "coldest",
        "coldest that the loop may meet",
        _D.TEMPERATURE,
        -50.0,
        30.0,
        optional=True,
        example="10 degF",
    ),
    Ask("wanted", "glycol by mass wanted", _D.FRACTION, 0.0, 0.6, optional=True, example="35 %"),
    Ask(
        "glycol",
        "glycol to take where the loop holds water now",
        choices=("propylene_glycol", "ethylene_glycol"),
        assume="propylene_glycol",
        why="the less poisonous one, usual indoors",
    ),
)


def concentration_for(freezes_at: float, glycol: Glycol) -> float:
    """Glycol by mass [-] whose first crystals form at a temperature [degC].

    Raises
    ------
    InputError
        For a temperature that no mixture of the tables reaches.
    """
    if freezes_at >= 0.0:
        return 0.0
    low, high = 0.0, LARGEST_CONCENTRATION
    if float(freeze_point(glycol, high)) > freezes_at:
        raise InputError(
            f"no mixture up to {high:.0%} of {glycol.replace('_', ' ')} stays liquid at "
            f"{freezes_at:.1f} degC",
            "--coldest",
        )
    for _ in range(60):
        middle = 0.5 * (low + high)
        if float(freeze_point(glycol, middle)) > freezes_at:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def exchanged_volume(contents: Array, now: Array, then: Array, mixture: Array, pure: float) -> Array:
    """Volume to drain, and to fill with glycol (``then`` above ``now``) or with water (below) [unit of
    ``contents``].

    Glycol shares are by mass; ``mixture`` and ``pure`` [kg/m3] are densities of what is drained and of what
    is filled in. The loop's volume stays as it is, mixing loses none of it.
    """
    if float(np.mean(then)) >= float(np.mean(now)):
        return contents * mixture * (then - now) / (mixture * (then - now) + pure * (1.0 - then))
    return contents * mixture * (now - then) / (mixture * (now - then) + pure * then)


def _answer(x: Inputs) -> Answer:
    fluid = x.word("fluid")
    now = x["concentration"]
    if fluid == "water" and now.value > 0.0:
        raise InputError("plain water holds no glycol: name it with --fluid", "--concentration")
    bore = steel_pipe(x["size"].value).inside_diameter
    parts = [x["length"], x["others"], x["flow"]]

    def law(length: Array, others: Array, flow: Array) -> list[Array]:
        one_way = transit_time(length, bore, flow)
        contents = 2.0 * volume(length, bore) + others
        return [contents, one_way, contents / flow]

    (contents, s_contents, of), (one_way, s_way, of_way), (around, s_around, of_around) = worked(parts, law)
    results = [
        Value(
            "contents",
            "the loop holds",
            contents,
            s_contents,
            _D.VOLUME,
            "computed",
            unit_shown=_CONTENTS,
            mostly=of,
        ),
        Value("transit", "source to coil, one way", one_way, s_way, _D.TIME, "computed", mostly=of_way),
        Value("round", "once around the whole loop", around, s_around, _D.TIME, "computed", mostly=of_around),
        _freezes("freezes-now", "first crystals now at", fluid, now),
    ]
    do, warnings = _change(x, results)
    return Answer(
        "loop-fill",
        "Loop contents, transit, freeze point and glycol",
        (
            "contents = 2 x length x pi/4 bore^2 + others; transit = length x pi/4 bore^2 / flow",
            "drain D = V rho (x2 - x1) / (rho (x2 - x1) + rho_glycol (1 - x2)), fill D of glycol",
        ),
        "bores: ASME B36.10M schedule 40; freeze points and densities: Melinder, Properties of "
        "Secondary Working "
        "Fluids (IIR 2010), by way of CoolProp; balance of mass",
        x.all(),
        tuple(results),
        tuple(do),
        tuple(warnings),
        ("Plug flow: the first warm water arrives a little earlier, much of it later where flow is slow.",),
    )


def _freezes(key: str, name: str, fluid: str, share: Value) -> Value:
    kind = cast("Literal['water', 'propylene_glycol', 'ethylene_glycol']", fluid)
    if fluid == "water":
        return Value(key, name, 0.0, 0.0, _D.TEMPERATURE, "computed")
    ((t, sigma, mostly),) = worked([share], lambda c: [freeze_point(kind, np.clip(c, 0.0, 0.6))])
    return Value(key, name, t, sigma, _D.TEMPERATURE, "computed", mostly=mostly)


def _change(x: Inputs, results: list[Value]) -> tuple[list[str], list[str]]:
    """Adds what a change of concentration takes, where one is wanted."""
    fluid, now = x.word("fluid"), x["concentration"]
    warnings: list[str] = []
    kind = cast("Glycol", x.word("glycol") if fluid == "water" else fluid)
    if "wanted" in x:
        then = x["wanted"].value
    elif "coldest" in x:
        then = concentration_for(x["coldest"].value - MARGIN, kind)
        if then <= now.value:
            warnings.append("There is glycol enough for that cold: nothing to add.")
            return ["Check the concentration with a refractometer once a year, and the inhibitor."], warnings
    else:
        if fluid == "water":
            warnings.append("Plain water: where any part can meet frost, give --coldest.")
        return ["Give --coldest or --wanted to see how much glycol it takes."], warnings
    held = next(value for value in results if value.key == "contents")
    pure = GLYCOL_DENSITY[kind] if then >= now.value else float(density(FILLED_AT))
    at = cast("Literal['water', 'propylene_glycol', 'ethylene_glycol']", fluid)

    def law(v: Array, c: Array) -> list[Array]:
        share = np.clip(c, 0.0, 0.6)
        mixture = density(FILLED_AT, at, share) if at != "water" else density(FILLED_AT) + 0.0 * share
        return [exchanged_volume(v, share, np.full_like(v, then), mixture, pure)]

    ((drained, sigma, mostly),) = worked([held, now], law)
    what = "glycol" if then >= now.value else "water"
    share_then = Value("concentration-then", "glycol by mass then", then, 0.0, _D.FRACTION, "computed")
    results += [
        share_then,
        _freezes("freezes-then", "first crystals then at", kind, share_then),
        Value(
            "drain",
            f"drain, and fill as much {what}",
            drained,
            sigma,
            _D.VOLUME,
            "computed",
            unit_shown=_CONTENTS,
            mostly=mostly,
        ),
    ]
    carried = float(
        capacity_rate(1.0, 50.0, kind, then)
        / (capacity_rate(1.0, 50.0, at, now.value) if at != "water" else capacity_rate(1.0, 50.0))
    )
    if abs(carried - 1.0) > 0.005:
        warnings.append(
            f"At the same flow the new mixture carries {100 * carried:.0f} % of the heat that today's does; "
            "check the coil's flow and the pump's current."
        )
    return [
        f"Drain {'the old mixture' if now.value else 'water'} into containers; glycol does not go down the "
        "drain.",
        f"Fill {'inhibited ' if what == 'glycol' else ''}{what} in small lots with the pump running, venting "
        "between them.",
        "After a day of mixing read the refractometer at two places, and write the value down.",
    ], warnings


LOOP_FILL = Subject(
    "loop-fill", "Loop contents, transit, freeze point and glycol", ASKS, ("hot_water_opened",), _answer
)
