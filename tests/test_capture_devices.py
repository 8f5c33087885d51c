"""How devices are asked, what is made of their answers, and the documents that tell of them."""

from __future__ import annotations

import asyncio
import math
from collections.abc import Sequence
from pathlib import Path

import pytest

from sample_documents import RECLAIM
from wringout.capture.bacnet_client import Asked
from wringout.capture.discovering import Found, Watched, guessed, named
from wringout.capture.gate import NotRead
from wringout.capture.polling import FIRST_PAUSE, LONGEST_PAUSE, BacnetPoller, Rates, poll_all, resolved
from wringout.capture.registers import Register, blocks_of, number_of, read_registers
from wringout.capture.simulated_unit import SimulatedUnit
from wringout.capture.sources import BacnetDevice, ModbusDevice, read_sources, sources_text
from wringout.documents.load import unit_from_text
from wringout.errors import DataError, InputError

OBJECTS = {f"column {k}": (0, k) for k in range(50)}


class Device:
    """A BACnet device that takes so many properties a request, and has a faulty sensor."""

    def __init__(self, most: int, away: bool = False) -> None:
        self.most, self.away, self.requests = most, away, 0

    async def read(self, address: str, asked: Sequence[Asked], seconds: float) -> list[object]:
        self.requests += 1
        if self.away:
            raise DataError("no answer")
        if len(asked) > self.most:
            raise NotRead("too long")
        if any(one.instance == 13 for one in asked) and len(asked) == 1:
            raise NotRead("no such object")
        flags = {7: (False, True, False, False)}
        out: list[object] = []
        for one in asked:
            value = None if one.instance == 13 else float(one.instance)
            quiet = flags.get(one.instance, (False,) * 4)
            out.append(value if one.property == 85 else quiet)
        return out


@pytest.mark.parametrize(("most", "requests"), [(40, 3), (10, None), (1, None)])
def test_a_device_is_asked_as_it_can_take_it(most: int, requests: int | None) -> None:
    device = Device(most)
    poller = BacnetPoller(device, BacnetDevice("h:1", 1, "d", OBJECTS))  # type: ignore[arg-type]
    values: dict[str, float] = {}
    asyncio.run(poller.poll(values, 10.0))
    assert set(values) == set(OBJECTS)
    assert math.isnan(values["column 13"])
    assert values["column 49"] == 49.0
    if most > 1:
        assert math.isnan(values["column 7"]), "its own flag says that the sensor is faulty"
    first = device.requests
    assert requests is None or first == requests
    values.clear()
    asyncio.run(poller.poll(values, 10.0))
    assert device.requests - first <= first, "what it takes is found out once"


def test_a_device_that_is_away_is_left_in_peace_for_longer_each_time() -> None:
    rate = Rates()
    pauses = []
    for _ in range(9):
        rate.missed(100.0, "no answer")
        pauses.append(rate.pause)
    assert pauses == [1, 2, 4, 8, 16, 32, 60, 60, 60]
    assert (pauses[0], pauses[-1]) == (FIRST_PAUSE, LONGEST_PAUSE)
    rate.got(200.0, 5)
    rate.got(201.0, 5)
    assert (rate.polls, rate.lost, rate.values, rate.pause, rate.why) == (11, 9, 10, 0.0, "")
    assert rate.age(203.0) == 2.0
    assert rate.per_second(201.0) == pytest.approx(5.0)


def test_one_that_is_away_does_not_keep_the_others_waiting() -> None:
    devices = [Device(40), Device(40, away=True)]
    pollers = [BacnetPoller(d, BacnetDevice("h:1", 1, "d", {f"{k}": (0, 1)})) for k, d in enumerate(devices)]  # type: ignore[arg-type]
    rates = [Rates(), Rates()]

    async def run() -> list[dict[str, float]]:
        return [await poll_all(pollers, rates, 5.0) for _ in range(3)]

    assert asyncio.run(run()) == [{"0": 1.0}] * 3
    assert devices[1].requests == 1, "asked once, then left in peace"
    assert (rates[1].polls, rates[1].lost, rates[1].why) == (3, 3, "no answer")


def test_neighbours_are_read_together_and_far_ones_apart() -> None:
    registers = [
        Register("a", "holding", 0, "float32"),
        Register("b", "holding", 9),
        Register("c", "holding", 30),
        Register("d", "input", 0),
        Register("e", "holding", 140),
    ]
    found = [(b.table, b.address, b.count) for b in blocks_of(registers)]
    assert found == [("holding", 0, 10), ("holding", 30, 1), ("holding", 140, 1), ("input", 0, 1)]
    long = [Register(f"r{k}", "holding", k) for k in range(300)]
    assert [b.count for b in blocks_of(long)] == [125, 125, 50]


@pytest.mark.parametrize(
    ("register", "words", "value"),
    [
        (Register("r", "input", 0, "int16", scale=0.1), [0xFFF6], -1.0),
        (Register("r", "input", 0, "uint16"), [0xFFF6], 65526.0),
        (Register("r", "input", 0, "int32"), [0xFFFF, 0xFFFE], -2.0),
        (Register("r", "input", 0, "uint32", low_first=True), [0x0001, 0x0002], 131073.0),
        (Register("r", "input", 0, "float32"), [0x42C8, 0x0000], 100.0),
        (Register("r", "input", 0, "float32"), [0x7FC0, 0x0000], math.nan),
        (Register("r", "input", 0, "uint16", nothing=65535.0), [65535], math.nan),
        (Register("r", "input", 0, "uint16", scale=0.5, offset=-40.0), [100], 10.0),
        (Register("r", "coil", 0, "bit"), [1], 1.0),
    ],
)
def test_what_stands_in_a_register(register: Register, words: list[int], value: float) -> None:
    """IEEE 754: 42C80000 is 100, 7FC00000 no number; two's complement for the rest."""
    assert number_of(register, words) == pytest.approx(value, nan_ok=True)


MAP = """\
format: wringout-registers/1
registers:
  - {name: Loop flow, table: input, address: 4, type: uint16, scale: 0.1, unit: gpm}
  - {name: Pump, table: discrete, address: 0}
"""


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("table: input", "table: inputs", r"line 3: registers\[1\]\.table.*input"),
        ("address: 4", "address: 40004.5", "as they are sent"),
        ("address: 4", "address: 65536", "0 to 65535 are taken"),
        (", type: uint16", "", "type: missing"),
        ("type: uint16", "type: word", "int16"),
        ("scale: 0.1", "scale: tenth", "is no number"),
        ("unit: gpm", "unit: furlongs", "is no unit"),
        ("name: Pump", "name: Loop flow", "is there already"),
        ("scale", "scael", "nearest known one is scale"),
        ("registers:", "register:", "unknown field"),
        ("wringout-registers/1", "wringout-trend/1", "wringout-registers/1"),
    ],
)
def test_a_register_map_that_must_be_mended(tmp_path: Path, old: str, new: str, message: str) -> None:
    path = tmp_path / "meter.yaml"
    path.write_text(MAP, encoding="utf-8")
    assert [r.unit for r in read_registers(path)] == ["gpm", "yes/no"]
    path.write_text(MAP.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(InputError, match=message):
        read_registers(path)


def _found(name: str, column: str = "SAT (degF)") -> Found:
    device = BacnetDevice("192.0.2.1:47808", 5, name, {column: (0, 1), "Odd \u00e9, name": (13, 2)})
    words = {column: "SAT Supply air temperature", "Odd \u00e9, name": "odd"}
    return Found(device, words, {column: "degF", "Odd \u00e9, name": None})


def test_the_map_on_the_page_is_read(tmp_path: Path) -> None:
    page = (Path(__file__).parent.parent / "docs" / "listen.md").read_text(encoding="utf-8")
    path = tmp_path / "meter.yaml"
    path.write_text(page.split("```yaml\n")[1].split("```")[0], encoding="utf-8")
    one, two, three, four = read_registers(path)
    assert (one.unit, one.scale, two.nothing, three.low_first, four.type) == ("gpm", 0.1, 32767, True, "bit")


def test_sources_are_read_as_they_were_written(tmp_path: Path) -> None:
    register = Register("Flow (gpm)", "holding", 4, "int32", 0.1, -5.0, "gpm", True, -1.0)
    meter = ModbusDevice("192.0.2.2:502", 7, "meter", {"Flow (gpm)": register})
    devices = (_found("unit: 1").device, meter)
    path = tmp_path / "live.sources.yaml"
    path.write_text(sources_text(devices), encoding="utf-8")
    assert read_sources(path) == devices
    path.write_text(sources_text(devices).replace("analog-input 1", "analog 1"), encoding="utf-8")
    with pytest.raises(InputError, match="write it like analog-input 1"):
        read_sources(path)


def test_columns_that_two_devices_share_carry_the_device() -> None:
    one, two = named([_found("AHU 1"), _found("AHU 2")])
    assert one.device.columns[0] == "AHU 1 SAT (degF)"
    assert two.device.columns[0] == "AHU 2 SAT (degF)"
    assert named([_found("AHU 1")])[0].device.columns[0] == "SAT (degF)"


def test_descriptions_help_where_a_name_says_nothing() -> None:
    found = _found("AHU 1", "P-0417 (degF)")
    watched = Watched(tuple(range(8)), tuple({"P-0417 (degF)": 61.0 + 0.1 * k} for k in range(8)))
    raw, guesses = guessed([found], watched, 0.0, "live.csv", None)
    assert [(g.column, g.point) for g in guesses] == [("P-0417 (degF)", "shown.supply_t")]
    assert [column.name for column in raw.columns] == ["P-0417 (degF)"]


@pytest.mark.parametrize(
    "address", ["", "nowhere.invalid", "192.0.2.1:0", "192.0.2.1:x", "[::1]", "999.1.1.1"]
)
def test_an_address_that_is_none(address: str) -> None:
    with pytest.raises(InputError, match="address"):
        asyncio.run(resolved(address, 502))


def test_the_person_at_the_unit_does_what_is_said() -> None:
    unit = SimulatedUnit(unit_from_text(RECLAIM, "unit"), ("pump-off",), 1.8e9, seed=1)
    before = unit.shown()
    assert before["loop.flow"] < 1e-6
    assert before["shown.reheat_in_hand"] == 0.0
    assert unit.order("force reheat.command 40 %") == "reheat.command is held at 40 %"
    unit.run_to(1.8e9 + 600.0)
    held = unit.shown()
    assert held["shown.reheat_command"] == pytest.approx(0.4)
    assert held["shown.reheat_in_hand"] == 1.0
    unit.order("release reheat.command")
    unit.order("mend")
    unit.run_to(1.8e9 + 1800.0)
    assert unit.shown()["loop.flow"] > 1e-4
    assert unit.shown()["shown.reheat_in_hand"] == 0.0
    for words in ("force fan 10 %", "force reheat.command", "force reheat.command 140 %", "dance", ""):
        with pytest.raises(InputError):
            unit.order(words)
    with pytest.raises(InputError, match="no cause"):
        SimulatedUnit(unit_from_text(RECLAIM, "unit"), ("gremlins",), 1.8e9)
