"""A report as PDF: typeset, tagged (PDF/UA-1), with the typesetter's own typefaces alone.

Every text goes to the page as data. Characters that no typeface at hand has are named, so that nothing is
lost without a word.
"""

from __future__ import annotations

import dataclasses
import json
import re
import unicodedata
from collections.abc import Iterable
from datetime import UTC, datetime
from importlib import resources
from typing import Any

from wringout.errors import InputError, NotConverged
from wringout.report.blocks import Block, Report

__all__ = ["pdf_of"]

LONGEST_WORD = 26  # letters after which a word may be broken anywhere
MOST_TRIED = 300  # characters that are tried one by one
_SURE = {*range(0x20, 0x7F), *range(0xA0, 0x250), *range(0x391, 0x3CA), *range(0x410, 0x450)} - {0xAD}
_SURE |= {0x2013, 0x2014, 0x2018, 0x2019, 0x201C, 0x201D, 0x2022, 0x2026, 0x2212, 0x2260, 0x2264, 0x2265}
_TRIAL = b'#set document(title: "t")\n#set text(font: ("Libertinus Serif", "DejaVu Sans Mono"))\n'
_TRIAL += b"#text(sys.inputs.text)\n"


def pdf_of(report: Report) -> bytes:
    """Typeset a report.

    Raises
    ------
    InputError
        Where the extra that typesets is not installed.
    """
    try:
        import typst
    except ImportError:
        raise InputError(
            "a PDF needs the typesetter: pip install 'wringout[report]'; an .html file does without",
            "-o",
        ) from None
    lacking = _lacking(report.texts(), typst)
    document = {
        "title": _written(report.title, lacking),
        "subtitle": _written(report.subtitle, lacking),
        "foot": _written(report.foot, lacking),
        "paper": report.paper,
        "year": report.day.year,
        "month": report.day.month,
        "day": report.day.day,
        "blocks": [_block(block, lacking) for block in report.blocks],
    }
    source = resources.files("wringout.report").joinpath("page.typ").read_bytes()
    stamp = datetime(report.day.year, report.day.month, report.day.day, tzinfo=UTC)
    try:
        return bytes(
            typst.compile(
                source,
                format="pdf",
                sys_inputs={"report": json.dumps(document)},
                pdf_standards=["ua-1"],
                ignore_system_fonts=True,
                timestamp=int(stamp.timestamp()),
            )
        )
    except typst.TypstError as error:
        raise NotConverged(f"the report could not be typeset: {error}") from error


def _block(block: Block, lacking: frozenset[str]) -> dict[str, Any]:
    def written(value: Any) -> Any:
        if isinstance(value, str):
            return _written(value, lacking)
        return [written(v) for v in value] if isinstance(value, tuple) else value

    told = {
        field.name: getattr(block, field.name) if field.name == "svg" else written(getattr(block, field.name))
        for field in dataclasses.fields(block)
    }
    return {"kind": type(block).__name__.lower(), **told}


def _written(text: str, lacking: frozenset[str]) -> str:
    """Text with names in place of characters that cannot be set, and with breaks in endless words."""
    shown = "".join(_name(c) if c in lacking else c for c in text)
    return re.sub(rf"(\S{{{LONGEST_WORD}}})(?=\S)", "\\1\u200b", shown)


def _name(character: str) -> str:
    if unicodedata.category(character) in {"So", "Sk"}:
        return f"[{unicodedata.name(character, f'U+{ord(character):04X}').lower()}]"
    if unicodedata.category(character) in {"Cf", "Mn", "Me"}:
        return ""
    return "\u25a1"


def _lacking(texts: Iterable[str], typst: Any) -> frozenset[str]:
    """Characters that no typeface at hand has, by trying each unusual one once."""
    unusual = sorted({c for text in texts for c in text if ord(c) not in _SURE})
    return frozenset(unusual[MOST_TRIED:]) | {c for c in unusual[:MOST_TRIED] if not _can(c, typst)}


def _can(character: str, typst: Any) -> bool:
    try:
        typst.compile(
            _TRIAL,
            format="pdf",
            sys_inputs={"text": f"a{character}a"},
            pdf_standards=["ua-1"],
            ignore_system_fonts=True,
        )
    except typst.TypstError:
        return False
    return True
