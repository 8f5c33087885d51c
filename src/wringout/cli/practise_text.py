"""A practice session in words: where it stands, what each act gave, what there is to choose from."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from wringout.catalogue.cares import ALWAYS
from wringout.catalogue.causes import applies, causes
from wringout.catalogue.points import point, points_of
from wringout.catalogue.steps import Step, cautions_of
from wringout.cli.layout import heading, item, listed, paragraph
from wringout.documents.overview import kind_in_words
from wringout.practising.call import INVENTED, complaint, state_of
from wringout.practising.session import NOT_HAD, minutes_of, spent
from wringout.weighing.evidence_words import plain, state_words

if TYPE_CHECKING:
    from collections.abc import Iterable

    from wringout.documents.unit import Unit
    from wringout.practising.hidden import Hidden
    from wringout.practising.session import Act, Session

__all__ = [
    "act_document",
    "act_lines",
    "beginning",
    "beginning_document",
    "cause_lines",
    "causes_document",
    "cautions",
    "help_lines",
    "minutes",
    "point_lines",
    "points_document",
]

FORMAT = "wringout-practise/1"


def minutes(value: float) -> str:
    """Minutes as people say them: halves, no more."""
    return f"{value:.1f}".removesuffix(".0") + " min"


def beginning(session: Session, hidden: Hidden, new: bool) -> list[str]:
    """Unit, complaint and everything read so far."""
    unit = session.unit
    lines = [
        heading(f"{INVENTED.upper()}: {unit.site.name}, {unit.name}"),
        paragraph(kind_in_words(unit)),
        paragraph(f"Complaint: {complaint(hidden)}"),
        "",
        heading("The walk-up readings" if new else "So far"),
    ]
    for one in session.acts:
        lines += _done(one)
    if state_of(session) != "auto":
        lines.append(paragraph(f"The unit stands {state_words(state_of(session))}."))
    lines.append(paragraph(f"{minutes(spent(session))} so far. `help` lists what you can do."))
    return lines


def beginning_document(session: Session, hidden: Hidden) -> dict[str, Any]:
    """The same as a plain tree."""
    return {
        "format": FORMAT,
        "about": INVENTED,
        "unit": session.unit.name,
        "complaint": complaint(hidden),
        "seed": session.seed,
        "level": session.level,
        "state": state_of(session),
        "minutes": spent(session),
        "acts": [_plain(one) for one in session.acts],
    }


def _plain(one: Act) -> dict[str, Any]:
    tree: dict[str, Any] = {"act": one.kind, "minutes": minutes_of(one)}
    if one.kind != "release":
        tree["what"] = one.what
    if one.kind == "force":
        tree["to"] = one.to
    if one.shown:
        tree["shown"] = one.shown
    return tree


def _done(one: Act) -> list[str]:
    if one.kind == "read":
        why = ": the stage stands still" if one.shown == NOT_HAD else ""
        return [item("-", f"{plain(one.what)} ({one.what}): {one.shown}{why}")]
    words = {
        "force": f"held {one.what} at {100.0 * one.to:.6g} % and waited",
        "release": "gave it back to control and waited",
        "wait": f"waited {one.what} min",
        "mend": f"mended: {causes()[one.what].title.lower() if one.what in causes() else one.what}",
        "name": f"named: {one.what or 'nothing wrong'}",
    }[one.kind]
    return [item("-", words)]


def act_lines(session: Session) -> list[str]:
    """What the last act gave, and the time gone by."""
    one = session.acts[-1]
    lines = _done(one)
    if one.kind != "name":
        lines.append(paragraph(f"{minutes(minutes_of(one))}; {minutes(spent(session))} so far", 2))
    return lines


def act_document(session: Session) -> dict[str, Any]:
    """The same as a plain tree."""
    return _plain(session.acts[-1]) | {"state": state_of(session), "total_minutes": spent(session)}


def cautions(one: Act, session: Session, said: set[str]) -> list[str]:
    """The first caution of each kind that an act brings and that was not said before."""
    if one.kind not in ("read", "force", "mend"):
        return []
    state = f"{one.what}={100.0 * one.to:.6g} %" if one.kind == "force" else "auto"
    step = Step(
        points=(one.what,) if one.kind == "read" else (),
        state=state,
        cause=one.what if one.kind == "mend" else "",
    )
    new = [care for care in cautions_of(step) if care.id not in said]
    said.update(care.id for care in new)
    return [item("!", care.text[0] if care.id == ALWAYS else f"{care.title}: {care.text[0]}") for care in new]


def points_document(unit: Unit) -> list[dict[str, Any]]:
    """The test points of a unit."""
    return [
        {"point": name, "what": plain(name), "by": point(name).by, "minutes": point(name).minutes}
        for name in points_of(unit)
    ]


def point_lines(rows: Iterable[dict[str, Any]]) -> list[str]:
    """The same in words."""
    return listed([(minutes(row["minutes"]), f"{row['point']}: {row['what']}") for row in rows])


def causes_document(unit: Unit) -> list[dict[str, str]]:
    """What can be wrong with a unit."""
    return [
        {"cause": id, "title": entry.title}
        for id, entry in causes().items()
        if applies(entry, unit) and entry.group != "none"
    ]


def cause_lines(rows: Iterable[dict[str, str]]) -> list[str]:
    """The same in words."""
    return [item("-", f"{row['cause']}: {row['title']}") for row in rows]


def help_lines(words: Iterable[tuple[str, str]]) -> list[str]:
    """What can be written, a line each."""
    return [item("-", f"{form}: {means}") for form, means in words]
