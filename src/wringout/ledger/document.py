"""A ledger as one JSON document: SI, each number with its unit."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from wringout.ledger.entries import Amount, Band, Input, Ledger, Line, Mismatch, Route
from wringout.ledger.words import sentences

__all__ = ["LEDGER_FORMAT", "ledger_document"]

LEDGER_FORMAT = "wringout-ledger/1"
UNITS = {
    "power": "W",
    "mass_flow": "kg/s",
    "temperature": "degC",
    "temperature_difference": "K",
    "humidity_ratio": "kg/kg",
    "airflow": "m3/s",
    "water_flow": "m3/s",
    "fraction": "1",
}


def ledger_document(
    ledgers: Sequence[Ledger], show: Callable[[Amount], str], expected_of: str
) -> dict[str, Any]:
    """Write ledgers as a document.

    Parameters
    ----------
    ledgers : sequence of Ledger
    show : callable
        Writes an amount for the sentences, in the reader's units.
    expected_of : str
        Which machine is expected, in words.

    Returns
    -------
    dict
        Ready for JSON; numbers are SI and stand beside their unit, uncertainties are one standard deviation.
    """
    return {
        "format": LEDGER_FORMAT,
        "expected_of": expected_of,
        "ledgers": [_ledger(ledger, show) for ledger in ledgers],
    }


def _ledger(ledger: Ledger, show: Callable[[Amount], str]) -> dict[str, Any]:
    return {
        "unit": ledger.unit,
        "state": ledger.state,
        "machine": ledger.machine_epoch + 1,
        "visit": ledger.visit + 1,
        "first": ledger.first.isoformat(),
        "last": ledger.last.isoformat(),
        "readings": ledger.readings,
        "lines": [_line(line) for line in ledger.lines],
        "mismatches": [_mismatch(mismatch, show) for mismatch in ledger.mismatches],
        "slight": [_mismatch(mismatch, show) for mismatch in ledger.slight],
        "comparisons": ledger.comparisons,
        "threshold": _number(ledger.threshold),
        "inputs": [_input(item) for item in ledger.inputs],
    }


def _line(line: Line) -> dict[str, Any]:
    return {
        "transfer": line.transfer,
        "title": line.title,
        "meaning": line.meaning,
        "expected": {"heat": _band(line.expected_heat), "moisture": _band(line.expected_moisture)},
        "routes": [_route(route) for route in line.routes],
    }


def _route(route: Route) -> dict[str, Any]:
    if route.impossible:
        return {"route": route.name, "possible": False, "why": route.impossible}
    return {
        "route": route.name,
        "possible": True,
        "heat": _amount(route.heat),
        "moisture": _amount(route.moisture),
        "mark": route.mark,
        "assumed": list(route.assumed),
        "weak": route.weak or None,
    }


def _amount(amount: Amount | None) -> dict[str, Any] | None:
    if amount is None:
        return None
    return {"value": _number(amount.value), "sigma": _number(amount.sigma), "unit": UNITS[amount.dimension]}


def _band(band: Band | None) -> dict[str, Any] | None:
    if band is None:
        return None
    low, median, high = _number(band.low), _number(band.median), _number(band.high)
    return {"low": low, "median": median, "high": high, "unit": UNITS[band.dimension]}


def _number(value: float) -> float | None:
    """Six digits are more than any reading has; JSON knows no NaN."""
    return float(f"{value:.6g}") if value == value else None


def _mismatch(mismatch: Mismatch, show: Callable[[Amount], str]) -> dict[str, Any]:
    at_hand = mismatch.at_hand
    return {
        "kind": mismatch.kind,
        "subject": mismatch.subject,
        "figures": [{"name": figure.name, **(_amount(figure.amount) or {})} for figure in mismatch.figures],
        "difference": _amount(mismatch.difference),
        "deviations": _number(mismatch.deviations),
        "at_hand": {"name": at_hand.name, **(_amount(at_hand.amount) or {})} if at_hand else None,
        "assumed": list(mismatch.assumed),
        "read_first": list(mismatch.points),
        "words": list(sentences(mismatch, show)),
    }


def _input(item: Input) -> dict[str, Any]:
    told: dict[str, Any] = {"name": item.name, "mark": item.mark, "source": item.source}
    if item.mark == "given":
        return told | {"written": item.written}
    return told | {"amount": _amount(item.amount), "instead_of": list(item.points)}
