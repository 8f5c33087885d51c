"""Everything a trend shows, the most important first."""

from __future__ import annotations

from wringout.documents.unit import Unit
from wringout.trends.action import action_findings
from wringout.trends.at_stop import at_stop_findings
from wringout.trends.changes import changed_findings
from wringout.trends.coils import coil_findings, fighting_findings
from wringout.trends.dampers import damper_findings
from wringout.trends.finding import Finding
from wringout.trends.following import following_findings
from wringout.trends.moisture import too_wet_findings
from wringout.trends.moisture_balance import moisture_of
from wringout.trends.moisture_days import moisture_days_findings
from wringout.trends.sensors import (
    AgainstPhysics,
    against_physics_findings,
    coarse_findings,
    drifting_findings,
    stuck_findings,
)
from wringout.trends.swinging import short_cycling_findings, swinging_findings
from wringout.trends.table import TrendTable

__all__ = ["findings_of"]


def findings_of(table: TrendTable, unit: Unit | None = None) -> list[Finding]:
    """All findings of a trend.

    Parameters
    ----------
    table : TrendTable
        By test point, SI.
    unit : Unit, optional
        Its document: set points, fan heat, and what a healthy unit would do.

    Returns
    -------
    list of Finding
        What is wrong before what is only worth knowing, each by weight.
    """
    following = following_findings(table)
    borrowed = {finding.points[0] for finding in following}
    outdoor_shown = any(f.points[0] == "shown.dew_point" and f.share > 0.5 for f in following)
    moisture = moisture_of(table, unit) if unit is not None and not outdoor_shown else None
    found: list[Finding] = [
        *following,
        *action_findings(table),
        *at_stop_findings(table, unit),
        *coil_findings(table, unit),
        *damper_findings(table),
        *fighting_findings(table, unit),
        *swinging_findings(table),
        *short_cycling_findings(table),
        *stuck_findings(table),
        *drifting_findings(table),
        *(f for f in against_physics_findings(table) if not _explained(f, borrowed)),
        *coarse_findings(table),
        *changed_findings(table),
        *too_wet_findings(table, unit, outdoor_shown, moisture),
        *moisture_days_findings(moisture),
    ]
    return sorted(found, key=lambda f: (not f.wrong, -f.weight, f.kind))


def _explained(finding: AgainstPhysics, borrowed: set[str]) -> bool:
    """A display that shows another value contradicts physics for that reason, and not for one of its own."""
    return bool(borrowed & set(finding.points))
