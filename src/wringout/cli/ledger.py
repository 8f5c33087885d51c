"""``wringout ledger``: what every part moves, by every route the readings allow, against what it should."""

from __future__ import annotations

import json
import math
import shutil
import textwrap
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

import click

from wringout.cli.known_unit import fingerprint_option, told_of
from wringout.errors import InputError

if TYPE_CHECKING:
    from wringout.documents.call import Call
    from wringout.ledger.entries import Amount, Band, Input, Ledger, Line
    from wringout.quantity import UnitSystem

__all__ = ["command"]

WIDE = 76  # columns from which on heat and moisture stand in columns
NAME, COLUMN = 33, 22
TIGHT = "\u00a0"  # a space at which a line is not broken: a number stays with its unit
MARKS = {"given": "", "computed": "~", "assumed": "*"}
LEGEND = (
    "+- is one standard deviation (sigma), (..) the middle 68 % of what is expected. Routes without a "
    "mark: given, "
    "all of it was read. ~ computed: worked out from what was read. * assumed: rests in part on what was not "
    "read, listed under Assumed."
)
# heat in thousands, so that a line fits a phone
UNITS = {"power": {"ip": "MBH", "si": "kW"}, "water_flow": {"ip": "gpm", "si": "L/s"}}


@click.command(
    "ledger",
    epilog="Exit codes: 0 done, 2 something in the call to mend. "
    'Example: wringout ledger call.yaml --units si --state "reheat.command=100 %"',
)
@click.argument("call", metavar="CALL", type=click.Path())
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document, in SI.")
@click.option(
    "--units", type=click.Choice(["ip", "si"]), default=None, help="Units; without it, those of the unit."
)
@click.option("--state", default=None, help='One operating state only, for example "auto".')
@fingerprint_option
def command(
    call: str, as_json: bool, units: UnitSystem | None, state: str | None, fingerprint_path: str | None
) -> None:
    """Heat and moisture that each part moves, against what it should move now."""
    import numpy as np

    from wringout.catalogue.calls import load_call
    from wringout.catalogue.points import sigma
    from wringout.documents.overview import system_of
    from wringout.ledger.book import ledgers
    from wringout.ledger.document import ledger_document
    from wringout.showing.known_unit import expected_of

    loaded = load_call(call)
    system = units or system_of(loaded.unit)
    told = told_of(fingerprint_path, _only(loaded, state, call))
    machine = told.known if told is not None else None
    booked = _of_state(ledgers(loaded, sigma, np.random.default_rng(0), machine=machine), state)
    expected = expected_of(told)
    show = _writer(system)
    if as_json:
        document = ledger_document(booked, lambda amount: show(amount).replace(TIGHT, " "), expected)
        click.echo(json.dumps(document, indent=1))
        return
    for block in _page(loaded, booked, system, show, expected):
        click.echo(block)


def _only(call: Call, state: str | None, name: str) -> Call:
    """Refuse a call without readings, and a state in which nothing was read."""
    from wringout.documents.states import operating_states

    there = [snapshot.state for snapshot in operating_states(call)]
    if not there:
        raise InputError("there is no reading yet; a ledger needs some, supply.t first", name)
    if state is not None and _folded(state) not in {_folded(known) for known in there}:
        known = ", ".join(dict.fromkeys(there))
        raise InputError(f'nothing was read in the state "{state[:40]}"; readings stand in: {known}', name)
    return call


def _of_state(booked: list[Ledger], state: str | None) -> list[Ledger]:
    return [ledger for ledger in booked if state is None or _folded(ledger.state) == _folded(state)]


def _folded(state: str) -> str:
    return "".join(state.split())


# --------------------------------------------------------------------------------- numbers in words


def _digits(spread: float, figures: int) -> int:
    """Decimals that show so many figures of an uncertainty, and no more than three decimals."""
    if not spread > 0.0:
        return 1
    return min(max(figures - 1 - math.floor(math.log10(spread)), 0), 3)


def _writer(system: UnitSystem) -> Callable[[Amount], str]:
    """Write an amount as ``120 +- 14 MBH``, in one piece."""
    from wringout.quantity import PREFERRED, Dimension, format
    from wringout.quantity import UNITS as KNOWN

    def write(amount: Amount) -> str:
        dimension = Dimension(amount.dimension)
        unit = UNITS.get(amount.dimension, PREFERRED[dimension])[system]
        spread = amount.sigma / KNOWN[dimension][unit].factor
        decimals = _digits(spread, 2)
        written = format(amount.value, dimension, system, unit=unit, decimals=decimals)
        number, _, name = written.partition(" ")
        return TIGHT.join((number, "+-", f"{spread:.{decimals}f}", name.removeprefix("delta_")))

    return write


def _band(band: Band, system: UnitSystem) -> str:
    """Write a band as ``181 (164..199) MBH``."""
    from wringout.quantity import PREFERRED, Dimension, format
    from wringout.quantity import UNITS as KNOWN

    dimension = Dimension(band.dimension)
    unit = UNITS.get(band.dimension, PREFERRED[dimension])[system]
    decimals = _digits(0.5 * (band.high - band.low) / KNOWN[dimension][unit].factor, 1)
    median, low, high = (
        format(value, dimension, system, unit=unit, decimals=decimals).partition(" ")[0]
        for value in (band.median, band.low, band.high)
    )
    return TIGHT.join((median, f"({low}..{high})", unit))


# --------------------------------------------------------------------------------------------- page


def _width() -> int:
    return max(min(shutil.get_terminal_size((80, 24)).columns, 100), 24)


def _wrapped(text: str, indent: str = "", hang: str = "  ") -> str:
    lines = textwrap.fill(
        text,
        _width() - 1,
        initial_indent=indent,
        subsequent_indent=indent + hang,
        break_on_hyphens=False,
        break_long_words=True,
    )
    return lines.replace(TIGHT, " ")


def _page(
    call: Call, booked: list[Ledger], system: UnitSystem, show: Callable[[Amount], str], expected: str
) -> Iterator[str]:
    place = f", {call.unit.site.name}" if call.unit.site.name != call.unit.name else ""
    yield click.style(_wrapped(f"Ledger of {call.unit.name}{place}"), bold=True)
    yield _wrapped(f"Should move: as expected of {expected}.", hang="")
    for ledger in booked:
        yield ""
        yield _wrapped(_headline(ledger))
        for line in ledger.lines:
            yield ""
            yield from _line(line, system, show)
        yield ""
        yield from _mismatches(ledger, show)
        yield from _assumed(ledger, show)
    yield ""
    yield _wrapped(LEGEND, hang="")


def _headline(ledger: Ledger) -> str:
    change = f", after change {ledger.machine_epoch}" if ledger.machine_epoch else ""
    visit = f", visit {ledger.visit + 1}" if ledger.visit else ""
    readings = f"{ledger.readings} reading{'' if ledger.readings == 1 else 's'}"
    when = f"{ledger.first:%Y-%m-%d %H:%M} to {ledger.last:%H:%M}"
    return f"State {ledger.state}{change}{visit}: {readings}, {when}"


def _line(line: Line, system: UnitSystem, show: Callable[[Amount], str]) -> Iterator[str]:
    yield click.style(_wrapped(f"{line.title}: {line.meaning}"), bold=True)
    bands = [_band(band, system) if band else "" for band in (line.expected_heat, line.expected_moisture)]
    yield _row("should move", bands)
    for route in line.possible:
        amounts = [show(amount) if amount else "" for amount in (route.heat, route.moisture)]
        weak = ", weak" if route.weak else ""
        yield _row(f"{route.name}{weak}", amounts, MARKS[route.mark])
    closed = [f"{route.name} ({route.impossible})" for route in line.routes if route.impossible]
    if closed:
        yield _wrapped(f"not by: {'; '.join(closed)}", "  ")


def _row(name: str, cells: list[str], mark: str = "") -> str:
    heat, moisture = cells
    row = f"  {name:<{NAME - 4}}{mark:<2}{heat:<{COLUMN}} {moisture}".rstrip().replace(TIGHT, " ")
    if _width() >= WIDE and len(row) < _width():
        return row
    return _wrapped(f"{name}{mark and TIGHT + mark} {', '.join(cell for cell in cells if cell)}", "  ")


def _mismatches(ledger: Ledger, show: Callable[[Amount], str]) -> Iterator[str]:
    from wringout.ledger.words import beside, sentences

    yield click.style(_wrapped("What does not add up"), bold=True)
    for place, mismatch in enumerate(ledger.mismatches, start=1):
        figures, *rest = sentences(mismatch, show)
        yield _wrapped(f"{place}. {figures}", "  ", "   ")
        yield _wrapped(" ".join(rest), "     ", "")
    if not ledger.mismatches:
        yield _wrapped("Nothing among these readings.", "  ")
    yield _wrapped(beside(ledger), "  ")


def _assumed(ledger: Ledger, show: Callable[[Amount], str]) -> Iterator[str]:
    taken = [item for item in ledger.inputs if item.mark == "assumed"]
    if not taken:
        return
    yield ""
    yield click.style(_wrapped("Assumed"), bold=True)
    for item in taken:
        yield _wrapped(_input(item, show), "  ")


def _input(item: Input, show: Callable[[Amount], str]) -> str:
    instead = f"; to read: {', '.join(item.points)}" if item.points else ""
    return f"{item.name} {show(item.amount)} ({item.source}{instead})"
