"""The trace document, ``trace.yaml`` beside the unit: each signal's device, wires, terminals, spans, who
checked."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Literal, cast

from wringout.documents.fields import Reader
from wringout.documents.load import require_format
from wringout.documents.measure import Measure, Part
from wringout.documents.source import Branch, Items, Leaf, Node, name_of, read_tree, tree_of
from wringout.documents.unit import Unit
from wringout.quantity import Dimension, format

__all__ = [
    "STEM",
    "TRACE_FORMAT",
    "Place",
    "Signal",
    "Span",
    "Trace",
    "Verified",
    "read_trace",
    "signal_of_unit",
    "template",
    "trace_from_text",
]

TRACE_FORMAT = "wringout-trace/1"
STEM = "stem"
MOST = 40  # signals, and places of one
_SPAN = Measure(Dimension.SIGNAL, 0.0, 24.0)
Kind = Literal["volts", "milliamperes"]


class Span(Part):
    """The two ends of a signal [V; milliamperes as the voltage across 500 ohm], and how they are written."""

    low: float
    high: float


class Place(Part):
    """A place along the path where a meter can be put: its terminal, and the wire that leads to it."""

    name: str
    terminal: str = ""
    wire: str = ""


class Verified(Part):
    """Who checked the signal, how and when."""

    by: str
    how: str = ""
    at: datetime | None = None


class Signal(Part):
    """One signal from a controller's output to a device.

    ``sends`` is what the output sends at 0 and 100 % command (``action`` reverse: the other way round),
    ``takes`` what the actuator is set for, ``opens_at`` the end at which it opens. ``places`` run from the
    controller to the device.
    """

    id: str
    device: str
    controller: str = ""
    board: str = ""
    output: str = ""
    kind: Kind = "volts"
    sends: Span
    action: Literal["direct", "reverse"] = "direct"
    takes: Span
    opens_at: Literal["high", "low"] = "high"
    places: tuple[Place, ...]
    verified: Verified | None = None


class Trace(Part):
    """Every signal of a unit that somebody has traced."""

    signals: tuple[Signal, ...]


def signal_of_unit(unit: Unit) -> Signal:
    """The reheat signal as far as the unit document tells it: spans and action, no wires and labels."""
    valve = unit.reheat.valve
    span = Span(low=valve.signal.low, high=valve.signal.high)
    source = unit.provenance.get("reheat.valve.signal.high")
    milliamperes = source is not None and "mA" in source.text
    return Signal(
        id="reheat",
        device="reheat valve actuator",
        kind="milliamperes" if milliamperes else "volts",
        sends=span,
        action="direct" if valve.signal.coil_open_at == "high" else "reverse",
        takes=span,
        opens_at=valve.signal.coil_open_at,
        places=(Place(name="controller"), Place(name="actuator")),
    )


def template(unit: Unit) -> str:
    """A trace document to start from, with what the unit document tells of its reheat signal."""
    one = signal_of_unit(unit)
    low, high = (_written(value, one.kind) for value in (one.sends.low, one.sends.high))
    return f"""\
format: {TRACE_FORMAT}
signals:
  - id: reheat
    device: reheat valve actuator
    controller: ""            # its name on the panel
    board: ""                 # module or card
    output: ""                # as the controller names it, for example AO3
    kind: {one.kind}
    sends: {{low: {low}, high: {high}}}   # what the output is scaled to
    action: {one.action}
    takes: {{low: {low}, high: {high}}}   # what the actuator is set for
    opens_at: {one.opens_at}
    places:                   # from the controller to the device, each with the wire that leads to it
      - {{name: controller, terminal: ""}}
      - {{name: strip, terminal: "", wire: ""}}
      - {{name: actuator, terminal: "", wire: ""}}
    # verified: {{by: "", how: "meter, plug in", at: 2027-05-04T10:20:00}}
"""


def _written(value: float, kind: Kind) -> str:
    return format(value, Dimension.SIGNAL, unit="mA" if kind == "milliamperes" else "V", decimals=1)


def read_trace(path: str | Path) -> Trace:
    """Read a trace document from a file.

    Raises
    ------
    InputError
        For anything that must be mended; the message names file, line and field.
    """
    path = Path(path)
    return _Reading(Reader(name_of(path))).trace(read_tree(path))


def trace_from_text(text: str, name: str = "trace document") -> Trace:
    """Read a trace document from its text."""
    return _Reading(Reader(name)).trace(tree_of(text, name))


class _Reading:
    """Reads one document; the path of a field goes along for complaints."""

    def __init__(self, reader: Reader) -> None:
        self.reader = reader

    def trace(self, tree: Branch) -> Trace:
        require_format(self.reader, tree, TRACE_FORMAT)
        self.reader.known(tree, ("format", "signals"), "")
        signals = tuple(
            self.signal(node, f"signals[{n}]")
            for n, node in enumerate(self.items(tree, "signals", "signals"), start=1)
        )
        seen: set[str] = set()
        for n, one in enumerate(signals, start=1):
            if one.id in seen:
                raise self.reader.error(f'the id "{one.id}" is given twice', tree.line, f"signals[{n}].id")
            seen.add(one.id)
        return Trace(signals=signals)

    def signal(self, node: Node, path: str) -> Signal:
        branch = self.reader.branch(node, path, "{id: reheat, device: ...}")
        self.reader.known(branch, Signal.model_fields, path)
        kind = self.word(branch, "kind", ("volts", "milliamperes"), path) or "volts"
        takes = self.span(branch, "takes", path)
        places = self.places(branch, path)
        return Signal(
            id=self.text(branch, "id", path, needed=True),
            device=self.text(branch, "device", path, needed=True),
            controller=self.text(branch, "controller", path),
            board=self.text(branch, "board", path),
            output=self.text(branch, "output", path),
            kind=cast("Kind", kind),
            sends=self.span(branch, "sends", path) if "sends" in branch.entries else takes,
            action=cast(
                "Literal['direct', 'reverse']",
                self.word(branch, "action", ("direct", "reverse"), path) or "direct",
            ),
            takes=takes,
            opens_at=cast(
                "Literal['high', 'low']", self.word(branch, "opens_at", ("high", "low"), path) or "high"
            ),
            places=places,
            verified=self.verified(branch, path),
        )

    def places(self, branch: Branch, path: str) -> tuple[Place, ...]:
        found: list[Place] = []
        for n, node in enumerate(self.items(branch, "places", path), start=1):
            where = f"{path}.places[{n}]"
            one = self.reader.branch(node, where, "{name: actuator, terminal: Y, wire: W37}")
            self.reader.known(one, Place.model_fields, where)
            name = self.text(one, "name", where, needed=True)
            if name == STEM or name in {place.name for place in found}:
                why = "stands for the actuator's position" if name == STEM else "is given twice"
                raise self.reader.error(f'the name "{name}" {why}', one.line, f"{where}.name")
            terminal, wire = self.text(one, "terminal", where), self.text(one, "wire", where)
            found.append(Place(name=name, terminal=terminal, wire=wire))
        if len(found) < 2:
            raise self.reader.error(
                "a path has two places at least, controller and device", branch.line, f"{path}.places"
            )
        return tuple(found)

    def verified(self, branch: Branch, path: str) -> Verified | None:
        if "verified" not in branch.entries:
            return None
        where = f"{path}.verified"
        one = self.reader.branch(branch.entries["verified"], where, '{by: "...", how: "meter"}')
        self.reader.known(one, Verified.model_fields, where)
        at = self.text(one, "at", where)
        try:
            when = datetime.fromisoformat(at) if at else None
        except ValueError:
            raise self.reader.error(
                f'"{at[:40]}" is no date; write it like 2027-05-04T10:20:00', one.line, f"{where}.at"
            ) from None
        return Verified(
            by=self.text(one, "by", where, needed=True), how=self.text(one, "how", where), at=when
        )

    def span(self, branch: Branch, key: str, path: str) -> Span:
        where = f"{path}.{key}"
        if key not in branch.entries:
            raise self.reader.error("missing; write {low: 2 V, high: 10 V}", branch.line, where)
        one = self.reader.branch(branch.entries[key], where, "{low: 2 V, high: 10 V}")
        self.reader.known(one, ("low", "high"), where)
        ends = []
        for end in ("low", "high"):
            if end not in one.entries:
                raise self.reader.error("missing", one.line, f"{where}.{end}")
            ends.append(float(self.reader.quantity(one.entries[end], _SPAN, f"{where}.{end}").value))
        if ends[1] <= ends[0]:
            raise self.reader.error("the high end must lie above the low end", one.line, where)
        return Span(low=ends[0], high=ends[1])

    def items(self, branch: Branch, key: str, path: str) -> list[Node]:
        where = key if path == key else f"{path}.{key}"
        node = branch.entries.get(key)
        if not isinstance(node, Items) or not node.items:
            raise self.reader.error(
                "wanted a list, each `- {...}`", node.line if node else branch.line, where
            )
        if len(node.items) > MOST:
            raise self.reader.error(f"{len(node.items)} of them; at most {MOST} are taken", node.line, where)
        return node.items

    def text(self, branch: Branch, key: str, path: str, needed: bool = False) -> str:
        node = branch.entries.get(key)
        words = ""
        if node is not None and not (isinstance(node, Leaf) and not node.quoted and node.text in {"", "~"}):
            words = self.reader.text(node, f"{path}.{key}")
        if needed and not words:
            raise self.reader.error("missing", branch.line, f"{path}.{key}")
        return words

    def word(self, branch: Branch, key: str, accepted: tuple[str, ...], path: str) -> str:
        if key not in branch.entries:
            return ""
        return self.reader.word(branch.entries[key], accepted, f"{path}.{key}")
