"""The call document: a complaint and what was read, forced, released, changed and noted, in order of time."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Literal

from wringout.documents.fields import Reader, nearest
from wringout.documents.load import load_unit, require_format, unit_from_tree
from wringout.documents.measure import Measure, Part
from wringout.documents.source import Branch, Items, Leaf, Node, name_of, read_tree
from wringout.documents.unit import Unit
from wringout.errors import InputError
from wringout.quantity import Dimension, parse

__all__ = [
    "CALL_FORMAT",
    "ITEMS",
    "Call",
    "Change",
    "Event",
    "Force",
    "Note",
    "Reading",
    "Release",
    "Vocabulary",
    "read_call",
    "call_from_tree",
]

CALL_FORMAT = "wringout-call/1"
ITEMS = ("reheat.command", "cooling.call")
MAX_EVENTS = 20_000
MAX_TEXT = 4000
Item = Literal["reheat.command", "cooling.call"]


class Reading(Part):
    """A value read at a test point [SI], as it was written, and its own accuracy [absolute, SI] if given."""

    at: datetime
    point: str
    value: float
    unit_text: str
    text: str
    by: str
    accuracy: float | None = None
    kind: Literal["reading"] = "reading"


class Force(Part):
    """An item is held by hand at a share of its travel [0..1]."""

    at: datetime
    item: Item
    to: float
    kind: Literal["force"] = "force"


class Release(Part):
    """A held item is given back to control."""

    at: datetime
    item: Item
    kind: Literal["release"] = "release"


class Change(Part):
    """Something was altered: readings before and after describe different machines."""

    at: datetime
    cause: str | None = None
    text: str = ""
    kind: Literal["change"] = "change"


class Note(Part):
    """Words."""

    at: datetime
    text: str
    kind: Literal["note"] = "note"


Event = Reading | Force | Release | Change | Note


class Call(Part):
    """One visit or several to one unit."""

    unit: Unit
    complaint: str = ""
    events: tuple[Event, ...] = ()


@dataclass(frozen=True, slots=True)
class Vocabulary:
    """What the catalogue knows and a call may name.

    ``measure`` gives what a reading at a point of a unit must be, and refuses a point that the unit lacks;
    ``usual`` names the instrument a point is usually read with; ``causes`` gives the ids of all causes.
    """

    measure: Callable[[str, Unit | None], Measure]
    usual: Callable[[str], str]
    instruments: tuple[str, ...]
    causes: Callable[[], tuple[str, ...]]


def read_call(path: str | Path, vocabulary: Vocabulary) -> Call:
    """Read a call document from a file, and the unit document it names.

    Raises
    ------
    InputError
        For anything in either file that must be mended; the message names file, line and field.
    """
    path = Path(path)
    return call_from_tree(read_tree(path), name_of(path), path.parent, vocabulary)


def call_from_tree(tree: Branch, name: str, folder: Path | None, vocabulary: Vocabulary) -> Call:
    """Read a call document from its tree; ``folder`` is where a unit document named by path is looked for."""
    reader = Reader(name)
    require_format(reader, tree, CALL_FORMAT)
    reader.known(tree, ("format", "unit", "complaint", "events"), "")
    if "unit" not in tree.entries:
        raise reader.error(
            "missing; write the path of the unit document, or the unit document itself", None, "unit"
        )
    unit = _unit(reader, tree.entries["unit"], folder)
    complaint = ""
    if "complaint" in tree.entries:
        complaint = reader.text(tree.entries["complaint"], "complaint", MAX_TEXT)
    events = _Events(reader, unit, vocabulary).read(tree.entries.get("events"))
    return Call(unit=unit, complaint=complaint, events=events)


def _unit(reader: Reader, node: Node, folder: Path | None) -> Unit:
    if isinstance(node, Branch):
        return unit_from_tree(node, reader.name)
    if not isinstance(node, Leaf):
        raise reader.error("wanted a path or a mapping", node.line, "unit")
    words = reader.text(node, "unit")
    if not words:
        raise reader.error("empty; write the path of the unit document", node.line, "unit")
    beside = Path(words)
    if folder is None or beside.is_absolute() or ".." in beside.parts:
        raise reader.error(
            f'"{words}" must be a path beside the call, for example unit.yaml', node.line, "unit"
        )
    try:
        return load_unit(folder / beside)
    except InputError as error:
        if (folder / beside).is_file():
            raise
        raise reader.error(f"{error.message} ({name_of(folder / beside)})", node.line, "unit") from None


class _Events:
    """Reads the events one after the other, knowing what is held and how late it is."""

    fields: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {  # noqa: RUF012 - kind -> required, optional
        "reading": (("point", "value"), ("by", "accuracy")),
        "force": (("item", "to"), ()),
        "release": (("item",), ()),
        "change": ((), ("cause", "text")),
        "note": (("text",), ()),
    }

    def __init__(self, reader: Reader, unit: Unit, vocabulary: Vocabulary) -> None:
        self.reader, self.unit, self.vocabulary = reader, unit, vocabulary
        self.held: str | None = None
        self.last: tuple[datetime, str, int] | None = None

    def read(self, node: Node | None) -> tuple[Event, ...]:
        if node is None or (isinstance(node, Leaf) and not node.quoted and node.text in ("", "~", "null")):
            return ()
        if not isinstance(node, Items):
            raise self.reader.error("wanted a list, each `- {at: ..., kind: ...}`", node.line, "events")
        if len(node.items) > MAX_EVENTS:
            raise self.reader.error(
                f"{len(node.items)} events; at most {MAX_EVENTS} are taken", node.line, "events"
            )
        return tuple(self._event(item, f"events[{place}]") for place, item in enumerate(node.items, start=1))

    def _event(self, node: Node, path: str) -> Event:
        branch = self.reader.branch(node, path, "{at: ..., kind: reading, point: supply.t, value: 61.5 degF}")
        kinds = self.fields
        if "kind" not in branch.entries:
            raise self.reader.error(f"missing; write one of {', '.join(kinds)}", branch.line, f"{path}.kind")
        kind = self.reader.word(branch.entries["kind"], kinds, f"{path}.kind")
        required, optional = kinds[kind]
        self.reader.known(branch, ("at", "kind", *required, *optional), path)
        for name in ("at", *required):
            if name not in branch.entries:
                raise self.reader.error(f"missing; a {kind} needs it", branch.line, f"{path}.{name}")
        at = self._time(branch.entries["at"], f"{path}.at")
        make: dict[str, Callable[[Branch, datetime, str], Event]] = {
            "reading": self._reading,
            "force": self._force,
            "release": self._release,
            "change": self._change,
            "note": self._note,
        }
        return make[kind](branch, at, path)

    def _time(self, node: Node, path: str) -> datetime:
        example = "2026-07-14T10:05:00"
        if not isinstance(node, Leaf):
            raise self.reader.error(f"wanted date and time, for example {example}", node.line, path)
        try:
            at = datetime.fromisoformat(node.text.strip())
        except ValueError:
            at = None
        if at is None or ":" not in node.text:
            raise self.reader.error(
                f'"{node.text[:40]}" is no date with time; write it like {example}', node.line, path
            )
        if not 2000 <= at.year < 2100:
            raise self.reader.error(
                f"the year {at.year} is out of range; 2000 to 2099 is taken", node.line, path
            )
        if self.last is not None:
            before, text, line = self.last
            if (before.tzinfo is None) != (at.tzinfo is None):
                raise self.reader.error(
                    f"{node.text} and {text} (line {line}): write a time zone everywhere or nowhere",
                    node.line,
                    path,
                )
            if at < before:
                raise self.reader.error(
                    f"time goes backwards: {node.text} comes after {text} (line {line}); events stand in the "
                    "order in which they happened",
                    node.line,
                    path,
                )
        self.last = (at, node.text, node.line)
        return at

    def _reading(self, branch: Branch, at: datetime, path: str) -> Reading:
        node = branch.entries["point"]
        point = self.reader.text(node, f"{path}.point")
        try:
            measure = self.vocabulary.measure(point, self.unit)
        except InputError as error:
            raise self.reader.error(error.message, node.line, f"{path}.point") from None
        value = branch.entries["value"]
        where = f"{path}.value ({point})"
        found = self.reader.quantity(value, measure, where)
        by = self.vocabulary.usual(point)
        if "by" in branch.entries:
            by = self.reader.word(branch.entries["by"], self.vocabulary.instruments, f"{path}.by")
        accuracy = None
        if "accuracy" in branch.entries:
            accuracy = self._accuracy(
                branch.entries["accuracy"], measure.dimension, found.value, f"{path}.accuracy"
            )
        unit_text = parse(found.text, measure.dimension).unit
        return Reading(
            at=at,
            point=point,
            value=found.value,
            unit_text=unit_text,
            text=found.text,
            by=by,
            accuracy=accuracy,
        )

    def _accuracy(self, node: Node, dimension: Dimension, value: float, path: str) -> float:
        if dimension in (Dimension.YES_NO, Dimension.COUNT):
            raise self.reader.error("a count, or yes and no, has no accuracy", node.line, path)
        spread = Dimension.TEMPERATURE_DIFFERENCE if dimension is Dimension.TEMPERATURE else dimension
        share = isinstance(node, Leaf) and node.text.rstrip().endswith("%") and "temperature" not in dimension
        if share and dimension is not Dimension.FRACTION:
            found = self.reader.quantity(node, Measure(Dimension.FRACTION, 1e-4, 1.0), path)
            return float(found.value) * abs(value)
        found = self.reader.quantity(node, Measure(spread, 0.0), path)
        if found.value <= 0.0:
            raise self.reader.error("must be more than nothing: no reading is exact", node.line, path)
        return float(found.value)

    def _item(self, branch: Branch, path: str) -> Item:
        word = self.reader.word(branch.entries["item"], ITEMS, f"{path}.item")
        return "reheat.command" if word == "reheat.command" else "cooling.call"

    def _force(self, branch: Branch, at: datetime, path: str) -> Force:
        item = self._item(branch, path)
        node = branch.entries["to"]
        share = self.reader.quantity(node, Measure(Dimension.FRACTION, 0.0, 1.0), f"{path}.to").value
        if item == "cooling.call" and share not in (0.0, 1.0):
            raise self.reader.error(
                "cooling.call is forced to 0 % or 100 %, nothing between", node.line, f"{path}.to"
            )
        if self.held not in (None, item):
            raise self.reader.error(f"{self.held} is still held; release it first", branch.line, path)
        self.held = item
        return Force(at=at, item=item, to=share)

    def _release(self, branch: Branch, at: datetime, path: str) -> Release:
        item = self._item(branch, path)
        if self.held != item:
            held = f"{self.held} is" if self.held else "nothing is"
            raise self.reader.error(
                f"{item} is released but was not forced before ({held} held)", branch.line, path
            )
        self.held = None
        return Release(at=at, item=item)

    def _change(self, branch: Branch, at: datetime, path: str) -> Change:
        cause = None
        if "cause" in branch.entries:
            node = branch.entries["cause"]
            cause = self.reader.text(node, f"{path}.cause")
            known = self.vocabulary.causes()
            if cause not in known:
                hint = nearest(cause, known)
                raise self.reader.error(f'there is no cause "{cause[:60]}"{hint}', node.line, f"{path}.cause")
        text = ""
        if "text" in branch.entries:
            text = self.reader.text(branch.entries["text"], f"{path}.text", MAX_TEXT)
        if cause is None and not text:
            raise self.reader.error("needs a cause or a text: what was altered?", branch.line, path)
        return Change(at=at, cause=cause, text=text)

    def _note(self, branch: Branch, at: datetime, path: str) -> Note:
        return Note(at=at, text=self.reader.text(branch.entries["text"], f"{path}.text", MAX_TEXT))
