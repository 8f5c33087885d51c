"""SOURCE: IEC 60381-1 (direct current 4 to 20 mA) and IEC 60381-2 (direct voltage), ranges from memory;
straight lines between their ends are identities. 500 ohm turn 4 to 20 mA into 2 to 10 V."""

from __future__ import annotations

import pytest

from wringout.trace.document import Place, Signal, Span
from wringout.trace.path import breaks, expected

ENDS = (Place(name="controller"), Place(name="actuator"))


def made(sends: tuple[float, float], takes: tuple[float, float], action: str = "direct") -> Signal:
    return Signal(
        id="x",
        device="valve",
        sends=Span(low=sends[0], high=sends[1]),
        takes=Span(low=takes[0], high=takes[1]),
        action=action,  # type: ignore[arg-type]
        places=ENDS,
    )


@pytest.mark.parametrize(
    ("span", "command", "volts"),
    [
        ((0.0, 10.0), 0.5, 5.0),
        ((2.0, 10.0), 0.0, 2.0),
        ((2.0, 10.0), 0.25, 4.0),
        ((2.0, 10.0), 0.5, 6.0),
        ((2.0, 10.0), 1.0, 10.0),  # 20 mA across 500 ohm
        ((1.0, 5.0), 0.75, 4.0),
    ],
)
def test_a_sound_path_reads_the_straight_line_of_the_standard(
    span: tuple[float, float], command: float, volts: float
) -> None:
    found = expected(made(span, span), command)
    assert found.volts == pytest.approx((volts, volts))
    assert found.position == pytest.approx(command)


@pytest.mark.parametrize(("command", "position"), [(0.2, 0.0), (0.5, 0.375), (1.0, 1.0)])
def test_zero_to_ten_volts_into_two_to_ten_lag_behind(command: float, position: float) -> None:
    # 5 V is 37.5 %, 2 V is 0 %
    assert expected(made((0.0, 10.0), (2.0, 10.0)), command).position == pytest.approx(position)


def test_a_reversed_output_sends_the_other_end() -> None:
    assert expected(made((2.0, 10.0), (2.0, 10.0), "reverse"), 1.0).volts[0] == pytest.approx(2.0)


def test_every_break_reads_something_at_every_place() -> None:
    for one in breaks(made((2.0, 10.0), (2.0, 10.0))):
        rows = one.reads(0.4)
        assert rows.ndim == 2
        assert rows.shape[1] == 2 * len(ENDS) + 1
