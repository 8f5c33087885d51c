"""The catalogue as pages to read: ``docs/causes.md`` and ``docs/cautions.md`` are written from here."""

from __future__ import annotations

import re
from collections.abc import Iterable

from wringout.catalogue.cares import ALWAYS, Care, cares
from wringout.catalogue.cause import GROUPS, Cause, Choice, Span
from wringout.catalogue.causes import beyond_design_share, causes, count_prior
from wringout.catalogue.steps import works

__all__ = ["causes_page", "cautions_page"]

_HEADINGS = {
    "air": "Air",
    "cooling": "Cooling",
    "valve_and_signal": "Reheat valve and its signal",
    "water": "Water loop",
    "heat_source": "Heat source",
    "sensors_and_program": "Sensors and program",
    "building": "Building",
    "none": "Not a fault",
}
_KINDS = {
    "dx": "direct expansion",
    "modulating_stage": "a modulating stage",
    "chilled_water": "chilled water",
    "hot_water": "hot-water reheat",
    "hot_gas": "hot-gas reheat",
    "three_way": "a three-way valve",
    "two_way": "a two-way valve",
    "reclaim": "recovered heat",
    "upstream": "a service-water exchanger before it",
    "boiler": "a boiler",
}
_SIGNS = {"none": "", "up": ", reads high", "down": ", reads low", "either": ", either way"}
_POINT = re.compile(r"\b([a-z_]+\.(?:<id>\.)?[a-z_]{1,}(?:=\d+ %)?)(?<!\.)")


def causes_page() -> str:
    """Every cause as Markdown, in the groups in which it is shown.

    Returns
    -------
    str
        The page, with a line end.
    """
    counts = ", ".join(f"{count}: {p:.0%}" for count, p in count_prior().items())
    lines = [
        "# What can be wrong",
        "",
        "This page is written by `make docs` from `src/wringout/catalogue/causes.yaml`; change it there.",
        "",
        "Each cause is a physical statement that acts on the machine. What it does to the readings is",
        "computed; the words below are for people. Weights rank single faults against each other before the",
        "first reading. They are weak on purpose, and say where they come from.",
        "",
        f"How many faults a call has, before the first reading (judgement): {counts}. Of the calls",
        f"without a fault, {beyond_design_share():.0%} are taken to be weather beyond design (judgement).",
        "",
        "The cautions named with each remedy are on [their own page](cautions.md). Local codes and licensed",
        "practice come first.",
        "",
    ]
    for group in GROUPS:
        lines += [f"- [{_HEADINGS[group]}](#{_anchor(_HEADINGS[group])})"]
    for group in GROUPS:
        lines += ["", f"## {_HEADINGS[group]}"]
        for cause in causes().values():
            if cause.group == group:
                lines += _entry(cause)
    return "\n".join(lines) + "\n"


def cautions_page() -> str:
    """Every group of cautions as Markdown.

    Returns
    -------
    str
        The page, with a line end.
    """
    lines = [
        "# Cautions",
        "",
        "This page is written by `make docs` from `src/wringout/catalogue/cares.yaml`; change it there.",
        "",
        "What can hurt where somebody measures or mends, and the usual cautions. They are shown beside each",
        "reading and each step of a remedy that needs them. They replace no training, permit or manual.",
    ]
    for care in cares().values():
        lines += _care(care)
    lines += [
        "",
        "## What brings which",
        "",
        "A step is told by its properties: the instrument, the place, what is held by hand, what a remedy",
        "says to do. Each brings its cautions, beside those that a point, a cause or a subject names itself.",
        "",
        "| when | cautions |",
        "| --- | --- |",
        *(
            f"| {work.means} | {', '.join(_own_linked(id) for id in work.cares)} |"
            for work in works().values()
        ),
    ]
    return "\n".join(lines) + "\n"


def _entry(cause: Cause) -> list[str]:
    lines = ["", f"### {cause.title}", "", f"`{cause.id}`. {cause.statement}", ""]
    rows = [
        ("Whose matter", cause.side),
        ("Units", ", ".join(_KINDS[need] for need in cause.needs) or "every unit"),
        ("In the machine", cause.effect),
        *((_spaced(span.name), _span(span)) for span in cause.spans),
        *((_spaced(choice.name), _choice(choice)) for choice in cause.choices),
        ("Weight", f"{cause.weight:g} - {cause.why}"),
        ("Urgency", cause.urgency),
        ("Cautions", ", ".join(_linked(id) for id in (ALWAYS, *cause.cares))),
        ("Parts", ", ".join(cause.parts) or "none"),
    ]
    lines += ["| | |", "| --- | --- |", *(f"| {name} | {text} |" for name, text in rows)]
    lines += ["", f"**Seen if true.** {cause.expected}", "", "**What to do.**", ""]
    lines += [f"{number}. {_coded(step)}" for number, step in enumerate(cause.remedy, start=1)]
    lines += ["", f"**Proof.** {_coded(cause.verify)}", "", "**Taken for it.**", ""]
    for other in cause.similar:
        title = causes()[other.cause].title
        lines.append(
            f"- [{title}](#{_anchor(title)}): {other.tell} Read {_listed(f'`{p}`' for p in other.points)}."
        )
    return lines


def _care(care: Care) -> list[str]:
    return [
        "",
        f"## {care.title}",
        "",
        f"`{care.id}`. Shown {care.when}." if care.id == ALWAYS else f"`{care.id}`. Shown when {care.when}.",
        "",
        *(f"- {line}" for line in care.text),
    ]


def _span(span: Span) -> str:
    unit = "times" if span.unit == "x" else span.unit
    judged = " (judgement)" if span.source == "judgement" else ""
    return f"{span.low:g} to {span.high:g} {unit}{_SIGNS[span.sign]}: {span.means}{judged}"


def _choice(choice: Choice) -> str:
    return f"{' or '.join(_spaced(option) for option in choice.options)}: {choice.means}"


def _linked(id: str) -> str:
    title = cares()[id].title
    return f"[{title.lower()}](cautions.md#{_anchor(title)})"


def _own_linked(id: str) -> str:
    title = cares()[id].title
    return f"[{title.lower()}](#{_anchor(title)})"


def _anchor(heading: str) -> str:
    """The address that Markdown viewers give a heading."""
    kept = "".join(letter for letter in heading.lower() if letter.isalnum() or letter in " -")
    return kept.replace(" ", "-")


def _spaced(name: str) -> str:
    return name.replace("_", " ")


def _coded(text: str) -> str:
    """The words of a text that are test points, set as code."""
    return _POINT.sub(r"`\1`", text)


def _listed(words: Iterable[str]) -> str:
    *first, last = words
    return f"{', '.join(first)} and {last}" if first else last
