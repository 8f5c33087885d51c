"""How a live recording is told: one block of words for a terminal, one JSON document a line for machines."""

from __future__ import annotations

import math
import time
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from wringout.cli.layout import counted, heading, item, paragraph, width

if TYPE_CHECKING:
    from wringout.capture.polling import Rates
    from wringout.capture.recorder import Progress
    from wringout.capture.recording import Recording
    from wringout.capture.sources import Device
    from wringout.quantity import UnitSystem
    from wringout.trends.guessing import Guess

__all__ = [
    "LISTEN_FORMAT",
    "clock_words",
    "device_lines",
    "found_lines",
    "point_lines",
    "row_document",
]

LISTEN_FORMAT = "wringout-listen-row/1"
SURE_ENOUGH = 0.5


def clock_words(at: float) -> str:
    """A moment of the recording's clock in words, to the second."""
    from datetime import UTC, datetime

    return datetime.fromtimestamp(at, UTC).strftime("%Y-%m-%d %H:%M:%S")


def found_lines(devices: Sequence[Device], guesses: tuple[Guess, ...] | None, mapping: str) -> list[str]:
    """What devices have, and what each column is taken for."""
    lines = []
    by_column = {guess.column: guess for guess in guesses or ()}
    for device in devices:
        lines += ["", heading(f"{device.name}, {device.address}: {counted(len(device.columns), 'column')}")]
        if guesses is None:
            lines.append(paragraph(", ".join(device.columns), 2))
            continue
        for column in device.columns:
            guess = by_column.get(column)
            if guess is None:
                lines.append(item("?", f"{column}: not recognised, recorded all the same", 2))
            elif guess.confidence < SURE_ENOUGH:
                text = f"{column}: perhaps {guess.point}, {guess.confidence:.0%} sure; not used"
                lines.append(item("?", text, 2))
            else:
                text = f"{column}: {guess.point} in {guess.unit}, {guess.confidence:.0%} sure"
                lines.append(item("-", text, 2))
    told = f"Columns as {mapping} says." if guesses is None else f"Written to {mapping}: read it through and"
    lines += ["", paragraph(told if guesses is None else f"{told} correct it; what stands there counts.")]
    return lines


def point_lines(recording: Recording, cells: Mapping[str, float], system: UnitSystem) -> list[str]:
    """The points as they are now, two in a row where there is room."""
    from wringout.catalogue.trend_points import measure_of
    from wringout.quantity import format, to_si

    texts = []
    for point, (column, unit) in recording.mapping.items():
        number = cells.get(column, math.nan)
        dimension = measure_of(point).dimension
        shown = "-"
        if math.isfinite(number):
            shown = format(float(to_si(number, unit, dimension)), dimension, system)
            if unit == "yes/no":
                shown = "yes" if number > 0.5 else "no"
        texts.append((point, shown))
    room = width() - 2
    half = room // 2 - 1
    name, rest = 25, half - 25
    cells_text = [f"{point:<{name}.{name}}{shown:>{rest}.{rest}}" for point, shown in texts]
    if room < 60:
        return [f"  {text}"[: width()] for text in cells_text]
    rows = (len(cells_text) + 1) // 2
    left, right = cells_text[:rows], cells_text[rows:]
    right += [""] * (rows - len(right))
    return [f"  {a}  {b}".rstrip() for a, b in zip(left, right, strict=True)]


def device_lines(devices: Sequence[Device], progress: Progress) -> list[str]:
    """How each device does: values a second, age of the last one, lost polls."""
    now = time.monotonic()
    lines = []
    for device, rate in zip(devices, progress.rates, strict=True):
        text = f"{_per_second(rate, now)}, last {_age(rate, now)}, lost {rate.lost} of {rate.polls}"
        lines.append(item("-", f"{device.name}: {text}", 2))
        if rate.why:
            lines.append(paragraph(f"{rate.why}; asked again in {max(rate.again - now, 0.0):.0f} s", 6))
    return lines


def _per_second(rate: Rates, now: float) -> str:
    """Values a second in words; two rounds are needed to tell."""
    speed = rate.per_second(now)
    return f"{speed:.1f} values/s" if len(rate.recent) > 1 else "no rate yet"


def _age(rate: Rates, now: float) -> str:
    age = rate.age(now)
    return "never" if age is None else f"{age:.0f} s ago"


def row_document(
    recording: Recording, devices: Sequence[Device], progress: Progress, cells: Mapping[str, float]
) -> dict[str, Any]:
    """One round as a JSON document: points in the units of the file, and how each device does."""
    now = time.monotonic()
    values = {
        point: {"value": cells[column], "unit": unit}
        for point, (column, unit) in recording.mapping.items()
        if math.isfinite(cells.get(column, math.nan))
    }
    told = []
    for device, rate in zip(devices, progress.rates, strict=True):
        age = rate.age(now)
        told.append(
            {
                "name": device.name,
                "address": device.address,
                "values_per_second": round(rate.per_second(now), 3),
                "age": None if age is None else {"value": round(age, 2), "unit": "s"},
                "polls": rate.polls,
                "lost": rate.lost,
                "why": rate.why,
            }
        )
    return {
        "format": LISTEN_FORMAT,
        "at": clock_words(progress.at).replace(" ", "T"),
        "rows": progress.rows,
        "late": progress.late,
        "values": values,
        "devices": told,
    }
