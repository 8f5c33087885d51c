"""This unit's air, refrigerant and water path as a drawing made from its document: at each part what moves,
measured against expected, and where it does not add up.

Symbols are those of common piping and instrumentation practice (a pump is a circle with a triangle, a valve
two triangles, a three-way valve three). Nothing is told by colour alone: what does not add up has a thick
frame, a sign and words.
"""

from __future__ import annotations

from collections.abc import Mapping
from html import escape
from typing import Any

from wringout.documents.unit import Unit
from wringout.quantity import UnitSystem
from wringout.showing.drawing_water import chilled_water, hot_gas, loop
from wringout.showing.sheet import Sheet, reading
from wringout.showing.words import pretty

__all__ = ["drawing_svg"]

WIDTH = 360
LEFT, RIGHT = 34, 124  # of the duct
COLUMN = 140  # where words begin


def drawing_svg(
    unit: Unit, ledger: dict[str, Any] | None, last: Mapping[str, str], system: UnitSystem
) -> str:
    """Draw a unit.

    Parameters
    ----------
    unit : Unit
    ledger : dict or None
        One of the worker's, or nothing where there is no reading yet.
    last : Mapping
        Last reading of each point, as given.
    system : {'ip', 'si'}

    Returns
    -------
    str
        An SVG element about 360 points across, without address, script or style of its own.
    """
    sheet = Sheet(WIDTH)
    air = _Air(sheet, ledger, last)
    air.draw(unit)
    top = air.y + 18
    if unit.cooling.kind == "dx":
        top = _stages(sheet, unit, last, top)
    else:
        top = chilled_water(sheet, unit, last, top)
    if unit.loop is not None and unit.source is not None:
        top = loop(sheet, unit, ledger, last, top)
    else:
        top = hot_gas(sheet, unit, last, top)
    title = f"{unit.name}: what moves where"
    told = _told(ledger)
    return sheet.svg(top, title, told)


def _told(ledger: dict[str, Any] | None) -> str:
    if ledger is None:
        return "No reading yet."
    off = [m["subject"] for m in ledger["mismatches"]]
    return (
        f"Does not add up: {', '.join(off)}." if off else "Nothing among the readings that does not add up."
    )


class _Air:
    """The air's way down the page."""

    def __init__(self, sheet: Sheet, ledger: dict[str, Any] | None, last: Mapping[str, str]) -> None:
        self.sheet, self.last = sheet, last
        self.lines = {line["transfer"]: line for line in ledger["lines"]} if ledger else {}
        self.off = {m["line"] for m in ledger["mismatches"]} if ledger else set()
        self.y = 14.0

    def draw(self, unit: Unit) -> None:
        """Outdoor and return air, filter, coils, fan, supply and space."""
        s = self.sheet
        s.heading(4, self.y, "Air")
        self.y += 14
        self._joining()
        self._filter()
        self._cooling(unit)
        self._air_at("coil_leaving", "between the coils")
        self._reheat(unit)
        self._fan()
        self._supply()

    def _down(self, height: float) -> None:
        s = self.sheet
        s.line(LEFT, self.y, LEFT, self.y + height, "duct")
        s.line(RIGHT, self.y, RIGHT, self.y + height, "duct")
        self.y += height

    def _arrow(self, x: float, y: float) -> None:
        self.sheet.path(f"M{x} {y - 9}v9m-4 -4l4 4l4 -4", "flow")

    def _words(self, top: float, title: str, transfers: tuple[str, ...], values: tuple[str, ...]) -> float:
        """Title, readings, and for each transfer what moves against what should; where it ends."""
        s = self.sheet
        off = any(t in self.off for t in transfers)
        y = top + 11
        s.text(COLUMN, y, ("≠ " if off else "") + title, "name")
        read = [v for v in values if v]
        for value in read:
            y += 15
            s.text(COLUMN, y, value, "read")
        for transfer in transfers:
            line = self.lines.get(transfer)
            if line is None:
                continue
            route = line["routes"][0] if line["routes"] else None
            label = {"sensible": "sensible ", "latent": "latent ", "total": "total "}.get(transfer, "")
            for part in ("heat", "moisture"):
                if part == "moisture" and transfer not in ("outdoor", "latent", "room"):
                    continue
                if part == "heat" and transfer == "latent":
                    continue
                moved = route[part] if route else ""
                should = line[part]
                if not moved and not should:
                    continue
                y += 15
                mark = (
                    "~"
                    if route and route["mark"] == "computed"
                    else "*"
                    if route and route["mark"] == "assumed"
                    else ""
                )
                s.text(COLUMN, y, f"{label}moves {moved}{mark}" if moved else f"{label}not read", "moves")
                if should:
                    y += 14
                    s.text(COLUMN, y, f"should {should}", "should")
        if off:
            y += 15
            s.text(COLUMN, y, "does not add up", "off")
        return y + 8

    def _joining(self) -> None:
        s, top = self.sheet, self.y
        s.line(LEFT, top, LEFT, top + 18, "duct")
        s.line(2, top + 18, LEFT, top + 18, "duct")
        s.line(2, top + 44, LEFT, top + 44, "duct")
        s.line(RIGHT, top, RIGHT, top + 44, "duct")
        s.path(f"M6 {top + 31}h18m-5 -4l5 4l-5 4", "flow")
        self._arrow(79, top + 14)
        s.text(79, top + 28, "return", "tag middle")
        s.text(4, top + 58, "out-", "tag")
        s.text(4, top + 69, "door", "tag")
        end = self._words(
            top,
            "Outdoor and return air",
            ("outdoor",),
            (self._pair("outdoor", "outdoor "), self._pair("return", "return ")),
        )
        self.y = top + 44
        self._down(max(end - self.y, 30))
        self._air_at("mixed", "mixed")

    def _pair(self, place: str, label: str) -> str:
        read = [reading(self.last, f"{place}.t"), reading(self.last, f"{place}.rh")]
        found = " ".join(part for part in read if part)
        return f"{label}{found}" if found else ""

    def _air_at(self, place: str, words: str) -> None:
        found = self._pair(place, "")
        self._arrow(79, self.y + 12)
        if found:
            self.sheet.text(COLUMN, self.y + 10, f"{words} {found}", "read")
        self._down(18)

    def _box(self, transfers: tuple[str, ...], height: float = 44) -> float:
        top = self.y
        off = any(t in self.off for t in transfers)
        self.sheet.rect(LEFT - 6, top, RIGHT - LEFT + 12, height, "part off-part" if off else "part")
        return top

    def _settle(self, top: float, end: float, height: float = 44) -> None:
        self.y = top + height
        if end > self.y:
            self._down(end - self.y)

    def _filter(self) -> None:
        top = self._box((), 26)
        step = (RIGHT - LEFT) / 6
        zig = "".join(f"l{step / 2:.1f} {'14' if k % 2 == 0 else '-14'}" for k in range(12))
        self.sheet.path(f"M{LEFT} {top + 6}{zig}", "inside")
        end = self._words(top, "Filter", (), (reading(self.last, "filter.drop"),))
        self._settle(top, end, 26)

    def _coil(self, top: float, drip: bool) -> None:
        s = self.sheet
        for k in range(5):
            s.line(LEFT + 9 + 18 * k, top + 8, LEFT + 9 + 18 * k, top + 36, "inside")
        s.path(f"M{LEFT - 6} {top + 14}H{RIGHT}a8 8 0 0 1 0 16H{LEFT - 6}", "pipe")
        if drip:
            s.path(f"M{LEFT - 16} {top + 50}q-6 8 0 11q6 -3 0 -11", "drop")
            s.path(f"M{LEFT - 16} {top + 44}h10", "pipe")

    def _cooling(self, unit: Unit) -> None:
        transfers = ("sensible", "latent", "total")
        top = self._box(transfers)
        self._coil(top, True)
        drain = reading(self.last, "condensate.rate")
        stages = reading(self.last, "shown.stages_called")
        values = (f"drain {drain}" if drain else "", f"{stages} called" if stages else "")
        end = self._words(top, "Cooling coil", transfers, values)
        self._settle(top, end)

    def _reheat(self, unit: Unit) -> None:
        top = self._box(("reheat",))
        self._coil(top, False)
        command = reading(self.last, "shown.reheat_command")
        end = self._words(top, "Reheat coil", ("reheat",), (f"command {command}" if command else "",))
        self._settle(top, end)

    def _fan(self) -> None:
        top = self._box(("fan",))
        s = self.sheet
        s.circle(79, top + 22, 17, "inside")
        s.path(f"M79 {top + 22}l-9 -13h18zM79 {top + 22}l9 13h-18z", "solid")
        values = (reading(self.last, "fan.speed"), reading(self.last, "fan.current"))
        end = self._words(top, "Supply fan", ("fan",), values)
        self._settle(top, end)

    def _supply(self) -> None:
        top = self.y
        self._arrow(79, top + 14)
        flow = reading(self.last, "supply.airflow")
        end = self._words(top, "Supply air", (), (self._pair("supply", ""), flow))
        self._down(max(end - top, 24))
        top = self.y
        off = "room" in self.off
        self.sheet.path(
            f"M{LEFT - 26} {top + 40}V{top + 18}L79 {top}L{RIGHT + 10} {top + 18}V{top + 40}z",
            "part off-part" if off else "part",
        )
        self.sheet.text(79, top + 31, "space", "tag middle")
        shown = reading(self.last, "shown.dew_point")
        end = self._words(
            top,
            "Space",
            ("room",),
            (self._pair("space", ""), f"dew point shown {shown}" if shown else ""),
        )
        self.y = max(top + 44, end)


def _stages(sheet: Sheet, unit: Unit, last: Mapping[str, str], top: float) -> float:
    """Each refrigerant circuit: coil, compressor, condenser, expansion."""
    sheet.heading(4, top, "Refrigerant")
    y = top + 10
    for stage in unit.cooling.stages:
        current = reading(last, f"stage.{stage.id}.current")
        superheat = reading(last, f"stage.{stage.id}.superheat")
        over = reading(last, f"stage.{stage.id}.condensing_over_outdoor")
        sheet.rect(8, y + 12, 40, 30, "part")
        sheet.path(f"M12 {y + 20}h28a4 4 0 0 1 0 14h-28", "pipe")
        sheet.circle(92, y + 12, 12, "part")
        sheet.path(f"M84 {y + 4}l17 4M84 {y + 20}l17 -4", "inside")
        sheet.rect(128, y + 12, 40, 30, "part")
        sheet.path(f"M132 {y + 20}h28a4 4 0 0 1 0 14h-28", "pipe")
        sheet.path(f"M48 {y + 18}h14v-6h18M104 {y + 12}h36v0M148 {y + 12}v0", "pipe")
        sheet.path(f"M84 {y + 42}l16 10v-10l-16 10z", "part")
        sheet.path(f"M100 {y + 47}h48v-5M84 {y + 47}h-56v-5", "pipe")
        sheet.text(28, y + 8, "coil", "tag middle")
        sheet.text(168, y + 8, "condenser", "tag end")
        modulating = ", modulating" if stage.modulating else ""
        sheet.text(178, y + 14, f"Stage {stage.id}{modulating}", "name")
        words = [
            current,
            f"superheat {superheat}" if superheat else "",
            f"condensing {over} over outdoor" if over else "",
        ]
        told = [w for w in words if w] or ["not read yet"]
        for k, line in enumerate(told):
            sheet.text(178, y + 29 + 14 * k, line, "read" if any(words) else "should")
        y += 66
    return y + 16


def label(text: str) -> str:
    """Words for a drawing."""
    return escape(pretty(text))
