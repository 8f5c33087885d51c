"""How long each point takes after the last change, and what it should then read, in words and figures."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from wringout.catalogue.points import points_of, sigma
from wringout.documents.call import Call
from wringout.proof.settling import waiting
from wringout.quantity import UnitSystem
from wringout.showing.known_unit import Told, expected_of
from wringout.showing.words import range_words
from wringout.weighing.discrepancy import model_spread
from wringout.weighing.evidence_words import plain

__all__ = ["wait_in_words"]

SEED = 0  # one call, one answer


def wait_in_words(call: Call, system: UnitSystem, told: Told | None = None) -> dict[str, Any]:
    """Each point after the last event that moved anything, expected of this unit as far as earlier visits
    ``told`` of it, else of any healthy unit of its kind."""
    found = waiting(
        call,
        points_of(call.unit),
        sigma,
        lambda name, predicted, s: model_spread(name, predicted, s, None),
        np.random.default_rng(SEED),
        known=told.known if told is not None else None,
    )
    last = found.visit.last
    rows = []
    for p in sorted(found.points, key=lambda p: (not p.moves, p.late_95)):
        band = range_words(p.point, p.low, p.high, system)
        if "yes" in band or band == "no":
            band = "yes" if p.settled > 0.5 else "no"
        rows.append(
            {
                "point": p.point,
                "what": plain(p.point),
                "half": p.to_63 if math.isfinite(p.to_63) else None,
                "middle": p.to_95 if math.isfinite(p.to_95) else None,
                "late": p.late_95 if math.isfinite(p.late_95) else None,
                "band": band,
                "moves": p.moves,
                "swings": p.swings,
            }
        )
    return {
        "at": last.at.isoformat(),
        "kind": last.kind,
        "expected_of": expected_of(told),
        "unnamed": found.visit.unnamed,
        "points": rows,
        "early": [
            {"what": plain(r.point), "value": r.text, "at": r.at.isoformat(), "point": r.point}
            for r in found.early
        ],
    }
