"""Which leg of a common loop must keep a three-way valve, so that pump and source never lose their flow."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wringout.errors import InputError
from wringout.quantity import Dimension, parse
from wringout.setting_up.answer import Answer, Value
from wringout.setting_up.inputs import Ask, Inputs
from wringout.setting_up.subject import Subject

__all__ = ["KEEP_THREE_WAY", "Leg", "kept", "legs_from"]

_D = Dimension
ASKS = (
    Ask(
        "legs",
        "legs from the pump outwards, each `name flow ways`, with commas between",
        free=True,
        optional=True,
        example="office 12 gpm two, hall 25 gpm three",
    ),
    Ask(
        "least",
        "least flow that pump and source need",
        _D.WATER_FLOW,
        1e-6,
        1.0,
        0.1,
        optional=True,
        example="8 gpm",
    ),
)
LEAST_SHARE = (
    0.25  # of all legs' flow, for pumps and boilers; common practice, the maker's own figure goes first
)


@dataclass(frozen=True, slots=True)
class Leg:
    """A leg of the loop: design flow [m3/s], and whether its valve has three ways (two otherwise)."""

    name: str
    flow: float
    three_way: bool


def legs_from(text: str) -> tuple[Leg, ...]:
    """Legs as written: ``office 12 gpm two, hall 25 gpm three``, from the pump outwards.

    Raises
    ------
    InputError
        Naming the leg that cannot be read and how one is written.
    """
    legs = []
    for part in text.split(","):
        words = part.split()
        wanted = 'write "name flow ways", for example "hall 25 gpm three"'
        if len(words) < 4 or words[-1] not in {"two", "three"}:
            raise InputError(f'"{part.strip()[:40]}" is no leg; {wanted}', "--legs")
        try:
            flow = parse(" ".join(words[-3:-1]), _D.WATER_FLOW).value
        except InputError as error:
            raise InputError(f'"{part.strip()[:40]}": {error.message}; {wanted}', "--legs") from None
        if flow <= 0.0:
            raise InputError(f'"{part.strip()[:40]}" has no flow; {wanted}', "--legs")
        legs.append(Leg(" ".join(words[:-3]), flow, words[-1] == "three"))
    if len({leg.name for leg in legs}) < len(legs):
        raise InputError("two legs have one name", "--legs")
    return tuple(legs)


def kept(legs: Sequence[Leg], least: float) -> tuple[Leg, ...]:
    """The legs that must have three ways: the outermost single one whose flow is enough, else from the end of
    the run inwards until it is.

    The outermost, because what lies behind the last flowing leg goes cold and stays so when it is called.
    """
    for leg in reversed(legs):
        if leg.flow >= least:
            return (leg,)
    chosen: list[Leg] = []
    for leg in reversed(legs):
        chosen.append(leg)
        if sum(one.flow for one in chosen) >= least:
            return tuple(reversed(chosen))
    return tuple(legs)


def _answer(x: Inputs) -> Answer:
    if "legs" not in x.words:
        raise InputError(
            'missing: the legs, from the pump outwards; write for example --legs "office 12 gpm '
            'two, hall 25 gpm three"',
            "--legs",
        )
    legs = legs_from(x.word("legs"))
    whole = sum(leg.flow for leg in legs)
    spread = 0.05 * float(np.sqrt(sum(leg.flow**2 for leg in legs)))
    least = x.values.get("least") or Value(
        "least",
        "least flow that pump and source need",
        LEAST_SHARE * whole,
        0.1 * LEAST_SHARE * whole,
        _D.WATER_FLOW,
        "assumed",
        f"{LEAST_SHARE:.0%} of all legs; the maker's own figure goes first",
    )
    now = sum(leg.flow for leg in legs if leg.three_way)
    of_now = 0.05 * float(np.sqrt(sum(leg.flow**2 for leg in legs if leg.three_way)))
    chosen = kept(legs, least.value)
    then = sum(leg.flow for leg in chosen)
    results = [
        Value("whole", "flow with every valve open", whole, spread, _D.WATER_FLOW, "computed"),
        Value(
            "now",
            "flow that is left when every valve leaves its coil",
            now,
            of_now,
            _D.WATER_FLOW,
            "computed",
        ),
        Value("then", "flow that is left with the legs below", then, 0.05 * then, _D.WATER_FLOW, "computed"),
    ]
    names = " and ".join(leg.name for leg in chosen)
    warnings = []
    if now + 1e-12 < least.value:
        warnings.append(
            "As it is, the loop loses its flow when all valves leave their coils: the pump works "
            "against shut "
            "valves, the source trips, the pipes go cold."
        )
    if legs[-1] not in chosen:
        warnings.append(
            f"Behind {chosen[-1].name} the pipe to {legs[-1].name} goes cold when its valve is "
            "shut: its first "
            "minutes of heat come late."
        )
    if then < least.value:
        warnings.append(
            "All legs together do not carry the least flow: a bypass at the end of the run as well."
        )
    change = [leg.name for leg in chosen if not leg.three_way]
    do = [f"Three-way valve, balanced bypass: {names}. The other legs may have two ways."]
    if change:
        do.append(f"To change from two to three ways: {', '.join(change)}.")
    do.append(
        "Set each kept bypass with `balancing`; then shut every valve by command and read the main's flow."
    )
    return Answer(
        "keep-three-way",
        "Which leg must keep a three-way valve",
        ("flow left = sum of the flows of legs with three ways (their main flow stays, see balancing)",),
        "balance of flow; least flow 25 % common practice for pumps and boilers",
        (*x.words.values(), least),
        tuple(results),
        tuple(do),
        tuple(warnings),
        ("A pump with speed control on pressure turns down instead: its least speed and flow still count.",),
    )


KEEP_THREE_WAY = Subject(
    "keep-three-way", "Which leg must keep a three-way valve", ASKS, ("hot_surface", "output_forced"), _answer
)
