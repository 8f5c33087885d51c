"""What the catalogue says of a cause and what the cause does to the machine are one and the same span."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from wringout.catalogue.cause import Cause
from wringout.catalogue.causes import causes
from wringout.machine.acts import ACTS

# Spans that no act draws from, and why. Everything else has to agree to the last digit.
ELSEWHERE = {
    ("output-in-hand", "command"): "the held command is a reading, shown.reheat_command, and no unknown",
    ("control-hunting", "gain"): "swings; a settled machine has none",
}
UNIT: Any = SimpleNamespace(
    cooling=SimpleNamespace(
        stages=(SimpleNamespace(id="c1", modulating=True), SimpleNamespace(id="c2", modulating=False))
    )
)


def healthy(field: str) -> np.ndarray:
    """A field as it is without a fault: a ratio or share of 1, an error or addition of 0; two stages."""
    if field.rpartition(".")[2].isdigit() and int(field.rpartition(".")[2]) > 1:
        raise KeyError(field)
    added = any(word in field for word in ("error", "shift", "add", "warm")) and "ratio" not in field
    return np.zeros(1) if added else np.ones(1)


def ends(cause: str) -> set[tuple[float, float]]:
    """Least and most of everything that an act moves between its ends, without sign."""
    act = ACTS[cause]
    found = set()
    for variant in act.variants(UNIT):
        low, high = (
            act.move(healthy, variant, [np.full(1, u) for _ in range(act.severities)]) for u in (0.0, 1.0)
        )
        assert low.keys() == high.keys()
        for field in low:
            a, b = abs(float(low[field][0])), abs(float(high[field][0]))
            if a != b:
                found.add((round(a, 9), round(b, 9)))
    return found


def test_every_cause_acts_and_every_act_is_a_cause() -> None:
    assert set(ACTS) == set(causes())


@pytest.mark.parametrize("cause", [pytest.param(cause, id=id) for id, cause in causes().items()])
def test_an_act_goes_as_far_as_the_catalogue_says(cause: Cause) -> None:
    spans = {span.name: span.si() for span in cause.spans}
    told = {
        (round(low, 9), round(high, 9))
        for name, (low, high) in spans.items()
        if (cause.id, name) not in ELSEWHERE
    }
    assert ends(cause.id) == told


@pytest.mark.parametrize("cause", [pytest.param(cause, id=id) for id, cause in causes().items()])
def test_a_cause_comes_in_the_ways_that_the_catalogue_lists(cause: Cause) -> None:
    # ways without a name of their own are one to people: only their readings were taken otherwise
    ways = len({way.label for way in ACTS[cause.id].variants(UNIT)})
    if any(span.sign == "either" for span in cause.spans):
        assert ways == 2
    elif cause.id == "dew-source-swapped":
        assert ways == len(cause.choices[0].options)
    elif not cause.choices:
        assert ways == 1
