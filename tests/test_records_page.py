"""docs/records.md says what the code does: kinds of events with their fields, and the bounds of a zip."""

from __future__ import annotations

import re
from pathlib import Path

from wringout.records import attachments, bundle
from wringout.records.bundle import BUNDLE_FORMAT
from wringout.records.events import KINDS

ROOT = Path(__file__).resolve().parent.parent
PAGE = (ROOT / "docs" / "records.md").read_text(encoding="utf-8")
FLAT = " ".join(PAGE.split())


def test_every_kind_of_event_is_told_with_its_fields() -> None:
    told = {
        kind: tuple(tuple(filter(None, part.strip().split(", "))) for part in (*fields.split(";"), "")[:2])
        for kind, fields in re.findall(r"^\| `([a-z_]+)` \| ([a-z0-9_,; ]+) \|", PAGE, flags=re.M)
    }
    assert told == {name: (kind.required, kind.optional) for name, kind in KINDS.items()}


def test_the_bounds_of_a_zip_are_those_of_the_code() -> None:
    assert f"more than {bundle.MAX_FILES:,} files or {bundle.MAX_ALL // 10**9} GB" in FLAT
    assert f"an attachment of more than {attachments.MAX_BYTES // 10**6} MB" in FLAT
    assert f"format {BUNDLE_FORMAT};" in FLAT


def test_the_tests_that_it_names_are_there() -> None:
    named = set(re.findall(r"`(tests/[a-z_]+\.py)`", PAGE))
    assert len(named) > 4
    assert all((ROOT / name).is_file() for name in named)
