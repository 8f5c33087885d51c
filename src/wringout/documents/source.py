"""From the bytes of a file to a tree of text with line numbers, within bounds.

Only what the documents need of YAML is read: mappings, lists and scalars. Anchors, aliases, tags and a second
document in the file are refused, so that a small file cannot unfold into a large one. Nothing is guessed
about scalars: every one stays the text that was written. JSON is read the same way.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from pathlib import Path

import yaml

from wringout.errors import InputError

__all__ = ["Branch", "Items", "Leaf", "Node", "name_of", "read_text", "read_tree", "tree_of", "MAX_BYTES"]

MAX_BYTES = 2_000_000
MAX_DEPTH = 12
_QUOTES = ("'", '"', "|", ">")
_LOADER = getattr(yaml, "CLoader", yaml.Loader)  # only its event stream is used: nothing is ever constructed


@dataclass(slots=True)
class Leaf:
    """A scalar as written; ``quoted`` tells text from words such as yes, no and null."""

    text: str
    line: int
    quoted: bool = False


@dataclass(slots=True)
class Items:
    """A list."""

    line: int
    items: list[Node] = field(default_factory=list)


@dataclass(slots=True)
class Branch:
    """A mapping; the keys' own lines are kept for complaints about a key."""

    line: int
    entries: dict[str, Node] = field(default_factory=dict)
    key_lines: dict[str, int] = field(default_factory=dict)


Node = Leaf | Items | Branch


def name_of(path: Path) -> str:
    """What to call a file in a message of one line, whatever its name holds."""
    return _printable(str(path))


def read_text(path: Path) -> str:
    """The text of a document file.

    Raises
    ------
    InputError
        When it is missing, a folder, unreadable, too large, empty, or not UTF-8.
    """
    name = name_of(path)
    try:
        if path.is_dir():
            raise InputError("this is a folder; give the document inside it, for example call.yaml", name)
        if not path.is_file():
            raise InputError("there is no such file", name)
        with path.open("rb") as stream:
            data = stream.read(MAX_BYTES + 1)
    except (OSError, ValueError) as error:
        raise InputError(f"cannot be read: {_reason(error)}", name) from None
    if len(data) > MAX_BYTES:
        raise InputError(f"the file is larger than {MAX_BYTES // 1_000_000} MB; documents are a few kB", name)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise InputError(
            f"not UTF-8 text (byte 0x{data[error.start]:02x}); save the file with the encoding UTF-8",
            f"{name}, line {line}",
        ) from None
    if not text.strip():
        raise InputError("the file is empty; `wringout new` writes a unit document to start from", name)
    return text


def read_tree(path: Path) -> Branch:
    """The tree of a document file; see `read_text` and `tree_of` for what is refused."""
    text = read_text(path)
    return tree_of(_json_as_yaml(text) if path.suffix.lower() == ".json" else text, name_of(path))


def tree_of(text: str, name: str) -> Branch:
    """The tree of a document.

    Parameters
    ----------
    text : str
        YAML or JSON.
    name : str
        What to call the document in complaints.

    Raises
    ------
    InputError
        For text that is not YAML, is no mapping, or uses more of YAML than documents do.
    """
    try:
        return _Builder(name).build(text)
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        place = f"{name}, line {mark.line + 1}" if mark else name
        raise InputError(_yaml_problem(text, error, mark), place) from None
    except yaml.YAMLError as error:
        raise InputError(f"holds a character that a document cannot hold ({_reason(error)})", name) from None


class _Builder:
    """Builds the tree from the parser's events without recursion: depth is a check and not a crash."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.root: Node | None = None
        self.documents = 0
        self.stack: list[Branch | Items] = []
        self.keys: list[tuple[str, int] | None] = []  # key waiting for its value, one for each open branch

    def build(self, text: str) -> Branch:
        for event in yaml.parse(text, Loader=_LOADER):
            self._take(event)
        if not isinstance(self.root, Branch):
            line = self.root.line if self.root is not None else 1
            raise self._error("the document must be a mapping of fields (`name: value` lines)", line)
        return self.root

    def _take(self, event: yaml.Event) -> None:
        mark = event.start_mark
        line = mark.line + 1 if mark is not None else 1
        if isinstance(event, yaml.ScalarEvent):
            self._refuse_extras(event, line)
            self._put(Leaf(event.value, line, quoted=event.style in _QUOTES), line)
        elif isinstance(event, (yaml.MappingStartEvent, yaml.SequenceStartEvent)):
            self._refuse_extras(event, line)
            node: Branch | Items = Branch(line) if isinstance(event, yaml.MappingStartEvent) else Items(line)
            self._put(node, line)
            if len(self.stack) == MAX_DEPTH:
                raise self._error(f"nested more than {MAX_DEPTH} levels deep; no document is", line)
            self.stack.append(node)
            self.keys.append(None)
        elif isinstance(event, (yaml.MappingEndEvent, yaml.SequenceEndEvent)):
            self.stack.pop()
            self.keys.pop()
        elif isinstance(event, yaml.AliasEvent):
            raise self._error(f"the alias *{event.anchor} is not taken; write the value out", line)
        elif isinstance(event, yaml.DocumentStartEvent):
            self.documents += 1
            if self.documents > 1:
                raise self._error("a second document begins here (---); a file holds one", line)

    def _refuse_extras(self, event: yaml.NodeEvent, line: int) -> None:
        if event.anchor is not None:
            raise self._error(f"the anchor &{event.anchor} is not taken; write values out", line)
        tag = getattr(event, "tag", None)
        if tag is not None:
            raise self._error(f"the tag {tag} is not taken; write plain values", line)

    def _put(self, node: Node, line: int) -> None:
        if not self.stack:
            self.root = node
            return
        parent = self.stack[-1]
        if isinstance(parent, Items):
            parent.items.append(node)
            return
        waiting = self.keys[-1]
        if waiting is None:
            if not isinstance(node, Leaf):
                raise self._error("the name of a field must be a word, not a list or a mapping", line)
            if node.text in parent.entries:
                first = parent.key_lines[node.text]
                raise self._error(f'"{node.text[:40]}" is given twice here (first in line {first})', line)
            self.keys[-1] = (node.text, line)
            return
        key, key_line = waiting
        parent.entries[key] = node
        parent.key_lines[key] = key_line
        self.keys[-1] = None

    def _error(self, message: str, line: int) -> InputError:
        return InputError(message, f"{self.name}, line {line}")


# JSON writes characters beyond 16 bits as two escapes; YAML does not know that
_SURROGATES = re.compile(r"\\u([dD][89abAB][0-9a-fA-F]{2})\\u([dD][c-fC-F][0-9a-fA-F]{2})")


def _json_as_yaml(text: str) -> str:
    def joined(pair: re.Match[str]) -> str:
        high, low = (int(half, 16) for half in pair.groups())
        return chr(0x10000 + ((high - 0xD800) << 10) + (low - 0xDC00))

    return _SURROGATES.sub(joined, text.replace("\t", " "))


def _yaml_problem(text: str, error: yaml.MarkedYAMLError, mark: yaml.Mark | None) -> str:
    if mark is not None:
        lines = text.splitlines()
        near = lines[mark.line : mark.line + 1] + lines[max(mark.line - 1, 0) : mark.line]
        if any("\t" in line[: len(line) - len(line.lstrip())] for line in near):
            return "the line is indented with a tab; indent with spaces"
    return f"not readable as YAML: {error.problem or error.context or 'broken structure'}"


def _reason(error: Exception) -> str:
    text = getattr(error, "strerror", None) or getattr(error, "reason", None) or str(error)
    return _printable(str(text).splitlines()[0] if str(text) else type(error).__name__)


def _printable(text: str) -> str:
    return "".join(c if c.isprintable() else "?" for c in text)
