"""Which causes the trend of a unit speaks for: weighing of its last two bad days, without a reading."""

from __future__ import annotations

from typing import Any

import numpy as np

from wringout.documents.call import Call
from wringout.documents.unit import Unit
from wringout.sweep.moisture_control import Control
from wringout.sweep.needless_heat import NeedlessHeat
from wringout.sweep.task import Weighing
from wringout.trends.evidence import trend_evidence
from wringout.trends.moisture_balance import BLOCK, Blocks
from wringout.trends.table import TrendTable
from wringout.weighing.answer import weigh

__all__ = ["LEAST_SHARE", "suspects_of", "why_not"]

SEED = 0  # one trend, one answer
FEW = 5
LEAST_SHARE = 0.01  # of the hours over the limit, from which a unit that loses control is weighed


def why_not(control: Control, heat: NeedlessHeat, asked: Weighing) -> str:
    """Say why a unit is not weighed; empty where it is.

    Parameters
    ----------
    control : Control
    heat : NeedlessHeat
    asked : {'candidates', 'all', 'none'}

    Returns
    -------
    str
    """
    if asked == "none":
        return "not asked for"
    if asked == "all" or (control.state == "lost" and control.share >= LEAST_SHARE) or heat.least > 0.0:
        return ""
    if control.state == "weather":
        return "over only in weather beyond the design day"
    if control.state == "unknown":
        return "nothing is known of its moisture, and no heat is needless for certain"
    return "it keeps the room dry, and no heat is needless for certain"


def suspects_of(
    table: TrendTable, unit: Unit, blocks: Blocks, control: Control, heat: NeedlessHeat
) -> dict[str, Any]:
    """Weigh a unit by its trend alone.

    Parameters
    ----------
    table : TrendTable
    unit : Unit
    blocks : Blocks
        Half-hour means of the trend.
    control : Control
    heat : NeedlessHeat
        The days weighed are the last two with hours over the limit, or else with needless heat.

    Returns
    -------
    dict
        Sets and marginals with their probabilities, to three decimals.
    """
    last = control.last
    if last is None and heat.mask.any():
        last = float(blocks.time[np.flatnonzero(heat.mask)[-1]])
    recent = table.between(-np.inf, last + BLOCK) if last is not None else table
    if len(recent.time) < 60:
        recent = table
    evidence = trend_evidence(recent, unit)
    call = Call(unit=unit, complaint="", events=())
    answer = weigh(call, np.random.default_rng(SEED), checks=False, trend=evidence)
    marginals = sorted(answer.marginals.items(), key=lambda item: (-round(item[1], 3), item[0]))
    return {
        "sets": [
            {"causes": list(s.causes), "probability": round(s.probability, 3)} for s in answer.sets[:FEW]
        ],
        "marginals": [{"cause": cause, "probability": round(p, 3)} for cause, p in marginals[:FEW]],
        "healthy": round(answer.healthy, 3),
        "unexplained": round(answer.unexplained, 3),
    }
