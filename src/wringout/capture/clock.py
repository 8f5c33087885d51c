"""The clock of the place, or in a simulation one that runs faster."""

from __future__ import annotations

import asyncio
import time
from dataclasses import dataclass

from wringout.capture.recording import usual_offset

__all__ = ["Clock"]


@dataclass(frozen=True)
class Clock:
    """Seconds since 1970 of the clock of a place.

    Attributes
    ----------
    offset : float, [s]
        How far it is ahead of UTC.
    speed : float, [-]
        Its seconds to the second that goes by; 1 but in a simulation.
    begun : float, [s]
        The moment, as `time.time` gives it, at which a faster one showed the right time.
    ahead : float, [s]
        How far it was set ahead then: a simulation goes on after what is recorded already.
    """

    offset: float
    speed: float = 1.0
    begun: float = 0.0
    ahead: float = 0.0

    @classmethod
    def usual(cls) -> Clock:
        """The clock of this machine."""
        return cls(usual_offset())

    @classmethod
    def faster(cls, speed: float, after: float | None = None) -> Clock:
        """A clock that begins now, or right after a time [s], and runs so many times as fast."""
        offset, moment = usual_offset(), time.time()
        ahead = 0.0 if after is None else max(after + 1.0 - offset - moment, 0.0)
        return cls(offset, speed, moment, ahead)

    def now(self) -> float:
        """What it shows [s]."""
        moment = time.time()
        return (
            self.offset
            + self.ahead
            + moment
            + (self.speed - 1.0) * (moment - self.begun if self.begun else 0.0)
        )

    async def until(self, at: float) -> None:
        """Wait until it shows a time [s]."""
        while (left := at - self.now()) > 0.0:
            await asyncio.sleep(min(left / self.speed, 1.0))
