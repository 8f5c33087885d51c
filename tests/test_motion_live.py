"""A machine that is looked at while it runs does what it does when it is run to an end."""

from __future__ import annotations

import numpy as np
import pytest

from motion_cases import machine, nominal, one_cause
from motion_trends import loads_of, weather_of
from wringout.errors import InputError
from wringout.machine.motion import Alter, Event, Hold, Release, run
from wringout.machine.motion_live import LiveMachine


@pytest.mark.parametrize("kind", ["modulating reclaim", "chilled boiler two-way"])
def test_it_runs_as_a_run_to_an_end(kind: str) -> None:
    d = machine(kind)
    values = nominal(d)
    mended = one_cause(d, values, "filter-loaded", 0.8)
    weather, loads = weather_of(d, 0.5), loads_of(0.5)
    schedule: list[Event] = [
        Hold(600.0, "reheat.command", 1.0),
        Release(1500.0, "reheat.command"),
        Hold(1800.0, "cooling.call", 0.0),
        Alter(2400.0, mended),
        Release(2700.0, "cooling.call"),
    ]
    trace = run(d, values, weather, loads, schedule, duration=3600.0, step=5.0)
    wanted = trace.points()
    live = LiveMachine(d, values, weather, loads, step=5.0)
    for event in [*schedule, None]:
        live.advance_to(3600.0 if event is None else event.at)
        k = round(live.time / 5.0)
        points = live.points()
        for name, series in wanted.items():
            np.testing.assert_allclose(points[name], series[0, k], rtol=1e-9, atol=1e-9, err_msg=name)
        if isinstance(event, Hold):
            live.hold(event.item, event.to)
        elif isinstance(event, Release):
            live.release(event.item)
        elif isinstance(event, Alter):
            live.alter(event.values)
    assert live.time == 3600.0


def test_only_what_can_be_held_is_held() -> None:
    d = machine("modulating reclaim")
    live = LiveMachine(d, nominal(d), weather_of(d, 0.1), loads_of(0.1))
    with pytest.raises(InputError, match=r"reheat\.command and cooling\.call can"):
        live.hold("fan", 1.0)
    with pytest.raises(InputError, match="0 to 100 %"):
        live.hold("reheat.command", 1.5)
    with pytest.raises(InputError, match="cannot be held"):
        live.release("fan")
    with pytest.raises(InputError, match=r"0\.1 to 60 s"):
        LiveMachine(d, nominal(d), weather_of(d, 0.1), loads_of(0.1), step=600.0)
