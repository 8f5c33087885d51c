"""The fingerprint document: what proven visits told of a unit's healthy machine."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from datetime import datetime
from typing import Annotated, Literal

import numpy as np
from pydantic import Field, ValidationError, model_validator

from wringout.documents.measure import Part
from wringout.documents.unit import Unit
from wringout.errors import InputError
from wringout.history.visits import fitted
from wringout.machine.parameters import Array

__all__ = [
    "FINGERPRINT_FORMAT",
    "Fingerprint",
    "LearnedSpread",
    "LearnedVisit",
    "Named",
    "check_unit",
    "fingerprint_from_text",
    "fingerprint_text",
    "merged",
]

FINGERPRINT_FORMAT = "wringout-fingerprint/1"
MOST_VISITS = 200
DIGITS = 7
_Finite = Annotated[float, Field(allow_inf_nan=False)]


class Named(Part):
    """Which unit: its name, and the hash of what its document says of the machine."""

    name: str
    sha256: str = Field(pattern="^[0-9a-f]{64}$")


class LearnedSpread(Part):
    """One of a machine's spreads as a visit told it.

    ``mean`` and ``deviation`` are of the natural logarithm for a ``ratio`` to what the unit document says,
    and in the SI unit of the thing for a ``shift``; ``usual`` is the deviation of healthy machines of the
    kind, beside which the two were learned.
    """

    name: str
    kind: Literal["ratio", "shift"]
    mean: _Finite
    deviation: Annotated[float, Field(gt=0.0, allow_inf_nan=False)]
    usual: Annotated[float, Field(gt=0.0, allow_inf_nan=False)]


class LearnedVisit(Part):
    """What one proven visit told.

    ``readings`` were taken after the last change; ``nothing_wrong`` is the probability by these alone, and
    ``proven`` by what the visit counts as proven: its readings, or the days after it. ``correlation`` holds
    for each spread its correlations with those before it.
    """

    first: datetime
    last: datetime
    complaint: str = ""
    readings: Annotated[int, Field(ge=1)]
    nothing_wrong: Annotated[float, Field(ge=0.0, le=1.0)]
    proven: Literal["readings", "days"]
    spreads: Annotated[tuple[LearnedSpread, ...], Field(min_length=1, max_length=200)]
    correlation: tuple[tuple[Annotated[float, Field(ge=-1.0, le=1.0)], ...], ...]

    @model_validator(mode="after")
    def _fits(self) -> LearnedVisit:
        names = [spread.name for spread in self.spreads]
        if len(set(names)) < len(names):
            raise ValueError("a spread stands there twice")
        if [len(row) for row in self.correlation] != list(range(len(names))):
            raise ValueError("correlation wants one row a spread: none, then one number, then two and so on")
        for spread in self.spreads:
            if spread.deviation > spread.usual * 1.001:
                raise ValueError(f"{spread.name}: the deviation is over the usual one; no visit unlearns")
            if abs(spread.mean) > 8.0 * spread.usual:
                raise ValueError(f"{spread.name}: the mean is over eight usual deviations away")
        if float(np.linalg.eigvalsh(correlations(self)).min()) < -1e-4:
            raise ValueError("correlation: no deviations can go together like this")
        return self


class Fingerprint(Part):
    """Proven visits to one unit, in order of time."""

    format: Literal["wringout-fingerprint/1"] = "wringout-fingerprint/1"
    unit: Named
    visits: Annotated[tuple[LearnedVisit, ...], Field(min_length=1, max_length=MOST_VISITS)]


def correlations(visit: LearnedVisit) -> Array:
    """The whole matrix, (spreads, spreads)."""
    whole = np.eye(len(visit.spreads))
    for k, row in enumerate(visit.correlation):
        whole[k, :k] = row
        whole[:k, k] = row
    return whole


def check_unit(fingerprint: Fingerprint, unit: Unit, place: str) -> None:
    """Refuse the fingerprint of another unit.

    Parameters
    ----------
    fingerprint : Fingerprint
    unit : Unit
    place : str
        What the complaint calls the fingerprint.

    Raises
    ------
    InputError
    """
    if fingerprint.unit.name != unit.name:
        raise InputError(
            f'this is the fingerprint of "{fingerprint.unit.name}", and the call is of "{unit.name}"', place
        )
    if fingerprint.unit.sha256 != fitted(unit):
        raise InputError(
            f"the document of {unit.name} says other things of the machine than when this was learned; learn "
            "again with `wringout history ... --learn -o` into a new file",
            place,
        )


def merged(visits: Sequence[LearnedVisit], unit: Unit) -> Fingerprint:
    """Put visits together; one that is there twice counts once, the later learned.

    Parameters
    ----------
    visits : sequence of LearnedVisit
    unit : Unit

    Returns
    -------
    Fingerprint
    """
    once = {(visit.first, visit.last): visit for visit in visits}
    kept = sorted(once.values(), key=lambda visit: (visit.first, visit.last))[-MOST_VISITS:]
    return Fingerprint(unit=Named(name=unit.name, sha256=fitted(unit)), visits=tuple(kept))


def fingerprint_text(fingerprint: Fingerprint) -> str:
    """Write the document: JSON, one spread a line.

    Parameters
    ----------
    fingerprint : Fingerprint

    Returns
    -------
    str
    """
    tree = fingerprint.model_dump(mode="json")
    held: list[str] = []
    mark = "@"
    while mark in fingerprint.model_dump_json():  # whatever the complaint holds
        mark += "@"

    def flat(piece: object) -> str:
        held.append(json.dumps(piece, ensure_ascii=False))
        return f"{mark}{len(held) - 1}{mark}"

    for visit in tree["visits"]:
        visit["spreads"] = [flat(_rounded(spread)) for spread in visit["spreads"]]
        visit["correlation"] = [flat([round(v, DIGITS) for v in row]) for row in visit["correlation"]]
    lines = json.dumps(tree, ensure_ascii=False, indent=1)
    for k, piece in enumerate(held):
        lines = lines.replace(f'"{mark}{k}{mark}"', piece, 1)
    return lines + "\n"


def fingerprint_from_text(text: str, name: str) -> Fingerprint:
    """Read the document.

    Parameters
    ----------
    text : str
    name : str
        What complaints call it.

    Returns
    -------
    Fingerprint

    Raises
    ------
    InputError
        For anything in it that must be mended; the message names the field.
    """
    try:
        tree = json.loads(text, parse_constant=_no_number)
    except RecursionError:
        raise InputError("nested too deeply for a fingerprint", name) from None
    except ValueError as error:
        raise InputError(f"this is no fingerprint, which is JSON ({error})", name) from None
    found = tree.get("format") if isinstance(tree, dict) else None
    if found != FINGERPRINT_FORMAT:
        later = isinstance(found, str) and found.startswith("wringout-fingerprint/")
        said = f'found "{found[:40]}"' if isinstance(found, str) else "missing"
        hint = ": a later version of wringout wrote it; learn it again with this one" if later else ""
        raise InputError(f"{said}, wanted {FINGERPRINT_FORMAT}{hint}", f"{name}: format")
    try:
        return Fingerprint.model_validate_json(text)
    except ValidationError as error:
        first = error.errors()[0]
        at = ".".join(str(part + 1) if isinstance(part, int) else part for part in first["loc"])
        raise InputError(first["msg"].removeprefix("Value error, "), f"{name}: {at}") from None


def _rounded(spread: dict[str, object]) -> dict[str, object]:
    return {k: _short(v) if isinstance(v, float) else v for k, v in spread.items()}


def _short(value: float) -> float:
    return float(f"{value:.8g}") if math.isfinite(value) else value


def _no_number(word: str) -> float:
    raise ValueError(f"{word} is no number")
