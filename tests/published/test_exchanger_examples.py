"""SOURCE: worked examples of textbooks, and one coil model.

Incropera et al., Fundamentals of Heat and Mass Transfer: example 11.1 (read in the documentation of ht 1.2.0;
pipe length from memory), example 11.3 (inputs from memory; computed with ht, the book reads a chart).

Holman, Heat Transfer, 10th ed.: example 10-9 (read in the documentation of ht 1.2.0).

Mitchell and Braun 2012: example SM-2-1, dry coil (read in the Modelica Buildings library,
WetCoilEffectivenessNTU and its reference results of 2021).

Wetter, LBNL-42355 (1999): exponents and ratio of a coil (read in the Modelica Buildings library, HADryCoil).

Accuracy: three to four digits in the books.
"""

from __future__ import annotations

import math

import pytest

from wringout.physics.exchanger import (
    counterflow,
    crossflow_both_unmixed,
    crossflow_maximum_mixed,
    heat_transferred,
    log_mean_difference,
    ntu_from_effectiveness_crossflow,
    scaled_conductance,
    transfer_units,
)


def test_incropera_11_1_oil_cooler() -> None:
    oil, water = 0.1 * 2131.0, 0.2 * 4178.0
    heat = oil * (100.0 - 60.0)
    assert heat == pytest.approx(8524.0, abs=0.5)
    leaving = 30.0 + heat / water
    assert leaving == pytest.approx(40.201, abs=1e-3)
    counter = log_mean_difference(100.0 - 40.2, 60.0 - 30.0)
    assert counter == pytest.approx(43.2004, abs=1e-4)
    assert log_mean_difference(100.0 - 30.0, 60.0 - 40.2) == pytest.approx(39.7525, abs=1e-4)
    length = heat / (38.1 * math.pi * 0.025 * counter)
    assert length == pytest.approx(65.9, abs=0.1)
    # the same pipe by effectiveness
    ntu, ratio = transfer_units(38.1 * math.pi * 0.025 * length, oil, water)
    again = heat_transferred(counterflow(ntu, ratio), oil, water, 100.0, 30.0)
    assert again == pytest.approx(heat, rel=1e-4)


def test_holman_10_9_oil_heated_by_steam_in_crossflow() -> None:
    oil, steam = 0.725 * 1900.0, 5.2 * 1860.0
    ntu, ratio = transfer_units(275.0 * 10.82, steam, oil)
    assert oil == pytest.approx(1377.5)
    assert ratio == pytest.approx(0.14242, abs=1e-5)
    assert ntu == pytest.approx(2.16007, abs=1e-5)
    effectiveness = crossflow_maximum_mixed(ntu, ratio)
    assert effectiveness == pytest.approx(0.831218, abs=1e-6)
    heat = heat_transferred(effectiveness, steam, oil, 130.0, 15.0)
    assert heat == pytest.approx(131_675.0, abs=1.0)
    assert 15.0 + heat / oil == pytest.approx(110.590, abs=1e-3)
    assert 130.0 - heat / steam == pytest.approx(116.386, abs=1e-3)


def test_incropera_11_3_finned_gas_heater() -> None:
    water = 1.0 * 4197.0
    heat = water * (125.0 - 35.0)
    gas = heat / (300.0 - 100.0)
    assert heat == pytest.approx(377_730.0)
    assert gas == pytest.approx(1888.65)
    effectiveness = heat / (gas * (300.0 - 35.0))
    assert effectiveness == pytest.approx(0.75472, abs=1e-5)
    ntu = ntu_from_effectiveness_crossflow(effectiveness, gas / water)
    assert ntu == pytest.approx(2.081, abs=1e-3)
    assert ntu * gas / 100.0 == pytest.approx(39.3, abs=0.05)  # m2; the book's chart gives 39.7


def test_an_even_exchanger_of_nine_units_gives_nine_tenths() -> None:
    assert counterflow(9.0, 1.0) == pytest.approx(0.9, abs=1e-9)


def test_mitchell_braun_sm_2_1_dry_coil() -> None:
    air, water = 2.646 * 1012.0, 3.78 * 4186.0
    ntu, ratio = transfer_units(4748.0, air, water)
    warm, cold = 80.0, 42.0
    warm, cold = (warm - 32.0) / 1.8, (cold - 32.0) / 1.8
    counter = counterflow(ntu, ratio)
    assert counter == pytest.approx(0.80188, abs=1e-5)
    heat = heat_transferred(counter, air, water, warm, cold)
    assert heat == pytest.approx(45_331.0, abs=2.0)
    assert warm - heat / air == pytest.approx(9.738, abs=1e-3)
    assert heat == pytest.approx(45_251.0, rel=5e-3)  # the model's own result, with moist-air specific heat
    cross = heat_transferred(crossflow_both_unmixed(ntu, ratio), air, water, warm, cold)
    assert cross == pytest.approx(44_411.0, abs=5.0)


def test_wetters_coil_at_half_flow() -> None:
    # hA on the water side twice that on the air side: two thirds of the resistance are air
    share = 2.0 / 3.0
    assert scaled_conductance(1.0, 1.0, 0.5, share, 0.8, 0.85) == pytest.approx(0.7890, abs=5e-5)
    assert scaled_conductance(1.0, 0.5, 1.0, share, 0.8, 0.85) == pytest.approx(0.6693, abs=5e-5)
