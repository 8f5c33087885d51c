"""One step of the machine, written once for a single machine and for many at a time.

A single machine steps in plain floats, which Python adds thirty times faster than arrays of one entry;
many machines step in arrays. What differs between the two stands here: choosing, exponentials, look-ups.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from wringout.errors import NotConverged

__all__ = ["Columns", "Curve", "Many", "Number", "Numbers", "One"]

Number = Any
"""A float of one machine, or an array (samples,) of many."""

Array = NDArray[np.float64]


class Numbers(Protocol):
    """What a step may do with numbers beside adding and multiplying them."""

    many: bool

    def exp(self, x: Number) -> Number: ...
    def log(self, x: Number) -> Number: ...
    def least(self, a: Number, b: Number) -> Number: ...
    def most(self, a: Number, b: Number) -> Number: ...
    def pick(self, condition: Any, a: Number, b: Number) -> Number: ...
    def share(self, x: Number) -> Number: ...


class One:
    """Plain floats."""

    many = False
    exp = staticmethod(math.exp)
    log = staticmethod(math.log)

    @staticmethod
    def least(a: float, b: float) -> float:
        """The smaller one."""
        return a if a < b else b

    @staticmethod
    def most(a: float, b: float) -> float:
        """The larger one."""
        return a if a > b else b

    @staticmethod
    def pick(condition: bool, a: float, b: float) -> float:
        """The first where the condition holds."""
        return a if condition else b

    @staticmethod
    def share(x: float) -> float:
        """Held between 0 and 1."""
        return 0.0 if x < 0.0 else 1.0 if x > 1.0 else x


class Many:
    """Arrays of one entry a sample."""

    many = True
    exp = staticmethod(np.exp)
    log = staticmethod(np.log)
    least = staticmethod(np.minimum)
    most = staticmethod(np.maximum)
    pick = staticmethod(np.where)

    @staticmethod
    def share(x: Array) -> Array:
        """Held between 0 and 1."""
        return np.minimum(np.maximum(x, 0.0), 1.0)


class Curve:
    """A function of one variable, the same for every sample, looked up between evenly spaced knots.

    Parameters
    ----------
    name : str
        What the variable is, for messages.
    low, high : float
        Ends of the knots.
    values : array, (knots,)
        The function there.
    many : bool
        Whether arrays are looked up.
    """

    def __init__(self, name: str, low: float, high: float, values: Array, many: bool) -> None:
        self.name, self.low, self.high = name, low, high
        self.count = len(values) - 1
        self.per = self.count / (high - low)
        self.step = (high - low) / self.count
        self.values: Any = values if many else values.tolist()
        rise = np.diff(values)
        self.rise: Any = rise if many else rise.tolist()
        self.at = self.of_many if many else self.of_one
        self.with_slope = self.slope_of_many if many else self.slope_of_one

    def of_one(self, x: float) -> float:
        """The function at one place."""
        place = (x - self.low) * self.per
        if not 0.0 <= place < self.count:
            raise self.left(x)
        i = int(place)
        value: float = self.values[i] + (place - i) * self.rise[i]
        return value

    def slope_of_one(self, x: float) -> tuple[float, float]:
        """The function and its slope at one place."""
        place = (x - self.low) * self.per
        if not 0.0 <= place < self.count:
            raise self.left(x)
        i = int(place)
        rise = self.rise[i]
        return self.values[i] + (place - i) * rise, rise * self.per

    def _place(self, x: Array) -> tuple[NDArray[np.intp], Array]:
        place = (x - self.low) * self.per
        i = place.astype(np.intp)
        # as unsigned numbers those under the lowest knot lie over the highest
        if i.view(np.uintp).max() >= self.count:
            raise self.left(float(x[np.argmax(np.abs(place - 0.5 * self.count))]))
        return i, place - i

    def of_many(self, x: Array) -> Array:
        """The function at every sample's place."""
        i, part = self._place(x)
        return np.asarray(self.values[i] + part * self.rise[i])

    def slope_of_many(self, x: Array) -> tuple[Array, Array]:
        """The function and its slope at every sample's place."""
        i, part = self._place(x)
        rise = self.rise[i]
        return self.values[i] + part * rise, rise * self.per

    def left(self, x: float) -> NotConverged:
        """What to raise where the machine has left every range."""
        return NotConverged(
            f"{self.name} has run to {x:.4g}, outside {self.low:g} to {self.high:g}: "
            "take a shorter step, or look at the weather and loads that were given",
            {self.name: x},
        )


@dataclass(frozen=True)
class Columns:
    """Several functions of a share 0..1, each sample with its own, looked up together.

    ``values`` (knots, samples, functions), or a list of tuples for one sample. The knots crowd at both ends,
    where valves shut: they are even in the arc sine of the share's root.
    """

    values: Any
    count: int
    samples: NDArray[np.intp]

    @staticmethod
    def knots(count: int) -> Array:
        """Shares at which the functions have to be given."""
        places = np.sin(0.5 * np.pi * np.linspace(0.0, 1.0, count)) ** 2
        places[-1] = 1.0
        return places

    @classmethod
    def of(cls, functions: list[Array], many: bool) -> Columns:
        """Lay functions (knots, samples) beside each other."""
        stacked = np.stack(functions, axis=-1)
        values = stacked if many else [tuple(row) for row in stacked[:, 0, :].tolist()]
        return cls(values, len(stacked) - 1, np.arange(stacked.shape[1]))

    def one(self, x: float) -> tuple[float, ...]:
        """Every function at one place."""
        place = math.asin(math.sqrt(x)) * (2.0 / math.pi) * self.count
        i = int(place)
        if i >= self.count:
            return tuple(self.values[self.count])
        low, high = self.values[i], self.values[i + 1]
        part = place - i
        return tuple(a + part * (b - a) for a, b in zip(low, high, strict=True))

    def many(self, x: Array) -> Any:
        """Every function at every sample's place: an array (functions, samples)."""
        place = np.arcsin(np.sqrt(x)) * (2.0 / np.pi) * self.count
        i = np.minimum(place.astype(np.intp), self.count - 1)
        low = self.values[i, self.samples]
        return (low + (place - i)[:, None] * (self.values[i + 1, self.samples] - low)).T
