"""Answers that many tests and commands ask for again and again, computed once for each content.

Weighing a call and proving a repair take a second or so and are pure: the same call, log and generator give
the same answer, which tests/test_weighing_answer.py and tests/test_cli_weigh.py hold. A test that runs
several commands on one call to compare what they say need not wait for it every time.
"""

from __future__ import annotations

import pickle
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache, wraps
from inspect import signature
from typing import Any, ParamSpec, TypeVar

import numpy as np
import pytest

from wringout.demo import telling
from wringout.history import differences, learning
from wringout.practising import review
from wringout.proof import acceptance
from wringout.report import findings
from wringout.sweep import suspects
from wringout.weighing import answer

__all__ = ["WEIGHED", "answered_once", "once"]

P, T = ParamSpec("P"), TypeVar("T")
MOST = 40  # answers kept of each kind; one holds some megabytes


def once(function: Callable[P, T]) -> Callable[P, T]:
    """Cache a function of plain arguments, for which one left out is the same as its default given."""
    kept, takes = cache(function), signature(function)

    @wraps(function)
    def asked(*given: P.args, **named: P.kwargs) -> T:
        bound = takes.bind(*given, **named)
        bound.apply_defaults()
        return kept(*bound.args, **bound.kwargs)

    return asked


def _by_content(function: Callable[..., Any]) -> Callable[..., Any]:
    """The function, which looks first whether it was asked the same, byte for byte, by this process."""
    kept: dict[bytes, tuple[Any, list[Any]]] = {}

    takes = signature(function)

    @wraps(function)
    def asked(*given: Any, **named: Any) -> Any:
        bound = takes.bind(*given, **named)
        bound.apply_defaults()
        key = pickle.dumps(bound.arguments)
        chances = [one for one in bound.arguments.values() if isinstance(one, np.random.Generator)]
        if key not in kept:
            found = function(*bound.args, **bound.kwargs)
            kept[key] = found, [one.bit_generator.state for one in chances]
            if len(kept) > MOST:
                del kept[next(iter(kept))]
            return found
        found, left = kept[key]
        for one, state in zip(chances, left, strict=True):
            one.bit_generator.state = state  # as if it had been drawn from
        return found

    return asked


WEIGHED, PROVEN = _by_content(answer.weigh), _by_content(acceptance.prove)
# every module that holds one of them by name; the commands take them from the first of each
WEIGHING = (answer, telling, differences, learning, review, findings, suspects)
PROVING = (acceptance, findings)


@contextmanager
def answered_once() -> Iterator[None]:
    """Let the package's commands take an answer from here that they have had before."""
    with pytest.MonkeyPatch.context() as patch:
        for module in WEIGHING:
            patch.setattr(module, "weigh", WEIGHED)
        for module in PROVING:
            patch.setattr(module, "prove", PROVEN)
        yield
