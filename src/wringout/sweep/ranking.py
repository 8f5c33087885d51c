"""The order of the list: worst first, by a rule that can be told in three sentences."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

__all__ = ["GROUPS", "RULE", "Ranked", "group_of", "per_day", "ranked"]

RULE = (
    "First come units that lose moisture control, by the share of hours over set point and band; then those "
    "that keep it at a cost in needless heat, by what is certain of it a day; then those with something else "
    "found, those over the limit only in weather beyond the design day, those of which nothing can be said, "
    "and those with nothing found. Where two are alike, the one with more needless heat comes first, then "
    "the one with more found, then by name."
)

# id -> heading; in the order of the list
GROUPS: dict[str, str] = {
    "lost": "Loses moisture control",
    "heat": "Keeps it, at a cost in needless heat",
    "found": "Keeps it, something else found",
    "weather": "Over only in weather beyond the design day",
    "unknown": "Nothing can be said of its moisture",
    "kept": "Nothing found",
}


@dataclass(frozen=True)
class Ranked:
    """A unit's place in the list, from 1, the group it stands in, and its result."""

    place: int
    group: str
    result: dict[str, Any]


def group_of(result: dict[str, Any]) -> str:
    """Give the group that a result stands in.

    Parameters
    ----------
    result : dict
        Of a unit that was judged.

    Returns
    -------
    str
        One of GROUPS.
    """
    state = result["moisture"]["state"]
    if state == "lost":
        return "lost"
    if result["heat"]["least"]["value"] > 0.0:
        return "heat"
    if state == "kept":
        return "found" if _wrong(result) else "kept"
    return str(state)


def per_day(result: dict[str, Any]) -> float:
    """Needless heat that is certain, for a day of data [kWh]."""
    days = result["data"]["value"] / 24.0
    return float(result["heat"]["least"]["value"]) / days if days > 0.0 else 0.0


def _wrong(result: dict[str, Any]) -> int:
    return sum(1 for finding in result["findings"] if finding["wrong"])


def ranked(results: Sequence[dict[str, Any]]) -> list[Ranked]:
    """Order results, worst first; those that could not be judged are left out.

    Parameters
    ----------
    results : sequence of dict

    Returns
    -------
    list of Ranked
    """
    order = {group: place for place, group in enumerate(GROUPS)}

    def sorting(entry: tuple[str, dict[str, Any]]) -> tuple[Any, ...]:
        group, result = entry
        share = result["moisture"]["share"]
        by_share = -share if group in {"lost", "weather"} else 0.0
        return (order[group], by_share, -per_day(result), -_wrong(result), result["unit"])

    judged = [(group_of(result), result) for result in results if result["error"] is None]
    return [
        Ranked(place, group, result) for place, (group, result) in enumerate(sorted(judged, key=sorting), 1)
    ]
