"""Evidence in plain words: points, states, sets, readings and relations as a technician would say them."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from typing import Literal

from wringout.catalogue.causes import causes
from wringout.catalogue.points import POINTS, point, shown
from wringout.documents.fields import measure_of
from wringout.documents.states import forced
from wringout.documents.unit import ReheatRated
from wringout.weighing.evidence import Evidence, Extent, Suspect
from wringout.weighing.outlook import Foretold, Telling, Tie
from wringout.weighing.trend_signs import FOLLOW_ON, SIGNS, STILL, SWING

__all__ = [
    "System",
    "difference",
    "evidence_words",
    "extent_words",
    "in_words",
    "plain",
    "set_title",
    "state_words",
    "telling_words",
    "tie_words",
    "title",
    "with_spread",
]

System = Literal["ip", "si"]

NOTHING_WRONG = "Nothing wrong"
HELD = {"reheat.command": "the reheat command", "cooling.call": "cooling"}
ROOM = {
    "room moisture": ("room moisture", "moisture gain", "moisture removed"),
    "room heat": ("room heat", "heat gain", "heat removed"),
}
FITS = 2.0  # standard deviations up to which a relation counts as holding
_DIFFERENCE = POINTS["stage.<id>.superheat"].measure
_HEAT = measure_of(ReheatRated.model_fields["heat"])
_STAGE = re.compile(r"stage\.([a-z][a-z0-9_-]*|<id>)\.([a-z_]+)")
_IDS = re.compile(
    r"(?<![\w.])(?:"
    + "|".join(
        re.escape(name).replace("<id>", "(?:<id>|[a-z][a-z0-9_-]*)")
        for name in sorted(POINTS, key=len, reverse=True)
    )
    + r")(?![\w])(?!\.[a-z])"
)
_STATE = re.compile(r"\b(reheat\.command|cooling\.call)(?:=(\d+) %(?: and (\d+) %)?)?")

# pairs of causes whose repair starts with the same act, so that it need not be known which of them it is
SAME_ACT: tuple[tuple[frozenset[str], str], ...] = (
    (
        frozenset({"source-starved", "reclaim-not-diverting", "upstream-takes-heat"}),
        "One visit to the plant with its operator serves both: where the discharge gas goes, and how much "
        "of it there is.",
    ),
    (
        frozenset({"coil-leg-restricted", "bypass-open", "bypass-shut"}),
        "One walk along the pipes at the reheat coil, every hand valve looked at, serves both.",
    ),
    (
        frozenset({"valve-stuck", "actuator-loose"}),
        "Uncoupling the actuator and turning the stem by hand serves both.",
    ),
    (
        frozenset({"signal-reversed", "signal-span-wrong"}),
        "Stroking the output and reading its signal at the terminals serves both.",
    ),
    (
        frozenset({"valve-leaks", "valve-stuck", "actuator-loose"}),
        "Opening the same valve serves both.",
    ),
    (
        frozenset({"doors-open", "moisture-added"}),
        "One walk through the building, doors and wet work looked at, serves both.",
    ),
    (
        frozenset({"filter-loaded", "coil-dirty", "fan-slow"}),
        "One stop of the unit with the fan section open serves both.",
    ),
    (
        frozenset({"pump-weak", "pump-off"}),
        "A look at the pump, locked out, serves both.",
    ),
    (
        frozenset({"charge-low", "condenser-dirty", "compressor-out", "compressor-unloaded"}),
        "One visit to the circuits with gauges, by who holds the licence, serves both.",
    ),
    (
        frozenset({"locked-out", "setpoint-wrong", "dew-source-swapped", "output-in-hand"}),
        "One look through the controller's settings serves both.",
    ),
)

# causes that no single reading shows, and what shows them
ONLY_IN_TIME = {
    "control-hunting": "Watch or log the reheat command and the supply temperature for an hour: only their "
    "swing shows it.",
}


def plain(name: str) -> str:
    """Say a point as a technician would.

    Parameters
    ----------
    name : str
        Id of the point.

    Returns
    -------
    str
        Its place, with the stage's name where it is one of several; for air also whether it is temperature
        or rh, since both are read at one place.
    """
    what = point(name).what
    measured = {".t": "temperature of ", ".rh": "rh of "}
    for ending, words in measured.items():
        if name.endswith(ending):
            return words + what
    stage = _STAGE.fullmatch(name)
    if stage and stage.group(1) != "<id>":
        what = what.replace("the stage", f"stage {stage.group(1)}")
    return what


def state_words(state: str) -> str:
    """Say an operating state.

    Parameters
    ----------
    state : str
        ``auto``, or an item held at a share.

    Returns
    -------
    str
        Such as ``with the reheat command held at 100 %``.
    """
    held = forced(state)
    if held is None:
        return "as the unit runs"
    item, share = held
    if item == "cooling.call":
        return "with all cooling called by hand" if share >= 0.5 else "with cooling held off by hand"
    return f"with the reheat command held at {100.0 * share:.3g} %"


def title(cause: str, variant: str = "") -> str:
    """Name a cause.

    Parameters
    ----------
    cause : str
        Id; empty for the healthy machine.
    variant : str
        Which way it is there, in words.

    Returns
    -------
    str
    """
    if not cause:
        return NOTHING_WRONG
    return f"{causes()[cause].title} ({variant})" if variant else causes()[cause].title


def set_title(names: Iterable[str]) -> str:
    """Name a set of causes.

    Parameters
    ----------
    names : iterable of str
        Ids; none for the healthy machine.

    Returns
    -------
    str
        Titles joined by ``+``.
    """
    return " + ".join(title(name) for name in names) or NOTHING_WRONG


def in_words(text: str) -> str:
    """Put plain names in place of ids of points and states in a text of the catalogue.

    Parameters
    ----------
    text : str

    Returns
    -------
    str
    """

    def state(found: re.Match[str]) -> str:
        held = HELD[found.group(1)]
        shares = [share for share in found.groups()[1:] if share]
        return f"{held} held at {' and '.join(f'{share} %' for share in shares)}" if shares else held

    def name(found: re.Match[str]) -> str:
        return plain(found.group(0)).replace("the stage's", "each stage's")

    said = _STATE.sub(state, _IDS.sub(name, text))
    return said[:1].upper() + said[1:]


def difference(value: float, system: System) -> str:
    """Write a difference of temperatures in running text, without its sign.

    Parameters
    ----------
    value : float
        [K].
    system : {'ip', 'si'}

    Returns
    -------
    str
        Such as ``2.5 degC``: the words around it say that it is a difference.
    """
    return _DIFFERENCE.shown(abs(value), system).replace("delta_", "")


def with_spread(name: str, value: float, spread: float, system: System) -> str:
    """Write a value at a point with one standard deviation.

    Parameters
    ----------
    name : str
        Id of the point.
    value, spread : float
        [SI of the point; K for the spread of a temperature].
    system : {'ip', 'si'}

    Returns
    -------
    str
        Such as ``61.5 +-0.7 degF``; a count, a yes or a no stands alone.
    """
    whole = shown(name, value, system)
    number, _, unit = whole.partition(" ")
    if not unit or unit == "count" or not spread > 0.0:
        return _counted(whole)
    if str(point(name).dimension) == "temperature":
        about = _DIFFERENCE.shown(spread, system).partition(" ")[0]
    else:
        about = shown(name, spread, system).partition(" ")[0]
    # two digits of a spread are all that is known of it, and the value ends where its spread ends
    size = abs(float(about))
    digits = 1 - math.floor(math.log10(size)) if size > 0.0 else 0
    decimals = min(len(about.partition(".")[2]), max(digits, 0))
    value_shown, about = f"{float(number):.{decimals}f}", f"{float(about):.{decimals}f}"
    return f"{value_shown.removeprefix('-') if float(value_shown) == 0.0 else value_shown} +-{about} {unit}"


def _counted(whole: str) -> str:
    return whole.removesuffix(" count")


def _bare(name: str, value: float, system: System) -> str:
    whole = shown(name, value, system)
    return whole.partition(" ")[0] if " " in whole else whole


def evidence_words(e: Evidence, system: System) -> str:
    """Tell one piece of evidence.

    Parameters
    ----------
    e : Evidence
    system : {'ip', 'si'}

    Returns
    -------
    str
        What was read and what is computed with the suspect and without it; for a relation, what does not
        fit together.
    """
    if e.name in SIGNS:
        return f"trend: {_sign(e)}"
    if e.observation is None:
        if e.name in ROOM:
            return _room(e, system)
        return f"{_relation(e, system)}: {_fit(e)}"
    state = _when(e)
    read = with_spread(e.name, e.observation.value, e.observation.sigma, system)
    with_it, without = _bare(e.name, e.suspect, system), _bare(e.name, e.rival, system)
    return f"{plain(e.name)}{state}: read {read}; computed {with_it} with it, {without} without"


def _fit(e: Evidence) -> str:
    with_it, without = abs(e.off_suspect) < FITS, abs(e.off_rival) < FITS
    if with_it and not without:
        return "fits with it, not without"
    if without and not with_it:
        return "fits without it, not with it"
    return f"fits better {'with it' if e.bits > 0.0 else 'without it'}"


def _relation(e: Evidence, system: System) -> str:
    """The relation by the numbers of the side on which it holds worse: that is where it says something."""
    side = 0 if abs(e.off_suspect) > abs(e.off_rival) else 1
    at = {name: pair[side] for name, pair in e.numbers.items()}
    state = _when(e)
    tell = {
        "reheat control": _reheat_control,
        "dehumidifying": _dehumidifying,
        "stages": _stages,
        "modulation": _modulation,
    }
    return tell[e.name](at, system) + state


def _over(value: float, system: System, what: str) -> str:
    return f"{difference(value, system)} {'over' if value >= 0.0 else 'under'} {what}"


def _reheat_control(at: dict[str, float], system: System) -> str:
    command = shown("shown.reheat_command", at["command"], system)
    if at["stages"] < 0.05 and abs(at["space over"]) < 0.25:
        return f"the reheat command stands at {command}"
    space = _over(at["space over"], system, "its set point")
    return f"the reheat command stands at {command} with the space {space}"


def _dehumidifying(at: dict[str, float], system: System) -> str:
    does = "dehumidifies" if at["stages"] > 0.05 else "does not dehumidify"
    return (
        f"the unit {does} with the dew point it sees {_over(at['dew point over'], system, 'its set point')}"
    )


def _stages(at: dict[str, float], system: System) -> str:
    called = f"{at['stages']:.0f} stage{'' if round(at['stages']) == 1 else 's'} called"
    return f"{called} with the dew point it sees {_over(at['dew point over'], system, 'its set point')}"


def _modulation(at: dict[str, float], system: System) -> str:
    stands, asked = (shown("reheat.stem", at[name], system) for name in ("modulation", "asked"))
    return f"cooling is modulated to {stands} where the dew point the unit sees asks for {asked}"


def _room(e: Evidence, system: System) -> str:
    """What the room gains against what the supply air takes, on both sides."""
    what, gained, removed = ROOM[e.name]
    measure = _HEAT if e.name == "room heat" else point("condensate.rate").measure
    if measure is None:
        raise TypeError(f"{e.name} has no measure")

    sides = []
    for side in (0, 1):
        gain = _three_digits(measure.shown(e.numbers[gained][side], system))
        taken = _three_digits(measure.shown(e.numbers[removed][side], system))
        sides.append(f"{gain.partition(' ')[0]} / {taken}")
    return (
        f"{what}{_when(e)}, gained / taken out by the supply air: computed {sides[0]} with it, {sides[1]} "
        "without"
    )


def _when(e: Evidence) -> str:
    """In which state, or when in the trend, if that is not the visit's own."""
    if e.logged is not None:
        return f", trend {e.logged:%d %b %H:%M}"
    return "" if e.state == "auto" else f", {state_words(e.state)}"


def _sign(e: Evidence) -> str:
    """What a whole trend shows."""
    value, other = e.numbers["value"][0], e.numbers["other"][0]
    if e.name == SWING:
        if value < 0.1:
            return f"the reheat command is steady, to {100.0 * value:.0f} %"
        every = f" every {other / 60.0:.0f} minutes" if other > 0.0 else ""
        return f"the reheat command swings by {100.0 * value:.0f} %{every}"
    if e.name == STILL:
        does = "stands still" if other < 0.05 else f"travels over {100.0 * other:.0f} %"
        return f"the reheat command {does}{f' at {100.0 * value:.0f} %' if other < 0.05 else ''}"
    while_ = "while the unit dehumidifies" if e.name == FOLLOW_ON else "while the space is satisfied"
    return f"the shown dew point is the outdoor one for {100.0 * value:.0f} % of the time {while_}"


def _three_digits(shown_value: str) -> str:
    """A balance is not known to the last Btu: three digits, then noughts."""
    number, _, unit = shown_value.partition(" ")
    excess = len(number.lstrip("-").partition(".")[0]) - 3
    return f"{round(float(number), -excess):.0f} {unit}" if excess > 0 else shown_value


def telling_words(t: Telling, system: System) -> str:
    """Tell what a reading not yet taken would show with a suspect and without it.

    Parameters
    ----------
    t : Telling
    system : {'ip', 'si'}

    Returns
    -------
    str
    """
    state = "" if t.state == "auto" else f", {state_words(t.state)}"
    with_it, without = (foretold_words(t.point, f, system) for f in (t.suspect, t.rival))
    return f"{plain(t.point)}{state}: {with_it}; without it {without}"


def foretold_words(name: str, f: Foretold, system: System) -> str:
    """A computed reading with its spread; yes and no by which is likelier."""
    if str(point(name).dimension) == "yes_no":
        return "yes" if f.mean >= 0.5 else "no"
    return with_spread(name, f.mean, f.spread, system)


def extent_words(s: Suspect, extent: Extent, system: System) -> str:
    """Say how far a cause goes, where its catalogue entry has just one number for it.

    Parameters
    ----------
    s : Suspect
    extent : Extent
    system : {'ip', 'si'}

    Returns
    -------
    str
        Empty where there is nothing to say.
    """
    spans = causes()[s.cause].spans
    if len(spans) != 1:
        return ""
    span = spans[0]
    low, middle, high = (
        span.low + (span.high - span.low) * share for share in (extent.low, extent.middle, extent.high)
    )
    factor, unit = 1.0, span.unit
    if unit == "delta_degF":
        factor, unit = (5.0 / 9.0, "degC") if system == "si" else (1.0, "degF")
    digits = 0 if unit == "%" else 1
    numbers = [f"{factor * value:.{digits}f}" for value in (middle, min(low, high), max(low, high))]
    return f"{span.means}: about {numbers[0]} {unit} ({numbers[1]} to {numbers[2]})"


def tie_words(tie: Tie, system: System) -> tuple[str, ...]:
    """Say that two suspects cannot be told apart, and what act would tell.

    Parameters
    ----------
    tie : Tie
    system : {'ip', 'si'}

    Returns
    -------
    tuple of str
        A sentence each.
    """
    first, second = title(tie.first), title(tie.second)
    said = [f"No reading that is left tells {first} from {second}"]
    if tie.best is not None:
        said[0] += f" (the best, {plain(tie.best.point)}, tells {tie.best.bits:.2f} of 1 bit)"
    said[0] += "."
    pair = {tie.first, tie.second}
    in_time = [words for cause, words in ONLY_IN_TIME.items() if cause in pair]
    same = [words for group, words in SAME_ACT if pair <= group]
    said += in_time[:1] or same[:1]
    if tie.after is not None and not in_time:
        t = tie.after
        mended, other = (foretold_words(t.point, f, system) for f in (t.suspect, t.rival))
        said.append(
            f"{'Else mend' if same else 'Mend'} the first and read {plain(t.point)}: {mended} if it was "
            f"that, {other} if it was the other."
        )
    elif len(said) == 1 and "" in pair:
        said.append("What tells is time: read again in the weather and at the hour of the complaint.")
    elif len(said) == 1:
        said.append("What tells is to mend the likelier one, and to weigh what is read after it.")
    return tuple(said)
