"""What is held against what: routes of one transfer, a route against the healthy machine, and the checks."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Literal

from wringout.ledger.checks import Check
from wringout.ledger.drafts import Draft
from wringout.ledger.entries import Amount, Figure, Mismatch
from wringout.ledger.meanings import against_model, between_routes
from wringout.ledger.quantity_sources import MODEL, Assumed, Quantity, combine
from wringout.ledger.routes import Transfer

__all__ = ["SLIGHT", "Comparison", "count", "mismatches", "of_check", "of_line", "threshold_for"]

SLIGHT = 2.0  # standard deviations: the least that is told at all
Part = Literal["heat", "moisture"]

# what is compared in each line; heat where nothing stands here
_PARTS: dict[str, tuple[Part, ...]] = {"latent": ("moisture",), "room": ("heat", "moisture")}

# Routes held against each other. Other pairs say the same thing once more: what the source gives less what
# the coil takes less what the pipes lose is one balance, whichever of the three lines it stands in.
_PAIRS: dict[str, tuple[tuple[str, str], ...]] = {
    "outdoor": (
        ("airflow", "mixing, by temperature"),
        ("airflow", "mixing, by moisture"),
        ("mixing, by temperature", "mixing, by moisture"),
    ),
    "latent": (("air side", "condensate"),),
    "total": (("air side", "compressor current"), ("air side", "chilled-water side")),
    "reheat": (("air side", "water side"), ("air side", "source less pipes")),
    "loop": (("drop along the supply pipe", "pipe and insulation"),),
    "source": (("water side", "coil and pipes"),),
    "room": (("supply air", "gains of the document"),),
}
# of these only the first that is possible
_EITHER = {"reheat"}


@dataclass(frozen=True)
class Comparison:
    """Two quantities that should agree, and their difference.

    Of several with one ``group`` only that with the smallest uncertainty counts: which one is settled before
    the differences are looked at.
    """

    kind: Literal["routes", "model", "physics", "readings"]
    subject: str
    first: Quantity
    second: Quantity
    difference: Quantity
    one_sided: bool
    meaning: Callable[[float], str]
    group: str = ""
    at_hand: Quantity | None = None
    at_hand_difference: Quantity | None = None

    @property
    def quantities(self) -> tuple[Quantity, ...]:
        """Everything that has to be worked out for it."""
        every = (self.first, self.second, self.difference, self.at_hand, self.at_hand_difference)
        return tuple(quantity for quantity in every if quantity is not None)


def of_check(check: Check) -> Comparison:
    """Hold two quantities of a check against each other.

    Parameters
    ----------
    check : Check

    Returns
    -------
    Comparison
    """
    return Comparison(
        check.kind,
        check.subject,
        check.first,
        check.second,
        check.margin,
        check.one_sided,
        lambda difference: check.meaning,
    )


def of_line(
    transfer: Transfer, drafts: list[Draft], columns: Iterable[str], healthy: str
) -> list[Comparison]:
    """Give the comparisons of one line.

    Parameters
    ----------
    transfer : Transfer
    drafts : list of Draft
        Its possible routes.
    columns : iterable of str
        Names of what is expected.
    healthy : str
        What the machine that is expected is called.

    Returns
    -------
    list of Comparison
    """
    expected = frozenset(columns)
    found: list[Comparison] = []
    for part in _PARTS.get(transfer.key, ("heat",)):
        by_name = {draft.name: q for draft in drafts if (q := getattr(draft, part)) is not None}
        found += _between(transfer, by_name)
        found += [
            _with_model(transfer, draft.name, by_name[draft.name], part, expected, healthy)
            for draft in drafts
            if draft.measured and draft.name in by_name and f"{transfer.key} {part}" in expected
        ]
    return found


def _between(transfer: Transfer, routes: dict[str, Quantity]) -> list[Comparison]:
    pairs = [pair for pair in _PAIRS.get(transfer.key, ()) if pair[0] in routes and pair[1] in routes]
    if transfer.key in _EITHER:
        pairs = pairs[:1]
    found = []
    for one, other in pairs:
        first, second = replace(routes[one], name=one), replace(routes[other], name=other)
        found.append(
            Comparison(
                "routes",
                transfer.title,
                first,
                second,
                _minus(first, second),
                False,
                lambda difference, one=one, other=other: between_routes(transfer.key, one, other, difference),  # type: ignore[misc]
            )
        )
    return found


def _minus(one: Quantity, other: Quantity) -> Quantity:
    return combine("difference", one.dimension, lambda a, b: a - b, one, other)


def _expected(column: str, name: str, like: Quantity) -> Quantity:
    key = MODEL + column
    return Quantity(name, lambda x: x[key], frozenset({key}), "assumed", like.dimension)


def _with_model(
    transfer: Transfer, name: str, route: Quantity, part: Part, expected: frozenset[str], healthy: str
) -> Comparison:
    first = replace(route, name=name)
    second = _expected(f"{transfer.key} {part}", healthy, route)
    near = f"at hand {transfer.key} {part}"
    at_hand = None
    if near in expected:
        at_hand = _expected(near, "a healthy part with the air that reaches it", route)
    return Comparison(
        "model",
        transfer.title if part == "heat" else f"{transfer.title}, moisture",
        first,
        second,
        _minus(first, second),
        False,
        lambda difference: against_model(transfer.key, part, difference),
        group=f"{transfer.key} {part}",
        at_hand=at_hand,
        at_hand_difference=_minus(first, at_hand) if at_hand is not None else None,
    )


def _telling(compared: Iterable[Comparison], amount: Callable[[Quantity], Amount]) -> list[Comparison]:
    """Of each group the comparison that is known best."""
    best: dict[object, Comparison] = {}
    for comparison in compared:
        key: object = comparison.group or id(comparison)
        held = best.get(key)
        if held is None or amount(comparison.difference).sigma < amount(held.difference).sigma:
            best[key] = comparison
    # the total says nothing new where both of its parts are known
    if {"sensible heat", "latent moisture"} <= best.keys():
        best.pop("total heat", None)
    return list(best.values())


def count(compared: Iterable[Comparison], amount: Callable[[Quantity], Amount]) -> int:
    """How many differences are looked at.

    Parameters
    ----------
    compared : iterable of Comparison
    amount : callable
        Value and standard deviation of a quantity.

    Returns
    -------
    int
    """
    return len(_telling(compared, amount))


def threshold_for(comparisons: int, chance: float) -> float:
    """Give the standard deviations from which a difference is named.

    Parameters
    ----------
    comparisons : int
        How many differences are looked at.
    chance : float, 0..1 [-]
        In how many of all sound calls chance alone may name something.

    Returns
    -------
    float, [-]
        Two at least.

    Notes
    -----
    The more is compared, the further apart two things come by chance. Of n independent normal differences
    none passes z with probability ``(1 - p(z))^n`` (Šidák's correction); where they go together, fewer
    pass. Solved by halving, between 0 and 10 standard deviations.
    """
    single = 1.0 - (1.0 - chance) ** (1.0 / max(comparisons, 1))
    low, high = 0.0, 10.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if math.erfc(middle / math.sqrt(2.0)) > single else (low, middle)
    return max(high, SLIGHT)


def mismatches(
    compared: Iterable[Comparison],
    amount: Callable[[Quantity], Amount],
    assumed: Callable[[Quantity], tuple[Assumed, ...]],
    threshold: float,
) -> tuple[Mismatch, ...]:
    """Name what does not add up.

    Parameters
    ----------
    compared : iterable of Comparison
    amount : callable
        Value and standard deviation of a quantity.
    assumed : callable
        What a quantity rests on that was assumed and matters.
    threshold : float
        Standard deviations from which a difference is named.

    Returns
    -------
    tuple of Mismatch
        The most standard deviations first.
    """
    found: list[Mismatch] = []
    for comparison in _telling(compared, amount):
        difference = amount(comparison.difference)
        deviations = difference.value / max(difference.sigma, 1e-12)
        size = deviations if comparison.one_sided else abs(deviations)
        if size >= threshold:
            found.append(_named(comparison, difference, size, amount, assumed))
    return tuple(sorted(found, key=lambda mismatch: -mismatch.deviations))


def _named(
    comparison: Comparison,
    difference: Amount,
    size: float,
    amount: Callable[[Quantity], Amount],
    assumed: Callable[[Quantity], tuple[Assumed, ...]],
) -> Mismatch:
    taken = assumed(comparison.difference)
    at_hand, near = None, 0.0
    if comparison.at_hand is not None and comparison.at_hand_difference is not None:
        at_hand = Figure(comparison.at_hand.name, amount(comparison.at_hand))
        left = amount(comparison.at_hand_difference)
        near = abs(left.value) / max(left.sigma, 1e-12)
    return Mismatch(
        kind=comparison.kind,
        subject=comparison.subject,
        figures=(
            Figure(comparison.first.name, amount(comparison.first)),
            Figure(comparison.second.name, amount(comparison.second)),
        ),
        difference=difference,
        deviations=size,
        meaning=comparison.meaning(difference.value),
        assumed=tuple(dict.fromkeys(item.name for item in taken)),
        points=tuple(dict.fromkeys(point for item in taken for point in item.points)),
        at_hand=at_hand,
        at_hand_deviations=near,
    )
