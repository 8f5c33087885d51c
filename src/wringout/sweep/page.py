"""The list as one HTML page: no script, no address, readable on a phone and on paper."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape
from importlib import resources
from typing import Any

from wringout.showing.plain import chance
from wringout.showing.words import pretty
from wringout.sweep.ranking import GROUPS, RULE, Ranked
from wringout.sweep.task import Bad
from wringout.sweep.words import HOW, figure, rows_of, summary

__all__ = ["page", "unused"]

MOST_IN_FULL = 200  # units told in full; the rest of the list in one line each
MOST_DAYS = 370  # drawn


def page(units: Sequence[Ranked], failed: Sequence[Mapping[str, Any]], bad: Sequence[Bad], place: str) -> str:
    """Write the page.

    Parameters
    ----------
    units : sequence of Ranked
    failed : sequence of dict
        Results of units that could not be judged.
    bad : sequence of Bad
        Files that belong to no unit.
    place : str
        What was swept, as it was called.

    Returns
    -------
    str
    """
    style = resources.files("wringout.sweep").joinpath("page.css").read_text(encoding="utf-8")
    bads = unused(units, failed, bad)
    inside = [f"<p>{escape(pretty(summary(units, len(bads))))}</p>"]
    if units:
        first, last = min(u.result["from"] for u in units), max(u.result["to"] for u in units)
        inside.append(
            f'<p class="quiet">{escape(place)}; {first[:10]} to {last[:10]}, by the files\' own clocks.</p>'
        )
    for group, title in GROUPS.items():
        inside += _group(title, [unit for unit in units if unit.group == group], group)
    if bads:
        inside += [f"<h2>Not judged <small>{len(bads)}</small></h2>", '<ul class="bad">']
        inside += [f"<li><b>{escape(name)}</b> {escape(reason)}</li>" for name, reason in bads]
        inside.append("</ul>")
    inside += [
        "<h2>How to read this</h2>",
        f"<p>{escape(RULE)}</p>",
        f"<p>{escape(pretty(HOW))}</p>",
        "<p>A sweep says where to go first. What is wrong there is proven at the machine: hot pipes, moving "
        "parts, live terminals; local codes and licensed practice come first.</p>",
    ]
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>Sweep of {len(units)} units</title>\n<style>\n{style}</style>\n</head>\n<body>\n<main>\n"
        f"<h1>Sweep: where moisture control is lost, and what it costs</h1>\n"
        + "\n".join(inside)
        + "\n</main>\n</body>\n</html>\n"
    )


def unused(
    units: Sequence[Ranked], failed: Sequence[Mapping[str, Any]], bad: Sequence[Bad]
) -> list[tuple[str, str]]:
    """Everything that was not used, with its one reason."""
    out = [(str(result["unit"]), str(result["error"])) for result in failed]
    for result in (*failed, *(unit.result for unit in units)):
        out += [(b["file"], _after(b["file"], b["error"])) for b in result["bad_files"]]
    return out + [(b.file, b.reason) for b in bad]


def _after(file: str, error: str) -> str:
    """A reason without the name that stands before it already."""
    return error.removeprefix(f"{file}: ")


def _group(title: str, units: Sequence[Ranked], group: str) -> list[str]:
    if not units:
        return []
    head = f"<h2>{escape(title)} <small>{len(units)}</small></h2>"
    if group == "kept":
        return [head, f'<p class="names">{escape(", ".join(unit.result["unit"] for unit in units))}</p>']
    out = [head, '<ol class="units">']
    for unit in units:
        out.append(_unit(unit) if unit.place <= MOST_IN_FULL else _line(unit))
    return [*out, "</ol>"]


def _line(unit: Ranked) -> str:
    over, share = unit.result["moisture"]["over"], unit.result["moisture"]["share"]
    return (
        f'<li><span class="place">{unit.place}</span><p class="who">{escape(unit.result["unit"])}: '
        f"{figure(over)} over the limit ({chance(share)})</p></li>"
    )


def _unit(unit: Ranked) -> str:
    result = unit.result
    rows = dict(rows_of(result))
    foremost = " ".join(rows[label] for label in ("Why",) if label in rows)
    figures = "".join(
        f"<div><dt>{escape(pretty(label))}</dt><dd>{escape(pretty(value))}"
        + (f" <small>{escape(pretty(beside))}</small>" if beside else "")
        + "</dd></div>"
        for label, value, beside in _figures(result)
    )
    told = "".join(
        f"<dt>{escape(label)}</dt><dd>{escape(pretty(text))}</dd>" for label, text in _told(result, rows)
    )
    return (
        f'<li><span class="place">{unit.place}</span><div>'
        f"<h3>{escape(result['unit'])}</h3>"
        f'<p class="who">{escape(result["name"])}, {escape(result["site"])}</p>'
        f'<dl class="figures">{figures}</dl>{_days(result)}'
        + (f"<p>{escape(foremost)}</p>" if foremost else "")
        + f'<details><summary>Evidence</summary><dl class="rows">{told}</dl></details></div></li>'
    )


def _figures(result: Mapping[str, Any]) -> list[tuple[str, str, str]]:
    moisture, heat = result["moisture"], result["heat"]
    out = []
    if moisture["state"] in {"lost", "weather"}:
        out.append((f"Over {figure(result['limit'])}", figure(moisture["over"]), chance(moisture["share"])))
    since = moisture["since"] or heat["since"]
    if since is not None:
        day = since["at"][:10]
        out.append(
            (
                "Since",
                "the trend begins" if since["from_start"] else day,
                "or before" if since["from_start"] else "",
            )
        )
    if heat["least"]["value"] > 0.0:
        least = figure(heat["least"]).removesuffix(" kWh")
        out.append(
            ("Needless heat", f"{least} to {figure(heat['most'])}", "recovered" if heat["recovered"] else "")
        )
    weighed = result["weighed"]
    if weighed is not None:
        cause, p = weighed["marginals"][0]["cause"], weighed["marginals"][0]["probability"]
        if p > weighed["healthy"]:
            out.append(("First suspect", cause, chance(p)))
        else:
            out.append(("First suspect", "none stands out", ""))
    return out


def _told(result: Mapping[str, Any], rows: Mapping[str, str]) -> list[tuple[str, str]]:
    """Everything else, behind the fold."""
    told = [(label, text) for label, text in rows.items() if label != "Why"]
    for finding in result["findings"]:
        if finding["wrong"]:
            told.append((finding["title"], f"{finding['says']} {finding['means']}"))
    told.append(("Data", f"{figure(result['data'])} from {_clock(result['from'])} to {_clock(result['to'])}, "
                         f"{len(result['files'])} file{'s' * (len(result['files']) != 1)}."))  # fmt: skip
    columns = result["columns"]
    names = ", ".join(f"{column} is {point}" for point, column in columns["points"].items())
    told.append(
        ("Columns, guessed" if columns["guessed"] else "Columns, as the mapping file says", f"{names}.")
    )
    if result["given"]:
        told.append(("Given", ", ".join(result["given"])))
    if result["assumed"]:
        told.append(("Assumed", ", ".join(result["assumed"])))
    told.append(("Computed", "hours, needless heat, suspects"))
    return [*told, *(("Note", note) for note in result["notes"])]


def _clock(at: str) -> str:
    return at.replace("T", " ")


def _days(result: Mapping[str, Any]) -> str:
    """A bar for each day: hours over the limit, of twenty-four."""
    days = result["moisture"]["days"][-MOST_DAYS:]
    if len(days) < 3:
        return ""
    width, bars = 10, []
    for k, day in enumerate(days):
        tall = day["over"]["value"] / 24.0 * 48.0
        bars.append(f'<rect class="none" x="{k * width + 1}" y="2" width="8" height="48"/>')
        if tall > 0.0:
            place = f'x="{k * width + 1}" y="{50.0 - tall:.1f}" width="8" height="{tall:.1f}"'
            bars.append(f'<rect class="over" {place}/>')
    total = len(days) * width
    wet = sum(1 for day in days if day["over"]["value"] >= 2.0)
    words = f"{wet} of {len(days)} days with two hours or more over the limit"
    return (
        f'<figure><svg viewBox="0 0 {total} 52" preserveAspectRatio="none" role="img" aria-label="{words}" '
        f'style="max-width:{min(1.1 * len(days), 34.0):.1f}rem">'
        f'{"".join(bars)}<line x1="0" y1="50.5" x2="{total}" y2="50.5"/></svg>'
        f"<figcaption>Hours over the limit, a bar a day (full height: 24 h), {days[0]['day']} to "
        f"{days[-1]['day']}: {words}.</figcaption></figure>"
    )
