"""A Modbus TCP device that does not exist: a meter on a simulated unit's water loop."""

from __future__ import annotations

import asyncio
import struct
from collections.abc import Mapping

from pymodbus.constants import ExcCodes
from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from wringout.catalogue.trend_points import measure_of
from wringout.quantity import from_si

__all__ = ["REGISTER_MAP", "UNIT_ID", "SimulatedModbus"]

UNIT_ID = 7
LENGTH = 16
STATES = 2  # the register in which the coils are bits
REGISTER_MAP = """\
# invented data: the register map of the simulated meter
format: wringout-registers/1
registers:
  - {name: Loop flow, table: input, address: 4, type: uint16, scale: 0.1, unit: gpm}
  - {name: HWS temp, table: input, address: 5, type: int16, scale: 0.1, unit: degF}
  - {name: HWR temp, table: input, address: 6, type: int16, scale: 0.1, unit: degF}
  - {name: Supply air RH, table: input, address: 8, type: float32, unit: "%"}
  - {name: Meter energy, table: input, address: 10, type: uint32}
  - {name: Coil leaving temp, table: input, address: 12, type: int16, scale: 0.1, unit: degF, nothing: 32767}
"""
# address -> (point, unit, scale), as the map has it
_SCALED = {
    4: ("loop.flow", "gpm", 0.1),
    5: ("reheat.water_in", "degF", 0.1),
    6: ("reheat.water_out", "degF", 0.1),
    12: ("coil_leaving.t", "degF", 0.1),
}


class SimulatedModbus:
    """The device, answering at one address from `open` to `close`."""

    def __init__(self, host: str, port: int = 0) -> None:
        self._host, self._port = host, port
        self._server: ModbusTcpServer | None = None
        self._registers = [0] * LENGTH
        self._energy = 0.0

    @property
    def address(self) -> str:
        """Where it answers: host and port."""
        return f"{self._host}:{self._port}"

    async def open(self) -> None:
        """Begin to answer.

        Raises
        ------
        OSError
            When the address cannot be had.
        """
        device = SimDevice(
            id=UNIT_ID,
            simdata=[SimData(0, count=LENGTH, values=0, datatype=DataType.REGISTERS)],
            action=self._fill,
        )
        self._server = ModbusTcpServer(device, address=(self._host, self._port))
        try:
            await self._server.serve_forever(background=True)
        except RuntimeError as error:
            raise OSError(str(error)) from None
        listening = self._server.transport
        assert isinstance(listening, asyncio.Server)
        self._port = listening.sockets[0].getsockname()[1]

    async def close(self) -> None:
        """Answer no longer; `open` begins anew at the same address."""
        if self._server is not None:
            await self._server.shutdown()  # type: ignore[no-untyped-call]
            self._server = None

    def show(self, points: Mapping[str, float]) -> None:
        """Let the registers show points [SI]."""
        for address, (point, unit, scale) in _SCALED.items():
            value = points.get(point)
            if value is None:
                continue
            number = round(float(from_si(value, unit, measure_of(point).dimension)) / scale)
            self._registers[address] = number & 0xFFFF
        if "supply.rh" in points:
            self._put(8, struct.pack(">f", 100.0 * points["supply.rh"]))
        self._energy += max(points.get("loop.flow", 0.0), 0.0) * 1000.0
        self._put(10, struct.pack(">I", int(self._energy)))

    def _put(self, address: int, data: bytes) -> None:
        words = struct.unpack(f">{len(data) // 2}H", data)
        self._registers[address : address + len(words)] = words

    async def _fill(
        self,
        function: int,
        start: int,
        address: int,
        count: int,
        registers: list[int],
        values: list[int] | list[bool] | None,
    ) -> ExcCodes | None:
        """Called by the library before each answer; whoever would write is refused."""
        if values is not None:
            return ExcCodes.ILLEGAL_FUNCTION
        registers[:LENGTH] = self._registers
        return None
