"""The water's way, and that of hot gas, on the drawing of a unit."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from wringout.documents.unit import Unit
from wringout.showing.sheet import Sheet, reading

__all__ = ["chilled_water", "hot_gas", "loop"]


def _valve(sheet: Sheet, x: float, y: float, *, upright: bool = False, third: bool = False) -> None:
    if upright:
        sheet.path(f"M{x - 7} {y - 9}h14l-14 18h14z", "part")
    else:
        sheet.path(f"M{x - 9} {y - 7}v14l18 -14v14z", "part")
    if third:
        sheet.path(f"M{x} {y}l-7 -10h14z", "part")


def _pump(sheet: Sheet, x: float, y: float) -> None:
    sheet.circle(x, y, 12, "part")
    sheet.path(f"M{x - 6} {y - 10}v20l18 -10z", "inside")


def loop(
    sheet: Sheet, unit: Unit, ledger: dict[str, Any] | None, last: Mapping[str, str], top: float
) -> float:
    """The hot-water loop: source, pump, pipe, coil's leg beside the bypass, strainer."""
    source, valve = unit.source, unit.reheat.valve
    if source is None:
        return top
    lines = {line["transfer"]: line for line in ledger["lines"]} if ledger else {}
    off = {m["line"] for m in ledger["mismatches"]} if ledger else set()
    sheet.heading(4, top, "Hot water")
    up, down = top + 46, top + 150
    # main: source right side up, along the top to the coil, back along the bottom
    sheet.path(f"M62 {up}H330V{up + 30}M330 {down - 22}V{down}H62", "pipe main")
    sheet.path(f"M250 {up}V{down}", "pipe main")
    _pump(sheet, 110, up)
    sheet.rect(306, up + 30, 48, 52, "part off-part" if "reheat" in off else "part")
    sheet.path(f"M330 {up + 30}v8l-14 7l28 9l-28 9l28 9l-14 6v4", "pipe")
    sheet.text(300, up + 52, "reheat", "tag end")
    sheet.text(300, up + 65, "coil", "tag end")
    # the source, with what heats it
    sheet.rect(8, up - 14, 54, down - up + 28, "part off-part" if "source" in off else "part")
    zig = "".join(f"l{'22' if k % 2 == 0 else '-22'} 12" for k in range(8))
    sheet.path(f"M24 {up + 2}{zig}", "pipe")
    # valve and bypass
    three = valve.ways == "three"
    diverting = valve.placement == "diverting"
    if three:
        y = up if diverting else down
        sheet.path(f"M250 {y}l-12 -7v14zM250 {y}l12 -7v14zM250 {y}l-7 {12 if diverting else -12}h14z", "part")
        sheet.path(f"M244 {up + 48}l12 16h-12l12 -16z", "part")
        sheet.text(240, up + 60, "balance", "tag end")
    else:
        _valve(sheet, 290, down)
        sheet.path(f"M244 {up + 48}l12 16h-12l12 -16z", "part")
        sheet.text(240, up + 60, "bypass", "tag end")
    # strainer on the return
    sheet.path(f"M120 {down - 8}h22v8h-22zM136 {down + 1}l-8 14", "part")
    sheet.text(132, down - 13, "strainer", "tag middle")
    sheet.text(110, up - 18, "pump", "tag middle")
    put = {
        "source.water_out": (68, up - 5, "read"),
        "source.water_in": (68, down + 14, "read"),
        "reheat.water_in": (336, up + 22, "read end"),
        "reheat.water_out": (336, down + 14, "read end"),
        "loop.flow": (136, up + 16, "read"),
        "pump.head": (136, up + 30, "read"),
        "strainer.drop": (150, down + 14, "read"),
        "reheat.water_flow": (300, up + 40, "read end"),
    }
    for point, (x, y, kind) in put.items():
        found = reading(last, point)
        if found:
            sheet.text(x, y, found, kind)
    signal, stem = reading(last, "reheat.signal"), reading(last, "reheat.stem")
    y = down + 36
    placement = f" {valve.placement}" if valve.placement else ""
    sheet.text(8, y, f"{valve.ways.capitalize()}-way{placement} valve", "name")
    told = [f"signal {signal}" if signal else "", f"stem {stem}" if stem else ""]
    sheet.text(
        190,
        y,
        ", ".join(t for t in told if t) or "signal and stem not read",
        "read" if any(told) else "should",
    )
    kind = "Boiler" if source.kind == "boiler" else f"Recovered heat, {source.refrigerant}"
    for transfer, name in (("source", kind), ("loop", "Pipes lose")):
        line = lines.get(transfer)
        y += 18
        sheet.text(8, y, ("≠ " if transfer in off else "") + name, "name")
        if line is None:
            continue
        moved = line["routes"][0]["heat"] if line["routes"] else ""
        sheet.text(190, y, f"{moved}" if moved else "not read", "moves")
        if line["heat"]:
            y += 14
            sheet.text(190, y, f"should {line['heat']}", "should")
    gas = [reading(last, "reclaim.gas_in"), reading(last, "reclaim.gas_out")]
    if any(gas):
        y += 18
        sheet.text(8, y, "Gas in, out", "name")
        sheet.text(190, y, " to ".join(g or "not read" for g in gas), "read")
    return y + 16


def chilled_water(sheet: Sheet, unit: Unit, last: Mapping[str, str], top: float) -> float:
    """The chilled-water coil's branch with its valve."""
    sheet.heading(4, top, "Chilled water")
    y = top + 36
    sheet.rect(8, y - 14, 44, 48, "part")
    sheet.path(f"M12 {y - 2}h30a5 5 0 0 1 0 22h-30", "pipe")
    sheet.text(30, y + 48, "coil", "tag middle")
    sheet.path(f"M52 {y - 4}H340m-10 -4l-6 4l6 4M52 {y + 24}H340m-6 -4l6 4l-6 4", "pipe main")
    _valve(sheet, 120, y + 24)
    sheet.text(150, y - 10, f"in {reading(last, 'chilled.water_in') or 'not read'}", "read")
    sheet.text(150, y + 40, f"out {reading(last, 'chilled.water_out') or 'not read'}", "read")
    stem = reading(last, "chilled.stem")
    sheet.text(120, y + 54, f"stem {stem}" if stem else "two-way valve", "tag middle")
    return y + 80


def hot_gas(sheet: Sheet, unit: Unit, last: Mapping[str, str], top: float) -> float:
    """A valve sends a share of the discharge gas to the reheat coil."""
    sheet.heading(4, top, "Hot gas")
    y = top + 36
    sheet.circle(24, y, 13, "part")
    sheet.path(f"M15 {y - 9}l19 5M15 {y + 9}l19 -5", "inside")
    sheet.text(24, y + 28, "stages", "tag middle")
    sheet.path(f"M37 {y}H110M110 {y}H200M110 {y}V{y + 34}H200", "pipe main")
    sheet.path(f"M110 {y}l-12 -7v14zM110 {y}l12 -7v14zM110 {y}l-7 12h14z", "part")
    sheet.rect(200, y - 14, 54, 24, "part")
    sheet.text(262, y + 4, "reheat coil", "tag")
    sheet.rect(200, y + 24, 54, 24, "part")
    sheet.text(262, y + 42, "condenser", "tag")
    signal, stem = reading(last, "reheat.signal"), reading(last, "reheat.stem")
    told = [f"signal {signal}" if signal else "", f"stem {stem}" if stem else ""]
    sheet.text(8, y + 70, "Hot-gas valve", "name")
    sheet.text(
        190,
        y + 70,
        ", ".join(t for t in told if t) or "signal and stem not read",
        "read" if any(told) else "should",
    )
    return y + 88
