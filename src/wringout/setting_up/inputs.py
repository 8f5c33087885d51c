"""Where the inputs of an answer come from: an option, a reading of the call, the unit document, a rule."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from wringout.documents.fields import nearest, within
from wringout.documents.measure import Measure
from wringout.documents.unit import Unit
from wringout.errors import InputError
from wringout.quantity import Dimension, parse
from wringout.setting_up.answer import Mark, Value, Word

__all__ = ["Ask", "Inputs", "Known", "gather"]


@dataclass(frozen=True, slots=True)
class Ask:
    """One input of a subject.

    ``share`` and ``spread`` give one standard deviation of a value that is written without its own, as a
    share of it or in SI; a reading of the call brings its own. ``point`` names test points, the best one
    first. ``assume`` is what stands in for it, ``why`` the rule.
    Without ``assume`` and not ``optional`` it has to be given. ``choices`` makes it a word,
    ``free`` words of any kind.
    """

    key: str
    words: str
    dimension: Dimension | None = None
    low: float = 0.0
    high: float = float("inf")
    share: float = 0.0
    spread: float = 0.0
    point: str = ""
    path: str = ""
    assume: str = ""
    why: str = ""
    optional: bool = False
    choices: tuple[str, ...] = ()
    free: bool = False
    unit_shown: tuple[str, str] | None = None
    example: str = ""


@dataclass(frozen=True)
class Known:
    """What is known before anything is asked: the unit, and the last reading of each point as (SI value, one
    standard deviation, text)."""

    unit: Unit | None = None
    readings: Mapping[str, tuple[float, float, str]] = field(default_factory=dict)


@dataclass(frozen=True)
class Inputs:
    """The inputs of one answer by key, and the unit they come from where there is one."""

    values: Mapping[str, Value]
    words: Mapping[str, Word]
    unit: Unit | None = None

    def __getitem__(self, key: str) -> Value:
        return self.values[key]

    def __contains__(self, key: str) -> bool:
        return key in self.values or key in self.words

    def word(self, key: str) -> str:
        """The word chosen for a key."""
        return self.words[key].text

    def all(self) -> tuple[Value | Word, ...]:
        """Every input, in the order in which it was asked for."""
        return (*self.words.values(), *self.values.values())


def gather(asks: Sequence[Ask], written: Mapping[str, str], known: Known) -> Inputs:
    """Collect the inputs of a subject: what was written goes first, then readings, the unit, the rule.

    Raises
    ------
    InputError
        For what is missing or cannot be read; the message names the option and what it takes.
    """
    values: dict[str, Value] = {}
    words: dict[str, Word] = {}
    for key in written:
        if key not in {ask.key for ask in asks}:
            raise InputError(f"there is no such option here{nearest(key, [a.key for a in asks])}", f"--{key}")
    for ask in asks:
        if ask.choices or ask.free:
            word = _word(ask, written, known)
            if word is not None:
                words[ask.key] = word
        else:
            value = _value(ask, written, known)
            if value is not None:
                values[ask.key] = value
    return Inputs(values, words, known.unit)


def _word(ask: Ask, written: Mapping[str, str], known: Known) -> Word | None:
    if ask.key in written:
        text = written[ask.key].strip()
        if ask.choices and text not in ask.choices:
            raise InputError(
                f'"{text[:30]}" is not taken{nearest(text, ask.choices, listed=False)}; write '
                f"{' or '.join(ask.choices)}",
                f"--{ask.key}",
            )
        return Word(ask.key, ask.words, text, "given", "written")
    found = _from_unit(ask, known.unit)
    if isinstance(found, str) and found in ask.choices:
        given = known.unit is not None and known.unit.given(ask.path)
        return Word(ask.key, ask.words, found, "given" if given else "assumed", f"unit document, {ask.path}")
    usual = _stand_in(ask)
    return None if usual is None else Word(ask.key, ask.words, usual, "assumed", ask.why)


def _value(ask: Ask, written: Mapping[str, str], known: Known) -> Value | None:
    if ask.key in written:
        value, sigma = _parsed(ask, written[ask.key])
        return _made(ask, value, sigma, "given", "written")
    for point in ask.point.split():
        if point in known.readings:
            value, sigma, text = known.readings[point]
            return _made(ask, value, sigma, "given", f"read at {point}: {text}")
    found = _from_unit(ask, known.unit)
    if isinstance(found, (int, float)) and known.unit is not None:
        path = ask.path.rstrip("_")
        source = known.unit.provenance[path]
        own = max(abs(float(found)) * ask.share, ask.spread)
        if source.kind == "given":
            return _made(ask, float(found), own, "given", f"unit document, {path}")
        words = f"unit document, {path}: {source.rule}"
        return _made(ask, float(found), max(source.sigma, own), "assumed", words)
    usual = _stand_in(ask)
    return None if usual is None else _made(ask, *_parsed(ask, usual), "assumed", ask.why)


def _stand_in(ask: Ask) -> str | None:
    """What stands in for an input that nobody gave; None where the answer can do without."""
    if ask.assume:
        return ask.assume
    if ask.optional:
        return None
    raise InputError(f"missing: {ask.words}; write for example {_example(ask)}", f"--{ask.key}")


def _made(ask: Ask, value: float, sigma: float, mark: Mark, source: str) -> Value:
    return Value(ask.key, ask.words, value, sigma, ask.dimension, mark, source, unit_shown=ask.unit_shown)


def _from_unit(ask: Ask, unit: Unit | None) -> object:
    """The unit's value at a path such as ``loop.pipe.length``; None where the unit has no such part."""
    if unit is None or not ask.path:
        return None
    part: object = unit
    for name in ask.path.split("."):
        part = getattr(part, name, None)
    return part


def _parsed(ask: Ask, text: str) -> tuple[float, float]:
    """A value as written, and its standard deviation: after ``+-``, else the usual one."""
    assert ask.dimension is not None
    number, _, doubt = text.replace("±", "+-").partition("+-")
    try:
        read = parse(number, ask.dimension)
        within(read.value, read.unit, Measure(ask.dimension, ask.low, ask.high))
        sigma = max(ask.spread, ask.share * abs(read.value))
        if doubt.strip():
            temperature = ask.dimension is Dimension.TEMPERATURE
            sigma = parse(doubt, Dimension.TEMPERATURE_DIFFERENCE if temperature else ask.dimension).value
            if sigma < 0.0:
                raise InputError(f'"{doubt.strip()}" behind +- must not be negative')
    except InputError as error:
        raise InputError(f"{error.message}; for example {_example(ask)}", f"--{ask.key}") from None
    return read.value, sigma


def _example(ask: Ask) -> str:
    if ask.choices:
        return f"--{ask.key} {ask.choices[0]}"
    return f'--{ask.key} "{ask.example or ask.assume}"'
