"""The answer of ``wringout prove`` in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from wringout.cli.layout import heading, item, paragraph
from wringout.showing.proof_words import (
    MARKS,
    VERDICTS,
    comparison_words,
    criterion_words,
    looked_words,
    ranked,
    repair_words,
    spans_words,
    test_words,
)
from wringout.trends.finding import shower

if TYPE_CHECKING:
    from wringout.documents.unit import Unit
    from wringout.proof.acceptance import Proof
    from wringout.quantity import UnitSystem

__all__ = ["proof_lines"]


def proof_lines(found: Proof, unit: Unit, system: UnitSystem) -> list[str]:
    """The answer for a terminal.

    Parameters
    ----------
    found : Proof
    unit : Unit
    system : {'ip', 'si'}

    Returns
    -------
    list of str
    """
    lines = [
        heading(VERDICTS[found.verdict]),
        paragraph(repair_words(found)),
        paragraph(looked_words(found)),
        "",
    ]
    for c in ranked(found):
        lines.append(item(f"{MARKS[c.verdict]:>5}", f"{c.name}: {criterion_words(c, system)}"))
        if c.verdict == "untested" and (test := test_words(c, unit, system)):
            lines.append(paragraph(test, 6))
        if when := spans_words(c):
            lines.append(paragraph(when, 6))
    if found.moisture is not None:
        lines += ["", heading("Moisture in the days since")]
        lines.append(paragraph(found.moisture.says(shower(system))))
        lines += [item("-", words) for words in found.moisture.each_day(shower(system))]
    if found.comparison is not None:
        told, ranges = comparison_words(found.comparison, found.cause, system)
        lines += ["", heading("Before against after, in the same weather")]
        lines += [*(item("-", words) for words in told), paragraph(ranges)]
    return lines
