"""A chance and a time in plain words, for terminal and pages; light, since commands start with it."""

from __future__ import annotations

import math

__all__ = ["chance", "span"]


def chance(p: float) -> str:
    """Write a probability in per cent: never 0 % or 100 %, which nothing measured ever is."""
    if p < 0.005:
        return "under 1 %"
    if p > 0.995:
        return "over 99 %"
    return f"{100.0 * p:.0f} %"


def span(seconds: float) -> str:
    """Write a time to wait."""
    if not math.isfinite(seconds):
        return "over 24 h"
    if seconds < 30.0:
        return "at once"
    if seconds < 5400.0:
        return f"{math.ceil(seconds / 60.0)} min"
    return f"{seconds / 3600.0:.1f} h" if seconds < 36.0 * 3600.0 else f"{seconds / 86400.0:.0f} days"
