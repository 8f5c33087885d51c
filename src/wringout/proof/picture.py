"""The picture of a verdict: the dew point over the days since the repair, against what was asked for."""

from __future__ import annotations

import numpy as np

from wringout.proof.acceptance import Proof
from wringout.quantity import PREFERRED, Dimension, UnitSystem, from_si
from wringout.trends.plot import Line, Panel, plot
from wringout.trends.table import Array, Span, TrendTable

__all__ = ["dew_point_picture"]


def dew_point_picture(found: Proof, table: TrendTable, system: UnitSystem, said: str) -> str:
    """Draw the dew point of the days looked at, with set point and limit.

    Parameters
    ----------
    found : Proof
    table : TrendTable
        The log that was judged.
    system : {'ip', 'si'}
    said : str
        What it shows, for those who cannot see it.

    Returns
    -------
    str
        A whole SVG document, readable in black and white; hours that count against the repair are hatched.
    """
    since = table.between(found.start, found.end + 1.0)
    unit = PREFERRED[Dimension.TEMPERATURE][system]
    asked = found.settings

    def shown(values: Array | float) -> Array:
        return np.asarray(from_si(np.asarray(values, dtype=float), unit, Dimension.TEMPERATURE))

    flat = np.ones(len(since.time))
    lines = (
        Line("dew point", shown(since["shown.dew_point"])),
        Line("limit", shown((asked.set_point + asked.band) * flat)),
        Line("set point", shown(asked.set_point * flat)),
    )
    spans = [Span(a, b) for c in found.criteria if c.name == "dew point" for a, b in c.spans]
    return plot(since.time, [Panel(unit, lines)], "Dew point since the repair", said, spans)
