"""Where the columns of a recording come from: devices, and which object or register is which column.

Kept beside a recording, so that it goes on after a restart even while a device is away.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from wringout.capture.registers import Register, register_from
from wringout.documents.fields import Reader
from wringout.documents.load import require_format
from wringout.documents.source import Branch, Items, Node, name_of, read_tree
from wringout.errors import InputError

__all__ = [
    "OBJECT_TYPES",
    "SOURCES_FORMAT",
    "BacnetDevice",
    "Device",
    "ModbusDevice",
    "columns_of",
    "read_sources",
    "sources_path",
    "sources_text",
]

SOURCES_FORMAT = "wringout-listen/1"
# numbers of ANSI/ASHRAE 135, clause 21 (BACnetObjectType); those that hold one present value
OBJECT_TYPES: Mapping[int, str] = {
    0: "analog-input",
    1: "analog-output",
    2: "analog-value",
    3: "binary-input",
    4: "binary-output",
    5: "binary-value",
    13: "multi-state-input",
    14: "multi-state-output",
    19: "multi-state-value",
    45: "integer-value",
    46: "large-analog-value",
    48: "positive-integer-value",
}
_NUMBERS = {name: number for number, name in OBJECT_TYPES.items()}


@dataclass(frozen=True)
class BacnetDevice:
    """A BACnet device: ``address`` with port, ``instance``, ``name``; ``objects`` by column."""

    address: str
    instance: int
    name: str
    objects: Mapping[str, tuple[int, int]] = field(default_factory=dict)

    @property
    def columns(self) -> tuple[str, ...]:
        """Its columns in the recording."""
        return tuple(self.objects)


@dataclass(frozen=True)
class ModbusDevice:
    """A Modbus device: ``address`` with port, ``unit_id``, ``name``; ``registers`` by column."""

    address: str
    unit_id: int
    name: str
    registers: Mapping[str, Register] = field(default_factory=dict)

    @property
    def columns(self) -> tuple[str, ...]:
        """Its columns in the recording."""
        return tuple(self.registers)


Device = BacnetDevice | ModbusDevice


def sources_path(recording: str | Path) -> Path:
    """Where the sources of a recording stand: beside it, with the same name ending in .sources.yaml."""
    return Path(recording).with_suffix(".sources.yaml")


def columns_of(devices: tuple[Device, ...]) -> tuple[str, ...]:
    """The columns of all devices, in their order."""
    return tuple(column for device in devices for column in device.columns)


def sources_text(devices: tuple[Device, ...]) -> str:
    """The document of some devices, as YAML."""
    lines = [
        "# Where the columns of the recording come from. A column is given up by taking its line away,",
        "# before the recording begins.",
        f"format: {SOURCES_FORMAT}",
        "devices:",
    ]
    for device in devices:
        if isinstance(device, BacnetDevice):
            lines += [f"  - bacnet: {_quoted(device.address)}", f"    device: {device.instance}"]
        else:
            lines += [f"  - modbus: {_quoted(device.address)}", f"    unit_id: {device.unit_id}"]
        lines += [f"    name: {_quoted(device.name)}", "    columns:"]
        if isinstance(device, BacnetDevice):
            for column, (kind, instance) in device.objects.items():
                lines.append(f"      {_quoted(column)}: {OBJECT_TYPES[kind]} {instance}")
        else:
            lines += [f"      {_quoted(column)}: {_register(r)}" for column, r in device.registers.items()]
    return "\n".join(lines) + "\n"


def read_sources(path: str | Path) -> tuple[Device, ...]:
    """Read the document of some devices.

    Raises
    ------
    InputError
        For anything in it that must be mended, with file, line and field.
    """
    path = Path(path)
    tree, reader = read_tree(path), Reader(name_of(path))
    require_format(reader, tree, SOURCES_FORMAT)
    reader.known(tree, ("format", "devices"), "")
    node = tree.entries.get("devices")
    if not isinstance(node, Items) or not node.items:
        raise reader.error("wanted a list of devices", node.line if node else None, "devices")
    devices: list[Device] = []
    for position, item in enumerate(node.items, 1):
        where = f"devices[{position}]"
        branch = reader.branch(item, where, "{bacnet: 192.0.2.10, device: 2001, name: ..., columns: ...}")
        devices.append(_device(reader, branch, where))
    columns = columns_of(tuple(devices))
    for column in columns:
        if columns.count(column) > 1:
            raise reader.error(f'the column "{column[:40]}" is there twice', node.line, "devices")
    return tuple(devices)


def _device(reader: Reader, branch: Branch, where: str) -> Device:
    bacnet = "bacnet" in branch.entries
    fields = ("bacnet", "device", "name", "columns") if bacnet else ("modbus", "unit_id", "name", "columns")
    reader.known(branch, fields, where)
    for name in fields:
        if name not in branch.entries:
            raise reader.error("missing", branch.line, f"{where}.{name}")
    address = reader.text(branch.entries[fields[0]], f"{where}.{fields[0]}")
    number = _whole(reader, branch.entries[fields[1]], f"{where}.{fields[1]}")
    name = reader.text(branch.entries["name"], f"{where}.name")
    columns = reader.branch(branch.entries["columns"], f"{where}.columns", '"SpaceTemp": analog-input 1')
    if not bacnet:
        registers = {
            column: register_from(reader, reader.branch(node, f'{where}."{column[:40]}"'), where, column)
            for column, node in columns.entries.items()
        }
        return ModbusDevice(address, number, name, registers)
    objects = {column: _object(reader, node, where) for column, node in columns.entries.items()}
    return BacnetDevice(address, number, name, objects)


def _object(reader: Reader, node: Node, where: str) -> tuple[int, int]:
    words = reader.text(node, where)
    kind, _, instance = words.partition(" ")
    if kind not in _NUMBERS or not instance.isdecimal():
        raise reader.error(f'"{words[:40]}" is no object; write it like analog-input 1', node.line, where)
    return _NUMBERS[kind], int(instance)


def _whole(reader: Reader, node: Node, where: str) -> int:
    words = reader.text(node, where)
    if not words.isdecimal():
        raise InputError(f'{where}: "{words[:40]}" is no whole number', f"{reader.name}, line {node.line}")
    return int(words)


def _register(register: Register) -> str:
    parts = [f"table: {register.table}", f"address: {register.address}"]
    if register.type != "bit":
        parts.append(f"type: {register.type}")
    if register.scale != 1.0:
        parts.append(f"scale: {register.scale!r}")
    if register.offset != 0.0:
        parts.append(f"offset: {register.offset!r}")
    if register.unit is not None and register.type != "bit":
        parts.append(f"unit: {_quoted(register.unit)}")
    if register.low_first:
        parts.append("words: low_first")
    if register.nothing is not None:
        parts.append(f"nothing: {register.nothing!r}")
    return "{" + ", ".join(parts) + "}"


def _quoted(word: str) -> str:
    return json.dumps(word, ensure_ascii=False)
