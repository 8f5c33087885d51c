"""``wringout weigh``: which causes explain the readings, and what to read next."""

from __future__ import annotations

import json
import time
from typing import TYPE_CHECKING

import click

from wringout.errors import InputError

if TYPE_CHECKING:
    from wringout.documents.call import Call
    from wringout.quantity import UnitSystem

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
def command(
    call: str, as_json: bool, units: UnitSystem | None, checks: int | None, explain: str | None
) -> None:
    """Which causes explain the readings of CALL, and what to read next."""
    import numpy as np

    from wringout.weighing.answer import weigh
    from wringout.weighing.document import answer_document

    if as_json and explain:
        raise InputError("--explain writes words; with --json leave it out", "--explain")
    if explain:
        _known(explain)
    loaded = load(call)
    started = time.perf_counter()
    answer = weigh(loaded, np.random.default_rng(SEED), checks=checks != 0)
    if as_json:
        document = answer_document(answer, time.perf_counter() - started)
        if checks is not None:
            document["next"] = document["next"][:checks]
        click.echo(json.dumps(document))
        return
    from wringout.cli.weigh_text import text
    from wringout.documents.overview import system_of

    click.echo("\n".join(text(loaded, answer, units or system_of(loaded.unit), checks, explain, call)))


def load(path: str) -> Call:
    """The call, with at least one reading in it."""
    from wringout.catalogue.calls import load_call
    from wringout.documents.call import Reading

    loaded = load_call(path)
    if not any(isinstance(event, Reading) for event in loaded.events):
        raise InputError(
            "no reading yet. Begin with what the display shows (shown.dew_point, shown.space_t, "
            "shown.supply_t, shown.dehumidifying, shown.stages_called, shown.reheat_command) and with "
            "supply.t, supply.rh, return.t, return.rh, outdoor.t and outdoor.rh",
            f"{path}: events",
        )
    return loaded


def _known(cause: str) -> None:
    from wringout.catalogue.causes import causes
    from wringout.documents.fields import nearest

    if cause != "all" and cause not in causes():
        raise InputError(f'there is no cause "{cause[:60]}"{nearest(cause, causes())}', "--explain")
