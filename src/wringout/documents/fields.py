"""Reads the leaves of a document's tree as its model says: value, words and line of every field given."""

from __future__ import annotations

import re
import types
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from wringout.documents.measure import Measure
from wringout.documents.source import Branch, Items, Leaf, Node
from wringout.errors import InputError
from wringout.quantity import format, parse, unit_named

__all__ = ["Found", "Reader", "measure_of", "nearest", "within"]

MAX_NAME = 200
_ID = re.compile(r"[a-z][a-z0-9_-]{0,29}")
_EMPTY = frozenset({"", "~", "null", "Null", "NULL"})


@dataclass(frozen=True, slots=True)
class Found:
    """A value that stood in the document."""

    value: Any
    text: str
    line: int


class Reader:
    """Reads one document; ``name`` is what complaints call it."""

    def __init__(self, name: str) -> None:
        self.name = name

    def error(self, message: str, line: int | None, path: str = "") -> InputError:
        """The one error of this document, with its line and field."""
        place = self.name if line is None else f"{self.name}, line {line}"
        return InputError(f"{path}: {message}" if path else message, place)

    def branch(self, node: Node, path: str, example: str = "") -> Branch:
        """The node as a mapping."""
        if isinstance(node, Branch):
            return node
        found = f'"{_short(node.text)}"' if isinstance(node, Leaf) else "a list"
        raise self.error(
            f"found {found}, wanted a mapping of fields{example and f', as in {example}'}", node.line, path
        )

    def known(self, branch: Branch, allowed: Iterable[str], path: str) -> None:
        """Refuse a field that is not among those allowed, naming the nearest."""
        names = list(allowed)
        for key in branch.entries:
            if key not in names:
                where = f"{path}.{_short(key)}" if path else _short(key)
                raise self.error(f"unknown field{nearest(key, names)}", branch.key_lines[key], where)

    def text(self, node: Node, path: str, limit: int = MAX_NAME) -> str:
        """The node as a line of words."""
        if not isinstance(node, Leaf):
            raise self.error("wanted words", node.line, path)
        words = node.text.strip()
        if len(words) > limit:
            raise self.error(f"{len(words)} characters long; at most {limit} are taken", node.line, path)
        if any(not (c.isprintable() or c in "\n\t") for c in words):
            raise self.error("holds a character that cannot be printed", node.line, path)
        return words

    def word(self, node: Node, accepted: Iterable[str], path: str) -> str:
        """The node as one of the accepted words."""
        names = list(accepted)
        if not isinstance(node, Leaf):
            raise self.error(f"wanted {_either(names)}", node.line, path)
        if node.text not in names:
            raise self.error(
                f'"{_short(node.text)}" is not taken{nearest(node.text, names, listed=False)}; '
                f"write {_either(names)}",
                node.line,
                path,
            )
        return node.text

    def quantity(self, node: Node, measure: Measure, path: str) -> Found:
        """The node as a quantity within its limits."""
        if not isinstance(node, Leaf):
            raise self.error("wanted one quantity, a number with its unit", node.line, path)
        text = f"{node.text} count" if measure.bare and node.text.strip().isdecimal() else node.text
        try:
            read = parse(text, measure.dimension)
            within(read.value, read.unit, measure)
        except InputError as error:
            raise self.error(error.message, node.line, path) from None
        return Found(read.value, node.text.strip(), node.line)

    def fields(self, branch: Branch, model: type[BaseModel], path: str, out: dict[str, Found]) -> None:
        """Read every field of a model that the branch gives into ``out``, by path."""
        fields = {field.alias or name: field for name, field in model.model_fields.items()}
        fields.pop("provenance", None)
        self.known(branch, [*fields, "format"] if not path else fields, path)
        for key, node in branch.entries.items():
            if key == "format" and not path:
                continue
            where = f"{path}.{key}" if path else key
            if isinstance(node, Leaf) and not node.quoted and node.text in _EMPTY:
                continue  # a name without a value is a field not given
            self._field(node, fields[key], where, out)

    def _field(self, node: Node, field: FieldInfo, path: str, out: dict[str, Found]) -> None:
        kind = _plain(field.annotation)
        measure = measure_of(field)
        if measure is not None:
            out[path] = self.quantity(node, measure, path)
        elif isinstance(kind, type) and issubclass(kind, BaseModel):
            self.fields(self.branch(node, path), kind, path, out)
        elif get_origin(kind) is tuple:
            self._list(node, get_args(kind)[0], path, out)
        elif get_origin(kind) is Literal:
            word = self.word(node, get_args(kind), path)
            out[path] = Found(word, word, node.line)
        elif kind is bool:
            out[path] = self._yes_no(node, path)
        else:
            words = self.text(node, path)
            if not words:
                raise self.error("empty", node.line, path)
            out[path] = Found(words, words, node.line)

    def _list(self, node: Node, model: type[BaseModel], path: str, out: dict[str, Found]) -> None:
        if not isinstance(node, Items):
            raise self.error("wanted a list of stages, each `- {id: c1, ...}`", node.line, path)
        ids: list[str] = []
        for position, item in enumerate(node.items, start=1):
            stage = self.branch(item, f"{path}[{position}]", "{id: c1, share: 50 %}")
            identity = stage.entries.get("id")
            if not isinstance(identity, Leaf) or not _ID.fullmatch(identity.text):
                raise self.error(
                    "a stage needs an id of lower-case letters and digits, for example c1", stage.line, path
                )
            if identity.text in ids:
                raise self.error(f'the id "{identity.text}" is given twice', identity.line, path)
            ids.append(identity.text)
            self.fields(stage, model, f"{path}.{identity.text}", out)
        out[path] = Found(tuple(ids), "", node.line)

    def _yes_no(self, node: Node, path: str) -> Found:
        if not isinstance(node, Leaf):
            raise self.error("wanted yes or no", node.line, path)
        try:
            return Found(parse(node.text, "yes_no").value >= 0.5, node.text, node.line)
        except InputError as error:
            raise self.error(error.message, node.line, path) from None


def within(value: float, unit: str, measure: Measure) -> None:
    """Refuse a value outside the limits of its field, in the units it was written in."""
    if measure.low <= value <= measure.high:
        return
    shown = None if unit_named(unit, measure.dimension).gauge else unit
    found, low, high = (
        format(number, measure.dimension, unit=shown) for number in (value, measure.low, measure.high)
    )
    taken = f"at least {low}" if measure.high == float("inf") else f"{low} to {high}"
    raise InputError(f"{found} is out of range; {taken} is taken")


def nearest(word: str, names: Iterable[str], *, listed: bool = True) -> str:
    """Words that point from a name that is not known to those that are."""
    import difflib  # late: only a complaint needs it

    known = list(names)
    close = difflib.get_close_matches(word[:60].lower(), known, n=1, cutoff=0.5)
    if close:
        return f"; the nearest known one is {close[0]}"
    return f"; known are {', '.join(known)}" if listed else ""


def _either(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} or {names[-1]}"


def _short(text: str) -> str:
    line = "".join(c if c.isprintable() else "?" for c in text)
    return line if len(line) <= 40 else line[:40] + "..."


def _plain(annotation: Any) -> Any:
    """The type without ``| None`` and without Annotated."""
    if get_origin(annotation) in (Union, types.UnionType):
        annotation = next(part for part in get_args(annotation) if part is not type(None))
    if hasattr(annotation, "__metadata__"):
        annotation = get_args(annotation)[0]
    return annotation


def measure_of(field: FieldInfo) -> Measure | None:
    """What a field of a model measures; of ``Annotated[...] | None`` pydantic leaves it inside the union."""
    inside = get_args(field.annotation) if get_origin(field.annotation) in (Union, types.UnionType) else ()
    marks = [*field.metadata, *(mark for part in inside for mark in getattr(part, "__metadata__", ()))]
    return next((mark for mark in marks if isinstance(mark, Measure)), None)
