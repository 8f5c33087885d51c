"""A first unit document from a few answers: the answers as fields, what was assumed in comments."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import get_args

from wringout.documents.fields import measure_of, nearest, within
from wringout.documents.load import unit_from_text
from wringout.documents.measure import Measure, Part
from wringout.documents.overview import Entry, overview, system_of
from wringout.documents.unit import UNIT_FORMAT, Refrigerant, Unit
from wringout.errors import InputError
from wringout.quantity import Dimension, parse

__all__ = ["Question", "QUESTIONS", "asked", "checked", "draft"]

Answers = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Question:
    """One question: its key, its words, what is taken, and where the answer belongs."""

    key: str
    words: str
    default: str
    path: str
    choices: tuple[str, ...] = ()
    when: Callable[[Answers], bool] = lambda answers: True


def _is(key: str, word: str) -> Callable[[Answers], bool]:
    return lambda answers: answers.get(key) == word


VALVES = ("three_mixing", "three_diverting", "two")
QUESTIONS: tuple[Question, ...] = (
    Question("name", "Name of the unit", "Unit 1", "name"),
    Question("site", "Name of the building", "Building", "site.name"),
    Question("altitude", "Altitude of the site, in ft or m", "0 ft", "site.altitude"),
    Question("airflow", "Design supply airflow, in cfm or m3/s", "9000 cfm", "air.supply_airflow"),
    Question("cooling", "Cooling", "dx", "cooling.kind", ("dx", "chilled_water")),
    Question("stages", "Number of cooling stages", "2", "cooling.stages", when=_is("cooling", "dx")),
    Question(
        "modulating", "Does the first stage modulate", "no", "", ("yes", "no"), when=_is("cooling", "dx")
    ),
    Question(
        "reheat", "Reheat", "hot_water", "reheat.kind", ("hot_water", "hot_gas"), when=_is("cooling", "dx")
    ),
    Question(
        "valve", "Reheat valve", "three_mixing", "reheat.valve", VALVES, when=_is("reheat", "hot_water")
    ),
    Question(
        "source",
        "Heat for the water from",
        "boiler",
        "source.kind",
        ("reclaim", "boiler"),
        when=_is("reheat", "hot_water"),
    ),
    Question(
        "refrigerant",
        "Refrigerant whose heat is recovered",
        "R744",
        "source.refrigerant",
        get_args(Refrigerant),
        when=_is("source", "reclaim"),
    ),
    Question("space_t", "Space temperature set point", "75 degF", "control.space_t"),
    Question("dew_point", "Dew-point set point", "55 degF", "control.dew_point"),
)
MAX_STAGES = 12
_PLAIN = re.compile(r"[-+]?[0-9.]+ [A-Za-z%][A-Za-z0-9_/%]*")


def asked(answers: Answers) -> Question | None:
    """The next question that these answers leave open; None when there is none."""
    known = _implied(answers)
    return next((q for q in QUESTIONS if q.key not in known and q.when(known)), None)


def checked(key: str, text: str) -> str:
    """An answer as it goes into the document.

    Raises
    ------
    InputError
        For a key that is no question, or an answer that is not taken.
    """
    question = next((question for question in QUESTIONS if question.key == key), None)
    if question is None:
        raise InputError(f"there is no such question{nearest(key, [q.key for q in QUESTIONS])}", key[:40])
    text = " ".join(text.split())
    if question.choices and text not in question.choices:
        raise InputError(f'"{text[:40]}" is not taken; answer {" or ".join(question.choices)}', key)
    if key == "stages":
        if not (text.isdecimal() and text.isascii() and len(text) < 4 and 1 <= int(text) <= MAX_STAGES):
            raise InputError(f'"{text[:40]}" is not taken; answer a number from 1 to {MAX_STAGES}', key)
        return text
    measure = _measure_at(question.path)
    if measure is not None:
        try:
            found = parse(text, measure.dimension)
            within(found.value, found.unit, measure)
        except InputError as error:
            raise InputError(error.message, key) from None
        return found.text
    if not text or not text.isprintable() or len(text) > 200:
        raise InputError("wanted a line of words", key)
    return text


def draft(answers: Answers) -> str:
    """The unit document that the answers make, as YAML.

    Parameters
    ----------
    answers : Mapping
        Key of a question to its answer; what is missing takes the question's default.

    Returns
    -------
    str
        A valid document: answers as fields, assumed values as comments that can be opened.

    Raises
    ------
    InputError
        For answers that are not taken or contradict one another.
    """
    known = {key: checked(key, text) for key, text in answers.items()}
    while (question := asked(known)) is not None:
        known[question.key] = question.default
    known = _implied(known)
    for question in QUESTIONS:
        if question.key in answers and not question.when(known) and question.key != "reheat":
            raise InputError("does not fit the other answers; leave it out", question.key)
    if "altitude" not in answers:
        del known["altitude"]  # assumed like any other value that nobody gave
    unit = unit_from_text(_bare(known), "the answers")
    return _rendered(unit)


def _implied(answers: Answers) -> dict[str, str]:
    """Chilled water leaves one kind of reheat only: hot gas needs stages of its own."""
    known = dict(answers)
    if known.get("cooling") == "chilled_water":
        if known.get("reheat") == "hot_gas":
            raise InputError("hot gas needs cooling by dx: chilled water has no discharge gas", "reheat")
        known["reheat"] = "hot_water"
    return known


def _measure_at(path: str) -> Measure | None:
    fields = Unit.model_fields
    *parents, leaf = path.split(".")
    for parent in parents:
        annotation = fields[parent].annotation
        fields = next(
            part.model_fields
            for part in (annotation, *get_args(annotation))
            if isinstance(part, type) and issubclass(part, Part)
        )
    return measure_of(fields[leaf]) if leaf in fields else None


def _bare(known: Answers) -> str:
    """The shortest document that holds the answers; JSON is YAML too, and needs no quoting rules."""
    cooling: dict[str, object] = {"kind": known["cooling"]}
    if known["cooling"] == "dx":
        stages = [{"id": f"c{number}"} for number in range(1, int(known["stages"]) + 1)]
        if known["modulating"] == "yes":
            stages[0]["modulating"] = "yes"
        cooling["stages"] = stages
    reheat: dict[str, object] = {"kind": known["reheat"]}
    tree: dict[str, object] = {
        "format": UNIT_FORMAT,
        "name": known["name"],
        "site": {"name": known["site"]} | {key: known[key] for key in ("altitude",) if key in known},
        "air": {"supply_airflow": known["airflow"]},
        "cooling": cooling,
        "reheat": reheat,
    }
    if known["reheat"] == "hot_water":
        ways, _, placement = known["valve"].partition("_")
        reheat["valve"] = {"ways": ways, **({"placement": placement} if placement else {})}
        source = {"kind": known["source"]}
        if known["source"] == "reclaim":
            source["refrigerant"] = known["refrigerant"]
        tree["source"] = source
    tree["control"] = {"dew_point": known["dew_point"], "space_t": known["space_t"]}
    return json.dumps(tree, ensure_ascii=False)


HEADER = """\
# Unit document: what the machine is meant to be. Every quantity is written with its unit.
# Lines that begin with # are assumed by a rule of the trade: take the # away and write
# what nameplate, schedule or sequence say. `wringout check` lists what is still assumed.
"""


def _rendered(unit: Unit) -> str:
    lines = [HEADER + f"format: {UNIT_FORMAT}"]
    open_blocks: list[str] = []
    stages_done = False
    for entry in overview(unit, system_of(unit)):
        if entry.path.startswith("cooling.stages."):
            if not stages_done:
                lines.append("  stages:                     # in the order they are called")
                lines += _stage_lines(unit)
                stages_done = True
            continue
        *parents, leaf = entry.path.split(".")
        same = 0
        while same < min(len(parents), len(open_blocks)) and parents[same] == open_blocks[same]:
            same += 1
        for depth in range(same, len(parents)):
            lines.append(f"{'  ' * depth}{parents[depth]}:")
        open_blocks = parents
        lines.append(_field_line(entry, leaf, "  " * len(parents)))
    return "\n".join(lines) + "\n"


def _field_line(entry: Entry, leaf: str, indent: str) -> str:
    value = _scalar(entry)
    if entry.given:
        return f"{indent}{leaf}: {value}"
    line = f"# {indent}{leaf}: {value}"
    return f"{line:<44} # {entry.provenance.rule}"


def _stage_lines(unit: Unit) -> list[str]:
    lines = []
    for stage in unit.cooling.stages:
        modulating = ", modulating: yes" if stage.modulating else ""
        assumed = f"share: {100 * stage.share:.4g} %, current: {stage.current:.3g} A"
        lines.append(f"    - {{id: {stage.id}{modulating}}}  # assumed, add inside: {assumed}")
    return lines


def _scalar(entry: Entry) -> str:
    text = entry.shown
    if entry.path in ("name", "site.name"):
        return json.dumps(text, ensure_ascii=False)
    if _PLAIN.fullmatch(text) or re.fullmatch(r"[A-Za-z][A-Za-z0-9_]*", text):
        return text
    measure = _measure_at(entry.path)
    if measure is not None and measure.dimension is not Dimension.COUNT:
        found = parse(text, measure.dimension)
        if found.text.split(" ")[0].replace(".", "").isdecimal():
            return f"{found.text.split(' ')[0]} {found.unit}"
    return json.dumps(text, ensure_ascii=False)
