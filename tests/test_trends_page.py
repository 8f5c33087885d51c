"""docs/trends.md names every finding, with its picture, and every point that only trends have."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

import wringout.trends.findings  # noqa: F401  (all kinds of findings are defined once it is imported)
from wringout.catalogue.trend_points import TREND_POINTS
from wringout.cli.trend import command
from wringout.proof.replay_finding import WithoutCause
from wringout.trends.finding import Finding

DOCS = Path(__file__).resolve().parent.parent / "docs"
PAGE = (DOCS / "trends.md").read_text(encoding="utf-8")
assert WithoutCause.__mro__[1] is Finding  # a finding of its own module, to be on the page with the others
KINDS = sorted((kind for kind in Finding.__subclasses__()), key=lambda kind: kind.kind)


def test_there_are_findings_to_tell_of() -> None:
    assert len(KINDS) >= 13
    assert len({kind.kind for kind in KINDS}) == len(KINDS)


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.kind)
def test_every_finding_has_its_section_and_its_picture(kind: type[Finding]) -> None:
    heading = re.search(rf"^### {re.escape(kind.title)}\n\n`{kind.kind}`: ", PAGE, flags=re.M)
    assert heading, f"### {kind.title}"
    section = PAGE[heading.end() :].split("\n## ")[0].split("\n### ")[0]
    words, target = re.findall(r"!\[([^\]]+)\]\(([^)]+)\)", section)[0]
    assert len(words) > 15, "the picture is told to those who cannot see it"
    root = ET.fromstring((DOCS / target).read_text(encoding="utf-8"))
    assert root.tag.endswith("svg")


def test_every_option_and_every_point_is_named() -> None:
    for option in command.params:
        for name in option.opts:
            if name.startswith("--"):
                assert f"`{name}" in PAGE
    for point in TREND_POINTS.values():
        assert f"| `{point.id}` | {point.what} |" in PAGE
