"""``wringout next``: the checks that tell most per minute, with where, how, why and how long."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import click

from wringout.cli.known_unit import fingerprint_option, known_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from wringout.quantity import UnitSystem
    from wringout.weighing.answer import Answer
    from wringout.weighing.next_check import Check
    from wringout.weighing.outlook import Outlook

__all__ = ["NEXT_FORMAT", "command", "ties_document"]

NEXT_FORMAT = "wringout-next/1"
SEED = 0


@click.command(
    "next",
    epilog="Exit codes: 0 answered, 1 our fault, 2 something in the input to mend (the message names file, "
    "line and field). Example: wringout next call.yaml -n 5",
)
@click.argument("call", metavar="CALL", type=click.Path())
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead of words.")
@click.option(
    "-n", "count", type=click.IntRange(1, 200), default=3, show_default=True, help="How many checks."
)
@click.option(
    "--units",
    type=click.Choice(["ip", "si"]),
    default=None,
    help="Units of the words; without it, those of the unit document.",
)
@fingerprint_option
def command(
    call: str, as_json: bool, count: int, units: UnitSystem | None, fingerprint_path: str | None
) -> None:
    """What to read next at the unit of CALL: where, how, why and how long, cautions first."""
    import numpy as np

    from wringout.cli.check_text import worth_asking
    from wringout.cli.weigh import load
    from wringout.documents.overview import system_of
    from wringout.weighing.answer import weigh

    loaded = load(call)
    known = known_of(fingerprint_path, loaded)
    answer = weigh(loaded, np.random.default_rng(SEED), known=known)
    following = worth_asking(answer, count)
    system = units or system_of(loaded.unit)
    if as_json:
        document = _document(following) | {"ties": ties_document(answer, system)}
        click.echo(json.dumps(document, ensure_ascii=False))
        return
    click.echo("\n".join(_text(answer, following, system)))


def _steps(state: str, names: Sequence[str], again: frozenset[str] = frozenset()) -> list[str]:
    """What to do for some readings in one state, in order; ``again`` are points that were read before."""
    from wringout.catalogue.points import point
    from wringout.showing.words import INSTRUMENT
    from wringout.weighing.evidence_words import plain
    from wringout.weighing.next_check import SETTLE_MINUTES

    reads = [
        f"Read {plain(name)} ({name}) {'once more ' if name in again else ''}by {INSTRUMENT[point(name).by]}."
        for name in names
    ]
    if state == "auto":
        return reads
    item, _, share = state.partition("=")
    what = "the reheat command" if item == "reheat.command" else "the cooling call"
    return [
        f"Tell the people of the place; then hold {what} at {share} at the controller "
        f"(kind: force, item: {item}, to: {share}).",
        f"Wait {SETTLE_MINUTES:.0f} min until the unit has settled.",
        *reads,
        f"Release it to control again (kind: release, item: {item}).",
    ]


def _minutes(checks: Sequence[Check]) -> float:
    """What the steps of readings in one state take: what is held is waited for, whether it was held before
    or not."""
    from wringout.catalogue.points import point
    from wringout.weighing.next_check import SETTLE_MINUTES

    wait = SETTLE_MINUTES if checks[0].state != "auto" else 0.0
    return sum(point(check.point).minutes for check in checks) + wait


def _again(checks: Sequence[Check]) -> frozenset[str]:
    return frozenset(check.point for check in checks if check.again)


def _document(following: Sequence[Check]) -> dict[str, Any]:
    from wringout.catalogue.points import point
    from wringout.cli.check_text import cares_of
    from wringout.weighing.evidence_words import plain

    return {
        "format": NEXT_FORMAT,
        "next": [
            {
                "state": check.state,
                "point": check.point,
                "what": plain(check.point),
                "by": point(check.point).by,
                "care": list(dict.fromkeys(cares_of(check))),
                "minutes": _minutes([check]),
                "gain_bits": round(check.gain_bits, 4),
                "again": check.again,
                "steps": _steps(check.state, [check.point], _again([check])),
            }
            for check in following
        ],
    }


def ties_document(answer: Answer, system: UnitSystem) -> list[dict[str, Any]]:
    """Suspects that no reading tells apart, with what would: ids (empty for nothing wrong), the bits of the
    best reading that is left, and sentences."""
    import numpy as np

    from wringout.weighing.evidence_words import tie_words
    from wringout.weighing.outlook import ties

    return [
        {
            "suspects": [tie.first, tie.second],
            "best_bits": round(tie.best.bits, 4) if tie.best else 0.0,
            "said": list(tie_words(tie, system)),
        }
        for tie in ties(answer, np.random.default_rng(SEED))
    ]


def _text(answer: Answer, following: Sequence[Check], system: UnitSystem) -> list[str]:
    import numpy as np

    from wringout.catalogue.steps import Step, cautions_of
    from wringout.cli.cautions_text import every_caution
    from wringout.cli.check_text import best_sets, none_left
    from wringout.cli.layout import heading, paragraph
    from wringout.weighing.outlook import Outlook

    if not following:
        return [paragraph(none_left(answer))]
    steps = [Step(points=(check.point,), state=check.state) for check in following]
    lines = [heading("CAUTIONS FIRST"), *every_caution(cautions_of(*steps))]
    outlook = Outlook(answer, [index for index, _, _ in best_sets(answer)], np.random.default_rng(SEED))
    groups: dict[str, list[Check]] = {}
    for number, check in enumerate(following):
        # readings in one held state go together and wait once; as the unit runs each stands for itself
        key = check.state if check.state != "auto" else f"{number}"
        groups.setdefault(key, []).append(check)
    for number, checks in enumerate(groups.values(), 1):
        lines += ["", *_group(answer, outlook, number, checks, system)]
    for tie in ties_document(answer, system):
        lines += ["", *(paragraph(words, 0, 2) for words in tie["said"])]
    return lines


def _group(
    answer: Answer, outlook: Outlook, number: int, checks: Sequence[Check], system: UnitSystem
) -> list[str]:
    from wringout.cli.check_text import what_it_tells
    from wringout.cli.layout import heading, item, paragraph
    from wringout.weighing.evidence_words import plain, state_words

    state = checks[0].state
    minutes = _minutes(checks)
    bits = ", ".join(f"{check.gain_bits:.2f}" for check in checks)
    names = "; ".join(plain(check.point) for check in checks)
    lines = [heading(f"{number}. {names}")]
    lines.append(paragraph(f"{state_words(state)}; {minutes:.3g} min; expected to tell {bits} bits", 3, 2))
    lines += [
        item(f"{step}.", words, 3)
        for step, words in enumerate(_steps(state, [c.point for c in checks], _again(checks)), 1)
    ]
    for check in checks:
        told = what_it_tells(answer, outlook, check, system)
        if told:
            what = f" of {plain(check.point)}" if len(checks) > 1 else ""
            why = f"Why{what}:" if check.again else f"Why: it would tell apart by{what}"
            lines.append(paragraph(why, 3, 2))
            lines += [item("-", words, 3) for words in told]
    return lines
