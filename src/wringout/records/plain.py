"""Trees of documents as plain dictionaries of the words that were written, and back into YAML."""

from __future__ import annotations

from typing import Any

from wringout.documents.source import Branch, Items, Leaf, Node

__all__ = ["plain_tree"]

_EMPTY = frozenset({"", "~", "null", "Null", "NULL"})


def plain_tree(node: Node) -> Any:
    """A tree as dictionaries, lists and text; a field that is named but left empty is left out."""
    if isinstance(node, Leaf):
        return node.text
    if isinstance(node, Items):
        return [plain_tree(item) for item in node.items]
    return {name: plain_tree(entry) for name, entry in node.entries.items() if not _empty(entry)}


def _empty(node: Branch | Items | Leaf) -> bool:
    return isinstance(node, Leaf) and not node.quoted and node.text in _EMPTY
