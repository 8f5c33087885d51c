"""Relays between the client and the devices that keep every byte, and a small decoder of the tests' own.

The decoder reads numbers out of raw bytes and knows nothing of the package or of the libraries it uses.
"""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field

# BACnet service choices that read, by PDU type (ANSI/ASHRAE 135, clause 21; from memory)
READS = {("confirmed", 12), ("confirmed", 14), ("unconfirmed", 8)}
MODBUS_READS = {1, 2, 3, 4}


def service_of(datagram: bytes) -> tuple[str, int]:
    """PDU type and service choice of a BACnet/IP datagram."""
    if datagram[0] != 0x81 or datagram[1] not in (0x0A, 0x0B):
        return ("link", datagram[1])
    control = datagram[5]
    if control & 0x80:
        return ("network", datagram[6])
    rest = datagram[6:]
    if control & 0x20:
        rest = rest[3 + rest[2] :]
    if control & 0x08:
        rest = rest[3 + rest[2] :]
    if control & 0x20:
        rest = rest[1:]
    kind = rest[0] >> 4
    if kind == 0:
        return ("confirmed", rest[5 if rest[0] & 0x08 else 3])
    if kind == 1:
        return ("unconfirmed", rest[1])
    return ("other", kind)


def functions_of(stream: bytes) -> list[int]:
    """Function codes of all requests in a Modbus TCP stream."""
    found = []
    while stream:
        length = int.from_bytes(stream[4:6], "big")
        assert stream[2:4] == b"\0\0"
        assert len(stream) >= 6 + length, "a request that was cut"
        found.append(stream[7])
        stream = stream[6 + length :]
    return found


@dataclass
class UdpRelay:
    """Stands in for a device: passes datagrams on, both ways, and keeps those that the client sent."""

    device: tuple[str, int]
    host: str
    sent: list[bytes] = field(default_factory=list)
    answered: list[bytes] = field(default_factory=list)

    async def open(self) -> None:
        loop = asyncio.get_running_loop()
        self.clients: dict[tuple[str, int], asyncio.DatagramTransport] = {}
        self.front, _ = await loop.create_datagram_endpoint(lambda: _Front(self), local_addr=(self.host, 0))
        self.address = "{}:{}".format(*self.front.get_extra_info("sockname"))

    async def back(self, client: tuple[str, int]) -> asyncio.DatagramTransport:
        if client not in self.clients:
            loop = asyncio.get_running_loop()
            transport, _ = await loop.create_datagram_endpoint(
                lambda: _Back(self, client), local_addr=(self.host, 0)
            )
            self.clients[client] = transport
        return self.clients[client]

    async def close(self) -> None:
        self.front.close()
        for transport in self.clients.values():
            transport.close()
        await asyncio.sleep(0)


class _Front(asyncio.DatagramProtocol):
    def __init__(self, relay: UdpRelay) -> None:
        self.relay = relay
        self.tasks: set[asyncio.Task[None]] = set()

    def datagram_received(self, data: bytes, addr: tuple[str, int]) -> None:
        self.relay.sent.append(data)
        task = asyncio.get_running_loop().create_task(self._on(data, addr))
        self.tasks.add(task)
        task.add_done_callback(self.tasks.discard)

    async def _on(self, data: bytes, addr: tuple[str, int]) -> None:
        (await self.relay.back(addr)).sendto(data, self.relay.device)


class _Back(asyncio.DatagramProtocol):
    def __init__(self, relay: UdpRelay, client: tuple[str, int]) -> None:
        self.relay, self.client = relay, client

    def datagram_received(self, data: bytes, addr: tuple[str, int]) -> None:
        self.relay.answered.append(data)
        self.relay.front.sendto(data, self.client)

    def error_received(self, exc: Exception) -> None:  # the device is away
        pass


@dataclass
class TcpRelay:
    """Stands in for a device: passes streams on, both ways, and keeps what the client sent on each."""

    device: tuple[str, int]
    host: str
    streams: list[bytearray] = field(default_factory=list)

    async def open(self) -> None:
        self.server = await asyncio.start_server(self._client, self.host, 0)
        self.address = "{}:{}".format(*self.server.sockets[0].getsockname())

    async def _client(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        kept = bytearray()
        self.streams.append(kept)
        try:
            back_reader, back_writer = await asyncio.open_connection(*self.device)
        except OSError:
            writer.close()
            return

        async def forth() -> None:
            while data := await reader.read(4096):
                kept.extend(data)
                back_writer.write(data)
            back_writer.close()

        async def back() -> None:
            while data := await back_reader.read(4096):
                writer.write(data)
            writer.close()

        await asyncio.gather(forth(), back(), return_exceptions=True)
        for end in (writer, back_writer):
            end.close()

    async def close(self) -> None:
        self.server.close()
        await asyncio.sleep(0.01)
