"""Units, machines and weather for the tests of motion: invented buildings, random machines, random causes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sample_documents import HEADS, RECLAIM
from wringout.documents.load import unit_from_text
from wringout.documents.unit import Unit
from wringout.machine.acts import ACTS, variants
from wringout.machine.design import Design, design
from wringout.machine.motion_storage import storage_spreads
from wringout.machine.parameters import healthy_values, neutral, spreads

Values = dict[str, np.ndarray]
UNITS = {**HEADS, "modulating reclaim": RECLAIM}


def unit(name: str) -> Unit:
    """One of the invented units."""
    return unit_from_text(UNITS[name], name)


def machine(name: str) -> Design:
    """Its constants."""
    return design(unit(name))


def nominal(d: Design) -> Values:
    """A machine at its schedule."""
    rows = spreads(d)
    return neutral(d) | healthy_values(rows, np.zeros((1, len(rows))))


def healthy(d: Design, samples: int, rng: np.random.Generator) -> Values:
    """Machines that depart from their schedule as healthy ones do, storage included."""
    rows = spreads(d) + storage_spreads()
    values = neutral(d) | healthy_values(rows, rng.standard_normal((samples, len(rows))))
    return {name: np.array(np.broadcast_to(array, (samples,))) for name, array in values.items()}


def with_causes(
    d: Design, values: Values, causes: Sequence[str], rng: np.random.Generator
) -> tuple[Values, list[str]]:
    """Put one or two causes, drawn anew for each, into most of the machines; and what was put."""
    names = []
    samples = values["air_ratio"].shape[0]
    for i in range(samples):
        count = int(rng.integers(0, 3))
        drawn = [str(cause) for cause in rng.choice(causes, size=count, replace=False)]
        for cause in drawn:
            ways = variants(cause, d.unit)
            way = ways[int(rng.integers(len(ways)))]
            severity = [rng.random(1) for _ in range(ACTS[cause].severities)]
            moved = ACTS[cause].move(lambda name, i=i: values[name][i : i + 1], way, severity)
            for name, array in moved.items():
                values[name][i] = array[0]
        names.append(" and ".join(drawn) or "healthy")
    values["hand_command"] = rng.random(samples)
    return values, names


def one_cause(d: Design, values: Values, cause: str, severity: float = 0.5, way: int = 0) -> Values:
    """Machines with one cause at a severity from 0 to 1."""
    act = ACTS[cause]
    moved = act.move(
        lambda name: values[name], variants(cause, d.unit)[way], [np.full(1, severity)] * act.severities
    )
    return {**values, **moved}
