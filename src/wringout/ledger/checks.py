"""Readings that cannot both be so, and two readings of one thing: what does not add up beside the routes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from wringout.ledger import states
from wringout.ledger.quantity_sources import MODEL, Array, Known, Quantity, combine, first, from_reading
from wringout.ledger.transfer_laws import moisture_at_share
from wringout.physics.moist_air import saturated_humidity_ratio

__all__ = ["Check", "checks"]

T, DIFFERENCE, W = "temperature", "temperature_difference", "humidity_ratio"


@dataclass(frozen=True)
class Check:
    """Two quantities that should stand in an order, or be the same.

    ``margin`` is how far they are from it: positive is wrong where ``one_sided``, anything but 0 is wrong
    else.
    """

    kind: Literal["physics", "readings"]
    subject: str
    first: Quantity
    second: Quantity
    margin: Quantity
    one_sided: bool
    meaning: str


def _t(known: Known, point: str, name: str) -> Quantity:
    return first(from_reading(known, point, name, T))


def _over(subject: str, high: Quantity, low: Quantity, meaning: str) -> Check:
    """``high`` should not be less than ``low``."""
    difference = DIFFERENCE if high.dimension == T else high.dimension
    margin = combine("margin", difference, lambda a, b: b - a, high, low)
    return Check("physics", subject, high, low, margin, True, meaning)


def _same(subject: str, one: Quantity, other: Quantity, meaning: str) -> Check:
    difference = DIFFERENCE if one.dimension == T else one.dimension
    margin = combine("margin", difference, lambda a, b: a - b, one, other)
    return Check("readings", subject, one, other, margin, False, meaning)


def checks(known: Known) -> list[Check]:
    """Give every check that the readings of a state allow.

    Parameters
    ----------
    known : Known

    Returns
    -------
    list of Check
    """
    return [*_air_order(known), *_mixing(known), *_water_order(known), *_displays(known)]


def _air_order(known: Known) -> list[Check]:
    found: list[Check] = []
    if known.read("supply.t", "coil_leaving.t"):
        coil, supply = states.coil_t(known), states.supply_t(known)
        with_fan = combine("coil leaving air with fan heat", T, _add, coil, states.fan_rise(known))
        found.append(
            _over(
                "supply air is colder than the air behind the cooling coil with the fan's heat",
                supply,
                with_fan,
                "Reheat and fan can only add heat. One of the two was read in the wrong place (cold spots, "
                "stratified air, a wet probe), or air gets past the coil.",
            )
        )
    if known.read("supply.t", "supply.rh", "coil_leaving.t"):
        pressure = known.design.pressure
        full = combine(
            "most that air behind the coil can hold",
            W,
            lambda t: saturated_humidity_ratio(t, pressure),
            states.coil_t(known),
        )
        found.append(
            _over(
                "supply air holds more water than air at coil leaving temperature can",
                full,
                states.supply_w(known),
                "Water blows off the coil or the drain pan, air gets past the coil, or one of coil leaving "
                "temperature, supply temperature and supply humidity is misread.",
            )
        )
    cooling = known.state != "cooling.call=0 %" and _stages(known) >= 1.0
    if cooling and known.read("mixed.t", "mixed.rh", "supply.t", "supply.rh"):
        found.append(
            _over(
                "air leaves the running cooling coil moister than it came",
                states.mixed_w(known),
                states.supply_w(known),
                "A coil that cools does not add water. Mixed air is hard to read: look at its place first, "
                "then at a humidifier or water behind the coil.",
            )
        )
    if cooling and known.read("mixed.t", "coil_leaving.t"):
        found.append(
            _over(
                "air leaves the running cooling coil warmer than it came",
                states.mixed_t(known),
                states.coil_t(known),
                "A coil that cools does not heat. Mixed air is hard to read: look at its place first.",
            )
        )
    return found


def _stages(known: Known) -> float:
    return known.seen["shown.stages_called"].value if "shown.stages_called" in known.seen else 0.0


def _add(a: Array, b: Array) -> Array:
    return a + b


def _mixing(known: Known) -> list[Check]:
    if not known.read("mixed.t", "outdoor.t") or not (known.read("return.t") or known.read("space.t")):
        return []
    out, back, mixed = states.outdoor_t(known), states.return_t(known), states.mixed_t(known)
    warm_out = (
        known.seen["outdoor.t"].value >= known.seen["return.t" if known.read("return.t") else "space.t"].value
    )
    warm, cold = (out, back) if warm_out else (back, out)
    meaning = (
        "Mixed air lies between return and outdoor air. The mixing box is stratified and the probe "
        "stood in one "
        "of the two streams, or one of the three is misread."
    )
    return [
        _over("mixed air is warmer than both return and outdoor air", warm, mixed, meaning),
        _over("mixed air is colder than both return and outdoor air", mixed, cold, meaning),
    ]


def _water_order(known: Known) -> list[Check]:
    if not known.design.hot_water:
        return []
    found: list[Check] = []
    pairs = (
        (
            "source.water_out",
            "reheat.water_in",
            "water reaches the coil hotter than it leaves the source",
            "Pipes only lose heat. One of the two strap-on readings is off, or the water in the pipe is from "
            "before: wait for the loop to go round.",
        ),
        (
            "reheat.water_in",
            "reheat.water_out",
            "water leaves the reheat coil hotter than it enters",
            "The coil gives heat to colder air. The two readings are swapped, or flow runs backwards.",
        ),
        (
            "source.water_out",
            "source.water_in",
            "water leaves the source colder than it enters",
            "A source does not cool. The two readings are swapped, flow runs backwards, or the "
            "source takes heat "
            "out of the loop: its gas side is colder than the water.",
        ),
        (
            "reclaim.gas_in",
            "source.water_out",
            "water leaves the source hotter than the gas that heats it",
            "Another source heats the loop, or the gas temperature was read on a line without flow.",
        ),
    )
    for high, low, subject, meaning in pairs:
        if known.read(high, low):
            found.append(_over(subject, _t(known, high, high), _t(known, low, low), meaning))
    if known.read("loop.flow", "reheat.water_flow"):
        main = first(from_reading(known, "loop.flow", "loop.flow", "water_flow"))
        coil = first(from_reading(known, "reheat.water_flow", "reheat.water_flow", "water_flow"))
        found.append(
            _over(
                "more water runs through the coil than through the main",
                main,
                coil,
                "The coil's leg is a branch of the main. One of the two flow readings is off: pipe "
                "size and wall "
                "set on the meter, air in the pipe.",
            )
        )
    return found


def _behind_duct(known: Known, room: Quantity) -> Quantity:
    """The room's air behind the return duct."""
    rise = f"{MODEL}parameter return_rise"
    return Quantity(room.name, lambda x: room.of(x) + x[rise], room.bases | {rise}, "computed", T)


def _displays(known: Known) -> list[Check]:
    """The controller's display against a handheld instrument beside it, and two places of the same air."""
    found: list[Check] = []
    pairs = (
        ("shown.supply_t", "supply.t", "supply_t_offset", "supply temperature"),
        ("shown.space_t", "space.t", "space_t_offset", "room temperature"),
    )
    for shown, held, offset, name in pairs:
        display = states.offset_reading(known, shown, offset, f"{name}, display")
        if display is not None and known.read(held):
            meaning = f"{shown} is not what stands beside its sensor. Control and people act on the display."
            found.append(
                _same(f"display and instrument differ in {name}", display, _t(known, held, held), meaning)
            )
    if known.read("return.t", "space.t"):
        room = _t(known, "space.t", "space.t with what the return duct adds")
        duct = _behind_duct(known, room)
        meaning = (
            "The unit does not draw the air that stands in the room: leaks in the return duct, a "
            "warm ceiling, a "
            "reading in the wrong place."
        )
        found.append(
            _same(
                "return air and room differ in temperature", _t(known, "return.t", "return.t"), duct, meaning
            )
        )
    pressure = known.design.pressure

    def at_dew(t: Array) -> Array:
        return saturated_humidity_ratio(t, pressure)

    def at_share(t: Array, rh: Array) -> Array:
        return moisture_at_share(t, rh, pressure)

    dew_pairs = (
        ("shown.dew_point", "dew_offset", "space.t", "space.rh", "moisture of the room"),
        ("shown.outdoor_dew_point", "outdoor_dew_offset", "outdoor.t", "outdoor.rh", "outdoor moisture"),
    )
    for shown, offset, t, rh, name in dew_pairs:
        if name == "moisture of the room" and not known.read(t, rh):
            t, rh = "return.t", "return.rh"
        display = states.offset_reading(known, shown, offset, f"{name}, display")
        if display is None or not known.read(t, rh):
            continue
        share = first(from_reading(known, rh, rh, "fraction"))
        one = combine(f"{name}, display", W, at_dew, display, same=True)
        other = combine(f"{name}, from {t} and {rh}", W, at_share, _t(known, t, t), share, same=True)
        meaning = f"{shown} is not what the air beside its sensor holds. Dehumidifying acts on the display."
        if shown == "shown.outdoor_dew_point":
            meaning = f"{shown} is not what the outdoor air holds."
        found.append(_same(f"display and instrument differ in {name}", one, other, meaning))
    return found
