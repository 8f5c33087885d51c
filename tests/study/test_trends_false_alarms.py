"""False alarms of trend findings, counted over the healthy practice calls.

SOURCE: the practice calls beside the project, made by a simulator that others wrote. Which of them are
healthy is asked of their own score.py, with a command that answers nothing. Every trend holds 48 hours.

Counted as a wrong finding: one that is called wrong (`Finding.wrong`), on a day of a unit with nothing
broken. The room being too wet beyond the design day is true, and is counted all the same.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from wringout.documents.load import load_unit
from wringout.trends.findings import findings_of
from wringout.trends.mapping import load_table

PRACTICE = Path(__file__).resolve().parents[3] / "shared" / "practice"
NOTHING = {
    "format": "wringout-weighing/1",
    "marginals": {},
    "sets": [{"causes": [], "probability": 1.0}],
    "next": [],
}

pytestmark = [
    pytest.mark.study,
    pytest.mark.skipif(not PRACTICE.is_dir(), reason=f"the practice calls are not there ({PRACTICE})"),
]


@cache
def healthy_calls() -> tuple[str, ...]:
    with tempfile.TemporaryDirectory() as folder:
        silent = Path(folder) / "silent.py"
        silent.write_text(f"print({json.dumps(json.dumps(NOTHING))})")
        command = f"{sys.executable} {silent} {{call}}"
        told = subprocess.run(
            [sys.executable, str(PRACTICE / "score.py"), "--command", command, "--checks", "0", "--json"],
            capture_output=True, text=True, check=True, timeout=900,
        )  # fmt: skip
    return tuple(call["id"] for call in json.loads(told.stdout)["calls"] if call["cls"] == "healthy")


def wrong_findings(name: str, mapped: bool) -> tuple[list[Any], float]:
    folder = PRACTICE / "calls" / name
    unit = load_unit(folder / "unit.yaml")
    table, _, _ = load_table(folder / "trend.csv", folder / "trend.yaml" if mapped else None, unit)
    return [f for f in findings_of(table, unit) if f.wrong], table.hours / 24.0


@pytest.mark.parametrize("mapped", [True, False])
def test_at_most_one_wrong_finding_in_twenty_healthy_days(mapped: bool) -> None:
    """With the columns as their mapping says, and guessed."""
    calls = healthy_calls()
    assert len(calls) >= 30
    found = {name: wrong_findings(name, mapped) for name in calls}
    days = sum(length for _, length in found.values())
    wrong = {name: [f.kind for f in findings] for name, (findings, _) in found.items() if findings}
    assert days > 60.0
    assert sum(len(kinds) for kinds in wrong.values()) <= days / 20.0, wrong
    assert {kind for kinds in wrong.values() for kind in kinds} <= {"too_wet"}, wrong
