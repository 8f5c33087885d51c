"""``wringout guide``: a forced state recognised from a recording, waited for, and read into a call."""

from __future__ import annotations

import json
import os
import time
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from wringout.errors import DataError, InputError

if TYPE_CHECKING:
    from wringout.documents.call import Call
    from wringout.proof.guided import Guidance, Request
    from wringout.quantity import UnitSystem

__all__ = ["GUIDE_FORMAT", "added", "command"]

GUIDE_FORMAT = "wringout-guide/1"
SEED = 0
BREATH = 2.0  # s between two looks


@click.command(
    "guide",
    epilog="Exit codes: 0 taken, or looked once; 1 our fault; 2 something to mend (the message says what). "
    "Example: wringout guide call.yaml --recording live.csv --state 'reheat.command=100 %'",
)
@click.argument("call", metavar="CALL", type=click.Path())
@click.option("--recording", required=True, metavar="FILE", help="What `wringout listen` writes.")
@click.option("--state", "wanted", required=True, metavar="NAME", help="Such as 'cooling.call=0 %'.")
@click.option("--point", "needed", multiple=True, metavar="POINT", help="Wait for this one; may be repeated.")
@click.option("--held", is_flag=True, help="You hold it: it needs no other sign.")
@click.option("--insist", is_flag=True, help="The hold is right, whatever does not follow.")
@click.option("--now", "early", is_flag=True, help="Take at once, marked as not settled.")
@click.option("--once", is_flag=True, help="Look once, and write nothing.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document a look instead of words.")
@click.option(
    "--units",
    type=click.Choice(["ip", "si"]),
    default=None,
    help="Units of the words; without it, those of the unit document.",
)
def command(
    call: str,
    recording: str,
    wanted: str,
    needed: tuple[str, ...],
    held: bool,
    insist: bool,
    early: bool,
    once: bool,
    as_json: bool,
    units: UnitSystem | None,
) -> None:
    """Wait until a state that you force at the controller has settled, and add its readings to CALL.

    Only looks at the recording; nothing is sent to any device.
    """
    from wringout.catalogue.calls import load_call
    from wringout.documents.overview import system_of

    loaded = load_call(call)
    system = units or system_of(loaded.unit)
    wanted = _state(wanted)
    if not as_json:
        _say_first(wanted, needed)
    told = ""
    said: float | None = None
    while True:
        now = _look(loaded, Path(recording), wanted, needed, said, insist)
        if held and said is None:
            said = now.at
            continue
        words = _words(now)
        if as_json:
            click.echo(json.dumps(_document(now), ensure_ascii=False))
        elif words != told:
            click.echo(words)
            told = words
        if once:
            return
        if early or now.phase == "ready":
            _take(Path(call), loaded, now, system, early, as_json)
            return
        if now.phase == "stuck":
            raise DataError("it does not settle; --now takes the readings as they are", recording)
        time.sleep(BREATH)


def _state(words: str) -> str:
    from wringout.documents.call import ITEMS
    from wringout.documents.states import state_name
    from wringout.quantity import Dimension, parse

    item, mark, share = words.strip().partition("=")
    if item not in ITEMS or not mark:
        raise InputError(f'"{words[:60]}" is no forced state; write one like reheat.command=100 %', "--state")
    value = parse(share.strip(), Dimension.FRACTION).value
    if not 0.0 <= value <= 1.0 or (item == "cooling.call" and value not in (0.0, 1.0)):
        raise InputError("reheat.command is held at 0 to 100 %, cooling.call at 0 % or 100 %", "--state")
    return state_name(item, value)


def _say_first(wanted: str, needed: Sequence[str]) -> None:
    from wringout.catalogue.steps import Step, cautions_of
    from wringout.cli.cautions_text import every_caution
    from wringout.cli.layout import paragraph

    click.echo("\n".join(every_caution(cautions_of(Step(points=tuple(needed), state=wanted)))))
    item, _, to = wanted.partition("=")
    what = {"reheat.command": "the reheat command", "cooling.call": "the cooling call"}[item]
    click.echo(paragraph(f"Hold {what} at {to} at the controller. Tell the people of the place first."))


def _look(
    loaded: Call, recording: Path, wanted: str, needed: Sequence[str], said: float | None, insist: bool
) -> Guidance:
    from wringout.capture.recording import read
    from wringout.machine.design import design
    from wringout.proof.guided import guide
    from wringout.showing.live import live_points

    rows, values = read(recording)
    if not len(rows):
        raise DataError("has no rows yet", str(recording))
    names = live_points(loaded.unit, values, wanted)
    for name in needed:
        if name not in names:
            raise InputError(f"{name} is not among the live points: {', '.join(names)}", "--point")
    request = _request(loaded, wanted, tuple(names), tuple(needed), said, insist)
    return guide(rows, values, loaded.unit, design(loaded.unit), names, request)


def _request(
    loaded: Call,
    wanted: str,
    names: tuple[str, ...],
    needed: tuple[str, ...],
    said: float | None,
    insist: bool,
) -> Request:
    import numpy as np

    from wringout.catalogue.points import sigma
    from wringout.proof.guided import Request
    from wringout.proof.machine_waits import machine_waits
    from wringout.showing.live import exact_points

    key = (loaded.unit.name, wanted, names)
    if key not in _known:
        _known.clear()
        _known[key] = machine_waits(loaded.unit, wanted, names, sigma, np.random.default_rng(SEED))
    return Request(wanted, _known[key], sigma, exact_points(names), needed, said=said, insist=insist)


_known: dict[tuple[str, str, tuple[str, ...]], Any] = {}  # worked out once a run, not at every look


def _words(now: Guidance) -> str:
    from wringout.cli.layout import paragraph
    from wringout.showing.live import phase_words

    return paragraph(phase_words(now))


def _document(now: Guidance) -> dict[str, Any]:
    from wringout.showing.live import call_time

    def number(value: float) -> float | None:
        return None if value != value or abs(value) == float("inf") else value

    shown = now.shown
    return {
        "format": GUIDE_FORMAT,
        "at": call_time(now.at),
        "phase": now.phase,
        "wanted": now.wanted,
        "shown": {
            "state": shown.state,
            "kind": shown.kind,
            "since": call_time(shown.since) if shown.since == shown.since else None,
            "why": list(shown.why),
            "against": list(shown.against),
        },
        "seconds_left": number(now.left),
        "points": [
            {
                "point": row.point,
                "kind": row.kind,
                "last_si": number(row.last),
                "value_si": number(row.value),
                "uncertainty_si": number(row.uncertainty),
                "seconds_left": number(row.left),
            }
            for row in now.rows
        ],
    }


def _take(path: Path, loaded: Call, now: Guidance, system: UnitSystem, early: bool, as_json: bool) -> None:
    """Add state and readings to the call's document."""
    from wringout.cli.layout import counted
    from wringout.showing.live import readings_of, state_events

    readings = readings_of(now.rows, now.at, system, early)
    if not readings:
        raise DataError("there is nothing to take: no live point has a value", str(path))
    since = now.shown.since if now.shown.state == now.wanted else now.at
    events = [*state_events(loaded, now.wanted, since), *readings]
    text = path.read_text(encoding="utf-8")
    new = added(text, events)
    beside = path.with_name(path.name + ".new")
    beside.write_text(new, encoding="utf-8")
    try:
        _check(beside, len(loaded.events) + len(events))
        os.replace(beside, path)
    except InputError as error:
        lines = "".join(_line(kind, body, "  ") for kind, body in events)
        raise InputError(
            f"could not be added to ({error.message}); add these yourself:\n{lines}", str(path)
        ) from None
    finally:
        beside.unlink(missing_ok=True)
    if not as_json:
        count = counted(sum(kind == "reading" for kind, _ in events), "reading")
        click.echo(f"Taken: {count}, added to {path}. Give it back to control when you have what you need.")


def _check(path: Path, wanted: int) -> None:
    from wringout.catalogue.calls import load_call

    found = len(load_call(path).events)
    if found != wanted:
        raise InputError(f"it would hold {found} events and not {wanted}")


def added(text: str, events: Sequence[tuple[str, dict[str, Any]]]) -> str:
    """A call document with events at its end, all else as it was.

    Parameters
    ----------
    text : str
        The document in YAML, its events last as a list one below the other, or without any.
    events : sequence of (str, dict)
        Kind and body of each.

    Returns
    -------
    str

    Raises
    ------
    InputError
        Where the events do not stand last: rather than to guess.
    """
    lines = text.rstrip("\n").split("\n")
    starts = [k for k, line in enumerate(lines) if line.startswith("events:")]
    indent = "  "
    if not starts:
        lines.append("events:")
    else:
        below = lines[starts[0] + 1 :]
        if lines[starts[0]].split("#")[0].strip() not in ("events:", "events: []"):
            raise InputError("its events are not a list one below the other")
        if any(line and line[0] not in " #-" for line in below):
            raise InputError("something stands below its events")
        lines[starts[0]] = "events:"
        first = next((line for line in below if line.lstrip().startswith("- ")), "  - ")
        indent = first[: len(first) - len(first.lstrip())]
    return "\n".join(lines) + "\n" + "".join(_line(kind, body, indent) for kind, body in events)


def _line(kind: str, body: dict[str, Any], indent: str) -> str:
    fields = [f"at: {body['at']}", f"kind: {kind}"]
    for name, value in body.items():
        if name != "at":
            fields.append(f"{name}: {json.dumps(value) if name == 'text' else value}")
    return f"{indent}- {{{', '.join(fields)}}}\n"
