"""The report's section on earlier visits: what was done and left, and what was found otherwise this time."""

from __future__ import annotations

from wringout.catalogue.points import shown
from wringout.history.differences import CLEAR
from wringout.history.visits import Visit
from wringout.report.blocks import Block, Heading, Items, Paragraph, Table, clean
from wringout.report.findings import Findings
from wringout.showing.visits import History, difference_words, settings_left
from wringout.showing.words import pretty
from wringout.weighing.evidence_words import plain, title

__all__ = ["earlier_visits"]

MOST = 10
LONGEST = 200  # of a complaint here; each visit has its own report


def earlier_visits(f: Findings) -> list[Block]:
    """The section, where calls of earlier visits were given."""
    if f.history is None:
        return []
    own = {event.at.replace(tzinfo=None) for event in f.call.events}
    rows = tuple(_row(visit, f) for visit in f.history.visits if visit.first not in own)
    caption = "Left: what was read after the last change, under its own control."
    table = Table(caption, ("Visit", "Complaint", "Changed", "Left"), rows, (0.9, 1.4, 1.5, 1.8))
    return [Heading("Earlier visits"), table, *_otherwise(f.history, f)]


def _row(visit: Visit, f: Findings) -> tuple[str, ...]:
    changed = "; ".join(clean(change.text) or title(change.cause or "") for change in visit.changes)
    left = "; ".join(
        f"{plain(one.reading.point)} {pretty(shown(one.reading.point, one.reading.value, f.system))}"
        for one in settings_left(visit)
    )
    if visit.left_held is not None:
        held = f"{visit.left_held.item} left held at {100.0 * visit.left_held.to:.3g} %"
        left = f"{left}; {held}" if left else held
    return (
        f"{visit.first:%Y-%m-%d}",
        clean(visit.complaint)[:LONGEST] or "none written down",
        changed or "nothing",
        left or "nothing read",
    )


def _otherwise(history: History, f: Findings) -> list[Block]:
    if history.left is None:
        return [Paragraph("No reading shows how the unit was left, so nothing is compared.")]
    when = f"{history.left.last:%Y-%m-%d}"
    clear = [one for one in history.found if one.differs]
    if not history.found:
        return [Paragraph(f"Too little was read on {when} and now to compare.")]
    if not clear:
        return [
            Paragraph(f"All {len(history.found)} points compared read as the unit left on {when} would now.")
        ]
    return [
        Paragraph(
            f"Found otherwise than left on {when}: settings one to one, readings against what the machine as "
            "it was left would read in the weather, room and controls of now (computed). From "
            f"{CLEAR:g} standard deviations:"
        ),
        Items(tuple(("", pretty(difference_words(one, f.system)) + ".") for one in clear[:MOST])),
    ]
