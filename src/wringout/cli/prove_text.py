"""The answer of ``wringout prove`` in words, and as a document."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from wringout.cli.layout import chance, heading, item, paragraph
from wringout.quantity import PREFERRED, Dimension, UnitSystem, format, from_si

if TYPE_CHECKING:
    from wringout.documents.unit import Unit
    from wringout.proof.acceptance import Proof
    from wringout.proof.comparison import Comparison
    from wringout.proof.criteria import Criterion
    from wringout.proof.replay import Span90

__all__ = ["PROOF_FORMAT", "proof_document", "proof_lines"]

PROOF_FORMAT = "wringout-proof/1"

VERDICTS = {"proven": "Proven", "not_proven": "Not proven", "not_yet_testable": "Not yet testable"}
MARKS = {"holds": "holds", "fails": "FAILS", "untested": "open"}
_D = Dimension
# what each figure measures
FIGURES = {
    "hours": None, "demanding_hours": None, "hours_wet": None, "asked": _D.FRACTION, "share": _D.FRACTION,
    "share_low": _D.FRACTION, "share_high": _D.FRACTION, "chance": _D.FRACTION, "worst": _D.TEMPERATURE,
    "limit": _D.TEMPERATURE, "least_gap": _D.TEMPERATURE_DIFFERENCE, "period": _D.TIME,
    "starts_per_hour": None, "starts": None, "step": _D.FRACTION, "gain": _D.TEMPERATURE_DIFFERENCE,
    "gain_sigma": _D.TEMPERATURE_DIFFERENCE, "supply_off": _D.TEMPERATURE_DIFFERENCE,
    "supply_off_sigma": _D.TEMPERATURE_DIFFERENCE, "odds": None, "expected": None, "furthest": None,
}  # fmt: skip
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


def _when(seconds: float) -> str:
    return datetime.fromtimestamp(seconds, UTC).strftime("%Y-%m-%d %H:%M")


def _why(c: Criterion, system: UnitSystem) -> str:
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
        f"within the design day ({_percent(f['share_low'])} to {_percent(f['share_high'])} with the sensor "
        f"off by a standard deviation); asked are {_percent(f['asked'])}. Chance that it was met: "
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


def _test(c: Criterion, unit: Unit, system: UnitSystem) -> str:
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


def proof_lines(found: Proof, unit: Unit, system: UnitSystem) -> list[str]:
    """The answer for a terminal.

    Parameters
    ----------
    found : Proof
    unit : Unit
    system : {'ip', 'si'}

    Returns
    -------
    list of str
    """
    what = found.change.cause or found.change.text if found.change is not None else ""
    lines = [heading(VERDICTS[found.verdict])]
    if found.change is not None:
        at = found.change.at.strftime("%Y-%m-%d %H:%M")
        lines.append(paragraph(f"Repair of {at}: {what}"))
    else:
        lines.append(paragraph("The call holds no change: all of the trend counts as after the repair."))
    lines.append(
        paragraph(f"Looked at: {_when(found.start)} to {_when(found.end)}, {found.hours:.0f} h of data.")
    )
    lines.append("")
    order = {"fails": 0, "untested": 1, "holds": 2}
    for c in sorted(found.criteria, key=lambda c: order[c.verdict]):
        lines.append(item(f"{MARKS[c.verdict]:>5}", f"{c.name}: {_why(c, system)}"))
        if c.verdict == "untested" and (test := _test(c, unit, system)):
            lines.append(paragraph(test, 6))
        if c.spans:
            shown = "; ".join(f"{_when(a)} to {_when(b)[11:]}" for a, b in c.spans[:2])
            rest = f"; and {len(c.spans) - 2} more" if len(c.spans) > 2 else ""
            lines.append(paragraph(f"When: {shown}{rest}", 6))
    if found.comparison is not None:
        lines += ["", *_comparison_lines(found.comparison, found.cause, system)]
    return lines


def _comparison_lines(c: Comparison, cause: str | None, system: UnitSystem) -> list[str]:
    lines = [heading("Before against after, in the same weather")]
    if math.isfinite(c.before):
        lines.append(item("-", f"before, logged: over the limit {_percent(c.before)} of the time"))
    if cause is not None:
        lines.append(item("-", f"since, had it not been mended: {_shares(c.unmended)} (computed)"))
    lines.append(item("-", f"since, a healthy unit: {_shares(c.mended)} (computed)"))
    lines.append(item("-", f"since, logged: {_percent(c.after)}"))
    for point, (seen, bad, good) in c.means.items():
        name, dimension = POINT_NAMES[point]
        text = (
            f"{name}, mean: logged {_t(seen, system, dimension)}; healthy {_range(good, system, dimension)}"
        )
        if cause is not None:
            text += f"; not mended {_range(bad, system, dimension)}"
        lines.append(item("-", text))
    loads = "those that the days before imply" if c.loads_from_before else "assumed: no trend from before"
    lines.append(paragraph(f"Ranges hold nine machines in ten. Loads: {loads}."))
    return lines


def _shares(span: Span90) -> str:
    return f"{_percent(span.low)} to {_percent(span.high)}"


def _range(span: Span90, system: UnitSystem, dimension: Dimension) -> str:
    low, _, unit = _t(span.low, system, dimension).partition(" ")
    high, _, _ = _t(span.high, system, dimension).partition(" ")
    return f"{low} to {high} {unit}"


def proof_document(found: Proof, unit: Unit, system: UnitSystem) -> dict[str, Any]:
    """The answer as one JSON document; every number with its unit.

    Parameters
    ----------
    found : Proof
    unit : Unit
    system : {'ip', 'si'}

    Returns
    -------
    dict
    """
    change = found.change
    s = found.settings
    comparison = found.comparison
    return {
        "format": PROOF_FORMAT,
        "verdict": found.verdict,
        "repair": None
        if change is None
        else {"at": change.at.isoformat(), "cause": found.cause, "text": change.text},
        "from": _when(found.start).replace(" ", "T"),
        "to": _when(found.end).replace(" ", "T"),
        "hours": round(found.hours, 1),
        "settings": {
            "set_point": _number(s.set_point, _D.TEMPERATURE, system),
            "band": _number(s.band, _D.TEMPERATURE_DIFFERENCE, system),
            "share": _number(s.share, _D.FRACTION, system),
            "hours": s.hours,
            "occupied": [at.strftime("%H:%M") for at in s.occupied] if s.occupied else None,
            "surface": _number(s.surface, _D.TEMPERATURE, system) if s.surface is not None else None,
        },
        "criteria": [
            {
                "name": c.name,
                "verdict": c.verdict,
                "why": c.why,
                "says": _why(c, system),
                "figures": {name: _figure(name, value, system) for name, value in c.figures.items()},
                "test": _test(c, unit, system) or None if c.verdict == "untested" else None,
                "outdoor_dew_point": _number(c.weather, _D.TEMPERATURE, system),
                "spans": [
                    {"from": _when(a).replace(" ", "T"), "to": _when(b).replace(" ", "T")} for a, b in c.spans
                ],
            }
            for c in found.criteria
        ],
        "comparison": None if comparison is None else _comparison_document(comparison, system),
    }


def _comparison_document(c: Comparison, system: UnitSystem) -> dict[str, Any]:
    def spanned(span: Span90, dimension: Dimension) -> dict[str, Any]:
        return {
            "low": _number(span.low, dimension, system),
            "middle": _number(span.middle, dimension, system),
            "high": _number(span.high, dimension, system),
        }

    return {
        "share_over_limit": {
            "before": _number(c.before, _D.FRACTION, system),
            "after": _number(c.after, _D.FRACTION, system),
            "not_mended": spanned(c.unmended, _D.FRACTION),
            "healthy": spanned(c.mended, _D.FRACTION),
        },
        "log_odds": _finite(c.odds),
        "log_odds_expected": _finite(c.expected),
        "loads_from_before": c.loads_from_before,
        "means": {
            point: {
                "logged": _number(seen, POINT_NAMES[point][1], system),
                "not_mended": spanned(bad, POINT_NAMES[point][1]),
                "healthy": spanned(good, POINT_NAMES[point][1]),
            }
            for point, (seen, bad, good) in c.means.items()
        },
    }


def _finite(value: float) -> float | None:
    return round(value, 3) if math.isfinite(value) else None


def _number(value: float, dimension: Dimension, system: UnitSystem) -> dict[str, Any] | None:
    if not math.isfinite(value):
        return None
    unit = PREFERRED[dimension][system]
    return {"value": round(float(from_si(value, unit, dimension)), 3), "unit": unit}


def _figure(name: str, value: float, system: UnitSystem) -> Any:
    dimension = FIGURES[name]
    return _finite(value) if dimension is None else _number(value, dimension, system)
