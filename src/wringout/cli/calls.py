"""``wringout calls``: what is in the record, and of one call, who wrote what."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import click

from wringout.cli.record_options import STORE_NOTE, call_named, open_record, store_option

if TYPE_CHECKING:
    from collections.abc import Mapping

    from wringout.records.events import Event
    from wringout.records.fold import Folded, Line
    from wringout.records.store import CallSummary

__all__ = ["command"]

CALLS_FORMAT = "wringout-calls/1"
RECORD_FORMAT = "wringout-record/1"
FIRST_YEAR = 2000
PARTS = (
    ("lines", "as it stands"),
    ("attachments", "attached"),
    ("withdrawn", "withdrawn"),
    ("set_aside", "kept but set aside"),
)
# what stands in front of a line already, or is for machines
LEFT_OUT = {"at", "sha256", "type", "of", "body", "reason"}


@click.command(
    "calls",
    epilog=f"{STORE_NOTE} Exit codes: 0 listed, 2 something to mend. Example: wringout calls 0c0c07398f",
)
@click.argument("call_id", metavar="[CALL_ID]", default="", required=False)
@store_option
@click.option("--json", "as_json", is_flag=True, help="Write the list as JSON.")
def command(call_id: str, store: str | None, as_json: bool) -> None:
    """List the calls in the record, the one written to last first; of CALL_ID, who wrote what.

    A beginning or an end of the id will do.
    """
    with open_record(store, create=False) as record:
        calls, names = record.calls(), record.names()
        if call_id:
            wanted = call_named(record, call_id)
            calls = tuple(call for call in calls if call.call_id == wanted)
            folded = record.call(wanted)
    if as_json:
        document = {"format": CALLS_FORMAT, "calls": [_as_json(call, names) for call in calls]}
        if call_id:
            document = {"format": RECORD_FORMAT, **_as_json(calls[0], names), **_record(folded, names)}
        click.echo(json.dumps(document, indent=1, ensure_ascii=False))
        return
    lines = _lines(calls, names) + (_told(folded, names) if call_id else [])
    click.echo("\n".join(lines) if calls else "no calls yet")


def _as_json(call: CallSummary, names: Mapping[str, str]) -> dict[str, Any]:
    return {
        "id": call.call_id,
        "unit_id": call.unit_id,
        "unit": call.unit_name,
        "site": call.site,
        "complaint": call.complaint,
        "opened": call.opened.isoformat(),
        "last": call.last.isoformat(),
        "events": call.events,
        "withdrawn": call.withdrawn,
        "people": [names.get(author, author) for author in call.authors],
    }


def _times(call: CallSummary) -> str:
    if call.last.year < FIRST_YEAR:
        return "no date"  # from a document without events
    return f"opened {call.opened:%Y-%m-%d %H:%M}, last written {call.last:%Y-%m-%d %H:%M} UTC"


def _lines(calls: tuple[CallSummary, ...], names: Mapping[str, str]) -> list[str]:
    from wringout.cli.layout import counted, heading, paragraph

    lines = []
    for call in calls:
        where = ", ".join(part for part in (call.unit_name, call.site) if part) or "unit not described yet"
        people = ", ".join(names.get(author, author) for author in call.authors)
        lines += [
            heading(where),
            call.call_id,
            paragraph(f'"{call.complaint}"' if call.complaint else "no complaint written down", 2),
            paragraph(
                f"{_times(call)}; {counted(call.events, 'event')}; by {people}"
                + ("; withdrawn" if call.withdrawn else ""),
                2,
            ),
            "",
        ]
    return lines[:-1]


def _record(folded: Folded, names: Mapping[str, str]) -> dict[str, Any]:
    def line(entry: Line) -> dict[str, Any]:
        told = {"event": entry.event.as_json(), "stands": dict(entry.body), "by": _by(entry.event, names)}
        return told | {"acts": [act.as_json() for act in entry.acts], "why": entry.why}

    return {part: [line(entry) for entry in getattr(folded, part)] for part, _ in PARTS}


def _told(folded: Folded, names: Mapping[str, str]) -> list[str]:
    from wringout.cli.layout import heading, paragraph

    lines: list[str] = []
    for part, words in PARTS:
        entries: tuple[Line, ...] = getattr(folded, part)
        if entries:
            lines += ["", heading(words)]
        for entry in entries:
            lines.append(
                paragraph(f"{_said(entry.event.kind, entry.body)} - {_by(entry.event, names)}", 0, 4)
            )
            if entry.why:
                lines.append(paragraph(entry.why, 4, 2))
            lines += [paragraph(_act(act, entry, names), 4, 2) for act in entry.acts]
    return lines


def _said(kind: str, body: Mapping[str, Any]) -> str:
    words = [str(body.get("at", "")).replace("T", " "), "" if kind == "reading" else kind]
    words += [str(value) for name, value in body.items() if name not in LEFT_OUT]
    return " ".join(word for word in words if word)


def _act(act: Event, entry: Line, names: Mapping[str, str]) -> str:
    what = "withdrawn"
    if act.kind == "corrected":
        before = _said(entry.event.kind, entry.event.body)
        what = f"corrected, first written: {before}; to: {_said(entry.event.kind, act.body['body'])}"
    reason = f" ({act.body['reason']})" if act.body.get("reason") else ""
    return f"{what}{reason} - {_by(act, names)}"


def _by(event: Event, names: Mapping[str, str]) -> str:
    author, device = (names.get(who, who) for who in (event.author, event.device))
    return author if author == device else f"{author}, {device}"
