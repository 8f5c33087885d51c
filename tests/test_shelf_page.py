"""docs/shelf.md says what the code does: the order of nearness, the bounds, the commands."""

from __future__ import annotations

import re
from pathlib import Path

from wringout.cli.shelf import command
from wringout.shelf.limits import USUAL
from wringout.shelf.search import Nearness

PAGE = (Path(__file__).resolve().parent.parent / "docs" / "shelf.md").read_text(encoding="utf-8")
FLAT = " ".join(PAGE.split())


def test_the_order_of_nearness_is_that_of_the_code() -> None:
    told = re.findall(r"^\| `([a-z]+)` \|", PAGE, flags=re.M)[1:]  # under the heading
    assert told == [nearness.name.lower() for nearness in sorted(Nearness)]


def test_the_bounds_are_those_of_the_code() -> None:
    for words in (
        f"{USUAL.memory / 1e6:,.0f} MB of memory",
        f"{USUAL.processor} s of the processor",
        f"{USUAL.silence:g} s without a finished page",
        f"{USUAL.whole / 60:g} minutes for all",
        f"{USUAL.pages:,} pages",
        f"{USUAL.size / 1e6:g} MB of file",
        f"{USUAL.page_characters:,} characters a page",
        f"at most {USUAL.longest_edge:,} pixels",
    ):
        assert words in FLAT


def test_every_command_is_shown() -> None:
    assert set(re.findall(r"^wringout shelf ([a-z]+)", PAGE, flags=re.M)) == set(command.commands)
