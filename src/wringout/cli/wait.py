"""``wringout wait``: how long after a change each point needs, and what it should then read."""

from __future__ import annotations

import json
import math
from datetime import datetime
from typing import TYPE_CHECKING, Any

import click

from wringout.cli.known_unit import fingerprint_option, told_of
from wringout.errors import InputError
from wringout.showing.plain import span

if TYPE_CHECKING:
    from wringout.machine.parameters import Array
    from wringout.machine.steady import Settled
    from wringout.proof.settling import PointWait, Waiting
    from wringout.proof.visit import Acting
    from wringout.quantity import UnitSystem

__all__ = ["WAIT_FORMAT", "command"]

WAIT_FORMAT = "wringout-wait/1"
SEED = 0
WIDE = 72  # columns from which on a point stands in one line


@click.command(
    "wait",
    epilog="Exit codes: 0 answered, 1 our fault, 2 something in the input to mend (the message names file, "
    "line and field). Example: wringout wait call.yaml --at 2026-07-14T10:55:00",
)
@click.argument("call", metavar="CALL", type=click.Path())
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead of words.")
@click.option("--at", "at_text", metavar="TIME", help="Say what can be told then; else at the last event.")
@click.option("--point", "wanted", multiple=True, metavar="POINT", help="Only this point; may be repeated.")
@click.option(
    "--cautions", "all_cautions", is_flag=True, help="Write every caution, not the first of each kind."
)
@click.option(
    "--units",
    type=click.Choice(["ip", "si"]),
    default=None,
    help="Units of the words; without it, those of the unit document.",
)
@fingerprint_option
def command(
    call: str,
    as_json: bool,
    at_text: str | None,
    wanted: tuple[str, ...],
    all_cautions: bool,
    units: UnitSystem | None,
    fingerprint_path: str | None,
) -> None:
    """How long to wait after the last force, release or change in CALL, and what to read then."""
    import numpy as np

    from wringout.catalogue.points import has_point, points_of, sigma
    from wringout.cli.weigh import load
    from wringout.documents.overview import system_of
    from wringout.proof.settling import waiting
    from wringout.showing.known_unit import expected_of
    from wringout.weighing.discrepancy import model_spread

    loaded = load(call)
    names = points_of(loaded.unit)
    for name in wanted:
        has_point(loaded.unit, name)
    if wanted:
        names = [name for name in names if name in wanted]

    def spread(point: str, predicted: Array, s: Settled) -> Array:
        return model_spread(point, predicted, s, None)

    at = _time(at_text, loaded.events[-1].at if loaded.events else None)
    told = told_of(fingerprint_path, loaded)
    known = told.known if told is not None else None
    found = waiting(loaded, names, sigma, spread, np.random.default_rng(SEED), at, known=known)
    expected = expected_of(told)
    if as_json:
        click.echo(json.dumps(_document(found, expected), ensure_ascii=False))
        return
    click.echo("\n".join(_text(found, expected, units or system_of(loaded.unit), call, all_cautions)))


def _time(text: str | None, last: datetime | None) -> datetime | None:
    """A time as documents write it, with a zone exactly where the call's own times have one."""
    if text is None:
        return None
    try:
        at = datetime.fromisoformat(text.strip())
    except ValueError:
        at = None
    if at is None or ":" not in text:
        raise InputError(f'"{text[:40]}" is no date with time; write it like 2026-07-14T10:55:00', "--at")
    if last is not None and (at.tzinfo is None) != (last.tzinfo is None):
        raise InputError("write a time zone exactly where the call's times have one", "--at")
    return at


def _what(event: Acting) -> str:
    from wringout.documents.call import Force, Release

    if isinstance(event, Force):
        return f"{event.item} held at {100.0 * event.to:.0f} %"
    if isinstance(event, Release):
        return f"{event.item} released"
    return f"changed: {event.cause}" if event.cause else f"changed: {event.text}"


def _seconds(value: float) -> float | None:
    return None if not math.isfinite(value) else round(value, 1)


def _document(found: Waiting, expected: str) -> dict[str, Any]:
    last = found.visit.last
    return {
        "format": WAIT_FORMAT,
        "after": {"at": last.at.isoformat(), "kind": last.kind, "what": _what(last)},
        "cause_named": not found.visit.unnamed,
        "expected_of": expected,
        "at": found.at.isoformat(),
        "passed_seconds": found.passed,
        "points": [_row(point) for point in found.points],
        "told": list(found.told),
        "open": list(found.open),
        "early": [{"at": r.at.isoformat(), "point": r.point, "value": r.text} for r in found.early],
    }


def _row(point: PointWait) -> dict[str, Any]:
    return {
        "point": point.point,
        "seconds_63": {"median": _seconds(point.to_63), "late": _seconds(point.late_63)},
        "seconds_95": {"median": _seconds(point.to_95), "late": _seconds(point.late_95)},
        "before_si": point.before,
        "settled_si": point.settled,
        "band_si": [point.low, point.high],
        "moves": point.moves,
        "swings": point.swings,
    }


def _text(found: Waiting, expected: str, units: UnitSystem, call: str, all_cautions: bool) -> list[str]:
    from wringout.catalogue.steps import Step, cautions_of
    from wringout.cli.cautions_text import every_caution, short_cautions
    from wringout.cli.layout import heading, paragraph, width

    last = found.visit.last
    lines = [
        heading(f"After {last.at:%Y-%m-%d %H:%M}: {_what(last)}"),
        paragraph(_told(found)),
        paragraph(f"What to read: as expected of {expected}."),
    ]
    if found.visit.unnamed:
        lines.append(
            paragraph(
                "The change names no cause, so nothing says what it moved: the times are those after reheat "
                "has been held at 0 %."
            )
        )
    for reading in found.early:
        lines.append(
            paragraph(f"Read too early: {reading.point}, {reading.text} at {reading.at:%H:%M}.", hang=2)
        )
    steps = [Step(points=(point.point,), state=_held(last)) for point in found.points]
    cares = cautions_of(*steps)
    again = f"All cautions: wringout wait {call} --cautions."
    lines += ["", *(every_caution(cares) if all_cautions else short_cautions(cares, again))]
    moving = sorted((p for p in found.points if p.moves), key=lambda p: p.late_95)
    still = [p for p in found.points if not p.moves]
    if moving:
        lines += ["", heading("Points that move: 63 %, 95 %, 95 % at the latest, and what to read then")]
        lines += [_line(point, units, width()) for point in moving]
    if still:
        lines += ["", heading("Points that hardly move; what to read")]
        lines += [_line(point, units, width(), times=False) for point in still]
    return lines


def _held(event: Acting) -> str:
    """The state that the last event leaves the unit in."""
    from wringout.documents.call import Force
    from wringout.documents.states import state_name

    return state_name(event.item, event.to) if isinstance(event, Force) else "auto"


def _told(found: Waiting) -> str:
    from wringout.cli.layout import counted

    at = f"{found.at:%Y-%m-%d %H:%M}"
    if found.passed < 0.0:
        return f"{at} lies before it: nothing can be told of it yet."
    return (
        f"At {at}, {span(found.passed)} after it, {counted(len(found.told), 'point')} of "
        f"{len(found.points)} can be told: nine machines in ten have done 95 % of the way."
    )


def _line(point: PointWait, units: UnitSystem, wide: int, times: bool = True) -> str:
    band = _band(point, units) + (" (swings)" if point.swings else "")
    spans = [span(value) for value in (point.to_63, point.to_95, point.late_95)]
    if wide >= WIDE:
        columns = "".join(f"{span:>10}" for span in spans) if times else ""
        line = f"  {point.point:<26}{columns}  {band}"
        if len(line) <= wide:
            return line
    from wringout.cli.layout import paragraph

    told = f"63 % {spans[0]}, 95 % {spans[1]}, at the latest {spans[2]}; " if times else ""
    return "\n".join([paragraph(point.point, 2, 2), paragraph(told + band, 4)])


def _band(point: PointWait, units: UnitSystem) -> str:
    from wringout.catalogue.points import dimension_of
    from wringout.quantity import Dimension
    from wringout.showing.words import range_text

    if dimension_of(point.point) is Dimension.YES_NO:
        return "yes" if point.settled > 0.5 else "no"
    return range_text(point.point, point.low, point.high, units)
