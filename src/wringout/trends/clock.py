"""Times as trend files write them, and a time axis that runs on whatever was done to the clock.

The axis counts seconds since 1970 of the file's own clock (no time zone is known or needed). Where the clock
was set back for winter the later times are kept on the earlier clock, where it was set on for summer
likewise: what matters to a machine is how much time went by.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from wringout.trends.table import HOUR, Array, Dirt

if TYPE_CHECKING:
    import polars as pl

__all__ = ["Clock", "axis_of", "parsed", "recognised", "told_in_words"]

_DATES = (
    "%Y-%m-%d", "%Y/%m/%d", "%Y.%m.%d", "%m/%d/%Y", "%d/%m/%Y", "%d.%m.%Y", "%m-%d-%Y", "%d-%m-%Y",
    "%d.%m.%y", "%m/%d/%y", "%d/%m/%y", "%m-%d-%y", "%d-%m-%y", "%d-%b-%Y", "%d-%b-%y", "%d %b %Y",
    "%d %b %y", "%d %B %Y", "%b %d %Y", "%b %d, %Y", "%B %d, %Y", "%Y%m%d",
)  # fmt: skip
_TIMES = (
    "%H:%M:%S%.f", "%H:%M", "%I:%M:%S%.f %p", "%I:%M %p", "%I:%M:%S%p", "%I:%M%p", "%H:%M:%S%.f%z", "%H:%M%z",
    "%H:%M:%S%.f %z", "%H%M",
)  # fmt: skip
_FORMATS = (
    *(f"{d}{gap}{t}" for d, gap, t in itertools.product(_DATES, (" ", "T", ", "), _TIMES)),
    "%Y%m%d:%H%M",
    "%Y%m%d%H%M%S",
    "%Y%m%d%H%M",
)

_WEEKDAY = r"^(?i:mon|tue|wed|thu|fri|sat|sun)[a-z]*\.?,?\s+"
_ZONE_WORD = r"\s+(?:[A-Z]{3,4}|UTC)$"
_MERIDIEM = r"(?i)\s*([ap])\.?m\.?$"


@dataclass(frozen=True, slots=True)
class Clock:
    """How a file writes its times: strptime's words, and what had to be taken off first."""

    words: str
    zoned: bool = False
    numeric: str | None = None  # seconds, milliseconds or days, where times are plain numbers

    @property
    def for_document(self) -> str:
        """The format as a mapping file takes it."""
        return self.words.replace("%.f", "").replace("%z", "").strip()


def told_in_words(at: float) -> str:
    """A moment of the axis in words."""
    moment = datetime.fromtimestamp(at, UTC)
    return moment.strftime("%Y-%m-%d %H:%M")


def recognised(sample: Sequence[str]) -> Clock | None:
    """The format that reads the sample's times; where day and month could change places, the one that makes
    time run most evenly, else (dates with points or after a semicolon aside) the day after the month."""
    words = [_tidy(word) for word in sample if word and word.strip()]
    if len(words) < 1:
        return None
    if (numeric := _numeric(words)) is not None:
        return numeric
    import polars as pl

    series = pl.Series(words)
    first = series.head(1)
    best: tuple[float, float, int] | None = None
    chosen: str | None = None
    for order, format_ in enumerate(_FORMATS):
        if not _could_be(words[0], format_) or _strptime(first, format_).null_count():
            continue
        moments = _strptime(series, format_)
        if moments.null_count() > 0.4 * len(words):
            continue
        seconds = _seconds(moments.drop_nulls())
        if not len(seconds) or seconds.min() < -1.6e9 or seconds.max() > 4.2e9:  # 1919 to 2103
            continue
        key = (moments.null_count() / len(words), _unevenness(seconds), order)
        if best is None or key < best:
            best, chosen = key, format_
    return Clock(chosen, zoned="%z" in chosen) if chosen is not None else None


def _tidy(word: str) -> str:
    text = re.sub(_WEEKDAY, "", " ".join(word.split()))
    text = re.sub(_MERIDIEM, lambda m: f" {m.group(1).upper()}M", text)
    if not text.endswith((" AM", " PM")):
        text = re.sub(_ZONE_WORD, "", text)
    return re.sub(r"(?<=\d)Z$", "+00:00", text)


def _could_be(word: str, format_: str) -> bool:
    """A cheap look before the parser is asked."""
    if ("T" in format_) != bool(re.match(r"[\d-]{8,10}T", word)):
        return False
    if ("%p" in format_) != word.endswith("M"):
        return False
    mark = next(c for c in format_[2:] if c != "%")
    return mark in word if mark in "-/." else True


def _unevenness(seconds: Array) -> float:
    """Share of steps that go back, plus how widely they vary; times read with day and month changed fare
    worse."""
    if len(seconds) < 2:
        return 0.0
    steps = np.diff(seconds)
    back = min(float((steps < 0).mean()), float((steps > 0).mean()))
    spread = float(np.log1p(np.abs(steps)).std())
    return round(back + 0.05 * spread, 4)


def _numeric(words: Sequence[str]) -> Clock | None:
    try:
        numbers = np.array([float(word) for word in words[:200]])
    except ValueError:
        return None
    low, high = float(numbers.min()), float(numbers.max())
    compact = all(re.fullmatch(r"(19|20)\d{6}|(19|20)\d{10}", word) for word in words[:20])
    if compact:
        return None
    for name, bounds in (
        ("seconds", (3e8, 4.2e9)),
        ("milliseconds", (3e11, 4.2e12)),
        ("days", (25000.0, 75000.0)),
    ):
        if bounds[0] < low and high < bounds[1] and (name != "days" or high - low < 20000):
            return Clock("%Y-%m-%d %H:%M:%S", numeric=name)
    return None


def _strptime(series: pl.Series, format_: str) -> pl.Series:
    import polars as pl

    if "%z" in format_:
        return series.str.strptime(pl.Datetime("us", "UTC"), format_, strict=False).dt.replace_time_zone(None)
    return series.str.strptime(pl.Datetime("us"), format_, strict=False)


def _seconds(moments: pl.Series) -> Array:
    import polars as pl

    micro = moments.dt.cast_time_unit("us").to_physical().cast(pl.Float64).to_numpy()
    return np.asarray(micro, dtype=float) / 1e6


def parsed(series: pl.Series, clock: Clock) -> Array:
    """Times of a whole column [s since 1970]; NaN where a cell holds none."""
    import polars as pl

    if series.dtype.is_temporal():
        moments = series.cast(pl.Datetime("us"))
        if getattr(series.dtype, "time_zone", None):
            moments = series.dt.convert_time_zone("UTC").dt.replace_time_zone(None).cast(pl.Datetime("us"))
        return _with_nan(moments)
    if clock.numeric is not None:
        numbers = series.cast(pl.Float64, strict=False).to_numpy().astype(float)
        if clock.numeric == "days":  # spreadsheets count days from 1899-12-30
            return np.round((numbers - 25569.0) * 86400.0)
        return numbers / (1000.0 if clock.numeric == "milliseconds" else 1.0)
    moments = _strptime(series, clock.words)
    if moments.null_count() > series.null_count():  # only where something is left: this is slow
        tidy = (
            series.str.strip_chars()
            .str.replace_all(r"\s+", " ")
            .str.replace(_WEEKDAY, "")
            .str.replace(_MERIDIEM, " ${1}M")
        )
        if "%p" in clock.words:
            tidy = tidy.str.to_uppercase()
        else:
            tidy = tidy.str.replace(_ZONE_WORD, "").str.replace(r"(\d)Z$", "${1}+00:00")
        moments = _strptime(tidy, clock.words)
        midnight = tidy.str.contains(r"\b24:00") & moments.is_null()
        if midnight.any():
            late = _strptime(tidy.str.replace(r"\b24:00", "00:00"), clock.words) + timedelta(days=1)
            moments = pl.select(pl.when(midnight).then(late).otherwise(moments)).to_series()
    return _with_nan(moments)


def _with_nan(moments: pl.Series) -> Array:
    import polars as pl

    micro = moments.to_physical().cast(pl.Float64).fill_null(float("nan")).to_numpy()
    return np.asarray(micro, dtype=float) / 1e6


def axis_of(seconds: Array) -> tuple[Array, NDArray[np.int64], list[Dirt]]:
    """Make time run on.

    Parameters
    ----------
    seconds : array, (rows,), [s]
        As read, without NaN, in the order of the file.

    Returns
    -------
    time : array, (kept,), [s]
        Increasing.
    kept : array of int, (kept,)
        Which rows of the file they are, in order of time; repeated times still in.
    dirt : list of Dirt
    """
    dirt: list[Dirt] = []
    order = np.arange(len(seconds))
    if len(seconds) < 2:
        return seconds.copy(), order, dirt
    if np.median(np.diff(seconds)) < 0:
        order, seconds = order[::-1], seconds[::-1]
        dirt.append(Dirt("reversed", "the newest row came first: rows were turned round"))
    step = _usual_step(seconds)
    offset = _clock_changes(seconds, step, dirt)
    time = seconds + offset
    if np.any(np.diff(time) < 0):
        jumps = int((np.diff(time) < 0).sum())
        sort = np.argsort(time, kind="stable")
        time, order = time[sort], order[sort]
        dirt.append(Dirt("out_of_order", f"rows out of order in {jumps} places: sorted by time", jumps))
    return time, order, dirt


def _usual_step(seconds: Array) -> float:
    steps = np.diff(seconds)
    forward = steps[steps > 0]
    return float(np.median(forward)) if len(forward) else 60.0


def _clock_changes(seconds: Array, step: float, dirt: list[Dirt]) -> Array:
    """Offset that undoes an hour set back (times repeat) and an hour set on (on a night when clocks are)."""
    offset = np.zeros(len(seconds))
    if step > HOUR / 2:
        return offset
    steps = np.diff(seconds)
    slack = max(2.5 * step, 90.0)
    for k in np.flatnonzero(np.abs(steps - step) > 0.5 * HOUR):
        at = told_in_words(seconds[k])
        back = abs(steps[k] + HOUR - step) <= slack
        on = abs(steps[k] - HOUR - step) <= min(slack, 0.5 * step + 1.0) and _spring_night(seconds[k], step)
        if back and _repeats_an_hour(seconds, int(k)):
            offset[k + 1 :] += HOUR
            dirt.append(
                Dirt(
                    "clock_change", f"the clock was set back an hour at {at}; time runs on", 1, at=seconds[k]
                )
            )
        elif on:
            offset[k + 1 :] -= HOUR
            dirt.append(
                Dirt("clock_change", f"the clock was set on an hour at {at}; time runs on", 1, at=seconds[k])
            )
    return offset


def _repeats_an_hour(seconds: Array, k: int) -> bool:
    """Whether, after the jump back, the hour before it is gone through once more."""
    before = seconds[max(k - 20000, 0) : k + 1]
    return bool(before[0] <= seconds[k + 1] + 1.0 and np.all(np.diff(seconds[k + 1 : k + 6]) > 0))


def _spring_night(at: float, step: float) -> bool:
    """Whether clocks are set on at this time somewhere: at 2 or 3 in the night of a Sunday in March (or, in
    the south, late September or October). Rules of the law, from memory."""
    moment = datetime.fromtimestamp(at + step, UTC)
    day: date = moment.date()
    if moment.hour not in (0, 1, 2, 3) or moment.minute != 0 or day.weekday() != 6:
        return False
    north = day.month == 3 and (8 <= day.day <= 14 or day.day >= 25)
    south = (day.month == 10 and day.day <= 7) or (day.month == 9 and day.day >= 24)
    return north or south
