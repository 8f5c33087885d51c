"""The answer of weighing as the JSON document of the contract."""

from __future__ import annotations

from typing import Any

from wringout.weighing.answer import Answer

__all__ = ["FORMAT", "answer_document"]

FORMAT = "wringout-weighing/1"
MOST_SETS = 250
MOST_CHECKS = 40


def answer_document(answer: Answer, seconds: float) -> dict[str, Any]:
    """Give the answer in the contract's words.

    Parameters
    ----------
    answer : Answer
    seconds : float
        What the weighing took [s].

    Returns
    -------
    dict
        Ready for JSON. Probabilities of sets that are left out for length are missing from the sum, not
        moved to others.
    """
    return {
        "format": FORMAT,
        "marginals": {
            cause: round(p, 6) for cause, p in sorted(answer.marginals.items(), key=lambda i: -i[1])
        },
        "healthy": round(answer.healthy, 6),
        "unexplained": round(answer.unexplained, 6),
        "sets": [
            {"causes": list(s.causes), "probability": round(s.probability, 6)}
            for s in answer.sets[:MOST_SETS]
        ],
        "next": [
            {"state": c.state, "point": c.point, "minutes": c.minutes, "gain_bits": round(c.gain_bits, 4)}
            for c in answer.next[:MOST_CHECKS]
        ],
        "seconds": round(seconds, 3),
    }
