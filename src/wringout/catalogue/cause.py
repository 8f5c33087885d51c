"""What an entry of the catalogue of causes is made of."""

from __future__ import annotations

from dataclasses import dataclass

from wringout.quantity import Dimension, to_si

__all__ = ["GROUPS", "NEEDS", "SIDES", "URGENCIES", "Cause", "Choice", "Likeness", "Span"]

SIDES = ("unit", "plant", "controls", "building")
GROUPS = (
    "air",
    "cooling",
    "valve_and_signal",
    "water",
    "heat_source",
    "sensors_and_program",
    "building",
    "none",
)
URGENCIES = ("today", "days", "planned", "none")
# what a unit can be, as far as causes ask for it
NEEDS = (
    "dx",
    "modulating_stage",
    "chilled_water",
    "hot_water",
    "hot_gas",
    "three_way",
    "two_way",
    "reclaim",
    "upstream",
    "boiler",
)

# unit of a span -> the dimension in which quantity knows it; "x" (so many times) has none and stays as it is
_DIMENSIONS = {"%": Dimension.FRACTION, "delta_degF": Dimension.TEMPERATURE_DIFFERENCE}


@dataclass(frozen=True, slots=True)
class Span:
    """How far a cause goes, as a range of one number.

    Parameters
    ----------
    name : str
        What the number is called where the cause acts on the machine.
    low, high : float
        Least and most, in `unit`.
    unit : str
        ``%``, ``delta_degF`` or ``x`` (so many times).
    means : str
        The number in words.
    sign : str
        ``up`` or ``down`` for an error of a known direction, ``either`` for one that may lie on both sides,
        ``none`` where the number is a size.
    source : str
        ``contract``, or ``judgement`` where the documents give no number.
    """

    name: str
    low: float
    high: float
    unit: str
    means: str
    sign: str = "none"
    source: str = "contract"

    def si(self) -> tuple[float, float]:
        """Least and most in SI: shares 0..1, differences in K, so many times as they are; no sign applied."""
        dimension = _DIMENSIONS.get(self.unit)
        if dimension is None:
            return self.low, self.high
        return float(to_si(self.low, self.unit, dimension)), float(to_si(self.high, self.unit, dimension))


@dataclass(frozen=True, slots=True)
class Choice:
    """What a cause leaves open besides numbers: which stage, at which time, which way.

    Parameters
    ----------
    name : str
        What the choice is called where the cause acts on the machine.
    options : tuple of str
        The words to choose from; taken as equally likely.
    means : str
        The choice in words.
    """

    name: str
    options: tuple[str, ...]
    means: str


@dataclass(frozen=True, slots=True)
class Likeness:
    """Another cause that is easily taken for this one.

    Parameters
    ----------
    cause : str
        Id of the other cause.
    points : tuple of str
        Test points that part the two.
    tell : str
        How they part them; names both causes' side of it.
    """

    cause: str
    points: tuple[str, ...]
    tell: str


@dataclass(frozen=True, slots=True)
class Cause:
    """One thing that can be wrong.

    Parameters
    ----------
    id : str
        The id of the documents.
    title : str
        A few words for a list.
    statement : str
        The cause as one physical sentence.
    side : str
        Whose matter it is, one of `SIDES`.
    group : str
        One of `GROUPS`.
    needs : tuple of str
        What a unit must be to have it, words of `NEEDS`; empty for every unit.
    effect : str
        Which part of the machine it changes.
    spans : tuple of Span
        How much.
    choices : tuple of Choice
        Which.
    weight : float
        Prior weight against the other single faults [1].
    why : str
        Where the weight comes from.
    similar : tuple of Likeness
        What looks like it, read both ways.
    expected : str
        What should be seen if it is true.
    remedy : tuple of str
        What to do, in steps.
    cares : tuple of str
        Ids of the cautions for the remedy.
    parts : tuple of str
        What may be needed from the van or the counter.
    urgency : str
        One of `URGENCIES`.
    verify : str
        How the repair is proven.
    """

    id: str
    title: str
    statement: str
    side: str
    group: str
    needs: tuple[str, ...]
    effect: str
    spans: tuple[Span, ...]
    choices: tuple[Choice, ...]
    weight: float
    why: str
    similar: tuple[Likeness, ...]
    expected: str
    remedy: tuple[str, ...]
    cares: tuple[str, ...]
    parts: tuple[str, ...]
    urgency: str
    verify: str
