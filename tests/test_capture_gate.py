"""Nothing but a read can be sent: every other request of both protocols is refused before it is encoded."""

from __future__ import annotations

import ast
import asyncio
from pathlib import Path

import pytest
from bacpypes3.apdu import (
    APDU,
    confirmed_request_types,
    unconfirmed_request_types,
)
from bacpypes3.pdu import IPv4Address
from pymodbus.pdu import bit_message, file_message, register_message

import wringout.capture
from wringout.capture.bacnet_client import READS, BacnetClient, ReadOnlyApplication
from wringout.capture.gate import Refused, bacnet_incoming, bacnet_service, modbus_function
from wringout.capture.modbus_client import ReadOnlyTcpClient

NAMES = {
    cls.__name__: cls for cls in (*confirmed_request_types.values(), *unconfirmed_request_types.values())
}
FORBIDDEN = sorted(set(NAMES) - {cls.__name__ for cls in READS})
PACKAGE = Path(wringout.capture.__file__).parent


def test_the_list_of_what_is_refused_is_long_enough_to_mean_something() -> None:
    assert {
        "WritePropertyRequest", "WritePropertyMultipleRequest", "SubscribeCOVRequest",
        "SubscribeCOVPropertyRequest", "DeviceCommunicationControlRequest", "ReinitializeDeviceRequest",
        "AtomicWriteFileRequest", "CreateObjectRequest", "DeleteObjectRequest", "TimeSynchronizationRequest",
        "AddListElementRequest", "IAmRequest",
    } <= set(FORBIDDEN)  # fmt: skip
    assert {cls.__name__ for cls in READS} == {
        "ReadPropertyRequest", "ReadPropertyMultipleRequest", "WhoIsRequest",
    }  # fmt: skip


async def _refused(name: str) -> None:
    client = await BacnetClient.open("127.0.0.3")
    try:
        request: APDU = NAMES[name](destination=IPv4Address("127.0.0.2:47808"))
        with pytest.raises(Refused, match="is no read"):
            client._application.request(request)
        with pytest.raises(Refused, match="not answered"):
            await client._application.response(request)
    finally:
        client.close()


def test_every_other_service_of_bacnet_is_refused() -> None:
    async def run() -> None:
        for name in FORBIDDEN:
            await _refused(name)

    asyncio.run(run())


def test_a_request_in_disguise_is_refused() -> None:
    """Of a kind that the allow-list holds by name of its parents, but is not itself on it."""

    async def run() -> None:
        client = await BacnetClient.open("127.0.0.3")
        disguised = type("Disguised", (READS[0],), {})
        with pytest.raises(Refused):
            client._application.request(disguised(destination=IPv4Address("127.0.0.2:47808")))
        for act in ("write_property", "change_of_value"):
            assert not hasattr(client, act), "the client itself has no such way"
        client.close()

    asyncio.run(run())
    assert ReadOnlyApplication.request is not ReadOnlyApplication.__mro__[1].request


@pytest.mark.parametrize(
    ("function", "request_pdu"),
    [
        (5, bit_message.WriteSingleCoilRequest(address=1, bits=[True])),
        (15, bit_message.WriteMultipleCoilsRequest(address=1, bits=[True] * 3)),
        (6, register_message.WriteSingleRegisterRequest(address=1, registers=[2])),
        (16, register_message.WriteMultipleRegistersRequest(address=1, registers=[2, 3])),
        (22, register_message.MaskWriteRegisterRequest(address=1)),
        (
            23,
            register_message.ReadWriteMultipleRegistersRequest(
                read_address=1, read_count=1, write_address=1, write_registers=[5]
            ),
        ),
        (21, file_message.WriteFileRecordRequest()),
    ],
)
def test_every_write_of_modbus_is_refused(function: int, request_pdu: object) -> None:
    async def run() -> None:
        client = ReadOnlyTcpClient("127.0.0.9", 1, 1.0)
        assert request_pdu.function_code == function  # type: ignore[attr-defined]
        with pytest.raises(Refused, match=f"function {function} is no read"):
            client.execute(False, request_pdu)

    asyncio.run(run())


def test_the_gate_of_bytes_lets_four_functions_through() -> None:
    passed = []
    for function in range(256):
        frame = bytes.fromhex("0001 0000 0006 01") + bytes([function]) + bytes.fromhex("0000 0001")
        try:
            modbus_function(frame)
            passed.append(function)
        except Refused:
            pass
        with pytest.raises(Refused):
            modbus_function(frame * 2)  # a write that rides behind a read
        with pytest.raises(Refused):
            modbus_function(frame[:-1])
    assert passed == [1, 2, 3, 4]


def test_the_gate_of_bytes_knows_how_a_datagram_can_be_dressed() -> None:
    read, write = bytes.fromhex("00040F0C0C0000000519 55"), bytes.fromhex("00040F0F0C0000000519 55")

    def dressed(apdu: bytes, control: int = 0x04, route: bytes = b"", function: int = 0x0A) -> bytes:
        body = bytes([1, control]) + route + apdu
        return bytes([0x81, function]) + (len(body) + 4).to_bytes(2, "big") + body

    to_network_5 = bytes.fromhex("0005 01 07 FF")  # destination network, station, hops
    assert bacnet_service(dressed(read)) == "ReadProperty"
    assert bacnet_service(dressed(read, 0x24, to_network_5)) == "ReadProperty"
    for frame in (
        dressed(write),
        dressed(write, 0x24, to_network_5),
        dressed(write, 0x0C, bytes.fromhex("0005 01 07")),
        dressed(read[:1].replace(b"\0", b"\x08") + read[1:]),  # segmented
        dressed(read, function=0x05),  # registers a foreign device with a router
        dressed(b"\x00", 0x84),  # a message of the network layer
        dressed(read)[:-1],
        dressed(b""),
        b"",
        b"\x81\x0a\x00\x04",
    ):
        with pytest.raises(Refused):
            bacnet_service(frame)
    answer = bytes.fromhex("300F0C")
    assert bacnet_incoming(dressed(answer))
    assert not bacnet_incoming(dressed(read)), "requests of others are not even looked at"
    assert not bacnet_incoming(dressed(write))
    assert not bacnet_incoming(b"\x81")


def test_of_trends_only_the_guessing_of_columns_is_used() -> None:
    used = set()
    for path in PACKAGE.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("wringout.trends."):
                used.add((node.module or "").split(".")[2])
    if any(path.stem.startswith("guided") for path in PACKAGE.glob("*.py")):
        used -= {"table"}
    assert used <= {"cells", "guessing", "mapping", "table"}
