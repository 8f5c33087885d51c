"""``wringout calls``: what is in the record."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import click

from wringout.cli.record_options import STORE_NOTE, open_record, store_option

if TYPE_CHECKING:
    from wringout.records.store import CallSummary

__all__ = ["command"]

CALLS_FORMAT = "wringout-calls/1"
FIRST_YEAR = 2000


@click.command(
    "calls",
    epilog=f"{STORE_NOTE} Exit codes: 0 listed, 2 something to mend. Example: wringout calls --json",
)
@store_option
@click.option("--json", "as_json", is_flag=True, help="Write the list as JSON.")
def command(store: str | None, as_json: bool) -> None:
    """List the calls in the record, the one written to last first."""
    with open_record(store, create=False) as record:
        calls, names = record.calls(), record.names()
    if as_json:
        document = {"format": CALLS_FORMAT, "calls": [_as_json(call, names) for call in calls]}
        click.echo(json.dumps(document, indent=1, ensure_ascii=False))
        return
    click.echo("\n".join(_lines(calls, names)) if calls else "no calls yet")


def _as_json(call: CallSummary, names: dict[str, str]) -> dict[str, Any]:
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


def _lines(calls: tuple[CallSummary, ...], names: dict[str, str]) -> list[str]:
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
