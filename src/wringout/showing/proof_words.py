"""The verdict on a repair in plain words: what each criterion saw, what would test it, before against after.

Terminal and report take their words from here, so that they show the same figures.
"""

from __future__ import annotations

import math
from datetime import UTC, datetime

from wringout.documents.unit import Unit
from wringout.machine.design import design
from wringout.proof.acceptance import Proof
from wringout.proof.comparison import Comparison
from wringout.proof.criteria import Criterion, Settings
from wringout.proof.replay import Span90
from wringout.proof.working import weather_that_calls
from wringout.quantity import Dimension, UnitSystem, format
from wringout.showing.plain import chance
from wringout.showing.words import pretty

__all__ = [
    "MARKS",
    "POINT_NAMES",
    "VERDICTS",
    "asked_words",
    "band_words",
    "comparison_words",
    "criterion_words",
    "looked_words",
    "moment",
    "ranked",
    "repair_words",
    "spans_words",
    "test_words",
    "to_be_shown",
    "verdict_words",
]

_D = Dimension
VERDICTS = {"proven": "Proven", "not_proven": "Not proven", "not_yet_testable": "Not yet testable"}
MARKS = {"holds": "holds", "fails": "FAILS", "untested": "open"}
POINT_NAMES = {
    "shown.dew_point": ("dew point", _D.TEMPERATURE),
    "shown.supply_t": ("supply air", _D.TEMPERATURE),
    "shown.reheat_command": ("reheat command", _D.FRACTION),
    "shown.space_t": ("room", _D.TEMPERATURE),
}


def _t(value: float, system: UnitSystem, dimension: Dimension = _D.TEMPERATURE) -> str:
    return format(value, dimension, system).replace("delta_", "")


def _k(value: float, system: UnitSystem) -> str:
    return _t(value, system, _D.TEMPERATURE_DIFFERENCE)


def _percent(value: float) -> str:
    return f"{100.0 * value:.0f} %"


def moment(seconds: float) -> str:
    return datetime.fromtimestamp(seconds, UTC).strftime("%Y-%m-%d %H:%M")


def criterion_words(c: Criterion, system: UnitSystem) -> str:
    """What a criterion saw, in a sentence or two."""
    f = c.figures
    if c.name == "dew point":
        return _dew_point(c, system)
    if c.name == "condensation":
        if c.why == "not_logged":
            return "Room dew point and temperatures are not logged."
        if c.verdict == "fails":
            return (
                f"The dew point was over the face of the coldest surface ({c.why}) for "
                f"{f['hours_wet']:.1f} h of {f['hours']:.0f} h, by {_k(-f['least_gap'], system)} at worst."
            )
        return (
            f"The dew point stayed {_k(f['least_gap'], system)} under the coldest surface ({c.why})."
            if f["least_gap"] >= 0.0
            else f"Over the coldest surface ({c.why}) only for moments, or within what a sensor can err."
        )
    if c.name == "control at rest":
        return {
            "swings": f"A loop swings with a period of {f.get('period', 0.0) / 60.0:.0f} min.",
            "cycles": f"Stages start {f.get('starts_per_hour', 0.0):.0f} times an hour.",
            "hardly_ran": f"It dehumidified for {f['hours']:.1f} h; 6 h are needed to see control swing.",
            "rest": f"No loop swings and no stage cycles in {f['hours']:.0f} h of dehumidifying.",
        }[c.why]
    if c.name == "reheat":
        return _reheat(c, system)
    if c.name == "before and after":
        return _before_after(c)
    return _stage(c, system)


def _dew_point(c: Criterion, system: UnitSystem) -> str:
    f = c.figures
    if c.why == "shows_outdoor":
        return "The shown dew point is the outdoor one: what the room did is not in the log."
    if c.why == "no_hours":
        return "No occupied hour lay within the design day's weather."
    text = (
        f"Under {_t(f['limit'], system)} for {_percent(f['share'])} of {f['hours']:.0f} occupied hours "
        f"within the design day, over it for {(1.0 - f['share']) * f['hours']:.1f} h "
        f"({_percent(f['share_low'])} to {_percent(f['share_high'])} under it with the sensor off by a "
        f"standard deviation); asked are {_percent(f['asked'])}. Chance that it was met: "
        f"{chance(f['chance'])}."
    )
    if c.why == "mild":
        text += f" Only {f['demanding_hours']:.0f} h were in weather that asks for something."
    if c.why == "too_close":
        text += " Too close to call: read the dew point by hand against the display, or log more days."
    return text


def _stage(c: Criterion, system: UnitSystem) -> str:
    f = c.figures
    hours = f"called for {f['hours']:.0f} h"
    if c.why == "not_called":
        return "It was not called."
    if c.why == "heat":
        return f"{hours.capitalize()}; heat that nobody asked for hides what it does."
    if "step" in f:
        step = f"its starts move the supply air by {_percent(f['step'])} of what a healthy unit's do"
        return f"{hours.capitalize()}; {step}."
    if "supply_off" in f:
        off, sigma = _k(abs(f["supply_off"]), system), _k(f["supply_off_sigma"], system)
        side = "warmer" if f["supply_off"] > 0.0 else "colder"
        shut = " with reheat shut: too little cold, or heat that nobody asked for" if c.why == "warm" else ""
        return f"{hours.capitalize()}; supply air {off} +/- {sigma} {side} than a healthy unit's{shut}."
    return f"{hours.capitalize()}, and never seen to start alone."


def _reheat(c: Criterion, system: UnitSystem) -> str:
    f = c.figures
    if c.why == "as_meant":
        gain = _k(f["gain"], system)
        return f"Its output moves the supply air the right way, by {gain} over its travel."
    if "supply_off_sigma" in f:
        off, sigma = _k(abs(f["supply_off"]), system), _k(f["supply_off_sigma"], system)
        side = "warmer" if f["supply_off"] > 0.0 else "colder"
        return f"Supply air {off} +/- {sigma} {side} than a healthy unit's while reheat was asked for."
    return {
        "heat_missing": "Asked for, and no heat arrives.",
        "heat_uncommanded": "Heat that nobody asked for.",
        "reversed": "Its output acts the wrong way round.",
        "nothing": "Its output moves nothing.",
        "not_asked": "It was hardly asked for.",
    }[c.why]


def _before_after(c: Criterion) -> str:
    f = c.figures
    if c.why == "not_logged":
        return "The weather is not logged, so nothing can be set against what the machine would have done."
    if "furthest" in f:
        return f"No cause is named. Against healthy machines, the means are {f['furthest']:.1f} spreads off."
    odds = _odds(f["odds"])
    return {
        "mended": f"The days since are {odds} likelier for a mended machine than for one with the fault.",
        "as_before": f"The days since are {_odds(-f['odds'])} likelier for a machine that still has the "
        "fault.",
        "same": "In this weather a mended machine and one with the fault would log much the same.",
        "undecided": f"The days since lie between: {odds} likelier for a mended machine.",
    }[c.why]


def _odds(logarithm: float) -> str:
    times = math.exp(min(logarithm, 12.0))
    return "over 1,000 times" if times > 1000.0 else f"{times:.1f} times"


def test_words(c: Criterion, unit: Unit, system: UnitSystem) -> str:
    """What would test a criterion that is open."""
    day = _t(unit.space.design_day.outdoor_dew_point, system)
    if math.isfinite(c.weather):
        return f"Would be tested by days with an outdoor dew point of {_t(c.weather, system)} to {day}."
    if c.name.startswith("stage") or c.name == "chilled water":
        return (
            "No weather up to the design day calls it: hold cooling.call at 100 % for 20 minutes while the "
            "trend runs."
        )
    if c.name == "reheat":
        return "Hold reheat.command at 0 % and at 100 % for 20 minutes each while the trend runs."
    if c.name == "control at rest":
        return "Would be tested by days on which it dehumidifies."
    if c.name == "before and after":
        return "No weather up to the design day tells them apart by the log: take readings and weigh them."
    return ""


def ranked(found: Proof) -> list[Criterion]:
    """What fails first, then what is open, then what holds."""
    order = {"fails": 0, "untested": 1, "holds": 2}
    return sorted(found.criteria, key=lambda c: order[c.verdict])


def repair_words(found: Proof) -> str:
    """Which repair was judged."""
    if found.change is None:
        return "The call holds no change: all of the trend counts as after the repair."
    return f"Repair of {found.change.at:%Y-%m-%d %H:%M}: {found.change.cause or found.change.text}"


def looked_words(found: Proof) -> str:
    """Which days were looked at."""
    return f"Looked at: {moment(found.start)} to {moment(found.end)}, {found.hours:.0f} h of data."


def spans_words(c: Criterion) -> str:
    """When a criterion failed; empty where it did not."""
    if not c.spans:
        return ""
    shown = "; ".join(f"{moment(a)} to {moment(b)[11:]}" for a, b in c.spans[:2])
    rest = f"; and {len(c.spans) - 2} more" if len(c.spans) > 2 else ""
    return f"When: {shown}{rest}"


def asked_words(settings: Settings, unit: Unit, system: UnitSystem) -> str:
    """What a log has to hold before anything can be proven by it."""
    day = unit.space.design_day
    return (
        f"It takes {settings.hours:.0f} h of the hours that count with an outdoor dew point up to "
        f"{_t(day.outdoor_dew_point, system)} (the design day), half of them from "
        f"{_t(settings.demanding(unit), system)} on, and the dew point under "
        f"{_t(settings.set_point + settings.band, system)} for {_percent(settings.share)} of them. The first "
        f"{settings.skip / 3600.0:.0f} h after the repair are left out, while the room settles."
    )


def band_words(settings: Settings, system: UnitSystem) -> str:
    """What the dew point had to stay under, as the picture of it draws it."""
    return (
        f"Dashed: the limit, {_t(settings.set_point + settings.band, system)}, to be kept for "
        f"{_percent(settings.share)} of the hours that count. Dotted: the set point, "
        f"{_t(settings.set_point, system)}."
    )


def to_be_shown(unit: Unit, system: UnitSystem) -> tuple[tuple[str, str], ...]:
    """Parts that the days after a repair have to show at work, and which weather or act calls for each."""
    d = design(unit)
    rows = []
    for k, name in enumerate(unit.stage_ids if d.dx else ("",), 1):
        weather = weather_that_calls(unit, d, k)
        rows.append(
            (
                f"Stage {name}" if name else "The chilled water",
                f"is called by a healthy unit from an outdoor dew point of {pretty(_t(weather, system))} on."
                if math.isfinite(weather)
                else "is called by no weather up to the design day: hold cooling.call at 100 % for 20 "
                "minutes while the log runs.",
            )
        )
    rows.append(
        ("Reheat", "where it is hardly asked for, hold the reheat command at 0 % and 100 %, 20 minutes each.")
    )
    return tuple(rows)


def verdict_words(found: Proof) -> str:
    """Why the verdict is what it is, in one sentence."""
    by = {
        verdict: [c.name for c in found.criteria if c.verdict == verdict] for verdict in ("fails", "untested")
    }
    if by["fails"]:
        return f"Fails: {', '.join(by['fails'])}."
    if by["untested"]:
        return f"Nothing fails; still to be shown: {', '.join(by['untested'])}."
    return f"All {len(found.criteria)} things asked for hold."


def comparison_words(c: Comparison, cause: str | None, system: UnitSystem) -> tuple[list[str], str]:
    """Before against after in the same weather: sentences, and what the ranges are."""
    told = []
    if math.isfinite(c.before):
        told.append(f"before, logged: over the limit {_percent(c.before)} of the time")
    if cause is not None:
        told.append(f"since, had it not been mended: {_shares(c.unmended)} (computed)")
    told.append(f"since, a healthy unit: {_shares(c.mended)} (computed)")
    told.append(f"since, logged: {_percent(c.after)}")
    for point, (seen, bad, good) in c.means.items():
        name, dimension = POINT_NAMES[point]
        text = (
            f"{name}, mean: logged {_t(seen, system, dimension)}; healthy {_range(good, system, dimension)}"
        )
        if cause is not None:
            text += f"; not mended {_range(bad, system, dimension)}"
        told.append(text)
    loads = "those that the days before imply" if c.loads_from_before else "assumed: no trend from before"
    return told, f"Ranges hold nine machines in ten. Loads: {loads}."


def _shares(span: Span90) -> str:
    return f"{_percent(span.low)} to {_percent(span.high)}"


def _range(span: Span90, system: UnitSystem, dimension: Dimension) -> str:
    low, _, unit = _t(span.low, system, dimension).partition(" ")
    high, _, _ = _t(span.high, system, dimension).partition(" ")
    return f"{low} to {high} {unit}"
