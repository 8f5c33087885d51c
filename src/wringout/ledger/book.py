"""The ledger of a call: every line by every route, beside what the healthy machine would move."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from wringout.documents.call import Call
from wringout.documents.states import Snapshot, operating_states
from wringout.ledger.checks import checks
from wringout.ledger.compare import SLIGHT, count, mismatches, of_check, of_line, threshold_for
from wringout.ledger.drafts import Draft
from wringout.ledger.entries import Amount, Band, Input, Ledger, Line, Route
from wringout.ledger.expectation import Expected, expect
from wringout.ledger.propagation import Propagated, propagate
from wringout.ledger.quantity_sources import MODEL, Array, Assumed, Inputs, Known, Quantity
from wringout.ledger.readings import Seen, seen
from wringout.ledger.routes import Transfer, transfers
from wringout.machine.design import Design, design
from wringout.machine.known import KnownMachine

__all__ = ["CHANCE", "ledger", "ledgers"]

CHANCE = 0.1  # of a sound call in which chance alone names something
NEGLIGIBLE = 0.1  # of a result's standard deviation: an assumption that matters less is not named
TELLING = 3.0  # standard deviations by which two airs must differ before their mixture tells a share


def ledgers(
    call: Call,
    sigma: Callable[[str, float], float],
    rng: np.random.Generator,
    samples: int = 400,
    chance: float = CHANCE,
    machine: KnownMachine | None = None,
) -> list[Ledger]:
    """Book a call: one ledger for each operating state of each machine on each visit.

    Parameters
    ----------
    call : Call
    sigma : callable
        One standard deviation [SI] of a careful reading, from point id and value; the catalogue's.
    rng : numpy.random.Generator
    samples : int
        Healthy machines to settle for the expectation.
    chance : float
        In how many of all sound calls chance alone may name something, 0..1.
    machine : KnownMachine, optional
        What earlier visits told of this machine, which is then expected in place of any of its kind.

    Returns
    -------
    list of Ledger
        In order of first reading.
    """
    constants = design(call.unit)
    return [
        ledger(constants, snapshot, seen(snapshot, sigma), rng, samples, chance, machine)
        for snapshot in operating_states(call)
    ]


def ledger(
    constants: Design,
    snapshot: Snapshot,
    readings: Seen,
    rng: np.random.Generator,
    samples: int = 400,
    chance: float = CHANCE,
    machine: KnownMachine | None = None,
) -> Ledger:
    """Book one operating state.

    Parameters
    ----------
    constants : Design
    snapshot : Snapshot
    readings : Seen
        One value a point, with its standard deviation.
    rng : numpy.random.Generator
    samples : int
    chance : float
    machine : KnownMachine, optional

    Returns
    -------
    Ledger
    """
    expected = expect(constants, readings, snapshot.state, rng, samples, machine)
    known = Known(constants, readings, snapshot.state, proven=machine is not None)
    drafted = [(transfer, _told(known, expected, drafts)) for transfer, drafts in transfers(known)]
    compared = [of_check(check) for check in checks(known)]
    for transfer, drafts in drafted:
        possible = [draft for draft in drafts if not draft.impossible]
        compared += of_line(transfer, possible, expected.columns, known.healthy)
    booked = [
        part
        for _, drafts in drafted
        for draft in drafts
        for part in (draft.heat, draft.moisture)
        if part is not None
    ]
    wanted = _Wanted()
    wanted.add(*booked)
    for comparison in compared:
        wanted.add(*comparison.quantities)
    result = wanted.work_out(readings, expected)
    looked_at = count(compared, result.amount)
    threshold = threshold_for(looked_at, chance)
    apart = mismatches(compared, result.amount, result.assumed, min(threshold, SLIGHT))
    lines = tuple(_line(transfer, drafts, result, expected) for transfer, drafts in drafted)
    return Ledger(
        unit=constants.unit.name,
        state=snapshot.state,
        machine_epoch=snapshot.machine_epoch,
        visit=snapshot.visit,
        first=snapshot.first,
        last=snapshot.last,
        readings=len(snapshot.readings),
        lines=lines,
        mismatches=tuple(item for item in apart if item.deviations >= threshold),
        slight=tuple(item for item in apart if item.deviations < threshold),
        inputs=_inputs(booked, result, readings, expected),
        comparisons=looked_at,
        threshold=threshold,
    )


class _Wanted:
    """Quantities to be worked out together, each once."""

    def __init__(self) -> None:
        self.quantities: list[Quantity] = []
        self.known: set[int] = set()

    def add(self, *wanted: Quantity | None) -> None:
        for quantity in wanted:
            if quantity is not None and id(quantity) not in self.known:
                self.known.add(id(quantity))
                self.quantities.append(quantity)

    def work_out(self, readings: Seen, expected: Expected) -> _Result:
        names, worked = _propagated(self.quantities, readings, expected)
        return _Result(self.quantities, names, worked)


class _Result:
    """Amounts of quantities that were worked out together, and what they rest on."""

    def __init__(self, quantities: Sequence[Quantity], names: list[str], worked: Propagated) -> None:
        self.place = {id(quantity): k for k, quantity in enumerate(quantities)}
        self.row = {name: i for i, name in enumerate(names)}
        self.worked, self.sigma = worked, worked.sigma

    def amount(self, quantity: Quantity) -> Amount:
        k = self.place[id(quantity)]
        return Amount(float(self.worked.value[k]), float(self.sigma[k]), quantity.dimension)

    def assumed(self, quantity: Quantity) -> tuple[Assumed, ...]:
        """What was assumed and matters: the rest moves the result by less than a tenth of its uncertainty."""
        k = self.place[id(quantity)]
        least = NEGLIGIBLE * self.sigma[k]
        part = self.worked.part[:, k]
        return tuple(item for item in quantity.assumed if abs(part[self.row[item.column]]) > least)


def _propagated(
    quantities: Sequence[Quantity], readings: Seen, expected: Expected
) -> tuple[list[str], Propagated]:
    names = sorted(frozenset[str]().union(*(quantity.bases for quantity in quantities)))
    mean, covariance = joint(names, readings, expected)

    def function(rows: Array) -> Array:
        x = Inputs({name: rows[:, k] for k, name in enumerate(names)})
        made = [quantity.of(x) + np.zeros(rows.shape[0]) for quantity in quantities]
        return np.array(made).reshape(len(made), rows.shape[0]).T

    return names, propagate(function, mean, covariance)


def joint(names: Sequence[str], readings: Seen, expected: Expected) -> tuple[Array, Array]:
    """Means and covariance of readings and expectations.

    Parameters
    ----------
    names : sequence of str
        Points, and columns of the expectation under ``model``.
    readings : Seen
    expected : Expected

    Returns
    -------
    tuple of array
        (names,) and (names, names). A reading has its own standard deviation; it goes together with the
        expectations of a machine under the conditions that it was taken for.
    """
    mean = np.empty(len(names))
    covariance = np.zeros((len(names), len(names)))
    sampled: list[int] = []
    columns: list[Array] = []
    for k, name in enumerate(names):
        if name.startswith(MODEL):
            column = expected.columns[name.removeprefix(MODEL)]
            mean[k] = np.median(column)
        else:
            mean[k] = readings[name].value
            covariance[k, k] = readings[name].sigma ** 2
            if name not in expected.points:
                continue
            column = expected.points[name]
        sampled.append(k)
        columns.append(column)
    if sampled:
        off = np.array(columns)
        off -= off.mean(axis=1, keepdims=True)
        together = np.einsum("ik,jk->ij", off, off) / (off.shape[1] - 1.0)
        covariance[np.ix_(sampled, sampled)] = together
    return mean, covariance


def _told(known: Known, expected: Expected, drafts: list[Draft]) -> list[Draft]:
    """Drafts, with those whose two airs are too alike turned into a word about it."""
    told: list[Draft] = []
    for draft in drafts:
        if draft.apart is not None:
            _, worked = _propagated([draft.apart], known.seen, expected)
            if abs(worked.value[0]) < TELLING * worked.sigma[0]:
                draft = Draft(draft.name, impossible=draft.alike)
        told.append(draft)
    return told


def _line(transfer: Transfer, drafts: list[Draft], result: _Result, expected: Expected) -> Line:
    return Line(
        transfer.key,
        transfer.title,
        transfer.meaning,
        tuple(_route(draft, result) for draft in drafts),
        _band(expected, f"{transfer.key} heat", "power"),
        _band(expected, f"{transfer.key} moisture", "mass_flow"),
    )


def _route(draft: Draft, result: _Result) -> Route:
    if draft.impossible:
        return Route(draft.name, impossible=draft.impossible)
    parts = [part for part in (draft.heat, draft.moisture) if part is not None]
    assumed = tuple(dict.fromkeys(item.name for part in parts for item in result.assumed(part)))
    # one part given, the other is that part in another unit: what the bucket held, and its heat
    given = any(part.mark == "given" for part in parts)
    return Route(
        draft.name,
        result.amount(draft.heat) if draft.heat is not None else None,
        result.amount(draft.moisture) if draft.moisture is not None else None,
        "assumed" if assumed else "given" if given else "computed",
        assumed,
        draft.weak,
    )


def _band(expected: Expected, column: str, dimension: str) -> Band | None:
    if column not in expected.columns:
        return None
    low, median, high = np.percentile(expected.columns[column], [16.0, 50.0, 84.0])
    return Band(float(median), float(low), float(high), dimension)


def _inputs(
    quantities: Sequence[Quantity], result: _Result, readings: Seen, expected: Expected
) -> tuple[Input, ...]:
    """What the routes rest on: readings as given, and what was assumed in their place."""
    points = {base for quantity in quantities for base in quantity.bases if not base.startswith(MODEL)}
    given = []
    for point in (point for point in readings if point in points):
        read = readings[point]
        given.append(Input(point, Amount(read.value, read.sigma, ""), "given", read.by, written=read.text))
    assumed = []
    taken: dict[str, list[Assumed]] = {}
    for quantity in quantities:
        for item in result.assumed(quantity):
            taken.setdefault(item.column, []).append(item)
    for column, items in taken.items():
        samples = items[0].shown * expected.columns[column.removeprefix(MODEL)]
        amount = Amount(float(np.median(samples)), float(np.std(samples)), items[0].dimension)
        instead = tuple(dict.fromkeys(point for item in items for point in item.points))
        assumed.append(Input(items[0].name, amount, "assumed", items[0].source, instead))
    return (*given, *assumed)
