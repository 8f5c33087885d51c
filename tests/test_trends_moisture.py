"""Moisture in and out: days made with the machine in time, in which it is known what came in and went out."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from motion_cases import unit
from motion_trends import DAY, START, loads_of, made
from trend_samples import with_values, without
from wringout.trends.finding import shower
from wringout.trends.findings import findings_of
from wringout.trends.moisture import too_wet_findings
from wringout.trends.moisture_balance import moisture_of
from wringout.trends.moisture_days import MoistureDays, moisture_days_findings
from wringout.trends.pictures import picture_of
from wringout.trends.table import TrendTable

KIND = "modulating reclaim"


@cache
def trend(
    causes: tuple[tuple[str, float], ...] = (), extra: tuple[str, ...] = (), moisture: float = 0.9
) -> TrendTable:
    return made(KIND, causes, extra=extra, loads=loads_of(2.0, moisture))


def days_of(table: TrendTable) -> MoistureDays:
    (found,) = moisture_days_findings(moisture_of(table, unit(KIND)))
    return found


def logged_mean(table: TrendTable, point: str) -> float:
    """What the machine in time drained, apart from the package's way of working it out."""
    return float(np.nanmean(table[point]))


# ------------------------------------------------------------------------------ what was taken out


@pytest.mark.parametrize(
    ("extra", "route"),
    [(("supply.rh",), "supply humidity"), (("coil_leaving.t",), "coil"), ((), "condensate")],
)
def test_what_was_taken_out_is_what_ran_down_the_drain(extra: tuple[str, ...], route: str) -> None:
    table = trend((), (*extra, "condensate.rate"))
    drained = logged_mean(table, "condensate.rate")
    table = table if route == "condensate" else without(table, "condensate.rate")
    found = days_of(table)
    assert found.route == route
    assert found.taken_out is not None
    assert found.taken_out_sigma is not None
    assert found.taken_out == pytest.approx(drained, abs=2.0 * found.taken_out_sigma)
    assert found.taken_out_sigma < 0.35 * drained
    assert found.healthy == pytest.approx(drained, abs=2.0 * found.healthy_sigma)


def test_what_came_in_over_two_days_is_what_went_out() -> None:
    """At its schedule the machine's room ends nearly as wet as it began, so the book must close."""
    table = trend((), ("condensate.rate",), 1.0)
    found = days_of(table)
    drained = logged_mean(table, "condensate.rate")
    # people by day, fewer by night: 0.8 of the document's release over the day; what comes in is known
    indoors = 0.8 * unit(KIND).space.moisture
    assert found.indoors == pytest.approx(unit(KIND).space.moisture, rel=1e-9)
    assert found.weather + indoors == pytest.approx(drained, rel=0.12)


def test_each_day_has_its_own_line() -> None:
    found = days_of(trend((), ("condensate.rate",)))
    assert [day.start for day in found.days] == [START, START + DAY]
    assert all(day.hours == pytest.approx(24.0, abs=0.6) for day in found.days)
    document = found.as_document("ip")
    assert [day["day"] for day in document["days"]] == ["2027-07-08", "2027-07-09"]
    taken = sum(day["taken_out"]["value"] for day in document["days"]) / 2.0
    assert found.taken_out is not None
    assert taken == pytest.approx(found.taken_out * DAY, rel=0.02), "kilograms a day"


# --------------------------------------------------------------------------------- whose matter it is


def test_a_healthy_unit_in_its_building_is_in_balance() -> None:
    found = days_of(trend((), ("condensate.rate",)))
    assert found.whose == "balance"
    assert not found.wrong


def test_a_coil_that_takes_out_too_little_is_the_units_fault() -> None:
    found = days_of(trend((("compressor-out", 0.5),), ("condensate.rate",), 1.3))
    assert found.whose == "unit"
    assert found.wrong
    assert found.taken_out is not None
    assert found.taken_out < 0.8 * found.healthy
    assert "less" in found.heading()


def test_wet_work_that_the_document_does_not_know_is_the_buildings() -> None:
    found = days_of(trend((), ("condensate.rate",), 4.0))
    assert found.whose == "building"
    assert found.wrong
    assert "building" in found.means()


def test_without_a_measure_of_what_was_taken_out_it_is_only_worth_knowing() -> None:
    for causes, moisture in (((), 0.9), ((("compressor-out", 0.5),), 1.3)):
        found = days_of(trend(causes, (), moisture))
        assert found.taken_out is None
        assert not found.wrong
        assert "nothing in the trend measures" in found.says(shower("ip"))


@pytest.mark.parametrize(
    ("causes", "moisture", "whose"),
    [((("compressor-out", 0.5),), 2.0, {"unit"}), ((), 6.0, {"building"})],
)
def test_whose_the_wet_hours_are(causes: tuple[tuple[str, float], ...], moisture: float, whose: set) -> None:
    table = trend(causes, ("supply.rh",), moisture)
    (found,) = too_wet_findings(table, unit(KIND), moisture=moisture_of(table, unit(KIND)))
    assert found.whose in whose
    assert found.removed is not None


# ------------------------------------------------------------------------------------- words and picture


def test_it_is_said_in_the_readers_units_a_day() -> None:
    found = days_of(trend((), ("condensate.rate",)))
    assert "lb a day" in found.says(shower("ip"))
    assert "kg a day" in found.says(shower("si"))
    kilograms = float(found.says(shower("si")).split("brings in ")[1].split(" +/-")[0])
    assert kilograms == pytest.approx(found.weather * DAY, rel=0.03)
    picture = picture_of(found, trend((), ("condensate.rate",)), "ip")
    assert "brought in" in picture
    assert "taken out" in picture


def test_it_stands_among_the_findings_only_with_a_unit_and_weather() -> None:
    table = trend((), ("condensate.rate",))
    assert [f.kind for f in findings_of(table, unit(KIND))].count("moisture_days") == 1
    assert not [f for f in findings_of(table) if f.kind == "moisture_days"]
    assert moisture_of(without(table, "shown.outdoor_dew_point"), unit(KIND)) is None
    short = TrendTable(table.time[:300], {p: v[:300] for p, v in table.values.items()})
    assert moisture_days_findings(moisture_of(short, unit(KIND))) == []


def test_missing_half_hours_are_left_out_and_not_guessed() -> None:
    table = trend((), ("condensate.rate",))
    holed = table["shown.dew_point"].copy()
    holed[400:700] = np.nan
    found = days_of(with_values(table, shown__dew_point=holed))
    assert found.days[0].hours == pytest.approx(19.0, abs=1.1)
    assert found.taken_out is not None
    assert np.isfinite(found.taken_out)
