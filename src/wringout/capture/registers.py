"""The register map: what stands where in a Modbus device, since such a device cannot tell it.

A YAML document that a person writes from the device's manual. Addresses are as they are sent: the first
register is 0, whatever number the manual gives it.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from wringout.documents.fields import Reader
from wringout.documents.load import require_format
from wringout.documents.source import Branch, Items, Node, name_of, read_tree
from wringout.errors import InputError
from wringout.trends.cells import unit_of_word

__all__ = [
    "REGISTERS_FORMAT",
    "Block",
    "Register",
    "blocks_of",
    "number_of",
    "read_registers",
    "register_from",
]

REGISTERS_FORMAT = "wringout-registers/1"
EXAMPLE = "{name: Loop flow, table: input, address: 4, type: uint16, scale: 0.1, unit: gpm}"
TYPES: Mapping[str, tuple[str, int]] = {
    "int16": (">h", 1),
    "uint16": (">H", 1),
    "int32": (">i", 2),
    "uint32": (">I", 2),
    "float32": (">f", 2),
    "bit": ("", 1),
}
TABLES = ("holding", "input", "coil", "discrete")
LONGEST = {"coil": 2000, "discrete": 2000, "holding": 125, "input": 125}  # V1.1b3, 6.1 to 6.4
MOST = 500
NEAR = 8  # registers between two that are asked for, and that are read along with them


@dataclass(frozen=True, slots=True)
class Register:
    """One number in a device: value = number x ``scale`` + ``offset``, in ``unit``.

    ``nothing`` is the number that stands for no value; ``low_first`` says that of two registers the low word
    comes first.
    """

    name: str
    table: str
    address: int
    type: str = "uint16"
    scale: float = 1.0
    offset: float = 0.0
    unit: str | None = None
    low_first: bool = False
    nothing: float | None = None

    @property
    def length(self) -> int:
        """How many registers, or bits, it takes."""
        return TYPES[self.type][1]


@dataclass(frozen=True, slots=True)
class Block:
    """Neighbours that are read with one request."""

    table: str
    address: int
    count: int
    registers: tuple[Register, ...]


def read_registers(path: str | Path) -> tuple[Register, ...]:
    """Read a register map.

    Parameters
    ----------
    path : str or Path
        YAML or JSON.

    Returns
    -------
    tuple of Register

    Raises
    ------
    InputError
        For anything in it that must be mended, with file, line and field.
    """
    path = Path(path)
    tree, reader = read_tree(path), Reader(name_of(path))
    require_format(reader, tree, REGISTERS_FORMAT)
    reader.known(tree, ("format", "registers"), "")
    node = tree.entries.get("registers")
    if not isinstance(node, Items) or not node.items:
        line = node.line if node is not None else None
        raise reader.error(f"wanted a list, each `- {EXAMPLE}`", line, "registers")
    if len(node.items) > MOST:
        raise reader.error(f"{len(node.items)} registers; at most {MOST} are taken", node.line, "registers")
    found: list[Register] = []
    for position, item in enumerate(node.items, 1):
        where = f"registers[{position}]"
        register = register_from(reader, reader.branch(item, where, EXAMPLE), where)
        if register.name in {other.name for other in found}:
            raise reader.error(f'"{register.name[:40]}" is there already', item.line, f"{where}.name")
        found.append(register)
    return tuple(found)


def register_from(reader: Reader, branch: Branch, path: str, name: str | None = None) -> Register:
    """Read one register; its name stands outside where one is given."""
    fields = ["table", "address", "type", "scale", "offset", "unit", "words", "nothing"]
    reader.known(branch, fields if name is not None else ["name", *fields], path)
    entries = branch.entries
    for field in ("table", "address") if name is not None else ("name", "table", "address"):
        if field not in entries:
            raise reader.error(f"missing; a register is {EXAMPLE}", branch.line, f"{path}.{field}")
    words = reader.text(entries["name"], f"{path}.name", 60) if name is None else name
    if not words:
        raise reader.error("empty", entries["name"].line, f"{path}.name")
    table = reader.word(entries["table"], TABLES, f"{path}.table")
    bits = table in ("coil", "discrete")
    kinds = ["bit"] if bits else [kind for kind in TYPES if kind != "bit"]
    kind = reader.word(entries["type"], kinds, f"{path}.type") if "type" in entries else kinds[0]
    if not bits and "type" not in entries:
        raise reader.error(f"missing; write one of {', '.join(kinds)}", branch.line, f"{path}.type")
    low_first = "words" in entries and (
        reader.word(entries["words"], ("high_first", "low_first"), f"{path}.words") == "low_first"
    )
    nothing = _number(reader, entries["nothing"], f"{path}.nothing") if "nothing" in entries else None
    scale = _number(reader, entries["scale"], f"{path}.scale") if "scale" in entries else 1.0
    offset = _number(reader, entries["offset"], f"{path}.offset") if "offset" in entries else 0.0
    unit = _unit(reader, entries["unit"], f"{path}.unit") if "unit" in entries else None
    address = _address(reader, entries["address"], f"{path}.address", TYPES[kind][1])
    return Register(
        words, table, address, kind, scale, offset, "yes/no" if bits else unit, low_first, nothing
    )


def blocks_of(registers: Sequence[Register], near: int = NEAR) -> tuple[Block, ...]:
    """Group registers so that few requests read them all."""
    out: list[list[Register]] = []
    for register in sorted(registers, key=lambda r: (r.table, r.address)):
        group = out[-1] if out else []
        if group and group[0].table == register.table:
            end = max(r.address + r.length for r in group)
            span = register.address + register.length - group[0].address
            if register.address <= end + near and span <= LONGEST[register.table]:
                group.append(register)
                continue
        out.append([register])
    return tuple(
        Block(
            group[0].table,
            group[0].address,
            max(r.address + r.length for r in group) - group[0].address,
            tuple(group),
        )
        for group in out
    )


def number_of(register: Register, words: Sequence[int]) -> float:
    """The value in a register, in its unit; NaN where it says that there is none.

    Parameters
    ----------
    register : Register
    words : sequence of int
        Its registers, or its bit, as the device sends them.

    Returns
    -------
    float
    """
    if register.type == "bit":
        return float(bool(words[0]))
    ordered = list(reversed(words)) if register.low_first else list(words)
    data = b"".join(int(word).to_bytes(2, "big") for word in ordered)
    number = float(struct.unpack(TYPES[register.type][0], data)[0])
    if not math.isfinite(number) or number == register.nothing:
        return math.nan
    return number * register.scale + register.offset


def _number(reader: Reader, node: Node, path: str) -> float:
    words = reader.text(node, path, 40)
    try:
        value = float(words)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise reader.error(f'"{words}" is no number; write it like 0.1', node.line, path)
    return value


def _address(reader: Reader, node: Node, path: str, length: int) -> int:
    words = reader.text(node, path, 40)
    if not words.isdecimal() or int(words) + length > 65536:
        raise reader.error(
            f'"{words}" is no address; 0 to {65536 - length} are taken, as they are sent', node.line, path
        )
    return int(words)


def _unit(reader: Reader, node: Node, path: str) -> str | None:
    words = reader.text(node, path, 20)
    unit = unit_of_word(words)
    if unit is None:
        unit = unit_of_word(f"({words})")
    if unit is None:
        raise InputError(
            f'{path}: "{words}" is no unit that is known; write for example degF, degC, %, gpm, V, yes/no',
            f"{reader.name}, line {node.line}",
        )
    return unit or None
