"""A report put together from its parts."""

from __future__ import annotations

from wringout.report.blocks import Report, clean
from wringout.report.findings import Findings
from wringout.report.front import front
from wringout.report.pages import pages

__all__ = ["report_of"]


def report_of(f: Findings, version: str) -> Report:
    """Write the report of a call.

    Parameters
    ----------
    f : Findings
    version : str
        Of the software.

    Returns
    -------
    Report
        Dated by the call's last event: no clock is read.
    """
    unit = f.call.unit
    first, last = f.call.events[0].at, f.call.events[-1].at
    days = f"{first:%Y-%m-%d}" if first.date() == last.date() else f"{first:%Y-%m-%d} to {last:%Y-%m-%d}"
    place = f"{clean(unit.site.name)}, " if unit.site.name != unit.name else ""
    return Report(
        f"Service report: {clean(unit.name)}",
        f"{place}{days}",
        last.date(),
        f"{place}{clean(unit.name)}, {days}; wringout {version}",
        "us-letter" if f.system == "ip" else "a4",
        (*front(f), *pages(f, version)),
    )
