"""``wringout weigh``: which causes explain the readings, and what to read next."""

from __future__ import annotations

import json
import time

import click

__all__ = ["command"]


@click.command(epilog="Example: wringout weigh call.yaml --json")
@click.argument("call", metavar="CALL", type=click.Path())
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead of words.")
def command(call: str, as_json: bool) -> None:
    """Which causes explain the readings of CALL, and what to read next."""
    import numpy as np

    from wringout.catalogue.calls import load_call
    from wringout.weighing.answer import weigh
    from wringout.weighing.document import answer_document

    loaded = load_call(call)
    started = time.perf_counter()
    answer = weigh(loaded, np.random.default_rng(0))
    document = answer_document(answer, time.perf_counter() - started)
    if as_json:
        click.echo(json.dumps(document))
        return
    click.echo(json.dumps(document, indent=1))
