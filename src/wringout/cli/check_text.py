"""Next checks as text: cautions first, then where, how long, and what the reading would tell."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from wringout.catalogue.cares import ALWAYS, cares_for
from wringout.catalogue.steps import Step, care_ids
from wringout.cli.layout import chance, heading, item, paragraph
from wringout.weighing.evidence import best_with
from wringout.weighing.evidence_words import foretold_words, plain, set_title, state_words
from wringout.weighing.outlook import Outlook

if TYPE_CHECKING:
    from collections.abc import Sequence

    from wringout.quantity import UnitSystem
    from wringout.weighing.answer import Answer
    from wringout.weighing.next_check import Check

__all__ = ["best_sets", "cares_of", "checks_text", "none_left", "what_it_tells", "worth_asking"]

SEED = 2
MOST_SETS = 3
WORTH_ASKING = 0.05  # bits
AGAIN = (
    "It was read before, and the answer leans on it: a slip would show. Best with another instrument, or by "
    "another hand."
)
LEAST = 0.02  # a set that is less probable is not worth a line here


def worth_asking(answer: Answer, most: int) -> list[Check]:
    """The next checks in their order, each point once, without those that would tell next to nothing."""
    found: dict[str, Check] = {}
    for check in answer.next:
        if check.gain_bits >= WORTH_ASKING:
            found.setdefault(check.point, check)
    return list(found.values())[:most]


def cares_of(check: Check) -> tuple[str, ...]:
    """Ids of the cautions for a check: those of the place, and of holding something by hand."""
    return care_ids(Step(points=(check.point,), state=check.state))


def best_sets(answer: Answer) -> tuple[tuple[int, float, tuple[str, ...]], ...]:
    """The most probable sets worth a line: their best hypothesis, probability and causes."""
    found = []
    for one in answer.sets[:MOST_SETS]:
        if one.probability < LEAST:
            break
        index = _best_of(answer, one.causes)
        if index is not None:
            found.append((index, one.probability, one.causes))
    return tuple(found)


def _best_of(answer: Answer, names: tuple[str, ...]) -> int | None:
    if not names:
        return best_with(answer, "")
    same = [i for i, h in enumerate(answer.weighed.hypotheses) if h.causes == names]
    return max(same, key=lambda i: float(answer.weights[i])) if same else None


def what_it_tells(answer: Answer, outlook: Outlook, check: Check, system: UnitSystem) -> list[str]:
    """What the check would read under each of the most probable sets, a line each; of a point that was read
    before, why it is worth reading again."""
    if check.again:
        return [AGAIN]
    told = outlook.foretold(check.state, check.point)
    at = dict(zip(outlook.indices, told, strict=True)) if told else {}
    lines = []
    for index, probability, names in best_sets(answer):
        if index in at:
            value = foretold_words(check.point, at[index], system)
            lines.append(f"{value}: {set_title(names)} ({chance(probability)})")
    return lines


def checks_text(answer: Answer, most: int, system: UnitSystem) -> list[str]:
    """The next checks in short; those that would tell next to nothing are not worth anybody's minutes."""
    if most == 0:
        return []
    following = worth_asking(answer, most)
    lines = ["", heading("NEXT CHECKS, most told per minute first")]
    if not following:
        return [*lines, paragraph(none_left(answer))]
    lines += _short_cautions(following)
    outlook = Outlook(answer, [index for index, _, _ in best_sets(answer)], np.random.default_rng(SEED))
    for number, check in enumerate(following, 1):
        once_more = ", once more" if check.again else ""
        lines += ["", item(f"{number}.", f"{plain(check.point)} ({check.point}){once_more}")]
        worth = f"{check.minutes:.3g} min; expected to tell {check.gain_bits:.2f} bits"
        lines.append(paragraph(f"{state_words(check.state)}; {worth}", 3, 2))
        lines += [item("-", words, 3) for words in what_it_tells(answer, outlook, check, system)]
    return lines


def none_left(answer: Answer) -> str:
    """That no check is worth its minutes, and how little the best would tell."""
    best = max((check.gain_bits for check in answer.next), default=0.0)
    return f"None is worth its minutes: the best would tell {best:.2f} bits."


def _short_cautions(following: Sequence[Check]) -> list[str]:
    """The first caution of each kind, with the checks that it is for; `wringout next` gives all."""
    lines = [item("!", f"{cares_for(())[0].text[0]} All cautions: wringout next.")]
    for care in cares_for([id for check in following for id in cares_of(check)]):
        if care.id != ALWAYS:
            numbers = [str(n) for n, check in enumerate(following, 1) if care.id in cares_of(check)]
            lines.append(item("!", f"{' and '.join(numbers)}, {care.title.lower()}: {care.text[0]}"))
    return lines
