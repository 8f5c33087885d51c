"""The verdict on a repair as a document, as `wringout prove --json` writes it and a call keeps it."""

from __future__ import annotations

import math
from typing import Any

from wringout.documents.unit import Unit
from wringout.history.proofs import PROOF_FORMAT
from wringout.proof.acceptance import Proof
from wringout.proof.comparison import Comparison
from wringout.proof.replay import Span90
from wringout.quantity import PREFERRED, Dimension, UnitSystem, from_si
from wringout.showing.proof_words import POINT_NAMES, criterion_words, moment, test_words

__all__ = ["proof_document"]

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
        "from": moment(found.start).replace(" ", "T"),
        "to": moment(found.end).replace(" ", "T"),
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
                "says": criterion_words(c, system),
                "figures": {name: _figure(name, value, system) for name, value in c.figures.items()},
                "test": test_words(c, unit, system) or None if c.verdict == "untested" else None,
                "outdoor_dew_point": _number(c.weather, _D.TEMPERATURE, system),
                "spans": [
                    {"from": moment(a).replace(" ", "T"), "to": moment(b).replace(" ", "T")}
                    for a, b in c.spans
                ],
            }
            for c in found.criteria
        ],
        "moisture": None if found.moisture is None else found.moisture.as_document(system),
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
