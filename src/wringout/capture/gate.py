"""What may leave this machine: three read services of BACnet and four read functions of Modbus, nothing else.

Two gates stand one behind the other for each protocol. The first looks at the request before it is encoded,
the second at the finished bytes, right before the socket: whatever a library may think of, only these pass.
"""

from __future__ import annotations

from wringout.errors import DataError, WringoutError

__all__ = ["FUNCTIONS", "NotRead", "Refused", "bacnet_incoming", "bacnet_service", "modbus_function"]


class Refused(WringoutError):
    """Something other than a read was about to be sent. It was not."""


class NotRead(DataError):
    """A device answered, but with a refusal: this it does not have, or not this way of asking."""


# service choices of ANSI/ASHRAE 135, clause 21
CONFIRMED = {12: "ReadProperty", 14: "ReadPropertyMultiple"}
UNCONFIRMED = {8: "Who-Is"}
# Modbus Application Protocol V1.1b3, chapter 6
FUNCTIONS = {
    1: "Read Coils",
    2: "Read Discrete Inputs",
    3: "Read Holding Registers",
    4: "Read Input Registers",
}

_TO_ONE, _TO_ALL = 0x0A, 0x0B  # Original-Unicast-NPDU, Original-Broadcast-NPDU (annex J)
_MESSAGE, _DESTINATION, _SOURCE = 0x80, 0x20, 0x08  # bits of the NPDU's control octet (clause 6.2.2)


def bacnet_service(datagram: bytes) -> str:
    """Tell which read service a BACnet/IP datagram asks for.

    Parameters
    ----------
    datagram : bytes
        As it would go into the socket.

    Returns
    -------
    str
        ReadProperty, ReadPropertyMultiple or Who-Is.

    Raises
    ------
    Refused
        For anything else.

    References
    ----------
    ANSI/ASHRAE 135, clauses 6.2 (network layer), 20.1 (application layer), 21 (services), annex J (IP).
    """
    apdu = _apdu(datagram)
    kind = apdu[0] >> 4
    if kind == 0 and not apdu[0] & 0x08 and len(apdu) > 3 and apdu[3] in CONFIRMED:
        return CONFIRMED[apdu[3]]
    if kind == 1 and len(apdu) > 1 and apdu[1] in UNCONFIRMED:
        return UNCONFIRMED[apdu[1]]
    raise Refused(f"BACnet: {_named(apdu)} is no read; it was not sent")


def bacnet_incoming(datagram: bytes) -> bool:
    """Tell whether a datagram is an answer to a read, or an I-Am: nothing else is listened to.

    Parameters
    ----------
    datagram : bytes
        As it came out of the socket.

    Returns
    -------
    bool
    """
    try:
        apdu = _apdu(datagram, incoming=True)
    except Refused:
        return False
    kind = apdu[0] >> 4
    return kind in (3, 5, 6, 7) or (kind == 1 and len(apdu) > 1 and apdu[1] == 0)


def modbus_function(frame: bytes) -> str:
    """Tell which read function a Modbus TCP request asks for.

    Parameters
    ----------
    frame : bytes
        One request as it would go into the socket, header included.

    Returns
    -------
    str
        The name of the function.

    Raises
    ------
    Refused
        For anything else, two requests in one frame included.

    References
    ----------
    Modbus Messaging on TCP/IP Implementation Guide V1.0b, chapter 3.1.3 (header).
    """
    if len(frame) < 8 or frame[2:4] != b"\0\0" or int.from_bytes(frame[4:6], "big") != len(frame) - 6:
        raise Refused("Modbus: this is no request; it was not sent")
    if frame[7] not in FUNCTIONS:
        raise Refused(f"Modbus: function {frame[7]} is no read; it was not sent")
    return FUNCTIONS[frame[7]]


def _apdu(datagram: bytes, incoming: bool = False) -> bytes:
    """What the application layer says, out of link and network layer."""
    functions = (_TO_ONE, _TO_ALL, 0x04) if incoming else (_TO_ONE, _TO_ALL)  # 0x04: passed on by a router
    if len(datagram) < 7 or datagram[0] != 0x81 or datagram[1] not in functions:
        raise Refused("BACnet: this speaks to the network and not to a device; it was not sent")
    if int.from_bytes(datagram[2:4], "big") != len(datagram):
        raise Refused("BACnet: the length does not fit; it was not sent")
    at = 10 if datagram[1] == 0x04 else 4
    if len(datagram) < at + 2 or datagram[at] != 1:
        raise Refused("BACnet: not version 1 of the network layer; it was not sent")
    control = datagram[at + 1]
    if control & _MESSAGE:
        raise Refused("BACnet: a message of the network layer is no read; it was not sent")
    at += 2
    for bit in (_DESTINATION, _SOURCE):
        if control & bit:
            at += 3 + (datagram[at + 2] if len(datagram) > at + 2 else 0)
    at += 1 if control & _DESTINATION else 0
    if len(datagram) <= at:
        raise Refused("BACnet: nothing for the application layer in it; it was not sent")
    return datagram[at:]


def _named(apdu: bytes) -> str:
    kind = apdu[0] >> 4
    if kind == 0:
        return f"confirmed service {apdu[3] if len(apdu) > 3 else '?'}"
    if kind == 1:
        return f"unconfirmed service {apdu[1] if len(apdu) > 1 else '?'}"
    return f"a message of type {kind}"
