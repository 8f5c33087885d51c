"""How far what is expected of a machine holds on a later healthy visit, and how wide it is: bands, ledger and
chart against what was read there and against the machine itself, wait against machines run in time."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import timedelta
from functools import cache

import numpy as np

from history_tools import LookedOver, looked_over
from units import UNITS, under_control, weather
from weighing_tools import FIRST_DAY, reading, unit_of
from wringout.catalogue.points import dimension_of, point, points_of, sigma
from wringout.documents.call import Call, Force
from wringout.history.drift import share as of_the_day
from wringout.ledger.book import ledgers
from wringout.ledger.expectation import booked, filled
from wringout.machine.design import design
from wringout.machine.known import KnownMachine
from wringout.machine.motion import run
from wringout.machine.motion_storage import storage_spreads
from wringout.machine.parameters import Array, healthy_values, neutral, spreads
from wringout.machine.steady import Settled, read_points, settle
from wringout.proof.settling import END, FINE, HORIZON, waiting
from wringout.proof.visit import last_visit
from wringout.quantity import Dimension
from wringout.showing.chart_states import chart_states
from wringout.showing.expected import bands, scene
from wringout.weighing.discrepancy import model_spread

__all__ = ["LOOKS", "Held", "Tally", "briefly", "held_wait", "proven", "tallied", "within"]

ONE, TWO = (0.1587, 0.8413), (0.0228, 0.9772)  # ends of one and of two standard deviations of a normal one
# conditions are taken from these, so that their own bands would hold by themselves
CONDITIONS = ("outdoor.", "space.", "return.", "shown.", "reheat.stem", "reheat.signal")


@dataclass(frozen=True)
class Later:
    """A healthy visit of which everything is known: its call, and the machine as it truly settled."""

    call: Call
    truth: Settled


@dataclass(frozen=True)
class Held:
    """One thing that was expected: its ``width`` [SI], and whether it came within its band of one standard
    deviation (of nine in ten, for a wait), and within that of two."""

    name: str
    width: float
    one: bool
    two: bool = True


def later_visit(before: LookedOver, rng: np.random.Generator) -> Later:
    """Read everything once more on the machine of the last day, in other weather, nothing wrong with it.

    Readings have the error of a careful instrument and that of the equations.
    """
    d = design(before.unit)
    values = neutral(d) | healthy_values(spreads(d), before.machines[-1:])
    s = settle(d, values, under_control(d, weather(d, 1, rng), values, rng))
    events = []
    for name, shown in read_points(s).items():
        if name not in points_of(before.unit):
            continue
        value = float(np.ravel(shown)[0])
        if dimension_of(name) not in (Dimension.YES_NO, Dimension.COUNT):
            model = float(np.ravel(model_spread(name, np.full(1, value), s, None))[0])
            own = 0.0 if name.startswith(CONDITIONS) else model
            entry = point(name)
            value += np.hypot(sigma(name, value), own) * rng.standard_normal()
            value = float(np.clip(value, entry.low, entry.high))
        events.append(reading(name, value, FIRST_DAY))
    return Later(Call(unit=before.unit, complaint="looked in once more", events=tuple(events)), s)


def held_bands(one: Later, known: KnownMachine | None) -> Iterator[Held]:
    """The bands beside the readings, and whether each reading is in its own."""
    at = scene(one.call, np.random.default_rng(0), known=known)
    inner, outer = (bands(at, np.random.default_rng(0), ends) for ends in (ONE, TWO))
    for name, read in at.seen.items():
        if name.startswith(CONDITIONS) or name not in inner:
            continue
        a, b = inner[name], outer[name]
        yield Held(name, a.high - a.low, a.low <= read.value <= a.high, b.low <= read.value <= b.high)


def held_ledger(one: Later, known: KnownMachine | None) -> Iterator[Held]:
    """What each line should move, against what the machine moves."""
    (book,) = ledgers(one.call, sigma, np.random.default_rng(0), machine=known)
    truth = booked(one.truth)
    for line in book.lines:
        for part, band in (("heat", line.expected_heat), ("moisture", line.expected_moisture)):
            name = f"{line.transfer} {part}"
            if band is None or name not in truth:
                continue
            value = float(np.ravel(truth[name])[0])
            # a band is told by its middle 68 %; twice as far on each side stands for two standard deviations
            under, over = band.median - band.low, band.high - band.median
            yield Held(
                name,
                band.high - band.low,
                band.low <= value <= band.high,
                band.median - 2.0 * under <= value <= band.median + 2.0 * over,
            )


def held_chart(one: Later, known: KnownMachine | None) -> Iterator[Held]:
    """Where the air should be behind mixing box, coil and fan, against where it is."""
    (chart,) = chart_states(one.call, np.random.default_rng(0), known)
    s = one.truth
    truth = {
        "mixed": (s.mixed.dry_bulb, s.mixed.humidity_ratio),
        "coil_leaving": (s.cooling.air.dry_bulb, s.supply_w),
        "supply": (s.supply_t, s.supply_w),
    }
    for place, state in truth.items():
        expected = chart["expected"][place]
        for axis, true in zip("tw", state, strict=True):
            spread = float(np.sqrt(expected[2 * axis]))
            off = abs(float(np.ravel(true)[0]) - expected[axis]) / spread
            yield Held(f"{place} {axis}", 2.0 * spread, off <= 1.0, off <= 2.0)


def held_wait(
    before: LookedOver, machines: Sequence[KnownMachine | None], samples: int = 24
) -> list[list[Held]]:
    """What is to be read after the reheat was held open, and whether nine in ten readings are in its band.

    The machine itself is run through the same visit, each time as it may be on another day, in the weather
    and among the loads that the wait reckons with.
    """
    rng = np.random.default_rng(1)
    call = later_visit(before, rng).call
    at = call.events[-1].at + timedelta(minutes=5)
    call = call.model_copy(update={"events": (*call.events, Force(at=at, item="reheat.command", to=1.0))})
    names = [name for name in points_of(before.unit) if not name.startswith((*CONDITIONS, "shown."))]
    names = [n for n in names if dimension_of(n) not in (Dimension.YES_NO, Dimension.COUNT)]

    def spread(name: str, predicted: Array, s: Settled) -> Array:
        return np.asarray(model_spread(name, predicted, s, None))

    visit = last_visit(call, samples, rng)
    rows = (*spreads(visit.design), *storage_spreads())
    day = of_the_day([row.name for row in rows])
    own = np.zeros(len(rows))
    own[: before.machines.shape[1]] = before.own
    z = own + np.sqrt(day) * rng.standard_normal((samples, len(rows)))
    trace = run(
        visit.design,
        visit.values | healthy_values(rows, z),
        visit.weather,
        visit.loads,
        visit.schedule,
        duration=visit.since + HORIZON,
        step=10.0,
        record=60.0,
        slower=(10.0 * np.ceil((visit.since + FINE) / 10.0), 60.0),
    )
    series = trace.points(names, slice(int(np.searchsorted(trace.time, trace.time[-1] - END)), None))
    end = trace.machine(trace.segments[-1], np.array([len(trace.time) - 1]))
    read = {}
    for name in names:
        settled_at = series[name].mean(axis=1)
        error = np.hypot(spread(name, settled_at[None, :], end), sigma(name, float(np.median(settled_at))))
        read[name] = settled_at + np.ravel(error) * rng.standard_normal(samples)
    found = [
        waiting(call, names, sigma, spread, np.random.default_rng(0), samples=samples, known=known)
        for known in machines
    ]
    return [
        [
            Held(row.point, row.high - row.low, bool(row.low <= value <= row.high))
            for row in one.points
            for value in read[row.point]
        ]
        for one in found
    ]


def share(held: Sequence[Sequence[bool]]) -> tuple[float, float]:
    """Share of what held, with its standard error: what is of one machine goes together."""
    of_each = np.array([np.sum(one) for one in held], dtype=float)
    many = np.array([len(one) for one in held], dtype=float)
    mean = of_each.sum() / many.sum()
    apart = np.square(of_each - mean * many).sum() * len(held) / (len(held) - 1)
    return float(mean), float(np.sqrt(apart) / many.sum())


EACH, LATER = 4, 3  # machines of a kind, and later visits to each
HeldBy = Callable[[Later, KnownMachine | None], Iterator[Held]]
LOOKS: dict[str, HeldBy] = {"bands": held_bands, "ledger": held_ledger, "chart": held_chart}


@dataclass
class Tally:
    """By machine, what was expected of any of its kind, of itself, and of itself by one who is too sure."""

    kind: list[list[Held]] = field(default_factory=list)
    itself: list[list[Held]] = field(default_factory=list)
    too_sure: list[list[Held]] = field(default_factory=list)

    def narrower(self) -> dict[str, float]:
        """Width against that for any machine of the kind, by name: the mean ratio."""
        found = defaultdict(list)
        for wide, narrow in zip(self.kind, self.itself, strict=True):
            for one, other in zip(wide, narrow, strict=True):
                if one.width > 0.0:
                    found[one.name].append(np.log(other.width / one.width))
        return {name: float(np.exp(np.mean(ratios))) for name, ratios in found.items()}


def proven(
    kind: str, number: int, visits: int = 1, brief: bool = False
) -> tuple[LookedOver, np.random.Generator]:
    """A machine that was looked over on some visits, and the chance of what comes after. Of a ``brief``
    document rules have filled in what they can, and the machine strays from that as they say."""
    rng = np.random.default_rng([list(UNITS).index(kind), number])
    unit = unit_of(briefly(UNITS[kind]) if brief else UNITS[kind])
    d = design(unit)
    usual = {row.name: row.sigma for row in spreads(d)}
    wider = {name: doubt / usual[name] for name, doubt in filled(d).items()}
    return looked_over(unit, rng, visits, wider=wider), rng


def briefly(text: str) -> str:
    """A unit document without what a rule can fill in of outdoor air, fan, loop and room."""
    for told in (
        r", heat_rise: [^,}]*",
        r"  outdoor_airflow: .*\n",
        r".*pump_head.*\n",
        r".*strainer_drop.*\n",
        r"  moisture: .*\n",
        r".*infiltration.*\n",
    ):
        text = re.sub(told, "", text, count=1)
    return text


@cache
def tallied(each: int = EACH, visits: int = 1, brief: bool = False) -> dict[str, Tally]:
    """Everything that is expected on some later visits to some machines of each kind, after so many proven
    ones."""
    made = {look: Tally() for look in LOOKS}
    for kind in UNITS:
        for number in range(each):
            before, rng = proven(kind, number, visits, brief)
            known = before.known(FIRST_DAY)
            if known is None:  # a healthy visit that did not prove itself teaches nothing
                continue
            sure = replace(known, covariance=0.05 * known.covariance)
            later = [later_visit(before, rng) for _ in range(LATER)]
            for look, held in LOOKS.items():
                made[look].kind.append([h for one in later for h in held(one, None)])
                made[look].itself.append([h for one in later for h in held(one, known)])
            made["bands"].too_sure.append([h for one in later for h in held_bands(one, sure)])
    return made


def within(made: list[list[Held]], names: Collection[str] = ()) -> tuple[float, float, float, float]:
    """Share within one standard deviation with its standard error, and the same of two."""
    chosen = [[h for h in held if not names or h.name in names] for held in made]
    return (
        *share([[h.one for h in held] for held in chosen]),
        *share([[h.two for h in held] for held in chosen]),
    )
