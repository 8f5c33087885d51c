"""The walls of the house: who may import whom, and where nothing is read, written or clocked.

The table is that of docs/architecture.md. Imports are read from the source, those inside functions and those
for types as well: a wall with a door in it is no wall.
"""

from __future__ import annotations

import ast
import re
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "src" / "wringout"

CORE = {"quantity", "physics", "documents", "catalogue", "machine", "weighing", "ledger"}
PURE = {"physics", "catalogue", "machine", "weighing", "ledger", "setting_up", "practising", "history"}

# folder or module -> what of ours it may import; errors may be imported everywhere
ALLOWED: dict[str, set[str]] = {
    "errors": set(),
    "nomenclature": set(),
    "quantity": set(),
    "physics": set(),
    "documents": {"quantity"},
    "catalogue": {"documents", "quantity"},
    "machine": {"physics", "documents"},
    "weighing": {"machine", "catalogue", "documents"},
    "ledger": {"physics", "machine", "documents"},
    "trends": {"machine", "catalogue", "documents", "physics", "quantity"},
    "proof": {"trends", "machine", "documents", "physics", "quantity"},
    "setting_up": {"ledger", "machine", "documents", "physics", "quantity"},
    "trace": {"documents", "physics", "quantity"},
    "practising": {"weighing", "catalogue", "machine", "documents", "quantity"},
    "records": {"documents"},
    "shelf": {"records"},
    # of trends only how columns are guessed and mapped; of the machine only what the simulated devices run
    "capture": {"records", "trends", "machine", "catalogue", "documents", "quantity"},
    "sweep": {
        "trends",
        "weighing",
        "showing",
        "machine",
        "catalogue",
        "documents",
        "physics",
        "quantity",
    },
    "history": {"weighing", "machine", "catalogue", "documents", "quantity"},
    "showing": {
        "history",
        "proof",
        "ledger",
        "weighing",
        "machine",
        "catalogue",
        "documents",
        "physics",
        "quantity",
    },
}
# faces: they may import everything above them, and each other not at all
ALLOWED["report"] = {*ALLOWED}
ALLOWED["web"] = ALLOWED["cli"] = ALLOWED["demo"] = {*ALLOWED, "report"}
FACES = {"web", "cli", "demo"}
NEVER = {
    "weighing": {"web", "cli", "records"},
    "documents": {"machine"},
    "physics": {*ALLOWED} - {"errors"},
}

# what the core may bring from outside the standard library; physics needs arrays alone
OUTSIDE: dict[str, set[str]] = {part: {"numpy", "pydantic", "yaml"} for part in CORE}
OUTSIDE |= {"physics": {"numpy"}, "quantity": set()}

# Pure folders know no file, clock, process, network, log or global state. Package data comes through
# importlib.resources: it is as fixed as the code.
FORBIDDEN_MODULES = {
    "asyncio",
    "glob",
    "http",
    "logging",
    "multiprocessing",
    "os",
    "pathlib",
    "random",
    "shutil",
    "socket",
    "sqlite3",
    "subprocess",
    "sys",
    "tempfile",
    "threading",
    "time",
    "urllib",
    "warnings",
}
FORBIDDEN_CALLS = {"open", "print", "input", "exec", "eval", "breakpoint"}
CLOCKS = {"now", "utcnow", "today"}
RANDOM_ALLOWED = {"Generator", "BitGenerator", "SeedSequence"}

# Calls and trends are read against the test points, so their loaders stand beside the points; documents does
# the reading. Nothing else in a pure folder takes a path.
TAKES_PATHS = {"catalogue/calls.py"}

LONGEST = 500


def part_of(path: Path) -> str:
    """The folder of the package that a file stands in, or the module itself at the top."""
    first = path.relative_to(PACKAGE).parts[0]
    return first.removesuffix(".py")


def modules() -> list[Path]:
    return sorted(PACKAGE.rglob("*.py"))


def tree_of(path: Path) -> ast.Module:
    return parsed(path.read_text(encoding="utf-8"))


@cache
def parsed(text: str) -> ast.Module:
    """A source's tree: seven tests look at each module."""
    return ast.parse(text)


@pytest.fixture(scope="module", autouse=True)
def _trees() -> Iterator[None]:
    yield
    parsed.cache_clear()  # they are a hundred megabytes


def imports(path: Path) -> Iterator[tuple[int, str]]:
    """Every module that a file imports, as a full name, with its line."""
    folder = ["wringout", *path.relative_to(PACKAGE).parts[:-1]]
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.Import):
            for name in node.names:
                yield node.lineno, name.name
        elif isinstance(node, ast.ImportFrom):
            base = folder[: len(folder) - node.level + 1] if node.level else []
            module = ".".join([*base, *([node.module] if node.module else [])])
            if module == "wringout":
                for name in node.names:
                    yield node.lineno, f"wringout.{name.name}"
            else:
                yield node.lineno, module


def broken_walls(path: Path) -> list[str]:
    part = part_of(path)
    found = []
    for line, module in imports(path):
        if module.split(".")[0] != "wringout" or module in {"wringout", "wringout.__version__"}:
            continue
        other = module.split(".")[1]
        if other not in {part, "errors"} and other not in ALLOWED[part]:
            found.append(f"line {line}: {part} must not import {module}")
    return found


def broken_outside(path: Path) -> list[str]:
    allowed = OUTSIDE.get(part_of(path))
    if allowed is None:
        return []
    roots = ((line, module.split(".")[0]) for line, module in imports(path))
    return [
        f"line {line}: {root} is not for the core"
        for line, root in roots
        if root != "wringout" and root not in sys.stdlib_module_names and root not in allowed
    ]


def impurities(path: Path) -> list[str]:
    found = [
        f"line {line}: imports {module}"
        for line, module in imports(path)
        if module.split(".")[0] in FORBIDDEN_MODULES
    ]
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.Global):
            found.append(f"line {node.lineno}: global {', '.join(node.names)}")
        elif isinstance(node, ast.Call):
            found += [f"line {node.lineno}: {what}" for what in _impure_call(node)]
        elif isinstance(node, ast.Attribute):
            found += [f"line {node.lineno}: {what}" for what in _hidden_chance(node)]
    return found


def _impure_call(node: ast.Call) -> Iterator[str]:
    function = node.func
    if isinstance(function, ast.Name) and function.id in FORBIDDEN_CALLS:
        yield f"calls {function.id}()"
    if isinstance(function, ast.Attribute):
        if function.attr in CLOCKS:
            yield f"reads the clock with {function.attr}()"
        if function.attr in {"write_text", "write_bytes", "save", "savez", "savetxt", "tofile"}:
            yield f"writes with {function.attr}()"


def _hidden_chance(node: ast.Attribute) -> Iterator[str]:
    if _dotted(node.value) in {"np.random", "numpy.random"} and node.attr not in RANDOM_ALLOWED:
        yield f"numpy.random.{node.attr}; a Generator comes as an argument"


def _dotted(node: ast.expr) -> str:
    if isinstance(node, ast.Attribute):
        return f"{_dotted(node.value)}.{node.attr}"
    return node.id if isinstance(node, ast.Name) else ""


def _listed(path: Path) -> ast.expr | None:
    for node in tree_of(path).body:
        if isinstance(node, ast.Assign) and any(
            isinstance(target, ast.Name) and target.id == "__all__" for target in node.targets
        ):
            return node.value
        if isinstance(node, ast.AnnAssign) and getattr(node.target, "id", "") == "__all__":
            return node.value
    return None


def defined(path: Path) -> set[str]:
    """Names that a module binds at its top, also under if and try."""
    names: set[str] = set()
    pending: list[ast.stmt] = list(tree_of(path).body)
    while pending:
        node = pending.pop()
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            names.add(node.name)
        elif isinstance(node, ast.Import | ast.ImportFrom):
            names |= {(name.asname or name.name).split(".")[0] for name in node.names}
        elif isinstance(node, ast.Assign | ast.AnnAssign | ast.AugAssign):
            targets = node.targets if isinstance(node, ast.Assign) else [node.target]
            names |= {n.id for target in targets for n in ast.walk(target) if isinstance(n, ast.Name)}
        elif isinstance(node, ast.If | ast.Try | ast.For | ast.With):
            pending += [child for child in ast.iter_child_nodes(node) if isinstance(child, ast.stmt)]
    return names


def shown(path: Path) -> str:
    return str(path.relative_to(PACKAGE))


EVERY = [pytest.param(path, id=shown(path)) for path in modules()]
IN_PURE = [pytest.param(path, id=shown(path)) for path in modules() if part_of(path) in PURE]
# packages' __init__ files say what their folder is and export nothing
WITH_NAMES = [pytest.param(path, id=shown(path)) for path in modules() if path.name != "__init__.py"]


def test_every_part_of_the_package_stands_in_the_table() -> None:
    assert {part_of(path) for path in modules()} - {"__init__"} <= set(ALLOWED)


def test_the_table_keeps_what_must_never_be() -> None:
    for part, others in NEVER.items():
        assert not ALLOWED[part] & others


def test_no_part_can_come_back_to_itself() -> None:
    """The data go down once: following allowed imports never closes a ring."""

    def reach(part: str, path: tuple[str, ...]) -> None:
        assert part not in path, " -> ".join((*path, part))
        for other in ALLOWED[part]:
            reach(other, (*path, part))

    for part in ALLOWED:
        reach(part, ())


def test_the_architecture_page_tells_the_same_table() -> None:
    page = (ROOT / "docs" / "architecture.md").read_text(encoding="utf-8")
    told = dict(re.findall(r"^\| `([a-z_]+)(?:/|\.py)` \| .* \| (.*) \|$", page, re.M))
    assert set(told) == {part_of(path) for path in modules()} - {"__init__", "demo"}
    for part, rights in told.items():
        if rights == "everything above":
            assert ALLOWED[part] >= set(told) - FACES - {part}
        else:
            named = set(rights.split(", ")) - {"nothing", "numpy"}
            assert named == ALLOWED[part], part


@pytest.mark.parametrize("path", EVERY)
def test_a_module_imports_only_from_above(path: Path) -> None:
    if shown(path) != "__init__.py":
        assert broken_walls(path) == []


@pytest.mark.parametrize("path", EVERY)
def test_the_core_brings_little_from_outside(path: Path) -> None:
    assert broken_outside(path) == []


@pytest.mark.parametrize("path", IN_PURE)
def test_a_pure_folder_reads_writes_and_clocks_nothing(path: Path) -> None:
    found = impurities(path)
    if shown(path) in TAKES_PATHS:
        found = [what for what in found if not what.endswith("imports pathlib")]
    assert found == []


@pytest.mark.parametrize("path", EVERY)
def test_the_library_prints_nothing(path: Path) -> None:
    calls = [node for node in ast.walk(tree_of(path)) if isinstance(node, ast.Call)]
    assert [n.lineno for n in calls if isinstance(n.func, ast.Name) and n.func.id == "print"] == []


@pytest.mark.parametrize("path", WITH_NAMES)
def test_a_module_says_what_it_gives(path: Path) -> None:
    listed = _listed(path)
    if path.name == "__main__.py":
        return
    assert isinstance(listed, ast.List | ast.Tuple), "no __all__, or one that is not a plain list"
    names = [ast.literal_eval(name) for name in listed.elts]
    assert len(names) == len(set(names))
    assert set(names) <= defined(path), "__all__ names what the module does not have"
    assert not [name for name in names if name.startswith("_")]


@pytest.mark.parametrize("path", EVERY)
def test_nothing_is_imported_with_a_star(path: Path) -> None:
    froms = [node for node in ast.walk(tree_of(path)) if isinstance(node, ast.ImportFrom)]
    assert [node.lineno for node in froms if node.names[0].name == "*"] == []


@pytest.mark.parametrize("path", EVERY)
def test_a_module_is_one_subject_and_short(path: Path) -> None:
    assert path.name != "utils.py"
    lines = path.read_text(encoding="utf-8").count("\n")
    assert lines <= LONGEST


# ------------------------------------------------------------------------------ the tests of these tests


@pytest.fixture
def module(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A module of physics that breaks whatever a test writes into it."""
    monkeypatch.setattr(sys.modules[__name__], "PACKAGE", tmp_path)
    path = tmp_path / "physics" / "broken.py"
    path.parent.mkdir()
    return path


@pytest.mark.parametrize(
    "source",
    [
        "from wringout.machine.steady import settle",
        "import wringout.documents.unit",
        "from wringout import quantity",
        "from ..documents import unit",
        "def f():\n    from wringout.cli import main",
        "if TYPE_CHECKING:\n    from wringout.documents.unit import Unit",
    ],
)
def test_a_door_in_a_wall_is_seen(module: Path, source: str) -> None:
    module.write_text(source)
    assert len(broken_walls(module)) == 1


@pytest.mark.parametrize(
    "source", ["from wringout.errors import DataError", "from wringout.physics import fan"]
)
def test_an_open_way_is_left_open(module: Path, source: str) -> None:
    module.write_text(source)
    assert broken_walls(module) == []


@pytest.mark.parametrize(
    "source",
    [
        "import time",
        "from os import path",
        "import random",
        "print(1)",
        "open('x')",
        "datetime.now()",
        "np.random.normal()",
        "rng = np.random.default_rng()",
        "def f():\n    global seen",
        "path.write_text('x')",
        "np.savetxt('x', a)",
    ],
)
def test_an_impurity_is_seen(module: Path, source: str) -> None:
    module.write_text(source)
    assert len(impurities(module)) == 1


def test_a_generator_as_an_argument_is_pure(module: Path) -> None:
    module.write_text("def draw(rng: np.random.Generator):\n    return rng.normal()\n")
    assert impurities(module) == []


def test_a_heavy_library_in_the_core_is_seen(module: Path) -> None:
    module.write_text("import scipy.optimize\nimport math\nimport numpy as np\n")
    assert broken_outside(module) == ["line 1: scipy is not for the core"]
