"""``wringout set-up``: what to set a machine to, inside a call or alone."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from wringout.catalogue.cares import Care
    from wringout.documents.call import Call
    from wringout.documents.unit import Unit
    from wringout.quantity import UnitSystem
    from wringout.setting_up.answer import Answer, Value, Word
    from wringout.setting_up.inputs import Ask, Known
    from wringout.setting_up.subject import Subject

__all__ = ["SET_UP_FORMAT", "command"]

SET_UP_FORMAT = "wringout-set-up/1"
EXAMPLES = {
    "fan-speed": '--airflow "9000 cfm" --airflow-now "7600 cfm" --speed-now "44 Hz"',
    "output-scaling": '--low "2 V" --high "10 V"',
    "balancing": '--flow "25 gpm" --pump-head "42 ft" --coil-drop "3.2 psi"',
    "keep-three-way": '--legs "office 12 gpm two, hall 25 gpm two"',
    "loop-fill": '--length "220 ft" --size "2 in" --flow "25 gpm" --coldest "10 degF"',
    "reclaim-heat": 'unit.yaml --return-t "95 degF"',
    "cold-surface": '--kind read --surface-t "48 degF" --room-t "74 degF"',
    "big-enough": 'unit.yaml --outdoor-t "84 degF" --outdoor-dew-point "75 degF"',
    "moisture-sources": "call.yaml",
}


class Subjects(click.Group):
    """The subjects as commands, made from their questions when they are asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        from wringout.setting_up.subjects import SUBJECTS

        return list(SUBJECTS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        from wringout.setting_up.subjects import SUBJECTS

        return _command(SUBJECTS[cmd_name]) if cmd_name in SUBJECTS else None


@click.group(
    "set-up",
    cls=Subjects,
    epilog='Example: wringout set-up fan-speed --airflow "9000 cfm" --airflow-now "7600 cfm" '
    '--speed-now "44 Hz"',
)
def command() -> None:
    """What to set a machine to: each answer with its formula, its source and its uncertainty.

    Inside a call or with a unit document it takes what these say; every option goes before them. A quantity
    is written with its unit, and with one standard deviation where you know it: "20 gpm +- 1 gpm".
    """


def _command(subject: Subject) -> click.Command:
    options: list[click.Parameter] = [
        click.Argument(["document"], metavar="[CALL|UNIT]", required=False, type=click.Path()),
        *(
            click.Option([f"--{ask.key}", ask.key.replace("-", "_")], metavar="TEXT", help=_help(ask))
            for ask in subject.asks
        ),
        click.Option(
            ["--cautions", "all_cautions"],
            is_flag=True,
            help="Write every caution, not the first of each kind.",
        ),
        click.Option(["--json", "as_json"], is_flag=True, help="Write one JSON document instead of words."),
        click.Option(
            ["--units"],
            type=click.Choice(["ip", "si"]),
            default=None,
            help="Units of the words; without it, those of the unit document, else those of the options.",
        ),
    ]

    def run(
        document: str | None, all_cautions: bool, as_json: bool, units: UnitSystem | None, **given: str | None
    ) -> None:
        written = {key.replace("_", "-"): text for key, text in given.items() if text is not None}
        _run(subject, document, written, all_cautions, as_json, units)

    return click.Command(
        subject.id,
        callback=run,
        params=options,
        help=f"{subject.title}.",
        short_help=f"{subject.title}.",
        epilog=f"Exit codes: 0 answered, 2 something to mend. Example: wringout set-up {subject.id} "
        f"{EXAMPLES[subject.id]}",
    )


def _help(ask: Ask) -> str:
    words = ask.words[0].upper() + ask.words[1:]
    if ask.choices:
        few = ask.choices if len(ask.choices) < 7 else (*ask.choices[:3], "...")
        words += f": {', '.join(few)}"
    if ask.point:
        words += f"; read at {ask.point.split()[0]}"
    if ask.assume:
        words += f"; else {ask.assume}"
    elif ask.example:
        words += f', as in "{ask.example}"'
    return f"{words}."


def _run(
    subject: Subject,
    document: str | None,
    written: Mapping[str, str],
    all_cautions: bool,
    as_json: bool,
    units: UnitSystem | None,
) -> None:
    from wringout.catalogue.steps import Step, cautions_of
    from wringout.setting_up.subjects import set_up

    known, system = _known(document, units or _system_of(written))
    answer = set_up(subject.id, written, known)
    system = units or system
    cares = cautions_of(Step(work=subject.work))
    if as_json:
        click.echo(json.dumps(_document(answer, cares, system), ensure_ascii=False))
        return
    again = f"wringout set-up {subject.id} --cautions"
    click.echo("\n".join(_text(answer, cares, system, again, all_cautions)))


def _system_of(written: Mapping[str, str]) -> UnitSystem:
    """The reader's units, told by what was written: SI where no option is in a unit of inches and pounds."""
    marks = ("degF", "cfm", "gpm", "inWC", " in", "ft", "psi", "Btu", "MBH", "ton", "lb/h", "gal")
    text = " ".join(written.values())
    si = ("degC", "m3", "L/", " L", "Pa", "kW", "mm", "kg/h", " m", " K", "bar")
    return "si" if any(mark in text for mark in si) and not any(mark in text for mark in marks) else "ip"


def _known(document: str | None, system: UnitSystem) -> tuple[Known, UnitSystem]:
    """The unit and the last readings of the document."""
    from wringout.catalogue.calls import load_document
    from wringout.documents.call import Call
    from wringout.documents.overview import system_of
    from wringout.documents.unit import Unit
    from wringout.errors import InputError
    from wringout.setting_up.inputs import Known

    if document is None:
        return Known(), system
    loaded = load_document(document)
    if isinstance(loaded, Unit):
        return Known(loaded), system_of(loaded)
    if isinstance(loaded, Call):
        own = system_of(loaded.unit)
        return Known(loaded.unit, _readings(loaded, loaded.unit, own)), own
    raise InputError("this is a trend document; give the call or the unit", document)


def _readings(call: Call, unit: Unit, system: UnitSystem) -> dict[str, tuple[float, float, str]]:
    """The last reading of each point since the last change, with its standard deviation; dew points
    beside."""
    from wringout.catalogue.points import sigma
    from wringout.documents.call import Change, Reading
    from wringout.physics.moist_air import standard_pressure
    from wringout.setting_up.known import with_dew_points

    found: dict[str, tuple[float, float, str]] = {}
    for event in call.events:
        if isinstance(event, Change):
            found.clear()
        elif isinstance(event, Reading):
            spread = event.accuracy if event.accuracy is not None else sigma(event.point, event.value)
            found[event.point] = (event.value, spread, event.text)
    return with_dew_points(found, float(standard_pressure(unit.site.altitude)), system)


def _document(answer: Answer, cares: tuple[Care, ...], system: UnitSystem) -> dict[str, Any]:
    return {
        "format": SET_UP_FORMAT,
        "subject": answer.subject,
        "title": answer.title,
        "results": [_row(value, system) for value in answer.results],
        "inputs": [_input(one, system) for one in answer.inputs],
        "warnings": list(answer.warnings),
        "do": list(answer.do),
        "formula": list(answer.formula),
        "source": answer.source,
        "notes": list(answer.notes),
        "cautions": [care.id for care in cares],
    }


def _row(value: Value, system: UnitSystem) -> dict[str, Any]:
    return {
        "key": value.key,
        "name": value.name.strip(),
        "value": value.shown(system),
        "spread": value.spread(system) or None,
        "si": value.value,
        "sigma_si": value.sigma,
        "dimension": value.dimension,
        "mostly": value.mostly or None,
    }


def _input(one: Value | Word, system: UnitSystem) -> dict[str, Any]:
    from wringout.setting_up.answer import Word

    own = {"key": one.key, "name": one.name, "mark": one.mark, "source": one.source}
    if isinstance(one, Word):
        return {**own, "value": one.text}
    return {**_row(one, system), **own}


def _text(
    answer: Answer, cares: tuple[Care, ...], system: UnitSystem, again: str, all_cautions: bool
) -> list[str]:
    from wringout.cli.cautions_text import every_caution, short_cautions
    from wringout.cli.layout import heading, item, paragraph

    lines = [heading(answer.title.upper()), ""]
    lines += every_caution(cares) if all_cautions else short_cautions(cares, f"All cautions: {again}.")
    lines += ["", heading("ANSWER (computed; +- is one standard deviation)")]
    lines += _rows([(value.name, _with_spread(value, system)) for value in answer.results])
    doubt = next((value.mostly for value in answer.results if value.mostly), "")
    if doubt:
        lines.append(paragraph(f"Most of the doubt comes from: {doubt}.", 2, 2))
    if answer.warnings:
        lines += ["", heading("LOOK OUT"), *(item("!", words) for words in answer.warnings)]
    lines += ["", heading("DO"), *(item(f"{n}.", words) for n, words in enumerate(answer.do, 1))]
    for mark in ("given", "assumed", "computed"):
        taken = [one for one in answer.inputs if one.mark == mark]
        if taken:
            lines += ["", heading(f"FROM: {mark}")]
            lines += [_taken(one, system) for one in taken]
    lines += ["", heading("FORMULA"), *(paragraph(words, 2, 2) for words in answer.formula)]
    lines.append(paragraph(f"Source: {answer.source}.", 2, 2))
    return lines + [paragraph(words, 2, 2) for words in answer.notes]


def _rows(rows: list[tuple[str, str]]) -> list[str]:
    """Name and value in a line where both fit, the value under the name where not."""
    from wringout.cli.layout import paragraph, width

    wide = max(len(name) for name, _ in rows) + 4
    if wide + max(len(text) for _, text in rows) > width():
        return [line for name, text in rows for line in (paragraph(name, 2, 2), paragraph(text, 6, 2))]
    return [f"  {name:<{wide - 2}}{text}" for name, text in rows]


def _with_spread(value: Value, system: UnitSystem) -> str:
    spread = value.spread(system)
    return f"{value.shown(system)} +- {spread}" if spread else value.shown(system)


def _taken(one: Value | Word, system: UnitSystem) -> str:
    from wringout.cli.layout import item
    from wringout.setting_up.answer import Word

    text = one.text if isinstance(one, Word) else _with_spread(one, system)
    source = f" ({one.source})" if one.source and one.source != "written" else ""
    return item("-", f"{one.name}: {text}{source}", 1)
