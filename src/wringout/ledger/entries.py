"""What a ledger holds: lines with routes and expectation, what does not add up, and what it all rests on."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

__all__ = ["Amount", "Band", "Figure", "Input", "Ledger", "Line", "Mark", "Mismatch", "Route"]

Mark = Literal["given", "computed", "assumed"]
"""``given``: read at the unit. ``computed``: worked out from what was read. ``assumed``: rests, in part at
least, on the unit document or on what a healthy machine would show."""


@dataclass(frozen=True, slots=True)
class Amount:
    """A value and one standard deviation [SI]; ``dimension`` is a name of `quantity.Dimension`."""

    value: float
    sigma: float
    dimension: str


@dataclass(frozen=True, slots=True)
class Band:
    """What the healthy machine is expected to move: median and the 16..84 % band [SI]."""

    median: float
    low: float
    high: float
    dimension: str


@dataclass(frozen=True, slots=True)
class Input:
    """A quantity that routes of this ledger rest on; ``source`` says in words where it comes from, and
    ``points`` which readings would put a reading in place of an assumption; ``written`` is a reading as it
    stands in the call (the dimension of its amount is its point's)."""

    name: str
    amount: Amount
    mark: Mark
    source: str
    points: tuple[str, ...] = ()
    written: str = ""


@dataclass(frozen=True, slots=True)
class Route:
    """One way to work out a transfer.

    ``heat`` [W] and ``moisture`` [kg/s] with one standard deviation; ``assumed`` names the inputs that were
    not read; ``impossible`` says why the route cannot be had from these readings (then there is no amount).
    """

    name: str
    heat: Amount | None = None
    moisture: Amount | None = None
    mark: Mark = "given"
    assumed: tuple[str, ...] = ()
    weak: str = ""
    impossible: str = ""


@dataclass(frozen=True, slots=True)
class Line:
    """One transfer: ``meaning`` says what a positive amount is."""

    transfer: str
    title: str
    meaning: str
    routes: tuple[Route, ...]
    expected_heat: Band | None = None
    expected_moisture: Band | None = None

    @property
    def possible(self) -> tuple[Route, ...]:
        """The routes that the readings allow."""
        return tuple(route for route in self.routes if not route.impossible)


@dataclass(frozen=True, slots=True)
class Figure:
    """An amount with its name, as it stands in a sentence."""

    name: str
    amount: Amount


@dataclass(frozen=True, slots=True)
class Mismatch:
    """Something that does not add up.

    ``kind``: ``routes`` (two routes of one transfer), ``model`` (a route against the healthy machine),
    ``physics`` (readings that cannot both be so), ``readings`` (two readings of one thing). ``difference``
    with its own standard deviation, shared readings allowed for; ``deviations`` is their ratio.
    ``at_hand`` is what the healthy part would move with the air that was found to reach it, where that was
    read, and ``at_hand_deviations`` how far the route is from that.
    """

    kind: Literal["routes", "model", "physics", "readings"]
    subject: str
    figures: tuple[Figure, ...]
    difference: Amount
    deviations: float
    meaning: str
    assumed: tuple[str, ...] = ()
    points: tuple[str, ...] = ()
    at_hand: Figure | None = None
    at_hand_deviations: float = 0.0


@dataclass(frozen=True, slots=True)
class Ledger:
    """Heat and moisture of one operating state of one machine on one visit.

    ``comparisons`` is how many differences were looked at, ``threshold`` the standard deviations from which
    one is named; ``slight`` ones are over two, which chance explains as well.
    """

    unit: str
    state: str
    machine_epoch: int
    visit: int
    first: datetime
    last: datetime
    readings: int
    lines: tuple[Line, ...]
    mismatches: tuple[Mismatch, ...]
    slight: tuple[Mismatch, ...]
    inputs: tuple[Input, ...]
    comparisons: int
    threshold: float
