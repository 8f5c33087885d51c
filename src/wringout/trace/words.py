"""A signal's sheet in words: the facts of its path, and each place with what it should and does read."""

from __future__ import annotations

from wringout.quantity import Dimension, format
from wringout.trace.document import STEM, Signal
from wringout.trace.finding import Finding, Row, Suspected

__all__ = ["HEADS", "NOT_WRITTEN", "cells", "facts", "place_words", "shown", "worth_naming"]

NOT_WRITTEN = "not recorded"
HEADS = ("place", "terminal", "wire", "at", "expected", "measured", "")
WORTH_A_LINE = 0.03
MOST = 5


def shown(signal: Signal, place: str, value: float, decimals: int = 2) -> str:
    """A value at a place: volts, milliamperes where the signal is a current, per cent at the stem."""
    if place == STEM:
        return format(value, Dimension.FRACTION, decimals=0)
    unit = "mA" if signal.kind == "milliamperes" else "V"
    return format(value, Dimension.SIGNAL, unit=unit, decimals=decimals)


def _span(signal: Signal, low: float, high: float) -> str:
    return f"{shown(signal, '', low, 1)} to {shown(signal, '', high, 1)}"


def facts(signal: Signal) -> list[tuple[str, str]]:
    """Device, controller, board, output and who checked the signal, each with its name."""
    checked = signal.verified
    when = f", {checked.at:%Y-%m-%d %H:%M}" if checked and checked.at else ""
    return [
        (
            "device",
            f"{signal.device}, set for {_span(signal, signal.takes.low, signal.takes.high)}, opens "
            f"at its {signal.opens_at} end",
        ),
        ("controller", signal.controller or NOT_WRITTEN),
        ("board", signal.board or NOT_WRITTEN),
        (
            "output",
            f"{signal.output or NOT_WRITTEN}, sends "
            f"{_span(signal, signal.sends.low, signal.sends.high)}, {signal.action} action",
        ),
        ("checked", f"by {checked.by}{checked.how and ', ' + checked.how}{when}" if checked else NOT_WRITTEN),
    ]


def place_words(one: Finding, name: str) -> str:
    """What to read at a place."""
    if name == STEM:
        return "the stem, by eye"
    place = next(p for p in one.signal.places if p.name == name)
    return f"volts at {name}{place.terminal and f' ({place.terminal})'}"


def cells(one: Finding, row: Row) -> tuple[str, ...]:
    """A row of the path as it stands under HEADS, short enough for a terminal."""
    measured = row.measured
    return (
        row.place[:16],
        (row.terminal or "-")[:12],
        (row.wire or "-")[:10],
        f"{100.0 * row.command:.0f} %",
        shown(one.signal, row.place, row.expected),
        shown(one.signal, row.place, measured.value) if measured else "-",
        "off" if row.off else "",
    )


def worth_naming(one: Finding) -> list[Suspected]:
    """Breaks worth a line, most probable first; the first of all where none is."""
    return [s for s in one.suspects if s.probability >= WORTH_A_LINE][:MOST] or [one.suspects[0]]
