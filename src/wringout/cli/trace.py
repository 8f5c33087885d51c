"""``wringout trace``: a sheet for each signal, and where along its path it turns wrong."""

from __future__ import annotations

import csv
import io
import json
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from wringout.errors import InputError

if TYPE_CHECKING:
    from wringout.documents.call import Call
    from wringout.documents.unit import Unit
    from wringout.trace.document import Signal, Trace
    from wringout.trace.finding import Finding, Measured

__all__ = ["FORMAT", "command"]

FORMAT = "wringout-trace-sheet/1"
BESIDE = "trace.yaml"
METER = 0.05  # V, a careful reading at terminals (the test point reheat.signal)
STEM_READ = 0.07  # of the travel (the test point reheat.stem)


@click.command(
    "trace",
    epilog="Exit codes: 0 answered, 2 something in the input to mend (the message names file, "
    "line and field). "
    'Example: wringout trace unit.yaml --command "60 %" --measured "controller=6.8 V" --measured '
    '"actuator=0 V"',
)
@click.argument("document", metavar="CALL|UNIT", type=click.Path())
@click.option(
    "--trace", "trace_file", type=click.Path(), help=f"Trace document; else {BESIDE} beside the document."
)
@click.option("--signal", "wanted", metavar="ID", help="Only this signal; without it every one.")
@click.option("--command", "command_text", metavar="SHARE", help='The command that stands now, as in "60 %".')
@click.option(
    "--measured",
    "readings",
    multiple=True,
    metavar="PLACE=VALUE",
    help='A reading: "actuator=4.4 V", with its spread "actuator=4.4 V +- 0.02 V", of the stem '
    '"stem=40 %", at '
    'another command "actuator@100 %=9.9 V". May be repeated.',
)
@click.option("--template", is_flag=True, help="Write a trace document to start from, and stop.")
@click.option("--csv", "csv_file", metavar="FILE", help="Write the sheets as a table; - for the screen.")
@click.option(
    "-o",
    "--output",
    type=click.Path(),
    metavar="FILE",
    help="FILE.pdf or FILE.html: a sheet a signal, to print.",
)
@click.option("--json", "as_json", is_flag=True, help="Write one JSON document instead of words.")
@click.option(
    "--cautions", "all_cautions", is_flag=True, help="Write every caution, not the first of each kind."
)
def command(
    document: str,
    trace_file: str | None,
    wanted: str | None,
    command_text: str | None,
    readings: tuple[str, ...],
    template: bool,
    csv_file: str | None,
    output: str | None,
    as_json: bool,
    all_cautions: bool,
) -> None:
    """Where a signal of CALL or UNIT runs, what it should read at each place, and where it turns wrong."""
    from wringout.trace.document import template as written_template
    from wringout.trace.finding import find

    unit, call = _loaded(document)
    if template:
        click.echo(written_template(unit), nl=False)
        return
    signals = _signals(document, trace_file, unit, wanted)
    own = _share(command_text)
    if readings and len(signals) > 1:
        raise InputError(f"name the signal: {', '.join(one.id for one in signals)}", "--signal")
    found = []
    for signal in signals:
        told, stood = _from_call(call, signal)
        if own is None and stood is None and any("@" not in text.partition("=")[0] for text in readings):
            raise InputError('say which command stood while you read, as in "60 %"', "--command")
        now = own if own is not None else stood if stood is not None else 0.5
        measured = [*told, *(_measured(text, now) for text in readings)]
        found.append(find(signal, now, measured))
    if csv_file is not None:
        _write_table(csv_file, found)
        if csv_file == "-":
            return
    if output is not None:
        _print(output, unit, call, found)
        return
    if as_json:
        click.echo(
            json.dumps({"format": FORMAT, "signals": [_json(one) for one in found]}, ensure_ascii=False)
        )
        return
    click.echo("\n".join(_text(found, document, all_cautions, own is None)))


def _loaded(document: str) -> tuple[Unit, Call | None]:
    from wringout.catalogue.calls import load_document
    from wringout.documents.call import Call
    from wringout.documents.unit import Unit

    loaded = load_document(document)
    if isinstance(loaded, Unit):
        return loaded, None
    if isinstance(loaded, Call):
        return loaded.unit, loaded
    raise InputError("this is a trend document; give the call or the unit", document)


def _signals(document: str, trace_file: str | None, unit: Unit, wanted: str | None) -> tuple[Signal, ...]:
    from wringout.documents.fields import nearest
    from wringout.trace.document import Trace, read_trace, signal_of_unit

    beside = Path(trace_file) if trace_file else Path(document).parent / BESIDE
    if trace_file or beside.is_file():
        trace: Trace = read_trace(beside)
    else:
        trace = Trace(signals=(signal_of_unit(unit),))
    if wanted is None:
        return trace.signals
    known = [one.id for one in trace.signals]
    if wanted not in known:
        raise InputError(f'there is no signal "{wanted[:40]}"{nearest(wanted, known)}', "--signal")
    return tuple(one for one in trace.signals if one.id == wanted)


def _share(text: str | None) -> float | None:
    from wringout.documents.fields import within
    from wringout.documents.measure import Measure
    from wringout.quantity import Dimension, parse

    if text is None:
        return None
    try:
        read = parse(text, Dimension.FRACTION)
        within(read.value, read.unit, Measure(Dimension.FRACTION, 0.0, 1.0))
    except InputError as error:
        raise InputError(error.message, "--command") from None
    return read.value


def _measured(text: str, now: float) -> Measured:
    """A reading as written: ``actuator@100 %=4.4 V +- 0.02 V``."""
    from wringout.quantity import Dimension, parse
    from wringout.trace.document import STEM
    from wringout.trace.finding import Measured

    where, equals, rest = text.partition("=")
    place, at, share = where.partition("@")
    number, _, doubt = rest.replace("±", "+-").partition("+-")
    if not equals or not place.strip():
        raise InputError(f'"{text[:40]}" is no reading; write "actuator=4.4 V"', "--measured")
    stem = place.strip() == STEM
    dimension = Dimension.FRACTION if stem else Dimension.SIGNAL
    try:
        read = parse(number, dimension)
        value = read.value
        sigma = parse(doubt, dimension).value if doubt.strip() else (STEM_READ if stem else METER)
        stood = parse(share, Dimension.FRACTION).value if at else now
    except InputError as error:
        raise InputError(f'"{text[:40]}": {error.message}', "--measured") from None
    if sigma <= 0.0 or not 0.0 <= stood <= 1.0:
        raise InputError(
            f'"{text[:40]}": the spread must lie above 0, the command from 0 to 100 %', "--measured"
        )
    return Measured(place.strip(), value, sigma, stood, number.strip(), read.unit == "mA")


def _from_call(call: Call | None, signal: Signal) -> tuple[list[Measured], float | None]:
    """Readings of the reheat signal and its stem since the last change, each with the command that stood
    then; and the command that stands at the end."""
    from wringout.catalogue.points import sigma
    from wringout.documents.call import Change, Force, Reading, Release
    from wringout.trace.document import STEM
    from wringout.trace.finding import Measured

    if call is None or signal.id != "reheat":
        return [], None
    found: list[Measured] = []
    stands: float | None = None
    for event in call.events:
        if isinstance(event, Change):
            found.clear()
        elif isinstance(event, Force) and event.item == "reheat.command":
            stands = event.to
        elif isinstance(event, (Force, Release)):
            stands = None  # what control asks for from here on has not been read
        elif isinstance(event, Reading) and event.point == "shown.reheat_command":
            stands = event.value
        elif isinstance(event, Reading) and stands is not None:
            place = {"reheat.signal": signal.places[-1].name, "reheat.stem": STEM}.get(event.point)
            if place is not None:
                spread = event.accuracy or sigma(event.point, event.value)
                in_loop = event.unit_text == "mA"
                found.append(Measured(place, event.value, spread, stands, event.text, in_loop))
    return found, stands


# ---------------------------------------------------------------------------------------------- words


def _text(found: list[Finding], document: str, all_cautions: bool, assumed: bool) -> list[str]:
    from wringout.catalogue.steps import Step, cautions_of
    from wringout.cli.cautions_text import every_caution, short_cautions

    cares = cautions_of(Step(work=("live_terminals", "output_forced")))
    again = f"All cautions: wringout trace {document} --cautions."
    lines = every_caution(cares) if all_cautions else short_cautions(cares, again)
    for one in found:
        lines += ["", *_sheet(one, assumed)]
    return lines


def _sheet(one: Finding, assumed: bool) -> list[str]:
    from wringout.cli.layout import heading, item, paragraph
    from wringout.trace.path import HEALTHY
    from wringout.trace.words import facts, place_words, worth_naming

    signal = one.signal
    lines = [heading(f"SIGNAL {signal.id}")]
    lines += [item(f"{name:<10}", words, 2) for name, words in facts(signal)]
    why = " (no command given: half is taken)" if assumed and not one.measured and one.command == 0.5 else ""
    lines += ["", heading(f"ALONG THE PATH, command {100.0 * one.command:.0f} %{why}")]
    lines += _table(one)
    if not one.measured:
        lines += [
            "",
            paragraph(
                'Nothing measured yet. Begin with the last place: --measured "'
                + f'{signal.places[-1].name}=... V".',
                0,
                2,
            ),
        ]
        return lines
    lines += ["", heading("WHERE IT TURNS WRONG" if one.wrong else "NOTHING WRONG ALONG THIS PATH")]
    named = worth_naming(one)
    for suspect in named:
        lines.append(item(f"{_chance(suspect.probability):>10}", suspect.found.words, 1))
    first = named[0].found
    if first.kind != HEALTHY and first.do:
        lines += ["", paragraph(f"Then: {first.do}", 0, 2)]
    if one.next:
        lines.append(paragraph(f"Read next: {place_words(one, one.next)}.", 0, 2))
    return lines


def _chance(probability: float) -> str:
    from wringout.cli.layout import chance

    return chance(probability)


def _table(one: Finding) -> list[str]:
    """The path in columns; a row that is off says so in words."""
    from wringout.trace.words import HEADS, cells

    rows = [HEADS, *(cells(one, row) for row in one.rows)]
    wide = [max(len(row[i]) for row in rows) for i in range(len(HEADS))]
    return [
        "  " + "  ".join(cell.ljust(w) for cell, w in zip(row, wide, strict=True)).rstrip() for row in rows
    ]


def _json(one: Finding) -> dict[str, Any]:
    from wringout.trace.words import shown

    signal = one.signal
    return {
        **signal.model_dump(mode="json"),
        "command": one.command,
        "path": [
            {
                "place": row.place,
                "terminal": row.terminal,
                "wire": row.wire,
                "command": row.command,
                "expected": shown(signal, row.place, row.expected),
                "measured": shown(signal, row.place, row.measured.value) if row.measured else None,
                "off": row.off,
            }
            for row in one.rows
        ],
        "wrong": one.wrong,
        "suspects": [
            {
                "kind": s.found.kind,
                "place": s.found.place,
                "words": s.found.words,
                "do": s.found.do,
                "probability": round(s.probability, 4),
            }
            for s in one.suspects
        ],
        "next": one.next or None,
    }


def _print(file: str, unit: Unit, call: Call | None, found: list[Finding]) -> None:
    """The sheets typeset, one a signal; dated by what is known, by today only where nothing is."""
    from wringout import __version__
    from wringout.report.html import html_of
    from wringout.report.pdf import pdf_of
    from wringout.report.signal_sheet import sheets

    path = Path(file)
    if path.suffix.lower() not in {".pdf", ".html"}:
        raise InputError("name a file that ends in .pdf or .html", file)
    known = [call.events[-1].at] if call is not None and call.events else []
    known += [one.signal.verified.at for one in found if one.signal.verified and one.signal.verified.at]
    day = max((at.date() for at in known), default=date.today())
    report = sheets(unit, found, day, __version__)
    data = pdf_of(report) if path.suffix.lower() == ".pdf" else html_of(report).encode()
    try:
        with path.open("xb") as out:
            out.write(data)
    except FileExistsError:
        raise InputError("is there already and is not overwritten; give another name", file) from None
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror}", file) from None
    click.echo(f"{file}: {len(found)} sheet{'' if len(found) == 1 else 's'}")


def _write_table(file: str, found: list[Finding]) -> None:
    """The sheets as rows for a spreadsheet: one for each place."""
    from wringout.trace.words import cells, facts

    stream = io.StringIO()
    table = csv.writer(stream, lineterminator="\r\n")
    names = ("device", "controller", "board", "output", "checked")
    table.writerow(["signal", *names, "place", "terminal", "wire", "command", "expected", "measured", "off"])
    for one in found:
        told = dict(facts(one.signal))
        for row in one.rows:
            line = list(cells(one, row))
            line[:3] = [row.place, row.terminal, row.wire]
            table.writerow([_plain(cell) for cell in (one.signal.id, *(told[name] for name in names), *line)])
    if file == "-":
        click.echo(stream.getvalue(), nl=False)
        return
    try:
        with Path(file).open("x", encoding="utf-8", newline="") as out:
            out.write(stream.getvalue())
    except FileExistsError:
        raise InputError("is there already and is not overwritten; give another name", file) from None
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror}", file) from None


def _plain(cell: str) -> str:
    """A cell that no spreadsheet takes for a formula."""
    return f"'{cell}" if cell[:1] in {"=", "+", "@"} or (cell[:1] == "-" and len(cell) > 1) else cell
