"""``wringout weigh``: which causes explain the readings, and what to read next."""

from __future__ import annotations

import json
import time
from pathlib import Path
from typing import TYPE_CHECKING

import click

from wringout.cli.known_unit import fingerprint_option, known_of
from wringout.errors import InputError

if TYPE_CHECKING:
    from wringout.documents.call import Call
    from wringout.documents.unit import Unit
    from wringout.quantity import UnitSystem
    from wringout.trends.evidence import TrendEvidence

__all__ = ["command", "load"]

SEED = 0  # one call, one answer: the samples behind the next checks are the same at every run
FEW = 3


@click.command(
    "weigh",
    epilog="Exit codes: 0 answered, 1 our fault, 2 something in the input to mend (the message names file, "
    "line and field). Example: wringout weigh call.yaml --units si --explain strainer-plugged",
)
@click.argument("call", metavar="CALL", type=click.Path())
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead of words.")
@click.option(
    "--units",
    type=click.Choice(["ip", "si"]),
    default=None,
    help="Units of the words; without it, those of the unit document.",
)
@click.option(
    "--checks",
    type=click.IntRange(0, 200),
    default=None,
    metavar="N",
    help=f"How many next checks to give (in words {FEW} without it; 0 looks for none).",
)
@click.option(
    "--explain",
    metavar="CAUSE",
    default=None,
    help="Tell one cause in full: evidence, what to do, cautions, what looks like it. "
    "`all` does it for every suspect.",
)
@click.option(
    "--trend",
    "trend_path",
    type=click.Path(),
    default=None,
    metavar="FILE",
    help="A controller's log of the days before: a mapping file (trend.yaml) or the log itself. With it no "
    "reading is needed.",
)
@fingerprint_option
def command(
    call: str,
    as_json: bool,
    units: UnitSystem | None,
    checks: int | None,
    explain: str | None,
    trend_path: str | None,
    fingerprint_path: str | None,
) -> None:
    """Which causes explain the readings of CALL, and what to read next."""
    import numpy as np

    from wringout.weighing.answer import weigh
    from wringout.weighing.document import answer_document

    if as_json and explain:
        raise InputError("--explain writes words; with --json leave it out", "--explain")
    if explain:
        _known(explain)
    loaded = load(call, trend_path is not None)
    started = time.perf_counter()
    trend = _trend(trend_path, call, loaded.unit) if trend_path is not None else None
    known = known_of(fingerprint_path, loaded)
    answer = weigh(loaded, np.random.default_rng(SEED), checks=checks != 0, trend=trend, known=known)
    if as_json:
        document = answer_document(answer, time.perf_counter() - started)
        if checks is not None:
            document["next"] = document["next"][:checks]
        click.echo(json.dumps(document))
        return
    from wringout.cli.weigh_text import text
    from wringout.documents.overview import system_of

    click.echo("\n".join(text(loaded, answer, units or system_of(loaded.unit), checks, explain, call)))


def _trend(path: str, call: str, unit: Unit) -> TrendEvidence:
    """What a log shows, in numbers; its mapping file is looked for beside the call."""
    from wringout.cli.trend import read
    from wringout.trends.logged import evidence_in

    table, raw, _, _ = read(Path(path), unit, call, None)
    mend = "name them in a mapping file (wringout trend --write-map writes one)"
    return evidence_in(table, raw.name, unit, mend)


def load(path: str, bare: bool = False) -> Call:
    """The call, with at least one reading in it; ``bare`` where it may do without."""
    from wringout.catalogue.calls import load_call
    from wringout.documents.call import Reading

    loaded = load_call(path)
    if not bare and not any(isinstance(event, Reading) for event in loaded.events):
        raise InputError(
            "no reading yet. Begin with what the display shows (shown.dew_point, shown.space_t, "
            "shown.supply_t, shown.dehumidifying, shown.stages_called, shown.reheat_command) and with "
            "supply.t, supply.rh, return.t, return.rh, outdoor.t and outdoor.rh; or give a log with --trend",
            f"{path}: events",
        )
    return loaded


def _known(cause: str) -> None:
    from wringout.catalogue.causes import causes
    from wringout.documents.fields import nearest

    if cause != "all" and cause not in causes():
        raise InputError(f'there is no cause "{cause[:60]}"{nearest(cause, causes())}', "--explain")
