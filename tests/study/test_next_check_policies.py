"""The next check against other orders, on a few of the practice calls (`make study`; all: policies.py)."""

from __future__ import annotations

from functools import cache

import pytest
from policies import ORDERS, PRACTICE, Scored, by_hand, drawn, mean, picture, scored, table

from wringout.catalogue.calls import load_call

pytestmark = [
    pytest.mark.study,
    # score.py leaves the files that it has read to the collector
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
    pytest.mark.skipif(not PRACTICE.is_dir(), reason="../shared/practice is absent: no call to order"),
]
CHECKS = 4


@cache
def rows() -> tuple[Scored, ...]:
    """One call of each unit in every order."""
    return tuple(row for name in drawn(1) for row in scored(name, CHECKS))


def after(order: str, checks: int) -> float:
    return mean(r.log_loss for r in rows() if (r.order, r.checks) == (order, checks))


def test_every_order_begins_with_the_same_answer() -> None:
    assert len({round(after(order, 0), 9) for order in ORDERS}) == 1
    assert all(row.minutes == 0.0 for row in rows() if row.checks == 0)


@pytest.mark.parametrize("order", [order for order in ORDERS if order != "next check"])
def test_the_next_check_leaves_the_truth_more_probable_than_any_other_order(order: str) -> None:
    assert after("next check", CHECKS) < after(order, CHECKS)


def test_the_technicians_list_holds_readings_of_every_unit_and_none_twice() -> None:
    for name in drawn(1):
        asked = by_hand(load_call(str(PRACTICE / "calls" / name / "call.yaml")))
        assert len(asked) == len(set(asked)) >= 8


def test_the_table_and_the_picture_hold_every_order() -> None:
    assert len(table(rows())) == 2 + len(ORDERS) * (CHECKS + 1)
    assert all(f">{order}</text>" in picture(rows()) for order in ORDERS)
