"""Whatever the file is, one clear error says what it is and where; and no file can eat time or memory."""

from __future__ import annotations

import tracemalloc
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sample_documents import RECLAIM
from wringout.documents.load import load_unit
from wringout.documents.source import MAX_BYTES, Branch, Items, Leaf, read_tree, tree_of
from wringout.errors import InputError


def refused(path: Path) -> str:
    with pytest.raises(InputError) as caught:
        read_tree(path)
    message = str(caught.value)
    assert str(path) in message
    assert "\n" not in message
    return message


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    assert "no such file" in refused(tmp_path / "unit.yaml")


def test_a_folder_is_no_document(tmp_path: Path) -> None:
    assert "folder" in refused(tmp_path)


def test_a_large_file_is_refused_unread(tmp_path: Path) -> None:
    path = tmp_path / "unit.yaml"
    path.write_bytes(b"# " + b"x" * 40_000_000)
    tracemalloc.start()
    try:
        assert "larger than 2 MB" in refused(path)
        assert tracemalloc.get_traced_memory()[1] < 4_000_000
    finally:
        tracemalloc.stop()


@pytest.mark.parametrize("data", [b"", b"  \n\n ", b"\xef\xbb\xbf"])
def test_an_empty_file_is_called_empty(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "unit.yaml"
    path.write_bytes(data)
    assert "empty" in refused(path)


@pytest.mark.parametrize(
    "data", [b"name: caf\xe9\n", "name: x\n".encode("utf-16"), b"a: 1\nb: \xff\xfe\n", b"PK\x03\x04\x89\xd0"]
)
def test_other_encodings_are_refused_with_their_line(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "unit.yaml"
    path.write_bytes(data)
    message = refused(path)
    assert "UTF-8" in message
    assert "line " in message


def test_a_byte_order_mark_is_no_matter(tmp_path: Path) -> None:
    path = tmp_path / "unit.yaml"
    path.write_bytes(b"\xef\xbb\xbf" + RECLAIM.encode())
    assert load_unit(path).name == "Cellar unit"


def test_windows_line_ends_are_no_matter(tmp_path: Path) -> None:
    path = tmp_path / "unit.yaml"
    path.write_bytes(RECLAIM.replace("\n", "\r\n").encode())
    assert load_unit(path) == load_unit_of(RECLAIM, tmp_path)


def load_unit_of(text: str, folder: Path):
    path = folder / "plain.yaml"
    path.write_text(text, encoding="utf-8")
    return load_unit(path)


NOT_TAKEN = {
    "tab": ("a:\n\tb: 1\n", "tab; indent with spaces", 2),
    "anchor": ("a: &x 1\n", "anchor &x", 1),
    "alias": ("a: 1\nb: *x\n", "alias", 2),
    "tag": ("a: !!python/object/apply:os.system ['true']\n", "tag", 1),
    "own tag": ("a: !secret b\n", "tag", 1),
    "second document": ("a: 1\n---\nb: 1\n", "second document", 2),
    "twice": ("a: 1\nb: 2\na: 3\n", '"a" is given twice here .first in line 1', 3),
    "no mapping": ("- a\n- b\n", "must be a mapping", 1),
    "a word": ("hello\n", "must be a mapping", 1),
    "key of parts": ("? [a, b]\n: c\n", "must be a word", 1),
    "unclosed": ("a: [1, 2\n", "not readable as YAML", 2),
    "quote": ("a: 'b\n", "not readable as YAML", 2),
    "colon": ("a: b: c\n", "not readable as YAML", 1),
    "deep": ("a: " + "[" * 50, "levels deep", 1),
}


@pytest.mark.parametrize("what", NOT_TAKEN)
def test_more_yaml_than_a_document_needs_is_refused(what: str, tmp_path: Path) -> None:
    text, words, line = NOT_TAKEN[what]
    path = tmp_path / "unit.yaml"
    path.write_text(text, encoding="utf-8")
    message = refused(path)
    assert f"line {line}:" in message
    with pytest.raises(InputError, match=words):
        read_tree(path)


BOMBS = {
    "nine nested levels of nine aliases": "a: &a [x,x,x,x,x,x,x,x,x]\n"
    + "".join(
        f"{b}: &{b} [{','.join(['*' + a] * 9)}]\n" for a, b in zip("abcdefgh", "bcdefghi", strict=True)
    ),
    "merge keys": "a: &a {x: 1}\nb: {<<: *a}\n",
    "brackets": "a: " + "[" * 900_000,
    "braces": "a: " + "{a: " * 400_000,
    "question marks": "? " * 600_000,
    "dashes": "- " * 600_000,
    "one key of two million letters": "a" * 1_900_000,
}


@pytest.mark.parametrize("what", BOMBS)
def test_a_bomb_does_not_go_off(what: str, tmp_path: Path) -> None:
    path = tmp_path / "unit.yaml"
    path.write_text(BOMBS[what], encoding="utf-8")
    assert path.stat().st_size < MAX_BYTES
    tracemalloc.start()
    try:
        assert len(refused(path)) < 600
        # a hundred times its size at the most: a bomb that went off would take thousands
        assert tracemalloc.get_traced_memory()[1] < 200_000_000
    finally:
        tracemalloc.stop()


def test_scalars_stay_the_text_that_was_written() -> None:
    tree = tree_of("a: 010\nb: yes\nc: 2027-01-01\nd: '~'\ne: ~\nf: [1.0, no]\n", "x")
    leaf = tree.entries["a"]
    assert isinstance(leaf, Leaf)
    assert (leaf.text, leaf.line, leaf.quoted) == ("010", 1, False)
    assert [node.text for node in tree.entries.values() if isinstance(node, Leaf)] == [
        "010",
        "yes",
        "2027-01-01",
        "~",
        "~",
    ]
    quoted = tree.entries["d"]
    assert isinstance(quoted, Leaf)
    assert quoted.quoted
    items = tree.entries["f"]
    assert isinstance(items, Items)
    assert [node.text for node in items.items if isinstance(node, Leaf)] == ["1.0", "no"]


def test_json_holds_the_same(tmp_path: Path) -> None:
    path = tmp_path / "x.json"
    path.write_text(
        '{\n\t"a": "\\ud83d\\ude00 \\u00e9",\n\t"b": {"c": true, "d": null}\n}\n', encoding="utf-8"
    )
    tree = read_tree(path)
    leaf, branch = tree.entries["a"], tree.entries["b"]
    assert isinstance(leaf, Leaf)
    assert leaf.text == "😀 é"
    assert isinstance(branch, Branch)
    assert branch.line == 3
    assert {key: node.text for key, node in branch.entries.items() if isinstance(node, Leaf)} == {
        "c": "true",
        "d": "null",
    }


@given(text=st.text())
def test_any_text_is_a_tree_or_one_error(text: str) -> None:
    try:
        tree = tree_of(text, "x")
    except InputError as error:
        assert "\n" not in str(error)  # noqa: PT017
    else:
        assert isinstance(tree, Branch)
