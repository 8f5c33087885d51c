"""A BACnet/IP client that can only read: requests pass an allow-list, datagrams a second one.

It is no device itself: it answers nobody, and does not say that it is there. bacpypes3 does the encoding
(extra ``field``).
"""

from __future__ import annotations

import asyncio
import contextlib
import socket
import struct
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from bacpypes3.apdu import (  # type: ignore[import-untyped]
    ErrorRejectAbortNack,
    IAmRequest,
    ReadPropertyMultipleRequest,
    ReadPropertyRequest,
    WhoIsRequest,
)
from bacpypes3.app import Application  # type: ignore[import-untyped]
from bacpypes3.basetypes import (  # type: ignore[import-untyped]
    PropertyReference,
    ReadAccessSpecification,
    Segmentation,
)
from bacpypes3.comm import bind  # type: ignore[import-untyped]
from bacpypes3.ipv4 import IPv4DatagramServer  # type: ignore[import-untyped]
from bacpypes3.ipv4.bvll import BVLLCodec  # type: ignore[import-untyped]
from bacpypes3.ipv4.link import NormalLinkLayer  # type: ignore[import-untyped]
from bacpypes3.ipv4.service import BIPNormal, UDPMultiplexer  # type: ignore[import-untyped]
from bacpypes3.object import DeviceObject  # type: ignore[import-untyped]
from bacpypes3.pdu import IPv4Address  # type: ignore[import-untyped]
from bacpypes3.primitivedata import ObjectIdentifier  # type: ignore[import-untyped]

from wringout.capture.gate import NotRead, Refused, bacnet_incoming, bacnet_service
from wringout.errors import DataError, InputError

__all__ = ["ANY_DEVICE", "PORT", "Asked", "BacnetClient", "Heard", "ReadOnlyApplication"]

PORT = 47808
ANY_DEVICE = 4194303  # the instance that every device takes for its own (clause 15.5.2)
READS = (ReadPropertyRequest, ReadPropertyMultipleRequest, WhoIsRequest)
Value = float | int | str | tuple[int, int] | tuple[bool, ...] | None


@dataclass(frozen=True, slots=True)
class Asked:
    """One property of one object: numbers of object type, instance and property, and an index of an array."""

    type: int
    instance: int
    property: int
    index: int | None = None


@dataclass(frozen=True, slots=True)
class Heard:
    """A device that has said that it is there: address with port, and instance."""

    address: str
    instance: int


class ReadOnlyApplication(Application):  # type: ignore[misc]
    """The library's application with everything taken off but three requests."""

    def request(self, apdu: Any) -> Any:
        """Send a read, and nothing else.

        Raises
        ------
        Refused
            For every other request: nothing is sent.
        """
        if type(apdu) not in READS:
            raise Refused(f"BACnet: {type(apdu).__name__} is no read; it was not sent")
        return super().request(apdu)

    async def indication(self, apdu: Any) -> None:
        """Take note of who is there; no request of others is answered."""
        if isinstance(apdu, IAmRequest):
            self.heard(Heard(str(apdu.pduSource), int(apdu.iAmDeviceIdentifier[1])))

    async def response(self, apdu: Any) -> None:
        """Answer nobody.

        Raises
        ------
        Refused
            Always.
        """
        raise Refused("BACnet: requests of others are not answered")

    def heard(self, device: Heard) -> None:
        """A device has said that it is there."""
        listeners: list[dict[Heard, None]] = self.__dict__.setdefault("listeners", [])
        for found in listeners:
            found[device] = None


class _GatedServer(IPv4DatagramServer):  # type: ignore[misc]
    """The socket: looks at the bytes of every datagram on its way out and in."""

    async def indication(self, pdu: Any) -> None:
        bacnet_service(bytes(pdu.pduData))
        await super().indication(pdu)

    async def confirmation(self, pdu: Any) -> None:
        if bacnet_incoming(bytes(pdu.pduData)):
            await super().confirmation(pdu)


class _GatedLink(NormalLinkLayer):  # type: ignore[misc]
    """The library's link layer with the gated socket at its end."""

    def __init__(self, address: Any, opened: socket.socket) -> None:
        BIPNormal.__init__(self)
        self.codec = BVLLCodec()
        self.multiplexer = UDPMultiplexer()
        self.server = _GatedServer(address, no_broadcast=True, bind_socket=opened)
        bind(self, self.codec, self.multiplexer.annexJ)
        bind(self.multiplexer, self.server)


class BacnetClient:
    """Reads properties and asks who is there; it has no other ways."""

    def __init__(self, application: ReadOnlyApplication, link: _GatedLink) -> None:
        self._application, self._link = application, link
        self._listeners: list[dict[Heard, None]] = application.__dict__.setdefault("listeners", [])

    @classmethod
    async def open(cls, local: str = "0.0.0.0", port: int = 0) -> BacnetClient:
        """Open a socket to ask from.

        Parameters
        ----------
        local : str
            The address of this machine to ask from; any, if not given.
        port : int
            Its port; a free one if 0. Devices that answer Who-Is to all are heard on 47808 only.

        Raises
        ------
        InputError
            When this machine has no such address, or the port is taken.
        """
        opened = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        opened.setblocking(False)
        opened.setsockopt(socket.SOL_SOCKET, socket.SO_BROADCAST, 1)
        try:
            opened.bind((local, port))
        except OSError as error:
            opened.close()
            raise InputError(
                f"cannot ask from {local} port {port} ({error.strerror}); name an address of this machine"
            ) from None
        host, bound = opened.getsockname()
        device = DeviceObject(
            objectIdentifier=("device", ANY_DEVICE - 1),
            objectName="reader",
            segmentationSupported=Segmentation.noSegmentation,
            maxApduLengthAccepted=1476,
            numberOfApduRetries=0,
            apduTimeout=10_000,
        )
        application = ReadOnlyApplication.from_object_list([device])
        address = IPv4Address(f"{host}:{bound}")
        link = _GatedLink(address, opened)
        application.nsap.bind(link, address=address)
        await asyncio.gather(*link.server._transport_tasks)
        return cls(application, link)

    def close(self) -> None:
        """Close the socket."""
        self._link.close()

    async def read(self, address: str, asked: Sequence[Asked], seconds: float) -> list[Value]:
        """Read properties with one request; what a device does not have comes back as None.

        Parameters
        ----------
        address : str
            ``host`` or ``host:port``.
        asked : sequence of Asked
            One is asked for with ReadProperty, several with ReadPropertyMultiple.
        seconds : float, [s]
            How long to wait.

        Returns
        -------
        list
            One value for each that was asked for.

        Raises
        ------
        NotRead
            When the device refuses the whole request.
        DataError
            When no answer comes.
        """
        where = IPv4Address(address)
        request = _one(asked[0], where) if len(asked) == 1 else _many(asked, where)
        try:
            answer = await asyncio.wait_for(self._application.request(request), seconds)
        except TimeoutError:
            raise DataError(f"BACnet: no answer from {address} within {seconds:g} s") from None
        except ErrorRejectAbortNack as nack:  # no Exception: bacpypes3 derives it from BaseException
            raise NotRead(f"BACnet: {address} refuses ({str(nack)[:80]})") from None
        if len(asked) == 1:
            return [_value(answer.propertyValue)]
        found: dict[tuple[int, int, int, int | None], Value] = {}
        for result in answer.listOfReadAccessResults:
            kind, instance = result.objectIdentifier
            for element in result.listOfResults:
                value = element.readResult.propertyValue
                key = (int(kind), int(instance), int(element.propertyIdentifier), element.propertyArrayIndex)
                found[key] = None if value is None else _value(value)
        return [found.get((a.type, a.instance, a.property, a.index)) for a in asked]

    async def who_is(self, address: str, seconds: float, everybody: bool = False) -> list[Heard]:
        """Ask who is there, one device or, with a broadcast address, all; listen for so many seconds.

        Parameters
        ----------
        address : str
            ``host`` or ``host:port``.
        seconds : float, [s]
        everybody : bool, optional
            Listen to the end; else to the first that answers.

        Returns
        -------
        list of Heard
            In the order in which they were heard.
        """
        found: dict[Heard, None] = {}
        self._listeners.append(found)
        try:
            self._application.request(WhoIsRequest(destination=IPv4Address(address)))
            end = asyncio.get_running_loop().time() + seconds
            while (left := end - asyncio.get_running_loop().time()) > 0.0 and (everybody or not found):
                await asyncio.sleep(min(left, 0.02))
        finally:
            with contextlib.suppress(ValueError):
                self._listeners.remove(found)
        return list(found)


def _one(asked: Asked, where: Any) -> Any:
    request = ReadPropertyRequest(
        objectIdentifier=ObjectIdentifier((asked.type, asked.instance)),
        propertyIdentifier=asked.property,
        destination=where,
    )
    if asked.index is not None:
        request.propertyArrayIndex = asked.index
    return request


def _many(asked: Sequence[Asked], where: Any) -> Any:
    grouped: dict[tuple[int, int], list[Asked]] = {}
    for one in asked:
        grouped.setdefault((one.type, one.instance), []).append(one)
    specifications = [
        ReadAccessSpecification(
            objectIdentifier=ObjectIdentifier(identifier),
            listOfPropertyReferences=[
                PropertyReference(propertyIdentifier=one.property, propertyArrayIndex=one.index)
                if one.index is not None
                else PropertyReference(propertyIdentifier=one.property)
                for one in group
            ],
        )
        for identifier, group in grouped.items()
    ]
    return ReadPropertyMultipleRequest(listOfReadAccessSpecs=specifications, destination=where)


def _value(content: Any) -> Value:
    """The first application-tagged value in some content (clause 20.2); None for what is not understood."""
    tags = content.tagList.tagList
    tag = next((t for t in tags if int(t.tag_class) == 0), None)
    if tag is None:
        return None
    number, data = int(tag.tag_number), bytes(tag.tag_data)
    if number == 1:
        return int(tag.tag_lvt)
    if number in (2, 9):
        return int.from_bytes(data, "big")
    if number == 3:
        return int.from_bytes(data, "big", signed=True)
    if number in (4, 5) and len(data) in (4, 8):
        return float(struct.unpack(">f" if number == 4 else ">d", data)[0])
    if number == 7 and data:
        coding = {0: "utf-8", 4: "utf-16-be", 5: "latin-1"}.get(data[0], "utf-8")
        return data[1:].decode(coding, errors="replace")
    if number == 8 and data:
        unused, bits = data[0], "".join(f"{octet:08b}" for octet in data[1:])
        return tuple(bit == "1" for bit in bits[: len(bits) - unused])
    if number == 12 and len(data) == 4:
        identifier = int.from_bytes(data, "big")
        return identifier >> 22, identifier & ANY_DEVICE
    return None
