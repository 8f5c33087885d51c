"""``wringout prove``: whether a repair has held over the days since."""

from __future__ import annotations

import dataclasses
import json
import re
from datetime import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from wringout.errors import InputError

if TYPE_CHECKING:
    from wringout.documents.unit import Unit
    from wringout.proof.criteria import Settings

__all__ = ["command"]

SEED = 0


@click.command(
    "prove",
    epilog="Exit codes: 0 answered, whatever the answer; 1 our fault; 2 something in the input to mend. "
    'Example: wringout prove call.yaml --trend week.csv --occupied 07:00-22:00 --surface "50 degF"',
)
@click.argument("call", metavar="CALL", type=click.Path())
@click.option(
    "--trend", "trend", required=True, metavar="FILE", type=click.Path(), help="Log of the days since."
)
@click.option("--map", "mapping", type=click.Path(), default=None, help="Which column is what.")
@click.option("--share", default=None, show_default="95 %", help="Of occupied hours with dew point in band.")
@click.option("--band", default=None, help="Over the dew-point set point; without it, the unit document's.")
@click.option("--occupied", default=None, metavar="FROM-TO", help="Hours that count, like 07:00-22:00.")
@click.option("--surface", default=None, metavar="TEMP", help="Temperature of the room's coldest surface.")
@click.option("--hours", default=None, show_default="24 h", help="Hours that have to be seen at least.")
@click.option("--cause", default=None, help="What was mended, where the call's last change does not say.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead of words.")
@click.option("--units", type=click.Choice(["ip", "si"]), default=None, help="Units; else those of the unit.")
def command(
    call: str,
    trend: str,
    mapping: str | None,
    share: str | None,
    band: str | None,
    occupied: str | None,
    surface: str | None,
    hours: str | None,
    cause: str | None,
    as_json: bool,
    units: Any,
) -> None:
    """Whether the repair that is the last change in CALL has held: proven, not proven, or not yet testable.

    FILE is the controller's log of the days since; with days from before it the comparison is sharper.
    """
    import numpy as np

    from wringout.catalogue.calls import load_call
    from wringout.catalogue.causes import applies, causes
    from wringout.cli.prove_text import proof_lines
    from wringout.cli.trend_table import table_of
    from wringout.documents.overview import system_of
    from wringout.proof.acceptance import prove
    from wringout.showing.proof_document import proof_document

    loaded = load_call(call)
    settings = _settings(loaded.unit, share, band, occupied, surface, hours)
    if cause is not None and cause not in causes():
        raise InputError(f'there is no cause "{cause[:40]}"; they are listed in docs/causes.md', "--cause")
    if cause is not None and not applies(cause, loaded.unit):
        raise InputError(f"{loaded.unit.name} cannot have {cause}", "--cause")
    table = table_of(trend, mapping, loaded.unit, Path(call))
    found = prove(loaded, table, settings, np.random.default_rng(SEED), cause)
    system = units or system_of(loaded.unit)
    if as_json:
        click.echo(json.dumps(proof_document(found, loaded.unit, system), ensure_ascii=False, indent=1))
        return
    click.echo("\n".join(proof_lines(found, loaded.unit, system)))


def _settings(
    unit: Unit,
    share: str | None,
    band: str | None,
    occupied: str | None,
    surface: str | None,
    hours: str | None,
) -> Settings:
    from wringout.proof.criteria import Settings
    from wringout.quantity import Dimension, parse

    def number(text: str, dimension: Dimension, option: str, low: float, high: float) -> float:
        try:
            value = parse(text, dimension).value
        except InputError as error:
            raise InputError(error.message, option) from None
        if not low <= value <= high:
            raise InputError(f'"{text[:30]}" is out of what makes sense here', option)
        return value

    chosen = Settings.of(unit)
    wanted: dict[str, Any] = {}
    if share is not None:
        wanted["share"] = number(share, Dimension.FRACTION, "--share", 0.5, 1.0)
    if hours is not None:
        wanted["hours"] = number(hours, Dimension.TIME, "--hours", 6.0 * 3600.0, 90.0 * 86400.0) / 3600.0
    if band is not None:
        wanted["band"] = number(band, Dimension.TEMPERATURE_DIFFERENCE, "--band", 0.1, 15.0)
    if surface is not None:
        wanted["surface"] = number(surface, Dimension.TEMPERATURE, "--surface", -30.0, 40.0)
    if occupied is not None:
        wanted["occupied"] = _hours_of_day(occupied)
    return dataclasses.replace(chosen, **wanted)


def _hours_of_day(text: str) -> tuple[time, time]:
    found = re.fullmatch(r"\s*(\d{1,2}):(\d\d)\s*-\s*(\d{1,2}):(\d\d)\s*", text)
    if found:
        h1, m1, h2, m2 = (int(part) for part in found.groups())
        if max(h1, h2) < 24 and max(m1, m2) < 60 and (h1, m1) != (h2, m2):
            return time(h1, m1), time(h2, m2)
    raise InputError(f'"{text[:30]}" is no span of a day; write it like 07:00-22:00', "--occupied")
