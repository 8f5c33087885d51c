"""The cautions of a step: from what its points, its state, its remedy and its work touch. One function for
all faces."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from wringout.catalogue._package_data import read
from wringout.catalogue.cares import ALWAYS, Care, cares_for
from wringout.catalogue.causes import causes
from wringout.catalogue.points import point

__all__ = ["Step", "Work", "care_ids", "cautions_of", "work_of", "works"]


@dataclass(frozen=True, slots=True)
class Work:
    """What a step can touch.

    Parameters
    ----------
    id : str
        Its word.
    means : str
        In a few words.
    cares : tuple of str
        Ids of the cautions that it brings.
    """

    id: str
    means: str
    cares: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Step:
    """A step that somebody is about to take.

    Parameters
    ----------
    points : tuple of str
        Test points that are read.
    state : str
        Operating state in which the unit is held; ``auto`` holds nothing.
    cause : str
        Cause whose remedy is carried out; empty for none.
    work : tuple of str
        Words of `works` for anything else it touches.
    """

    points: tuple[str, ...] = ()
    state: str = "auto"
    cause: str = ""
    work: tuple[str, ...] = ()


@cache
def works() -> Mapping[str, Work]:
    """Everything that a step can touch, by its word.

    Returns
    -------
    Mapping
        Word to `Work`.
    """
    return {id: Work(id, entry["means"], tuple(entry["cares"])) for id, entry in _document()["work"].items()}


def work_of(step: Step) -> tuple[str, ...]:
    """What a step touches, told by its properties.

    Parameters
    ----------
    step : Step

    Returns
    -------
    tuple of str
        Words of `works`, each once.

    Raises
    ------
    KeyError
        For a word that the catalogue does not have.
    """
    found = list(step.work)
    for name in step.points:
        found += _of_point(name)
    if step.state != "auto":
        found.append("output_forced")
    if step.cause:
        words = " ".join((*causes()[step.cause].remedy, *causes()[step.cause].parts)).lower()
        for pattern, brought in _document()["remedies"].items():
            if re.search(pattern, words):
                found += brought
    unknown = set(found).difference(works())
    if unknown:
        raise KeyError(f"no such work: {', '.join(sorted(unknown))}")
    return tuple(dict.fromkeys(found))


def care_ids(step: Step) -> tuple[str, ...]:
    """Ids of the cautions of a step: those that its entries name, and those that its properties bring.

    Parameters
    ----------
    step : Step

    Returns
    -------
    tuple of str
        Each once, without those that are always shown.
    """
    ids = [care for name in step.points for care in point(name).care]
    if step.cause:
        ids += causes()[step.cause].cares
    ids += [care for word in work_of(step) for care in works()[word].cares]
    return tuple(dict.fromkeys(id for id in ids if id != ALWAYS))


def cautions_of(*steps: Step) -> tuple[Care, ...]:
    """The cautions to show before some steps, the local rules first.

    Parameters
    ----------
    *steps : Step
        One or more that are taken together.

    Returns
    -------
    tuple of Care
        Each once, in the order of the catalogue.
    """
    return cares_for(id for step in steps for id in care_ids(step))


def _of_point(name: str) -> Iterable[str]:
    entry = point(name)
    yield from _document()["instruments"].get(entry.by, ())
    fitting = [
        (len(start), brought)
        for place, brought in _document()["places"].items()
        for start, _, by in [place.removesuffix(")").partition("(")]
        if name.startswith(start) and by in {"", entry.by}
    ]
    if fitting:
        yield from max(fitting)[1]


@cache
def _document() -> dict[str, Any]:
    return read("cares.yaml")
