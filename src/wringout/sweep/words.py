"""A unit's result in sentences, for the page and the terminal alike."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from wringout.showing.plain import chance
from wringout.sweep.ranking import GROUPS, Ranked

__all__ = [
    "HOW",
    "WHOSE",
    "figure",
    "heat_words",
    "moisture_words",
    "rows_of",
    "since_words",
    "summary",
    "why_words",
]

WHOSE: Mapping[str, str] = {
    "control": "drying was not called for most of those hours",
    "weather": "outdoors was over the design day",
    "unit": "the unit does less than a healthy one would",
    "building": "the unit does its part, and more comes in than it was made for",
    "rather_building": "rather what comes in than the unit: supply air as cold as it should be (a hint)",
    "unknown": "unit or building, this trend cannot tell",
}
ROUTES: Mapping[str, str] = {
    "logged": "the air between the coils is logged",
    "supply humidity": "the air behind the cooling coil by the humidity of the supply air",
    "moisture balance": "the air behind the cooling coil by what the document says comes in",
}
HOW = (
    "Hours over the limit are half hours whose mean dew point is over set point and band of the unit's "
    "document. Needless heat is what the reheat coil gave to the air while the room was more than 2 degF "
    "(1.1 K) over its temperature set point, or while cooling ran though the room was drier than drying "
    "asks for: between two bounds that hold two standard deviations of what is not known of the unit. It "
    "is heat of the air, neither gas nor electricity. Since when: the first hour of the last spell, in "
    "which no three days pass without two hours of it. Suspects come from weighing the last two bad days "
    "of the trend, without a reading."
)
SUSPECT = 0.05  # probability from which a suspect is named
MOST_SUSPECTS, MOST_FINDINGS = 3, 3


def figure(number: Mapping[str, Any] | None) -> str:
    """A number with its unit."""
    if number is None:
        return "not known"
    value, unit = number["value"], number["unit"]
    whole = unit == "kWh" or abs(value) >= 1000.0 or float(value).is_integer()
    return f"{value:,.0f} {unit}" if whole else f"{value:,.1f} {unit}"


def moisture_words(result: Mapping[str, Any]) -> str:
    """How many hours over the limit."""
    moisture = result["moisture"]
    if moisture["state"] == "unknown":
        return f"Not known: {moisture['reason']}."
    if moisture["state"] == "kept":
        over = moisture["over"]["value"]
        few = "never" if over == 0.0 else f"{figure(moisture['over'])}"
        return f"Over {figure(result['limit'])}: {few} of {figure(moisture['seen'])}."
    return (
        f"Over {figure(result['limit'])} for {figure(moisture['over'])} of {figure(moisture['seen'])} "
        f"({chance(moisture['share'])}), {figure(moisture['worst'])} at worst; set point "
        f"{figure(result['set_point'])}."
    )


def since_words(since: Mapping[str, Any] | None) -> str:
    """Since when, and what changed then; empty where nothing is known."""
    if since is None:
        return ""
    if since["from_start"]:
        return "Since the trend begins, or before."
    text = f"Since {since['at'].replace('T', ' ')}."
    if (change := since["change"]) is not None:
        text += f" {change['says']}"
    return text


def heat_words(result: Mapping[str, Any]) -> str:
    """Needless heat between its bounds."""
    heat = result["heat"]
    if heat["reason"]:
        return f"Not known: {heat['reason']}."
    if heat["route"] is None:
        return "None: no hours in which the sequence has no use for heat."
    most, least = heat["most"], heat["least"]
    if least["value"] <= 0.0:
        size = f"None for certain, {figure(most)} at most" if most["value"] > 0.0 else "None"
        return f"{size}, in {figure(heat['hours'])}."
    text = f"{figure(least).removesuffix(' kWh')} to {figure(most)} in {figure(heat['hours'])}"
    if heat["against_cooling"]["value"] > 0.0:
        text += (
            f"; {figure(heat['against_cooling'])} of it at least while cooling ran, which took it out again"
        )
    text += f" ({ROUTES[heat['route']]})."
    return text + (" The heat is recovered heat." if heat["recovered"] else "")


def why_words(result: Mapping[str, Any]) -> str:
    """Whose matter it is, and the foremost findings."""
    parts = []
    if result["moisture"]["whose"]:
        words = WHOSE[result["moisture"]["whose"]]
        parts.append(words[0].upper() + words[1:])
    wrong = [f["title"] for f in result["findings"] if f["wrong"] and f["kind"] != "too_wet"]
    parts += list(dict.fromkeys(wrong))[:MOST_FINDINGS]
    return "; ".join(parts) + "." if parts else ""


def suspects_words(result: Mapping[str, Any]) -> str:
    """Suspects with their chance, or why there are none."""
    weighed = result["weighed"]
    if weighed is None:
        return f"Not weighed: {result['not_weighed']}."
    told = [(m["cause"], m["probability"]) for m in weighed["marginals"]]
    named = [f"{cause} {chance(p)}" for cause, p in told if p >= SUSPECT][:MOST_SUSPECTS]
    healthy = f"nothing wrong {chance(weighed['healthy'])}"
    if not named:
        return f"None stands out ({healthy})."
    return f"{', '.join(named)}; {healthy}."


def rows_of(result: Mapping[str, Any]) -> list[tuple[str, str]]:
    """What is shown of a unit: labels with sentences, the foremost first."""
    moisture, heat = result["moisture"]["since"], result["heat"]["since"]
    since = since_words(moisture)
    if since and heat is not None and heat["at"] != (moisture or {}).get("at"):
        since += f" Needless heat: {since_words(heat)[0].lower()}{since_words(heat)[1:]}"
    rows = [
        ("Moisture", moisture_words(result)),
        ("Since", since or since_words(heat)),
        ("Why", why_words(result)),
        ("Suspects", suspects_words(result)),
        ("Needless heat", heat_words(result)),
    ]
    return [(label, text) for label, text in rows if text]


def summary(units: Sequence[Ranked], bad: int) -> str:
    """How many units stand where."""
    counts = {group: sum(1 for unit in units if unit.group == group) for group in GROUPS}
    words = {
        "lost": "{} lose{} moisture control",
        "heat": "{} keep{} it at a cost in needless heat",
        "found": "{} keep{} it with something else found",
        "weather": "{} {} over only in weather beyond the design day",
        "unknown": "nothing can be said of {}",
        "kept": "{} {} fine by {} trend",
    }
    parts = []
    for group, count in counts.items():
        if not count:
            continue
        one = count == 1
        if group == "weather":
            parts.append(words[group].format(count, "is" if one else "are"))
        elif group == "kept":
            parts.append(words[group].format(count, "is" if one else "are", "its" if one else "their"))
        else:
            parts.append(words[group].format(count, "s" if one else ""))
    text = (
        f"Of {len(units)} unit{'s' * (len(units) != 1)}: {', '.join(parts)}."
        if units
        else "No unit was judged."
    )
    return text + (f" {bad} could not be judged or read." if bad else "")
