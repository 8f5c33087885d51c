"""SOURCE: ANSI/ASHRAE Standard 135 (BACnet), informative annex F, examples F.1.10, F.3.5, F.3.7, F.3.9,
F.4.1, F.4.4 and F.4.9; Modbus Application Protocol Specification V1.1b3, examples of chapters 6.1 to 6.17.

Values: requests and answers as the standards print them, byte for byte. All were recalled from memory; none
was read for these tests.

Accuracy: bytes agree or they do not; 72.3 is a single-precision number and is compared as one.
"""

from __future__ import annotations

import asyncio
import struct
from collections.abc import Callable

import pytest

from capture_wire import READS, functions_of, service_of
from wringout.capture.bacnet_client import Asked, BacnetClient
from wringout.capture.gate import Refused, bacnet_service, modbus_function
from wringout.capture.modbus_client import ModbusClient

READ_PROPERTY = "00 00 01 0C 0C 00000005 19 55"
READ_PROPERTY_ACK = "30 01 0C 0C 00000005 19 55 3E 44 4290999A 3F"
READ_MULTIPLE = "00 04 F1 0E 0C 00000010 1E 09 55 09 67 1F"
READ_MULTIPLE_ACK = "30 F1 0E 0C 00000010 1E 29 55 4E 44 4290999A 4F 29 67 4E 91 00 4F 1F"
WHO_IS = "10 08 09 03 19 03"
NO_READS = {
    "WriteProperty": "00 04 59 0F 0C 00800001 19 55 3E 44 43340000 3F",
    "SubscribeCOV": "00 02 0F 05 09 12 1C 0000000A 29 01 39 00",
    "DeviceCommunicationControl": "00 04 05 11 09 05 19 01 2D 08 00 23 65 67 62 64 66 21",
    "ReinitializeDevice": "00 04 02 14 09 01 1D 09 00 41 62 43 64 45 66 47 68",
    "I-Am": "10 00 C4 02000001 22 01E0 91 03 21 63",
}
MODBUS_READS = {
    "6.1 Read Coils": "01 0013 0013",
    "6.2 Read Discrete Inputs": "02 00C4 0016",
    "6.3 Read Holding Registers": "03 006B 0003",
    "6.4 Read Input Registers": "04 0008 0001",
}
MODBUS_WRITES = {
    "6.5 Write Single Coil": "05 00AC FF00",
    "6.6 Write Single Register": "06 0001 0003",
    "6.11 Write Multiple Coils": "0F 0013 000A 02 CD01",
    "6.12 Write Multiple Registers": "10 0001 0002 04 000A 0102",
    "6.16 Mask Write Register": "16 0004 00F2 0025",
    "6.17 Read/Write Multiple Registers": "17 0003 0006 000E 0003 06 00FF 00FF 00FF",
}


def over_ip(apdu: str) -> bytes:
    """An application message in the envelope of annex J: original unicast, no routing."""
    body = b"\x01\x04" + bytes.fromhex(apdu)
    return b"\x81\x0a" + (len(body) + 4).to_bytes(2, "big") + body


def over_tcp(pdu: str, transaction: int = 1, unit: int = 1) -> bytes:
    body = bytes([unit]) + bytes.fromhex(pdu)
    return transaction.to_bytes(2, "big") + b"\0\0" + len(body).to_bytes(2, "big") + body


@pytest.mark.parametrize(
    ("apdu", "name"),
    [(READ_PROPERTY, "ReadProperty"), (READ_MULTIPLE, "ReadPropertyMultiple"), (WHO_IS, "Who-Is")],
)
def test_reads_of_the_standard_pass_the_gate(apdu: str, name: str) -> None:
    assert bacnet_service(over_ip(apdu)) == name
    assert service_of(over_ip(apdu)) in READS


@pytest.mark.parametrize("name", NO_READS)
def test_every_other_example_is_refused(name: str) -> None:
    with pytest.raises(Refused, match="is no read"):
        bacnet_service(over_ip(NO_READS[name]))
    assert service_of(over_ip(NO_READS[name])) not in READS


@pytest.mark.parametrize("name", MODBUS_READS)
def test_reads_of_modbus_pass_the_gate(name: str) -> None:
    frame = over_tcp(MODBUS_READS[name])
    assert modbus_function(frame) == name.split(" ", 1)[1]
    assert functions_of(frame * 2) == [frame[7]] * 2


@pytest.mark.parametrize("name", MODBUS_WRITES)
def test_writes_of_modbus_are_refused(name: str) -> None:
    frame = over_tcp(MODBUS_WRITES[name])
    with pytest.raises(Refused, match="is no read"):
        modbus_function(frame)
    assert functions_of(frame)[0] not in {1, 2, 3, 4}


class _Answering(asyncio.DatagramProtocol):
    """A device that knows one answer; the invoke id of the request goes into it."""

    def __init__(self, answer: str) -> None:
        self.answer, self.asked = bytearray(over_ip(answer)), [b""][:0]

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self.transport = transport

    def datagram_received(self, data: bytes, addr: tuple[str, int]) -> None:
        self.asked.append(data)
        self.answer[7] = data[8]
        self.transport.sendto(bytes(self.answer), addr)  # type: ignore[attr-defined]


async def _read(answer: str, asked: list[Asked]) -> tuple[list[object], bytes]:
    loop = asyncio.get_running_loop()
    transport, device = await loop.create_datagram_endpoint(
        lambda: _Answering(answer), local_addr=("127.0.0.5", 0)
    )
    client = await BacnetClient.open("127.0.0.3")
    try:
        values = await client.read("{}:{}".format(*transport.get_extra_info("sockname")), asked, 10.0)
        return list(values), device.asked[0]
    finally:
        client.close()
        transport.close()
        await asyncio.sleep(0)


SEVENTY_TWO = struct.unpack(">f", bytes.fromhex("4290999A"))[0]  # 72.3


def test_the_client_asks_and_understands_as_in_f_3_5() -> None:
    values, request = asyncio.run(_read(READ_PROPERTY_ACK, [Asked(0, 5, 85)]))
    assert values == [SEVENTY_TWO]
    assert request[6:][3:] == bytes.fromhex(READ_PROPERTY)[3:]


def test_the_client_asks_and_understands_as_in_f_3_7() -> None:
    values, request = asyncio.run(_read(READ_MULTIPLE_ACK, [Asked(0, 16, 85), Asked(0, 16, 103)]))
    assert values == [SEVENTY_TWO, 0]  # reliability 0: no fault detected
    assert request[6:][3:] == bytes.fromhex(READ_MULTIPLE)[3:]


@pytest.mark.parametrize(
    ("table", "address", "count", "request_pdu", "answer", "values"),
    [
        ("holding", 107, 3, "03 006B 0003", "03 06 022B 0000 0064", [555, 0, 100]),
        ("input", 8, 1, "04 0008 0001", "04 02 000A", [10]),
        (
            "coil", 19, 19, "01 0013 0013", "01 03 CD 6B 05",
            [1, 0, 1, 1, 0, 0, 1, 1, 1, 1, 0, 1, 0, 1, 1, 0, 1, 0, 1],
        ),
        (
            "discrete", 196, 22, "02 00C4 0016", "02 03 AC DB 35",
            [0, 0, 1, 1, 0, 1, 0, 1, 1, 1, 0, 1, 1, 0, 1, 1, 1, 0, 1, 0, 1, 1],
        ),
    ],
)  # fmt: skip
def test_the_client_reads_as_in_6_1_to_6_4(
    table: str, address: int, count: int, request_pdu: str, answer: str, values: list[int]
) -> None:
    async def run() -> tuple[list[int], bytes]:
        got: list[bytes] = []

        async def answering(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            data = await reader.read(300)
            got.append(data)
            writer.write(over_tcp(answer, int.from_bytes(data[:2], "big")))
            await reader.read()
            writer.close()

        server = await asyncio.start_server(answering, "127.0.0.5", 0)
        host, port = server.sockets[0].getsockname()
        client = ModbusClient(host, port, 1, 10.0)
        try:
            await client.connect()
            found = list(await client.read(table, address, count))
        finally:
            client.close()
            server.close()
            await asyncio.sleep(0.01)
        return found, got[0]

    found, request = asyncio.run(run())
    assert found == values
    assert request[7:] == bytes.fromhex(request_pdu)


def test_this_module_has_a_reader_of_its_own() -> None:
    """The tests' decoder agrees with the gate by numbers alone, over every service there can be."""
    gate: Callable[[bytes], str] = bacnet_service
    for number in range(256):
        for kind, apdu in (("confirmed", f"00 04 01 {number:02X}"), ("unconfirmed", f"10 {number:02X}")):
            assert service_of(over_ip(apdu)) == (kind, number)
            try:
                gate(over_ip(apdu))
                passed = True
            except Refused:
                passed = False
            assert passed == ((kind, number) in READS)
