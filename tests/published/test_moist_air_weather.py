"""SOURCE: NREL NSRDB, one site at 2168 m, 2023, half-hourly: temperature, dew point and relative humidity.

As the data service gives them. They show what dew point and relative humidity mean below 0 degC in weather
data: over liquid water.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from wringout.physics.air_state import state
from wringout.physics.saturation import saturation_pressure_over_water

FILE = Path(__file__).parents[3] / "shared/references/data/weather/nsrdb_2168m_2023_30min.csv"


@pytest.fixture(scope="module")
def weather() -> dict[str, NDArray[np.float64]]:
    if not FILE.exists():
        pytest.skip(
            f"weather file is not here: {FILE.name} is expected under ../shared/references/data/weather"
        )
    with FILE.open(newline="") as handle:
        for _ in range(2):
            next(handle)
        rows = list(csv.DictReader(handle))
    names = ("Temperature", "Dew Point", "Relative Humidity", "Pressure")
    return {name: np.array([float(row[name]) for row in rows]) for name in names}


def test_a_weather_file_counts_over_water_at_every_temperature(
    weather: dict[str, NDArray[np.float64]],
) -> None:
    dew = np.minimum(weather["Dew Point"], weather["Temperature"])
    given = {"dry_bulb": weather["Temperature"], "dew_point": dew}
    over_water = state(weather["Pressure"] * 100.0, over=saturation_pressure_over_water, **given)
    miss = over_water.relative_humidity * 100.0 - weather["Relative Humidity"]
    assert miss.size == 17_520
    assert abs(miss.mean()) < 0.1
    assert miss.std() < 0.25


def test_counted_over_ice_the_same_file_would_be_far_off_in_frost(
    weather: dict[str, NDArray[np.float64]],
) -> None:
    cold = weather["Temperature"] < -5.0
    dew = np.minimum(weather["Dew Point"], weather["Temperature"])[cold]
    pascal = weather["Pressure"][cold] * 100.0
    over_ice = state(pascal, dry_bulb=weather["Temperature"][cold], dew_point=dew)
    miss = over_ice.relative_humidity * 100.0 - weather["Relative Humidity"][cold]
    assert cold.sum() > 500
    assert miss.mean() > 3.0
