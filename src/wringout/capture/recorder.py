"""Record at even steps until told to stop, whatever devices do meanwhile."""

from __future__ import annotations

import asyncio
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from wringout.capture.clock import Clock
from wringout.capture.polling import Poller, Rates, poll_all
from wringout.capture.recording import Recording, append_cells

__all__ = ["FASTEST", "SLOWEST", "Progress", "record"]

FASTEST, SLOWEST = 1.0, 60.0  # s between rows


@dataclass
class Progress:
    """How a recording has gone: time of the last row, rows, rounds that came too late, rates by device."""

    at: float = 0.0
    rows: int = 0
    late: int = 0
    rates: list[Rates] = field(default_factory=list)


async def record(
    recording: Recording,
    pollers: Sequence[Poller],
    clock: Clock,
    every: float,
    stop: asyncio.Event,
    tell: Callable[[Progress, Mapping[str, float]], None] | None = None,
    until: float = math.inf,
    patience: float | None = None,
) -> Progress:
    """Record.

    A round in which no device has a value leaves no row; a device that does not answer leaves its cells
    empty.

    Parameters
    ----------
    recording : Recording
    pollers : sequence of Poller
    clock : Clock
        Whose seconds are counted.
    every : float, [s]
        From one row to the next.
    stop : asyncio.Event
        Set to end it.
    tell : callable, optional
        Called after each round, with what was read in it by column.
    until : float, optional, [s]
        When to end, by that clock.
    patience : float, optional, [s]
        How long to wait for a round of answers; most of a step if not given.

    Returns
    -------
    Progress

    Raises
    ------
    DataError
        When the disk does not take a row.
    """
    progress = Progress(rates=[Rates() for _ in pollers])
    step = max(every, clock.speed * 0.05)
    wait = min(max(0.8 * every / clock.speed, 0.5), 10.0) if patience is None else patience
    tick = math.floor(clock.now() / step) * step + step
    while not stop.is_set() and tick <= until:
        await _until(clock, tick, stop)
        if stop.is_set():
            break
        values = await poll_all(pollers, progress.rates, wait)
        if any(math.isfinite(value) for value in values.values()) and append_cells(recording, tick, values):
            progress.rows += 1
        progress.at = tick
        now = clock.now()
        missed = max(math.floor((now - tick) / step), 0)
        progress.late += missed
        tick += step * (missed + 1)
        if tell is not None:
            tell(progress, values)
    return progress


async def _until(clock: Clock, at: float, stop: asyncio.Event) -> None:
    """Wait for a time, or for the end."""
    waiting = asyncio.ensure_future(clock.until(at))
    ending = asyncio.ensure_future(stop.wait())
    try:
        await asyncio.wait({waiting, ending}, return_when=asyncio.FIRST_COMPLETED)
    finally:
        for task in (waiting, ending):
            task.cancel()
        await asyncio.gather(waiting, ending, return_exceptions=True)
