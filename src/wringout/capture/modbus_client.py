"""A Modbus TCP client that can only read: function codes 1 to 4 pass, every other is refused, twice.

pymodbus does the framing (extra ``field``).
"""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from typing import Any

from pymodbus.client import AsyncModbusTcpClient
from pymodbus.exceptions import ModbusException

from wringout.capture.gate import FUNCTIONS, NotRead, Refused, modbus_function
from wringout.errors import DataError

__all__ = ["PORT", "ModbusClient", "ReadOnlyTcpClient"]

PORT = 502
_READ = {
    "coil": "read_coils",
    "discrete": "read_discrete_inputs",
    "holding": "read_holding_registers",
    "input": "read_input_registers",
}


class ReadOnlyTcpClient(AsyncModbusTcpClient):
    """The library's client behind a gate of requests and one of bytes."""

    def __init__(self, host: str, port: int, seconds: float) -> None:
        super().__init__(
            host,
            port=port,
            timeout=seconds,
            retries=0,
            reconnect_delay=0,  # whoever polls decides when to knock again
            trace_packet=_gated,
        )

    def execute(self, no_response_expected: bool, request: Any) -> Any:
        """Send a read, and nothing else.

        Raises
        ------
        Refused
            For every other request: nothing is sent.
        """
        if request.function_code not in FUNCTIONS or no_response_expected:
            raise Refused(f"Modbus: function {request.function_code} is no read; it was not sent")
        return super().execute(no_response_expected, request)


def _gated(sending: bool, data: bytes) -> bytes:
    if sending:
        modbus_function(data)
    return data


class ModbusClient:
    """Reads coils, inputs and registers of one device; it has no other ways."""

    def __init__(self, host: str, port: int = PORT, unit_id: int = 1, seconds: float = 3.0) -> None:
        self.name = f"{host}:{port}"
        self._unit_id, self._seconds = unit_id, seconds
        self._client = ReadOnlyTcpClient(host, port, seconds)

    @property
    def connected(self) -> bool:
        """Whether there is a connection."""
        return bool(self._client.connected)

    async def connect(self) -> None:
        """Connect.

        Raises
        ------
        DataError
            When nobody answers there.
        """
        try:
            done = await asyncio.wait_for(self._client.connect(), self._seconds)
        except (TimeoutError, OSError):
            done = False
        if not done:
            self._client.close()
            raise DataError(f"Modbus: no connection to {self.name}")

    def close(self) -> None:
        """Close the connection."""
        self._client.close()

    async def read(self, table: str, address: int, count: int) -> Sequence[int]:
        """Read one block.

        Parameters
        ----------
        table : str
            ``coil``, ``discrete``, ``holding`` or ``input``.
        address : int
            As it is sent: the first is 0.
        count : int

        Returns
        -------
        sequence of int
            Registers of 16 bits, or 0 and 1.

        Raises
        ------
        NotRead
            When the device refuses.
        DataError
            When no answer comes.
        """
        asked = getattr(self._client, _READ[table])
        try:
            answer = await asyncio.wait_for(
                asked(address, count=count, device_id=self._unit_id), self._seconds + 0.5
            )
        except (TimeoutError, OSError, ModbusException):
            self._client.close()
            raise DataError(f"Modbus: no answer from {self.name}") from None
        if answer.isError():
            code = getattr(answer, "exception_code", "?")
            raise NotRead(
                f"Modbus: {self.name} refuses {table} {address} to {address + count - 1} (exception {code})"
            )
        if table in ("coil", "discrete"):
            return [int(bit) for bit in answer.bits[:count]]
        return list(answer.registers)
