"""One lying instrument on the practice calls (`make study`; more of them: lying.py)."""

from __future__ import annotations

from functools import cache

import pytest
from lying import Lie, lies, table
from policies import PRACTICE, drawn, mean

pytestmark = [
    pytest.mark.study,
    # score.py leaves the files that it has read to the collector
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
    pytest.mark.skipif(not PRACTICE.is_dir(), reason="../shared/practice is absent: no call to slip in"),
]
MOST_ACCUSING = 0.05  # of the slips; each is a good part replaced


@cache
def found() -> tuple[Lie, ...]:
    """Every reading of one call of each unit, after six checks."""
    return tuple(lie for name in drawn(1) for lie in lies(name, 6))


def test_a_slip_hardly_ever_accuses_a_good_part() -> None:
    accusing = [bool(set(lie.accused) - set(lie.accused_before)) for lie in found()]
    assert len(accusing) > 60
    assert mean(accusing) <= MOST_ACCUSING


def test_the_answer_stands_for_most_slips() -> None:
    right = [lie.exact for lie in found() if lie.exact_before]
    assert mean(right) > 0.8


def test_a_slip_costs_less_than_a_nat() -> None:
    assert mean(lie.log_loss - lie.log_loss_before for lie in found()) < 1.0


def test_the_table_holds_all_slips_and_the_worst() -> None:
    lines = table(found())
    assert lines[2].startswith(f"| any reading | {len(found())} |")
    assert len(lines) == 2 + 1 + 8
