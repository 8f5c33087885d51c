"""What a practice session looks like afterwards, in words and as a document; no marks are given."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from wringout.catalogue.causes import causes
from wringout.cli.layout import chance, heading, item, paragraph
from wringout.cli.practise_text import minutes
from wringout.practising.call import INVENTED
from wringout.practising.review import ENOUGH, first_said, named
from wringout.practising.session import minutes_of, spent
from wringout.weighing.evidence_words import plain, set_title, state_words

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from wringout.practising.hidden import Hidden
    from wringout.practising.review import Step
    from wringout.practising.session import Session

__all__ = ["REVIEW_FORMAT", "review_document", "review_lines"]

REVIEW_FORMAT = "wringout-practise-review/1"
LEANING = 0.5  # more likely than not


def review_lines(
    session: Session, hidden: Hidden, own: Iterable[Step], best: Iterable[Step]
) -> Iterator[str]:
    """What was hidden and named, then step by step as it is weighed."""
    yield ""
    yield from _hidden(session, hidden)
    yield ""
    yield heading("WHAT YOUR READINGS SAID, weighed after each")
    steps = []
    for step in own:
        steps.append(step)
        yield from _step(step)
    yield from _when(steps)
    yield ""
    yield heading("THE WAY OF THE NEXT CHECK, from the walk-up on")
    way = []
    for step in best:
        way.append(step)
        yield from _step(step, with_next=False)
    yield ""
    yield from _minutes(session, hidden, way)
    yield paragraph(f"{INVENTED}: no such unit is broken.")


def _hidden(session: Session, hidden: Hidden) -> Iterator[str]:
    yield heading("WHAT WAS HIDDEN")
    if not hidden.causes.parts:
        yield paragraph("Nothing: the machine is as healthy as machines are.")
    for part in hidden.causes.parts:
        way = f", {part.variant.label}" if part.variant.label else ""
        yield item("-", f"{causes()[part.cause].title} ({part.cause}){way}. {causes()[part.cause].statement}")
    truth, said = set(hidden.causes.causes), set(named(session))
    yield paragraph(f"You named: {', '.join(sorted(said)) or 'nothing wrong'}.")
    if truth == said:
        yield paragraph("That is what was hidden.")
        return
    if truth - said:
        yield paragraph(f"Hidden and not named: {', '.join(sorted(truth - said))}.")
    if said - truth:
        yield paragraph(f"Named and not hidden: {', '.join(sorted(said - truth))}.")


def _step(step: Step, with_next: bool = True) -> Iterator[str]:
    if step.act is None:
        what = "the walk-up readings"
    else:
        state = "" if step.state == "auto" else f", {state_words(step.state)}"
        what = f"{plain(step.act.what)}{state}: {step.act.shown}"
    yield item("-", f"{minutes(step.minutes)}: {what}")
    words = f"What was hidden: {chance(step.hidden)}."
    if step.hidden < step.probability:
        words += f" Likeliest: {set_title(step.likeliest)}, {chance(step.probability)}."
    yield paragraph(words, 2)
    if not with_next:
        return
    check = step.following
    if check is None:
        yield paragraph("Best next check: none is worth its minutes.", 2)
    else:
        state = "" if check.state == "auto" else f", {state_words(check.state)}"
        told = f"{minutes(check.minutes)}, expected to tell {check.gain_bits:.2f} bits"
        yield paragraph(f"Best next check: {plain(check.point)}{state} ({told}).", 2)


def _when(steps: list[Step]) -> Iterator[str]:
    leaning, sure = first_said(steps, LEANING), first_said(steps, ENOUGH)
    if leaning is None:
        yield paragraph("In the end your readings did not make what was hidden more likely than not.")
        return
    words = f"From {minutes(leaning.minutes)} on they made what was hidden more likely than not"
    if sure is not None:
        words += (
            ", at once four in five"
            if sure.minutes == leaning.minutes
            else f", from {minutes(sure.minutes)} on four in five"
        )
    yield paragraph(f"{words}.")


def _minutes(session: Session, hidden: Hidden, way: list[Step]) -> Iterator[str]:
    end = way[-1]
    checking = sum(minutes_of(one) for one in session.acts if one.kind not in ("mend", "wait"))
    rest = spent(session) - checking
    apart = f", {minutes(rest)} of them on repairs and waiting" if rest else ""
    yield heading("MINUTES")
    yield paragraph(f"You took {minutes(spent(session))}{apart}.")
    right = end.likeliest == tuple(sorted(hidden.causes.causes))
    lead = f"{set_title(end.likeliest)} ({chance(end.probability)})"
    meant = "was hidden" if right else "was not hidden: readings can mislead, and the advice with them"
    yield paragraph(
        f"The way of the next check took {minutes(end.minutes)} and came to {lead}, which {meant}."
    )


def review_document(session: Session, hidden: Hidden, own: list[Step], best: list[Step]) -> dict[str, Any]:
    """The same as a plain tree."""
    leaning, sure = first_said(own, LEANING), first_said(own, ENOUGH)
    return {
        "format": REVIEW_FORMAT,
        "about": INVENTED,
        "hidden": [
            {"cause": part.cause, "which": part.variant.label, "shares_of_range": [round(u, 4) for u in at]}
            for part, at in zip(hidden.causes.parts, hidden.severities, strict=True)
        ],
        "named": list(named(session)),
        "minutes": spent(session),
        "more_likely_than_not_at": leaning.minutes if leaning else None,
        "four_in_five_at": sure.minutes if sure else None,
        "own": [_plain(step) for step in own],
        "best": [_plain(step) for step in best],
        "best_minutes": best[-1].minutes,
    }


def _plain(step: Step) -> dict[str, Any]:
    check = step.following
    return {
        "minutes": step.minutes,
        "state": step.state,
        "point": step.act.what if step.act else None,
        "shown": step.act.shown if step.act else None,
        "hidden": round(step.hidden, 4),
        "likeliest": list(step.likeliest),
        "probability": round(step.probability, 4),
        "next": None
        if check is None
        else {
            "state": check.state,
            "point": check.point,
            "minutes": check.minutes,
            "gain_bits": round(check.gain_bits, 4),
        },
    }
