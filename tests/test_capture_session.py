"""A whole session against simulated devices, every byte of it kept: found, mapped, recorded, gone on with."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pytest

from capture_wire import MODBUS_READS, READS, TcpRelay, UdpRelay, functions_of, service_of
from sample_documents import RECLAIM
from wringout.capture.bacnet_client import Asked, BacnetClient
from wringout.capture.clock import Clock
from wringout.capture.modbus_client import ModbusClient
from wringout.capture.polling import pollers_of
from wringout.capture.recorder import Progress, record
from wringout.capture.recording import follow, read
from wringout.capture.registers import read_registers
from wringout.capture.session import Meter, find, known_devices, map_columns, open_recording
from wringout.capture.simulated_modbus import REGISTER_MAP, UNIT_ID
from wringout.capture.simulated_site import SimulatedSite
from wringout.documents.load import unit_from_text
from wringout.trends.guessing import Guess
from wringout.trends.mapping import load_table

SPEED = 50.0
PATIENCE = 12.0  # s for a round of answers: the tests may share a busy machine
EVERY = 10.0  # s of the site's clock: five rows a second
WANTED = {
    "shown.space_t", "shown.dew_point", "shown.supply_t", "outdoor.t", "shown.outdoor_dew_point", "return.t",
    "return.rh", "shown.reheat_command", "shown.setpoint_dew_point", "shown.stages_called", "fan.running",
    "shown.dehumidifying", "loop.flow", "reheat.water_in", "reheat.water_out", "supply.rh", "coil_leaving.t",
}  # fmt: skip


@dataclass
class Session:
    """What a session left."""

    path: Path
    datagrams: list[bytes] = field(default_factory=list)
    streams: list[bytes] = field(default_factory=list)
    guesses: tuple[Guess, ...] = ()
    parts: list[Progress] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    last_of_first: float = 0.0
    truth: dict[str, float] = field(default_factory=dict)


class _Story:
    """What happens meanwhile, by what the recorder has noticed and not by the clock."""

    def __init__(self, session: Session, site: SimulatedSite, stop: asyncio.Event) -> None:
        self.session, self.site, self.stop = session, site, stop
        self.rounds = self.quiet = 0
        self.next = ["force", "drop bacnet", "open bacnet", "drop modbus", "open modbus", "end"]
        self.tasks: list[asyncio.Task[None]] = []

    def __call__(self, progress: Progress, cells: Mapping[str, float]) -> None:
        self.rounds += 1
        bacnet, modbus = progress.rates
        if not self.session.truth:
            self.session.truth = self.site.machine.machine.points()
        self.quiet = 0 if bacnet.pause or modbus.pause or self.tasks_run() else self.quiet + 1
        step = self.next[0]
        if step == "open bacnet" and bacnet.lost >= 2:
            self.site.bacnet.open()
        elif step == "open modbus" and modbus.lost >= 2:
            self.tasks.append(asyncio.ensure_future(self.site.modbus.open()))
        elif step.startswith("open") or self.quiet < 3:
            return
        elif step == "force":
            self.session.said.append(self.site.order("force reheat.command 100 %"))
        elif step == "drop bacnet":
            self.site.bacnet.close()
        elif step == "drop modbus":
            self.tasks.append(asyncio.ensure_future(self.site.modbus.close()))
        else:
            self.stop.set()
            return
        self.quiet = 0
        self.next.pop(0)

    def tasks_run(self) -> bool:
        return any(not task.done() for task in self.tasks)


async def _part(session: Session, site: SimulatedSite, clock: Clock, again: bool) -> None:
    """Record, and stop as if switched off."""
    devices = known_devices(session.path)
    assert devices is not None
    client = await BacnetClient.open("127.0.0.3")
    pollers = pollers_of(devices, client)
    stop = asyncio.Event()
    story = _Story(session, site, stop)
    if again:
        story.next = ["end"]
    with open_recording(session.path, devices, clock.offset) as recording:
        done = await record(recording, pollers, clock, EVERY, stop, story, patience=PATIENCE)
    session.parts.append(done)
    await asyncio.gather(*story.tasks)
    for poller in pollers:
        poller.close()
    client.close()


async def _session(folder: Path) -> Session:
    session = Session(folder / "live.csv")
    clock = Clock.faster(SPEED)
    unit = unit_from_text(RECLAIM, "unit")
    site = SimulatedSite(unit, clock, ("strainer-plugged",), seed=3)
    await site.open()
    stop = asyncio.Event()
    running = asyncio.create_task(site.run(stop))
    host, port = site.bacnet.address.split(":")
    bacnet = UdpRelay((host, int(port)), "127.0.0.6")
    host, port = site.modbus.address.split(":")
    modbus = TcpRelay((host, int(port)), "127.0.0.7")
    await bacnet.open()
    await modbus.open()
    (folder / "meter.yaml").write_text(REGISTER_MAP, encoding="utf-8")
    meters = [Meter(modbus.address, UNIT_ID, read_registers(folder / "meter.yaml"))]
    client = await BacnetClient.open("127.0.0.3")
    try:
        found = await find(client, [bacnet.address], meters, 30.0)
        session.guesses = await map_columns(session.path, client, found, clock, unit, 90.0, 30.0) or ()
        client.close()
        await _part(session, site, clock, again=False)
        session.last_of_first = float(read(session.path)[0][-1])
        await _part(session, site, clock, again=True)
        session.datagrams = list(bacnet.sent)
        session.streams = [bytes(stream) for stream in modbus.streams]
    finally:
        await bacnet.close()
        await modbus.close()
        stop.set()
        await running
        await site.close()
    return session


@pytest.fixture(scope="module")
def session(tmp_path_factory: pytest.TempPathFactory) -> Session:
    return asyncio.run(_session(tmp_path_factory.mktemp("session")))


def test_only_read_services_leave_the_machine(session: Session) -> None:
    services = [service_of(datagram) for datagram in session.datagrams]
    assert len(services) > 30
    assert set(services) <= READS
    assert {("confirmed", 12), ("confirmed", 14), ("unconfirmed", 8)} == set(services)


def test_only_read_functions_leave_the_machine(session: Session) -> None:
    functions = [code for stream in session.streams for code in functions_of(stream)]
    assert len(session.streams) >= 4  # watched, recorded, after the drop-out, after the restart
    assert len(functions) > 10
    assert set(functions) <= MODBUS_READS


def test_every_point_of_the_site_is_found(session: Session) -> None:
    sure = {guess.point for guess in session.guesses if guess.confidence >= 0.5}
    assert sure >= WANTED
    assert not {guess.column for guess in session.guesses} & {"CO2", "Meter energy"}


def test_recorded_values_are_those_of_the_machine(session: Session) -> None:
    """An exact instrument in the machine against what came over the network at about that time."""
    _, values = read(session.path)
    for point, tolerance in {
        "outdoor.t": 0.6, "shown.space_t": 0.6, "shown.setpoint_dew_point": 0.06, "loop.flow": 1e-4,
        "reheat.water_in": 1.5, "coil_leaving.t": 1.0,
    }.items():  # fmt: skip
        assert values[point][0] == pytest.approx(session.truth[point], abs=tolerance), point


def test_a_forced_state_is_made_at_the_site_and_seen(session: Session) -> None:
    assert session.said[0] == "reheat.command is held at 100 %"
    _, values = read(session.path)
    hand = values["shown.reheat_in_hand"]
    assert hand[np.isfinite(hand)][0] == 0.0
    assert np.nanmax(hand) == 1.0
    forced = np.flatnonzero(hand == 1.0)
    assert values["shown.reheat_command"][forced] == pytest.approx(1.0)


def test_a_device_that_was_away_leaves_a_gap_and_comes_back(session: Session) -> None:
    time, values = read(session.path)
    first = time <= session.last_of_first
    for point, other in (("shown.space_t", "loop.flow"), ("loop.flow", "shown.space_t")):
        away = np.isnan(values[point][first])
        assert away.any(), f"{point} was never away"
        assert np.isfinite(values[other][first][away]).all(), "the other went on meanwhile"
        assert not away[-1], f"{point} did not come back"
    for rate in session.parts[0].rates:
        assert 0 < rate.lost < rate.polls


def test_time_runs_on_over_a_restart(session: Session) -> None:
    time, _ = read(session.path)
    assert np.all(np.diff(time) > 0.0)
    assert len(time) == session.parts[0].rows + session.parts[1].rows
    assert session.parts[1].rows >= 3
    assert len(follow(session.path, session.last_of_first)) == session.parts[1].rows
    assert np.all(np.mod(time, EVERY) == 0.0)


def test_the_recording_is_a_trend_of_the_unit(session: Session) -> None:
    table, _, guesses = load_table(None, session.path.with_suffix(".yaml"))
    time, values = read(session.path)
    assert guesses is None
    assert table.time.tolist() == time.tolist()
    for point in WANTED:
        np.testing.assert_allclose(table[point], values[point], rtol=1e-9, err_msg=point)


async def _planted(writes: bool) -> tuple[list[tuple[str, int]], list[int], float, int]:
    """The relays again, with clients of the libraries themselves, which know no gate."""
    from bacpypes3.app import Application
    from bacpypes3.ipv4.link import NormalLinkLayer
    from bacpypes3.local.device import DeviceObject
    from bacpypes3.pdu import IPv4Address
    from pymodbus.client import AsyncModbusTcpClient

    from wringout.capture.simulated_bacnet import SimulatedBacnet
    from wringout.capture.simulated_modbus import SimulatedModbus

    device, meter = SimulatedBacnet("target", "127.0.0.2"), SimulatedModbus("127.0.0.4")
    device.open()
    await meter.open()
    device.show({"shown.setpoint_dew_point": 10.0})
    meter.show({"loop.flow": 1e-3})
    host, port = device.address.split(":")
    bacnet = UdpRelay((host, int(port)), "127.0.0.6")
    host, port = meter.address.split(":")
    modbus = TcpRelay((host, int(port)), "127.0.0.7")
    await bacnet.open()
    await modbus.open()
    reader = await BacnetClient.open("127.0.0.3")
    if writes:
        import socket

        opened = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        opened.setblocking(False)
        opened.bind(("127.0.0.8", 0))
        address = IPv4Address("{}:{}".format(*opened.getsockname()))
        writer = Application.from_object_list(
            [DeviceObject(objectIdentifier=("device", 5), objectName="writer", vendorIdentifier=0)]
        )
        link = NormalLinkLayer(address, bind_socket=opened)
        writer.nsap.bind(link, address=address)
        where = IPv4Address(bacnet.address)
        await asyncio.wait_for(writer.write_property(where, "analog-value,1", "present-value", 99.0), 10.0)
        link.close()
        client = AsyncModbusTcpClient(*modbus.address.split(":")[:1], port=int(modbus.address.split(":")[1]))
        await client.connect()
        await client.write_register(4, 1, device_id=UNIT_ID)
        client.close()
    (value,) = await reader.read(bacnet.address, [Asked(2, 1, 85)], 10.0)
    ours = ModbusClient(modbus.address.split(":")[0], int(modbus.address.split(":")[1]), UNIT_ID, 10.0)
    await ours.connect()
    (flow,) = await ours.read("input", 4, 1)
    ours.close()
    reader.close()
    await asyncio.sleep(0.05)
    await bacnet.close()
    await modbus.close()
    device.close()
    await meter.close()
    assert isinstance(value, float)
    services = [service_of(datagram) for datagram in bacnet.sent]
    return services, [c for s in modbus.streams for c in functions_of(bytes(s))], value, flow


def test_the_decoder_catches_a_write_that_is_planted() -> None:
    services, functions, value, _ = asyncio.run(_planted(writes=True))
    assert ("confirmed", 15) in services
    assert 6 in functions
    assert value == pytest.approx(99.0), "the simulated device takes writes: only our client sends none"


def test_without_it_the_same_relays_see_reads_alone() -> None:
    services, functions, value, flow = asyncio.run(_planted(writes=False))
    assert set(services) <= READS
    assert functions == [4]
    assert value == pytest.approx(50.0)
    assert flow == round(1e-3 / 3.785411784e-3 * 60.0 * 10.0)
