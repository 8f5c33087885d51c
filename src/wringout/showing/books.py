"""The ledger in plain words and figures, with the band of every point and the states for the moist-air chart.

Pages and report take their words from here, so that they show the same figures.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from wringout.catalogue.points import sigma
from wringout.documents.call import Call
from wringout.ledger.book import ledgers
from wringout.ledger.document import ledger_document
from wringout.ledger.entries import Amount, Line
from wringout.ledger.words import beside, sentences
from wringout.quantity import UnitSystem
from wringout.showing.chart_states import chart_states
from wringout.showing.expected import bands, scene
from wringout.showing.known_unit import Told, expected_of
from wringout.showing.words import amount_words, band_words, pretty, range_words
from wringout.weighing.evidence_words import state_words

__all__ = ["ledger_in_words"]

SEED = 0  # one call, one ledger


def ledger_in_words(call: Call, system: UnitSystem, told: Told | None = None) -> dict[str, Any]:
    """Ledgers of every state, what does not add up, what was assumed; bands and charts. All that is expected
    is of this unit as far as earlier visits ``told`` of it, else of any healthy unit of its kind."""
    known = told.known if told is not None else None
    here = scene(call, np.random.default_rng(SEED), known=known)
    booked = ledgers(call, sigma, np.random.default_rng(SEED), machine=known)
    found: dict[str, Any] = {
        "state": here.state,
        "expected_of": expected_of(told),
        "bands": {
            name: {"words": range_words(name, b.low, b.high, system), "low": b.low, "high": b.high}
            for name, b in bands(here, np.random.default_rng(SEED)).items()
        },
        "ledgers": [],
        "charts": [],
    }

    def show(amount: Amount) -> str:
        return amount_words(amount, system)

    for ledger in booked:
        found["ledgers"].append(
            {
                "state": ledger.state,
                "state_words": state_words(ledger.state),
                "machine": ledger.machine_epoch,
                "visit": ledger.visit,
                "first": ledger.first.isoformat(),
                "last": ledger.last.isoformat(),
                "readings": ledger.readings,
                "lines": [_line(line, system) for line in ledger.lines],
                "mismatches": [
                    {
                        "subject": m.subject,
                        "kind": m.kind,
                        "words": [pretty(w) for w in sentences(m, show)],
                        "points": list(m.points),
                        "line": next(
                            (ln.transfer for ln in ledger.lines if m.subject.startswith(ln.title)), ""
                        ),
                    }
                    for m in ledger.mismatches
                ],
                "beside": pretty(beside(ledger)),
                "assumed": [
                    {"name": i.name, "amount": show(i.amount), "source": i.source, "points": list(i.points)}
                    for i in ledger.inputs
                    if i.mark == "assumed"
                ],
            }
        )
    found["charts"] = chart_states(call, np.random.default_rng(SEED), known)
    found["document"] = ledger_document(booked, show, found["expected_of"])
    return found


def _line(line: Line, system: UnitSystem) -> dict[str, Any]:

    return {
        "transfer": line.transfer,
        "title": line.title,
        "meaning": line.meaning,
        "heat": band_words(line.expected_heat, system) if line.expected_heat else "",
        "moisture": band_words(line.expected_moisture, system) if line.expected_moisture else "",
        "routes": [
            {
                "name": r.name,
                "heat": amount_words(r.heat, system) if r.heat else "",
                "moisture": amount_words(r.moisture, system) if r.moisture else "",
                "mark": r.mark,
                "weak": r.weak,
                "assumed": list(r.assumed),
            }
            for r in line.possible
        ],
        "closed": [f"{r.name} ({r.impossible})" for r in line.routes if r.impossible],
    }
