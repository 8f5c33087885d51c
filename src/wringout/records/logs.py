"""Logs among what is attached to a call, and the mapping file that belongs to each."""

from __future__ import annotations

from dataclasses import dataclass

from wringout.records.fold import Folded, Line

__all__ = ["Log", "logs_of"]

TYPES = ("text/plain", "application/vnd.apache.parquet")
DOCUMENTS = (".json", ".yaml", ".yml")


@dataclass(frozen=True, slots=True)
class Log:
    """A log as it was attached; ``mappings`` are the files attached to it that say which column is what."""

    id: str
    sha256: str
    name: str
    mappings: tuple[Line, ...]

    @property
    def mapping(self) -> Line | None:
        """The one that counts: the newest."""
        return self.mappings[-1] if self.mappings else None


def logs_of(folded: Folded) -> tuple[Log, ...]:
    """The logs of a call, in the order in which they came; one that was attached twice stands there once.

    What is attached to another event (``to``) is no log; a document attached to a log is its mapping file.
    """
    found: dict[str, list[Line]] = {}
    for line in folded.attachments:
        if _is_log(line):
            found.setdefault(line.body["sha256"], []).append(line)
    return tuple(
        Log(
            lines[0].id,
            sha256,
            lines[0].body["name"],
            _mappings(folded, {line.id for line in lines}),
        )
        for sha256, lines in found.items()
    )


def _mappings(folded: Folded, of: set[str]) -> tuple[Line, ...]:
    lines = (line for line in folded.attachments if line.body.get("to") in of and _is_document(line))
    return tuple(sorted(lines, key=lambda line: line.id))


def _is_log(line: Line) -> bool:
    return line.body["type"] in TYPES and "to" not in line.body and not _is_document(line)


def _is_document(line: Line) -> bool:
    return str(line.body["name"]).lower().endswith(DOCUMENTS)
