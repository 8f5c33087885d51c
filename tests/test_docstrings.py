"""Public functions of the core say what they take and give, in numpydoc sections that match the signature."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "src" / "wringout"
FOLDERS = ("physics", "machine", "weighing", "ledger", "catalogue")
SECTIONS = (
    "Parameters",
    "Attributes",
    "Returns",
    "Yields",
    "Raises",
    "Warns",
    "See Also",
    "Notes",
    "References",
    "Examples",
)
FUNCTION = ast.FunctionDef | ast.AsyncFunctionDef


def listed(tree: ast.Module) -> set[str]:
    for node in tree.body:
        targets = node.targets if isinstance(node, ast.Assign) else []
        if any(isinstance(target, ast.Name) and target.id == "__all__" for target in targets):
            return set(ast.literal_eval(node.value))  # type: ignore[attr-defined]
    return set()


def public() -> Iterator[tuple[str, FUNCTION | ast.ClassDef]]:
    """Functions and classes that a module of the core lists in ``__all__``; modules named ``_`` aside."""
    for folder in FOLDERS:
        for path in sorted((PACKAGE / folder).glob("[!_]*.py")):
            tree = ast.parse(path.read_text(encoding="utf-8"))
            names = listed(tree)
            for node in tree.body:
                if isinstance(node, FUNCTION | ast.ClassDef) and node.name in names and not _overload(node):
                    yield f"{folder}/{path.name}:{node.name}", node


def _overload(node: FUNCTION | ast.ClassDef) -> bool:
    return any(isinstance(mark, ast.Name) and mark.id == "overload" for mark in node.decorator_list)


def sections(text: str) -> dict[str, str]:
    """Headings underlined with dashes, as numpydoc has them, and what stands under each."""
    heading = "|".join(SECTIONS)
    parts = re.split(rf"^({heading})\n-{{3,}}$", text, flags=re.M)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


def described(section: str) -> list[str]:
    """Names on lines that begin at the margin: ``low, high : float`` gives two."""
    names: list[str] = []
    for line in section.splitlines():
        if line and not line[0].isspace():
            names += [name.strip().lstrip("*") for name in line.split(" : ")[0].split(",")]
    return names


def arguments(node: FUNCTION) -> list[str]:
    given = node.args
    every = [*given.posonlyargs, *given.args, *given.kwonlyargs]
    every += [extra for extra in (given.vararg, given.kwarg) if extra is not None]
    return [argument.arg for argument in every if argument.arg not in {"self", "cls"}]


def order_of(node: FUNCTION) -> list[str]:
    """Arguments as they stand in the source: ``*args`` before those that are named only."""
    return sorted(arguments(node), key=lambda name: _place(node, name))


def _place(node: FUNCTION, name: str) -> tuple[int, int]:
    for argument in ast.walk(node.args):
        if isinstance(argument, ast.arg) and argument.arg == name:
            return argument.lineno, argument.col_offset
    raise LookupError(name)


def complaints(node: FUNCTION) -> list[str]:
    text = ast.get_docstring(node)
    if not text:
        return ["no docstring"]
    found = []
    first = text.splitlines()[0]
    if not first.endswith((".", ":")):
        found.append(f"the first line is no sentence: {first!r}")
    has = sections(text)
    if arguments(node):
        names = described(has.get("Parameters", ""))
        if names != order_of(node):
            found.append(f"Parameters describe {names}, the signature has {order_of(node)}")
    gives = node.returns is not None and not (
        isinstance(node.returns, ast.Constant) and node.returns.value is None
    )
    if gives and not {"Returns", "Yields"} & has.keys():
        found.append("no Returns")
    raised = {_raised(n) for n in ast.walk(node) if isinstance(n, ast.Raise)} - {None}
    missing = {name for name in raised if name not in has.get("Raises", "")}
    if missing:
        found.append(f"raises {sorted(map(str, missing))} without saying so")
    return found


def _raised(node: ast.Raise) -> str | None:
    what = node.exc.func if isinstance(node.exc, ast.Call) else node.exc
    return what.id if isinstance(what, ast.Name) and what.id[0].isupper() else None


def fields(node: ast.ClassDef) -> list[str]:
    return [n.target.id for n in node.body if isinstance(n, ast.AnnAssign) and isinstance(n.target, ast.Name)]


FUNCTIONS = [pytest.param(node, id=id) for id, node in public() if not isinstance(node, ast.ClassDef)]
CLASSES = [pytest.param(node, id=id) for id, node in public() if isinstance(node, ast.ClassDef)]


@pytest.mark.parametrize("node", FUNCTIONS)
def test_a_public_function_says_what_it_takes_and_gives(node: FUNCTION) -> None:
    assert complaints(node) == []


@pytest.mark.parametrize("node", CLASSES)
def test_a_public_class_says_what_it_is(node: ast.ClassDef) -> None:
    text = ast.get_docstring(node)
    assert text
    has = sections(text)
    told = described(has.get("Parameters", has.get("Attributes", "")))
    if told and fields(node):
        assert told == fields(node)


@pytest.mark.parametrize(
    ("source", "complaint"),
    [
        ("def f(a, b): ...", "no docstring"),
        ('def f(a):\n    """Say.\n\n    Parameters\n    ----------\n    b : float\n    """', "Parameters"),
        ('def f(a):\n    """Say."""', "Parameters"),
        ('def f() -> float:\n    """Say."""', "no Returns"),
        ('def f():\n    """Say."""\n    raise ValueError("x")', "ValueError"),
        ('def f():\n    """say"""', "no sentence"),
    ],
)
def test_a_gap_is_seen(source: str, complaint: str) -> None:
    (node,) = ast.parse(source).body
    assert isinstance(node, ast.FunctionDef)
    assert [text for text in complaints(node) if complaint in text]
