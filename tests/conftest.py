"""The order in which files are taken up: long ones first.

Workers of `make pytest` take file by file, each with the next one already in hand. A long file among the last
would leave the other processors idle until it is through.
"""

from __future__ import annotations

import pytest

# ten seconds and more, the longest first; waiting for devices and pages counts as well
LONG_FIRST = (
    "test_browser.py",
    "test_weighing_recover.py",
    "test_capture_session.py",
    "test_motion.py",
    "test_weighing_answer.py",
    "test_progress.py",
    "test_live.py",
    "test_capture_cli.py",
    "test_columns.py",
    "test_sweep.py",
    "test_sweep_engines.py",
    "test_prove.py",
    "test_pages.py",
    "test_weighing_trend.py",
    "test_demo.py",
    "test_trends.py",
    "test_ledger_truth.py",
    "test_report_trend.py",
    "test_practise.py",
    "test_practise_cli.py",
    "test_replay.py",
    "test_wait.py",
    "test_weighing_sequences.py",
    "test_weighing_slips.py",
    "test_records_killed.py",
    "test_forms.py",
)
_RANK = {name: place for place, name in enumerate(LONG_FIRST)}


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the files that take long before all others, which keep their order."""
    items.sort(key=lambda item: _RANK.get(item.path.name, len(_RANK)))
