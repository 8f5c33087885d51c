"""``wringout sweep``: trend files of many units to one ranked list."""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from wringout.cli.layout import heading, item, paragraph

if TYPE_CHECKING:
    from wringout.quantity import UnitSystem
    from wringout.sweep.ranking import Ranked
    from wringout.sweep.task import Bad, Weighing

__all__ = ["command"]

SWEEP_FORMAT = "wringout-sweep/1"
FEW = 10


@click.command(
    "sweep",
    epilog="Exit codes: 0 done (files that cannot be used are listed and stop nothing), 2 nothing to sweep "
    "or no engine to do it. Example: wringout sweep trends --out results --workers 4",
)
@click.argument("place", metavar="FOLDER|PATTERN|ADDRESS")
@click.option("--out", type=click.Path(), default="sweep-results", show_default=True,
              help="Folder of results: a file a unit, units.parquet, index.html.")  # fmt: skip
@click.option("--workers", type=click.IntRange(1, 512), default=None, metavar="N",
              help="Local processes; without it, one a core.")  # fmt: skip
@click.option("--engine", type=click.Choice(["local", "dask"]), default="local", show_default=True,
              help="Where units are judged: processes here, or a Dask cluster.")  # fmt: skip
@click.option("--scheduler", default=None, metavar="ADDRESS", help="Of the cluster: tcp://HOST:8786.")
@click.option("--weigh", type=click.Choice(["candidates", "all", "none"]), default="candidates",
              show_default=True, help="Which units are weighed for suspects.")  # fmt: skip
@click.option("--memory", type=click.IntRange(300, 100_000), default=1500, show_default=True,
              metavar="MB", help="Most memory of a local worker.")  # fmt: skip
@click.option("--top", type=click.IntRange(0), default=FEW, show_default=True, metavar="N",
              help="How many units to tell here; the page has all.")  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="Print the whole list as one JSON document.")
@click.option("--units", type=click.Choice(["ip", "si"]), default=None,
              help="Units; without it, each unit's own.")  # fmt: skip
def command(
    place: str,
    out: str,
    workers: int | None,
    engine: Literal["local", "dask"],
    scheduler: str | None,
    weigh: Weighing,
    memory: int,
    top: int,
    as_json: bool,
    units: UnitSystem | None,
) -> None:
    """Which of many units lose moisture control, why, since when, and what it costs.

    Trend files (CSV or Parquet) with a unit document each: unit.yaml in a unit's folder, or NAME.unit.yaml
    beside NAME.csv. Several files of one unit are joined in time. PLACE may be a folder, a pattern in quotes,
    or an address such as s3://bucket/trends. What was judged once is not judged again.
    """
    from wringout.sweep.local import Limits
    from wringout.sweep.page import page
    from wringout.sweep.ranking import ranked
    from wringout.sweep.running import Engine, sweep
    from wringout.sweep.store import written
    from wringout.sweep.table import parquet
    from wringout.sweep.task import Choices

    swept = sweep(
        place,
        out,
        Choices(weigh, units),
        Engine(engine, workers or max(os.cpu_count() or 1, 1), scheduler, Limits(memory=memory * 1_000_000)),
        _progress if sys.stderr.isatty() else None,
    )
    listed = ranked(swept.results)
    failed = [result for result in swept.results if result["error"] is not None]
    folder = Path(out)
    written(folder / "units.parquet", parquet(listed, failed, swept.bad))
    written(folder / "index.html", page(listed, failed, swept.bad, place).encode())
    if as_json:
        click.echo(
            json.dumps(_document(listed, failed, swept.bad, swept.judged), indent=1, ensure_ascii=False)
        )
        return
    for line in _lines(listed, failed, swept.bad, top):
        click.echo(line)
    told = f"Judged {swept.judged}, taken over {swept.kept} from before."
    click.echo("\n" + paragraph(f"{told} Page: {folder / 'index.html'}; table: {folder / 'units.parquet'}"))


def _progress(done: int, count: int, name: str) -> None:
    end = "\n" if done == count else ""
    click.echo(f"\r{done}/{count} {name[:60]:60}{end}", nl=False, err=True)


def _document(
    units: list[Ranked], failed: list[dict[str, Any]], bad: list[Bad], judged: int
) -> dict[str, Any]:
    from wringout.sweep.ranking import GROUPS, RULE

    return {
        "format": SWEEP_FORMAT,
        "rule": RULE,
        "groups": dict(GROUPS),
        "judged_now": judged,
        "units": [{"place": u.place, "group": u.group, **u.result} for u in units],
        "not_judged": failed,
        "bad_files": [{"file": b.file, "error": b.reason} for b in bad],
    }


def _lines(units: list[Ranked], failed: list[dict[str, Any]], bad: list[Bad], top: int) -> list[str]:
    from wringout.sweep.ranking import GROUPS
    from wringout.sweep.words import rows_of, summary

    unused = _unused(units, failed, bad)
    lines = [paragraph(summary(units, len(unused)))]
    group = ""
    for unit in units[:top]:
        if unit.group == "kept":
            break
        if unit.group != group:
            group = unit.group
            lines += ["", heading(GROUPS[group])]
        result = unit.result
        lines += [
            "",
            heading(f"{unit.place} {result['unit']}"),
            paragraph(f"{result['name']}, {result['site']}", 2),
        ]
        lines += [item(f"{label}:", text, 2) for label, text in rows_of(result)]
    rest = sum(1 for unit in units[top:] if unit.group != "kept")
    if rest:
        lines += ["", paragraph(f"{rest} more with something to tell; --top {top + rest} tells them too.")]
    if unused:
        lines += ["", heading("Not judged")]
        lines += [item("-", f"{name}: {reason}", 2) for name, reason in unused]
    return lines


def _unused(units: list[Ranked], failed: list[dict[str, Any]], bad: list[Bad]) -> list[tuple[str, str]]:
    from wringout.sweep.page import unused

    return unused(units, failed, bad)
