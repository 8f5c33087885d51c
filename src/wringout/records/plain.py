"""Trees of documents as plain dictionaries of the words that were written, and back into YAML."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from typing import Any

from wringout.documents.source import Branch, Items, Leaf, Node

__all__ = ["plain_tree", "yaml_of"]

_EMPTY = frozenset({"", "~", "null", "Null", "NULL"})
_BARE = re.compile(r"(?:[A-Za-z0-9(.]|[-+]\d)(?:[A-Za-z0-9 _./%()^-]|[:+](?! ))*")


def plain_tree(node: Node) -> Any:
    """A tree as dictionaries, lists and text; a field that is named but left empty is left out."""
    if isinstance(node, Leaf):
        return node.text
    if isinstance(node, Items):
        return [plain_tree(item) for item in node.items]
    return {name: plain_tree(entry) for name, entry in node.entries.items() if not _empty(entry)}


def yaml_of(tree: Mapping[str, Any]) -> str:
    """A plain tree as YAML that reads back to the same words; short mappings stand in one line."""
    return "".join(f"{line}\n" for line in _block(tree, ""))


def _empty(node: Branch | Items | Leaf) -> bool:
    return isinstance(node, Leaf) and not node.quoted and node.text in _EMPTY


def _block(tree: Mapping[str, Any], indent: str) -> list[str]:
    lines = []
    for name, entry in tree.items():
        head = f"{indent}{_word(name)}:"
        if isinstance(entry, Mapping) and any(isinstance(part, (Mapping, list)) for part in entry.values()):
            lines += [head, *_block(entry, indent + "  ")]
        elif isinstance(entry, list) and entry:
            lines += [head, *(f"{indent}  - {_flow(part)}" for part in entry)]
        else:
            lines.append(f"{head} {_flow(entry)}")
    return lines


def _flow(tree: Any) -> str:
    if isinstance(tree, Mapping):
        return "{" + ", ".join(f"{_word(name)}: {_flow(entry)}" for name, entry in tree.items()) + "}"
    if isinstance(tree, list):
        return "[" + ", ".join(_flow(entry) for entry in tree) + "]"
    return _word(str(tree))


def _word(text: str) -> str:
    """Text bare where every reader of YAML takes it as the same text or time or number, else in quotes."""
    bare = _BARE.fullmatch(text) and text not in _EMPTY and text == text.strip() and not text.endswith(":")
    return text if bare else json.dumps(text, ensure_ascii=False)
