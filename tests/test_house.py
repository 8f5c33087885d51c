"""House rules that no linter knows: words and addresses to keep out, pages to keep up to date."""

from __future__ import annotations

import re
import subprocess
import tomllib
from pathlib import Path

import pytest

from conftest import LONG_FIRST
from wringout import __version__, nomenclature

ROOT = Path(__file__).resolve().parent.parent
LOCKS = {"uv.lock", *(f"requirements/{name}.txt" for name in ("run", "test", "study"))}

# Each pattern is written so that it does not match itself.
FORBIDDEN = {
    "where the job came from": r"\btran[s]cripts?\b|\bsee[d] document|\bthe vide[o]\b|\byou[t]ube\b",
    "a path of somebody's machine": r"(?<![\w.])/(?:wor[k]|hom[e]|roo[t]|User[s]|op[t]/(?:pypi|wheels))/",
    "unfinished business": r"\bFIXM[E]\b|\bXX[X]\b|\blorem ips[u]m\b",
}


def tracked() -> list[str]:
    """Files that git knows or would add, as paths from the root."""
    listed = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard", "-z"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    if listed.returncode == 0:
        names = listed.stdout.split("\0")
    else:  # an unpacked archive without git
        names = [str(path.relative_to(ROOT)) for path in ROOT.rglob("*") if ".venv" not in path.parts[:3]]
    return sorted(name for name in names if name and (ROOT / name).is_file())


def text_of(name: str) -> str | None:
    """A file's text, or nothing for pictures and other bytes."""
    data = (ROOT / name).read_bytes()
    if b"\0" in data[:8192] or data.startswith(b"%PDF-"):
        return None
    return data.decode("utf-8", errors="replace")


FILES = tracked()
TEXTS = {name: text for name in FILES if name not in LOCKS and (text := text_of(name)) is not None}


def hits(pattern: str, text: str) -> list[str]:
    seen = re.compile(pattern, re.IGNORECASE)
    return [f"{n}: {line.strip()[:90]}" for n, line in enumerate(text.splitlines(), 1) if seen.search(line)]


def test_the_files_that_are_taken_up_first_are_there() -> None:
    assert set(LONG_FIRST) <= {path.name for path in (ROOT / "tests").rglob("test_*.py")}
    assert len(LONG_FIRST) == len(set(LONG_FIRST))


def test_there_is_something_to_look_through() -> None:
    assert {"pyproject.toml", "Makefile", "README.md"} <= TEXTS.keys()
    assert len([name for name in TEXTS if name.endswith(".py")]) > 10


@pytest.mark.parametrize("what", FORBIDDEN)
def test_no_file_holds(what: str) -> None:
    found = {name: lines for name, text in TEXTS.items() if (lines := hits(FORBIDDEN[what], text))}
    assert found == {}


@pytest.mark.parametrize(
    ("what", "line"),
    [
        ("where the job came from", "as said in the " + "trans" + "cript"),
        ("where the job came from", "see the seed" + " document"),
        ("a path of somebody's machine", "see /" + "home/somebody/x"),
        ("a path of somebody's machine", '"/' + 'work/notes"'),
        ("unfinished business", "# FIX" + "ME later"),
    ],
)
def test_such_a_line_would_be_seen(what: str, line: str) -> None:
    assert hits(FORBIDDEN[what], line)


@pytest.mark.parametrize(
    "line", ["the network/work/flow", "a workpiece", "homework/", "https://example.org/home"]
)
def test_an_innocent_line_is_left_alone(line: str) -> None:
    assert not hits(FORBIDDEN["a path of somebody's machine"], line)


# ------------------------------------------------------------------------------------- lock files


@pytest.mark.parametrize("name", sorted(LOCKS))
def test_a_lock_names_the_public_index_and_no_other(name: str) -> None:
    text = (ROOT / name).read_text(encoding="utf-8")
    hosts = set(re.findall(r"(?:https?|file)://[^/\"'\s]*", text))
    assert hosts <= {"https://pypi.org", "https://files.pythonhosted.org"}
    assert not re.search(r"--(?:extra-)?index-url|--find-links|--trusted-host", text)


@pytest.mark.parametrize("name", sorted(LOCKS - {"uv.lock"}))
def test_every_package_in_an_export_is_held_by_a_hash(name: str) -> None:
    text = (ROOT / name).read_text(encoding="utf-8").replace("\\\n", " ")
    pinned = [line for line in text.splitlines() if line and not line.startswith((" ", "#"))]
    assert len(pinned) > 5
    for line in pinned:
        assert re.match(r"[A-Za-z0-9._-]+(\[[a-z,]+\])?==\S+", line), line
        assert "--hash=sha256:" in line, line


def test_the_exports_are_those_of_the_lock() -> None:
    """Every version in requirements/ stands in uv.lock, and what the package needs stands in both."""
    lock = tomllib.loads((ROOT / "uv.lock").read_text(encoding="utf-8"))
    locked = {(package["name"], package.get("version")) for package in lock["package"]}
    for name in sorted(LOCKS - {"uv.lock"}):
        text = (ROOT / name).read_text(encoding="utf-8")
        pinned = set(re.findall(r"^([A-Za-z0-9._-]+)==([^\s;\\]+)", text, flags=re.M))
        assert pinned <= locked, name
        assert {package for package, _ in pinned} >= {"numpy", "pydantic", "pyyaml", "click", "hatchling"}


def test_the_lock_knows_every_dependency_of_the_project() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    lock = tomllib.loads((ROOT / "uv.lock").read_text(encoding="utf-8"))
    locked = {package["name"] for package in lock["package"]}
    groups = [
        entry for group in project["dependency-groups"].values() for entry in group if isinstance(entry, str)
    ]
    extras = [
        entry for extra in project["project"].get("optional-dependencies", {}).values() for entry in extra
    ]
    for entry in [*project["project"]["dependencies"], *groups, *extras]:
        name = re.match(r"[A-Za-z0-9._-]+", entry)
        assert name is not None
        assert re.sub(r"[-_.]+", "-", name[0]).lower() in locked, f"{entry}: run `make lock`"


# ------------------------------------------------------------------------------------------ pages


def test_the_glossary_page_is_up_to_date() -> None:
    assert (ROOT / "docs" / "nomenclature.md").read_text(encoding="utf-8") == nomenclature.page(), (
        "run `make docs`"
    )


@pytest.mark.parametrize("term", nomenclature.TERMS.values(), ids=lambda term: term.name)
def test_a_term_is_whole(term: nomenclature.Term) -> None:
    assert re.fullmatch(r"[a-z]+(_[a-z]+)*", term.name)
    assert term.subject in nomenclature.SUBJECTS
    assert term.unit
    assert not term.meaning.endswith(".")
    assert term.low < term.high or (term.low == term.high == 0.0), "a range, or none"


def test_links_between_pages_lead_somewhere() -> None:
    pages = {name: text for name, text in TEXTS.items() if name.endswith(".md")}
    anchors = {name: _anchors(text) for name, text in pages.items()}
    broken = []
    for name, text in pages.items():
        for target in re.findall(r"\]\(([^)\s]+)\)", text):
            if re.match(r"[a-z]+:", target):
                continue
            path, _, anchor = target.partition("#")
            other = name if not path else str((ROOT / name).parent.joinpath(path).resolve().relative_to(ROOT))
            there = (ROOT / other).exists() and (not anchor or anchor in anchors.get(other, ()))
            if not there:
                broken.append(f"{name}: {target}")
    assert broken == []


def _anchors(text: str) -> set[str]:
    headings = re.findall(r"^#{1,6} (.+)$", text, flags=re.M)
    return {re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-") for heading in headings}


def test_commands_that_the_pages_name_exist() -> None:
    targets = set(re.findall(r"^([a-z]+):", (ROOT / "Makefile").read_text(encoding="utf-8"), flags=re.M))
    for name, text in TEXTS.items():
        if name.endswith(".md"):
            assert set(re.findall(r"`make ([a-z]+)", text)) <= targets, name


def test_the_readme_sets_up_with_two_commands() -> None:
    text = TEXTS["README.md"]
    blocks = re.findall(r"```sh\n(.*?)```", text, flags=re.S)
    assert blocks, "the set-up commands stand in a block"
    assert blocks[0].split("\n")[:-1] == ["make demo", "make test"]


def test_the_version_is_told_the_same_everywhere() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    assert project["project"]["version"] == __version__
    assert re.search(r"^## \[Unreleased\]", TEXTS["CHANGELOG.md"], flags=re.M)


def test_the_licence_is_whole() -> None:
    text = TEXTS["LICENSE"]
    assert "Apache License" in text
    assert "Version 2.0, January 2004" in text
    assert "END OF TERMS AND CONDITIONS" in text


def test_ci_runs_all_tests() -> None:
    text = TEXTS[".ci/run"]
    assert "make test" in text
    makefile = TEXTS["Makefile"]
    assert re.search(r"^test: lint types pytest\b", makefile, flags=re.M)
    for command in ("ruff check .", "ruff format --check .", "bin/mypy", "bin/pytest"):
        assert command in makefile.replace("$(BIN)", "bin")
