"""A BACnet/IP device that does not exist: its objects show what a simulated unit's controller would."""

from __future__ import annotations

import socket
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from bacpypes3.app import Application  # type: ignore[import-untyped]
from bacpypes3.basetypes import (  # type: ignore[import-untyped]
    BinaryPV,
    EngineeringUnits,
    Segmentation,
)
from bacpypes3.ipv4.link import NormalLinkLayer  # type: ignore[import-untyped]
from bacpypes3.local.device import DeviceObject  # type: ignore[import-untyped]
from bacpypes3.object import (  # type: ignore[import-untyped]
    AnalogInputObject,
    AnalogOutputObject,
    AnalogValueObject,
    BinaryInputObject,
    BinaryValueObject,
)
from bacpypes3.pdu import IPv4Address  # type: ignore[import-untyped]

from wringout.catalogue.trend_points import measure_of
from wringout.quantity import from_si

__all__ = ["OBJECTS", "Shown", "SimulatedBacnet"]

DEVICE = 120017
STRAY = "stray"  # a point of no test point, so that not every object fits one


@dataclass(frozen=True, slots=True)
class Shown:
    """An object: kind, instance, name and description; the point it shows, in which unit."""

    kind: str
    instance: int
    name: str
    description: str
    point: str
    unit: str


OBJECTS = (
    Shown("ai", 1, "SpaceTemp", "Space temperature", "shown.space_t", "degF"),
    Shown("ai", 2, "SpaceDewPt", "Space dew point", "shown.dew_point", "degF"),
    Shown("ai", 3, "SupplyTemp", "Supply air temperature", "shown.supply_t", "degF"),
    Shown("ai", 4, "OA-T", "Outdoor air temperature", "outdoor.t", "degF"),
    Shown("ai", 5, "OA-DewPt", "Outdoor dew point", "shown.outdoor_dew_point", "degF"),
    Shown("ai", 6, "RA-T", "Return air temperature", "return.t", "degF"),
    Shown("ai", 7, "RA-RH", "Return air humidity", "return.rh", "%"),
    Shown("ai", 8, "CO2", "Carbon dioxide", STRAY, "ppm"),
    Shown("ai", 9, "FilterDP", "Filter pressure drop", "filter.drop", "inWC"),
    Shown("ao", 1, "ReheatVlv", "Reheat valve command", "shown.reheat_command", "%"),
    Shown("av", 1, "DewPtSetpt", "Dew point setpoint", "shown.setpoint_dew_point", "degF"),
    Shown("av", 2, "SpaceSetpt", "Space temperature setpoint", "shown.setpoint_space_t", "degF"),
    Shown("av", 3, "ClgStages", "Cooling stages called", "shown.stages_called", "count"),
    Shown("bi", 1, "FanStatus", "Supply fan status", "fan.running", "yes/no"),
    Shown("bv", 1, "DehumMode", "Dehumidifying", "shown.dehumidifying", "yes/no"),
    Shown("bv", 2, "RhtHand", "Reheat output in hand", "shown.reheat_in_hand", "yes/no"),
)
_KINDS = {
    "ai": ("analog-input", AnalogInputObject),
    "ao": ("analog-output", AnalogOutputObject),
    "av": ("analog-value", AnalogValueObject),
    "bi": ("binary-input", BinaryInputObject),
    "bv": ("binary-value", BinaryValueObject),
}
_UNITS = {
    "degF": "degreesFahrenheit",
    "%": "percent",
    "ppm": "partsPerMillion",
    "inWC": "inchesOfWater",
    "count": "noUnits",
}


class SimulatedBacnet:
    """The device, answering at one address from `open` to `close`."""

    def __init__(self, name: str, host: str, port: int = 0) -> None:
        self.name, self._host, self._port = name, host, port
        self._application: Any = None
        self._link: Any = None
        self._objects: dict[Shown, Any] = {}

    @property
    def address(self) -> str:
        """Where it answers: host and port."""
        return f"{self._host}:{self._port}"

    def open(self) -> None:
        """Begin to answer.

        Raises
        ------
        OSError
            When the address cannot be had.
        """
        opened = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        opened.setblocking(False)
        opened.bind((self._host, self._port))
        self._port = opened.getsockname()[1]
        device = DeviceObject(
            objectIdentifier=("device", DEVICE),
            objectName=self.name,
            description="simulated: neither the device nor the building exists",
            vendorIdentifier=0,
            modelName="simulated",
            maxApduLengthAccepted=1476,
            segmentationSupported=Segmentation.noSegmentation,
        )
        self._objects = {shown: _made(shown) for shown in OBJECTS}
        self._application = Application.from_object_list([device, *self._objects.values()])
        address = IPv4Address(self.address)
        self._link = NormalLinkLayer(address, bind_socket=opened)
        self._application.nsap.bind(self._link, address=address)

    def close(self) -> None:
        """Answer no longer; `open` begins anew at the same address."""
        if self._link is not None:
            self._link.close()
            self._link = self._application = None

    def show(self, points: Mapping[str, float]) -> None:
        """Let the objects show points [SI]."""
        for shown, made in self._objects.items():
            if shown.point == STRAY:
                made.presentValue = 610.0
                continue
            if shown.point not in points:
                continue
            value = float(from_si(points[shown.point], shown.unit, measure_of(shown.point).dimension))
            if shown.unit == "yes/no":
                made.presentValue = BinaryPV("active" if value > 0.5 else "inactive")
            else:
                made.presentValue = round(value, 2 if shown.unit == "inWC" else 1)


def _made(shown: Shown) -> Any:
    words, kind = _KINDS[shown.kind]
    fields: dict[str, Any] = {
        "objectIdentifier": (words, shown.instance),
        "objectName": shown.name,
        "description": shown.description,
        "statusFlags": [0, 0, 0, 0],
        "eventState": "normal",
        "outOfService": False,
    }
    if shown.unit == "yes/no":
        return kind(**fields, presentValue=BinaryPV("inactive"), **_polarity(shown))
    return kind(**fields, presentValue=0.0, units=EngineeringUnits(_UNITS[shown.unit]))


def _polarity(shown: Shown) -> dict[str, str]:
    return {"polarity": "normal"} if shown.kind == "bi" else {}
