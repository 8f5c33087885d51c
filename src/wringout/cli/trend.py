"""``wringout trend``: what a controller's log shows, the most important first."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from wringout.cli.layout import heading, item, paragraph
from wringout.cli.trend_table import MAPPING_NAME, read_log
from wringout.errors import InputError

if TYPE_CHECKING:
    from wringout.documents.unit import Unit
    from wringout.quantity import UnitSystem
    from wringout.trends.finding import Finding
    from wringout.trends.guessing import Guess
    from wringout.trends.table import RawTable, TrendTable

__all__ = ["command", "read"]

TREND_FINDINGS_FORMAT = "wringout-trend-findings/1"
SEED = 0


@click.command(
    "trend",
    epilog="Exit codes: 0 done, 2 something to mend in a file. "
    "Example: wringout trend log.csv --unit unit.yaml --pictures pictures",
)
@click.argument("file", type=click.Path())
@click.option(
    "--unit", "unit_path", type=click.Path(), default=None, help="Unit document: set points, design."
)
@click.option(
    "--map", "mapping", type=click.Path(), default=None, help="Which column is what (trend document)."
)
@click.option("--json", "as_json", is_flag=True, help="Write the findings as JSON.")
@click.option("--pictures", type=click.Path(), default=None, help="Folder for one SVG picture a finding.")
@click.option(
    "--without", metavar="CAUSE", default=None, help="Replay the trend's last days with this cause removed."
)
@click.option("--write-map", is_flag=True, help="Write down which column is what, to be corrected.")
@click.option(
    "--units", type=click.Choice(["ip", "si"]), default=None, help="Units; without it, those of the unit."
)
def command(
    file: str,
    unit_path: str | None,
    mapping: str | None,
    as_json: bool,
    pictures: str | None,
    without: str | None,
    write_map: bool,
    units: UnitSystem | None,
) -> None:
    """What a trend file shows: which way outputs act, what swings, sticks, follows, fights or changed.

    FILE is the controller's log, CSV of any kind or Parquet. Columns are guessed; a mapping file corrects the
    guess: --map, LOG.trend.yaml beside the log, or trend.yaml beside the unit (without a unit, beside the
    log). --write-map writes one.
    """
    from wringout.documents.load import load_unit
    from wringout.documents.overview import system_of
    from wringout.trends.findings import findings_of

    unit = load_unit(unit_path) if unit_path is not None else None
    system = units or (system_of(unit) if unit is not None else "ip")
    table, raw, guesses, told = read(Path(file), unit, unit_path, mapping)
    notes = [told] if told else []
    if write_map:
        notes.append(_write_map(raw, guesses, Path(file), unit_path))
    if not table.values:
        raise InputError(
            "no column was recognised; name them in a mapping file (--write-map writes one to start from)",
            raw.name,
        )
    findings = findings_of(table, unit)
    if without is not None:
        findings = [_replayed(table, unit, without), *findings]
    drawn = _draw(findings, table, Path(pictures), system) if pictures is not None else {}
    if as_json:
        document = _document(raw, table, guesses, findings, drawn, notes, system)
        click.echo(json.dumps(document, indent=1, ensure_ascii=False))
        return
    for line in _lines(raw, table, guesses, findings, drawn, notes, system):
        click.echo(line)


def _replayed(table: TrendTable, unit: Unit | None, cause: str) -> Finding:
    """How the unit would have done without a cause."""
    import numpy as np

    from wringout.catalogue.causes import applies, causes
    from wringout.documents.fields import nearest
    from wringout.proof.replay import replay
    from wringout.proof.replay_finding import replay_finding

    if unit is None:
        raise InputError("needs --unit: only the unit's document makes a machine to run", "--without")
    if cause not in causes():
        raise InputError(f'there is no cause "{cause[:60]}"{nearest(cause, causes())}', "--without")
    if not applies(cause, unit):
        raise InputError(f"{unit.name} cannot have {cause}", "--without")
    return replay_finding(replay(table, unit, cause, np.random.default_rng(SEED)))


def read(
    path: Path, unit: Unit | None, unit_path: str | None, mapping: str | None
) -> tuple[TrendTable, RawTable, tuple[Guess, ...] | None, str]:
    """The trend by its mapping file where there is one, else by guessing; and what to say about that."""
    return read_log(path, unit, mapping, [_place(path, unit_path).parent])


def _place(path: Path, unit_path: str | None) -> Path:
    """Where the mapping file of a trend lies: beside the unit, or beside the log."""
    return (Path(unit_path).parent if unit_path is not None else path.parent) / MAPPING_NAME


def _write_map(raw: RawTable, guesses: tuple[Guess, ...] | None, path: Path, unit_path: str | None) -> str:
    from wringout.trends.mapping import mapping_beside, mapping_text

    place = _place(path, unit_path)
    if guesses is None:
        own = mapping_beside(path)
        raise InputError(
            "a mapping file was followed already: correct that one, or take it away first",
            str(own if own.is_file() else place),
        )
    if place.exists():
        raise InputError(
            "is there already and is not written over; correct it, or take it away first", str(place)
        )
    try:
        inside = path.resolve().relative_to(place.resolve().parent).as_posix()
    except ValueError:
        inside = path.name
    try:
        place.write_text(mapping_text(raw, guesses, inside), encoding="utf-8")
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror}", str(place)) from None
    return f"Written: {place}. Read it through; what stands there counts from now on."


def _draw(findings: list[Finding], table: TrendTable, folder: Path, system: UnitSystem) -> dict[int, str]:
    """One picture a finding; which file is whose."""
    from wringout.proof.replay_finding import WithoutCause
    from wringout.trends.pictures import picture_of

    drawn: dict[int, str] = {}
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for number, finding in enumerate(findings, 1):
            picture = (
                finding.draw(system)
                if isinstance(finding, WithoutCause)
                else picture_of(finding, table, system)
            )
            if picture:
                path = folder / f"{number:02d}-{finding.kind.replace('_', '-')}.svg"
                path.write_text(picture, encoding="utf-8")
                drawn[number] = str(path)
    except OSError as error:
        raise InputError(f"pictures cannot be written: {error.strerror}", str(folder)) from None
    return drawn


def _document(
    raw: RawTable,
    table: TrendTable,
    guesses: tuple[Guess, ...] | None,
    findings: list[Finding],
    drawn: dict[int, str],
    notes: list[str],
    system: UnitSystem,
) -> dict[str, Any]:
    from wringout.trends.finding import iso

    out = []
    for number, finding in enumerate(findings, 1):
        entry = finding.as_document(system)
        if number in drawn:
            entry["picture"] = drawn[number]
        out.append(entry)
    return {
        "format": TREND_FINDINGS_FORMAT,
        "file": raw.name,
        "rows": len(table.time),
        "from": iso(float(table.time[0])),
        "to": iso(float(table.time[-1])),
        "step": {"value": round(table.step, 1), "unit": "s"} if len(table.time) > 1 else None,
        "notes": notes,
        "columns": _columns(table, guesses),
        "dirt": [{"kind": d.kind, "text": d.text, "count": d.count, "column": d.column} for d in table.dirt],
        "findings": out,
    }


def _columns(table: TrendTable, guesses: tuple[Guess, ...] | None) -> list[dict[str, Any]]:
    if guesses is None:
        return [{"column": name, "point": point, "given": True} for point, name in table.columns.items()]
    return [
        {
            "column": guess.column,
            "point": guess.point,
            "unit": guess.unit,
            "confidence": guess.confidence,
            "used": guess.point in table and table.columns.get(guess.point) == guess.column,
            "because": guess.because,
            "rival": guess.rival,
        }
        for guess in guesses
    ]


def _lines(
    raw: RawTable,
    table: TrendTable,
    guesses: tuple[Guess, ...] | None,
    findings: list[Finding],
    drawn: dict[int, str],
    notes: list[str],
    system: UnitSystem,
) -> list[str]:
    from wringout.trends.clock import told_in_words
    from wringout.trends.finding import shower

    show = shower(system)
    first, last = told_in_words(float(table.time[0])), told_in_words(float(table.time[-1]))
    lines = [
        paragraph(
            f"{raw.name}: {len(table.time):,} rows, {first} to {last}, {table.hours:.0f} h of data in "
            "steps of "
            f"{table.step:.0f} s"
        )
    ]
    lines += [paragraph(note) for note in notes]
    numbered = list(enumerate(findings, 1))
    asked = [(n, f) for n, f in numbered if f.kind == "without_cause"]
    wrong = [(n, f) for n, f in numbered if f.wrong]
    rest = [(n, f) for n, f in numbered if not f.wrong and f.kind != "without_cause"]
    if not wrong:
        lines += ["", heading("Nothing is amiss that this trend could show.")]
    for title, group in (("Asked", asked), ("", wrong), ("Worth knowing", rest)):
        if title and group:
            lines += ["", heading(title)]
        for number, finding in group:
            lines += ["", heading(f"{number} {finding.heading()}"), _tied(finding.says(show))]
            lines.append(_tied(finding.means()))
            if number in drawn:
                lines.append(paragraph(f"Picture: {drawn[number]}", 2))
    return [*lines, *_column_lines(raw, table, guesses), *_dirt_lines(table)]


def _tied(text: str) -> str:
    """A paragraph in which no line ends between a number and its unit."""
    tied = re.sub(r"(?<=\d) (?=%|deg[FC]|min\b|h\b|s\b|lb/h|kg/h)", "\u00a0", text)
    return paragraph(tied, 2).replace("\u00a0", " ")


def _column_lines(raw: RawTable, table: TrendTable, guesses: tuple[Guess, ...] | None) -> list[str]:
    if guesses is None:
        return []
    lines = ["", heading("Columns, as guessed")]
    for guess in guesses:
        used = table.columns.get(guess.point) == guess.column
        text = f"{guess.column}: {guess.point} in {guess.unit}, {guess.confidence:.0%} sure"
        if not used:
            text += "; too unsure to be used"
        elif guess.confidence < 0.8 and guess.rival:
            text += f" (or {guess.rival})"
        lines.append(item("-" if used else "?", text, 2))
    left = [c.name for c in raw.columns if c.name not in {guess.column for guess in guesses}]
    if left:
        lines.append(paragraph(f"Not recognised: {', '.join(left)}", 2))
    lines.append(paragraph("--write-map writes this down to be corrected.", 2))
    return lines


def _dirt_lines(table: TrendTable) -> list[str]:
    if not table.dirt:
        return []
    return ["", heading("In the file"), *(item("-", dirt.text, 2) for dirt in table.dirt)]
