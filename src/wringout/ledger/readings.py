"""The readings of one operating state, one value a point, each with one standard deviation."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from wringout.documents.states import Snapshot

__all__ = ["Read", "Seen", "seen"]


@dataclass(frozen=True, slots=True)
class Read:
    """Value and one standard deviation at a point [SI]; ``by`` names the instrument, ``text`` as written."""

    value: float
    sigma: float
    by: str
    text: str = ""


Seen = Mapping[str, Read]
"""What was read, by point id."""


def seen(snapshot: Snapshot, sigma: Callable[[str, float], float]) -> dict[str, Read]:
    """Bring the readings of a state to one value a point.

    Parameters
    ----------
    snapshot : Snapshot
    sigma : callable
        One standard deviation [SI] of a careful reading, from point id and value; the catalogue's.

    Returns
    -------
    dict of Read
        Of a point read more than once: the mean, weighted by accuracy, with the accuracy of the best one. Its
        error does not shrink with repetition: most of it is the instrument's and the place's.
    """
    groups: dict[str, list[Read]] = {}
    for reading in snapshot.readings:
        spread = reading.accuracy if reading.accuracy is not None else sigma(reading.point, reading.value)
        groups.setdefault(reading.point, []).append(Read(reading.value, spread, reading.by, reading.text))
    return {point: _one(reads) for point, reads in groups.items()}


def _one(reads: list[Read]) -> Read:
    if len(reads) == 1:
        return reads[0]
    weights = [1.0 / max(read.sigma, 1e-9) ** 2 for read in reads]
    mean = sum(w * read.value for w, read in zip(weights, reads, strict=True)) / sum(weights)
    best = min(reads, key=lambda read: read.sigma)
    return Read(mean, best.sigma, best.by, ", ".join(read.text for read in reads))
