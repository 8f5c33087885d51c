"""Which files belong together: trend files, the unit document that speaks for them, a mapping file.

The rule, for a trend file ``NAME.csv`` (or tsv, parquet, pq):

1. ``STEM.unit.yaml`` beside it speaks for it, where its name is STEM or begins with STEM and one of
   ``- _ .`` or a blank; the longest such STEM.
2. Else ``unit.yaml`` in its folder, or in the nearest folder above it, not above where the sweep begins.
3. Else nobody speaks for it, and it is listed as such.

All trend files of one unit are one trend, joined in time. Its mapping file is ``STEM.trend.yaml`` beside the
document, else the nearest ``trend.yaml`` from the document's folder upwards. Documents may end in yml or
json.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from pathlib import PurePosixPath

from wringout.sweep.task import Bad, Choices, Task

__all__ = ["DOCUMENTS", "TRENDS", "Paired", "is_document", "is_trend", "paired"]

TRENDS = (".csv", ".tsv", ".parquet", ".pq")
DOCUMENTS = (".yaml", ".yml", ".json")
BREAKS = "-_. "


@dataclass(frozen=True)
class Paired:
    """Units in the order of their names, and what could not be paired."""

    tasks: tuple[Task, ...]
    bad: tuple[Bad, ...]


def is_trend(name: str) -> bool:
    """Whether a file is a trend by its name."""
    return PurePosixPath(name).suffix.lower() in TRENDS


def is_document(name: str) -> bool:
    """Whether a file is a unit document or a mapping file by its name."""
    path = PurePosixPath(name)
    whole = path.suffix.lower() in DOCUMENTS
    return whole and (path.stem in {"unit", "trend"} or path.stem.endswith((".unit", ".trend")))


def paired(root: str, names: Collection[str], choices: Choices | None = None) -> Paired:
    """Pair trend files with unit documents.

    Parameters
    ----------
    root : str
        Folder or address that the names start from.
    names : collection of str
        Files, posix style; others than trends and documents are passed over.
    choices : Choices, optional

    Returns
    -------
    Paired
    """
    documents = {name for name in names if is_document(name)}
    stems = _stems(documents)
    found: dict[str, list[str]] = {}
    bad: list[Bad] = []
    for name in sorted(name for name in names if is_trend(name)):
        unit = _speaks_for(name, stems, documents)
        if unit is None:
            beside = PurePosixPath(name).with_suffix(".unit.yaml").name
            bad.append(Bad(name, f"no unit document: put unit.yaml into its folder, or {beside} beside it"))
        else:
            found.setdefault(unit, []).append(name)
    for unit in sorted(d for d in documents if _kind(d) == "unit" and d not in found):
        if not any(_same_place(unit, other) for other in found):
            bad.append(Bad(unit, "no trend file belongs to it"))
    tasks = [
        Task(_name(unit, root), root, unit, _mapping(unit, documents), tuple(trends), choices or Choices())
        for unit, trends in found.items()
    ]
    return Paired(tuple(sorted(tasks, key=lambda task: task.name)), tuple(bad))


def _kind(document: str) -> str:
    """``unit`` or ``trend``."""
    return PurePosixPath(document).stem.rpartition(".")[2]


def _stem(document: str) -> str:
    """What stands before ``.unit`` or ``.trend``; empty for ``unit.yaml`` itself."""
    return PurePosixPath(document).stem.rpartition(".")[0]


def _same_place(one: str, other: str) -> bool:
    """Whether two documents are one unit's in two forms (unit.yaml and unit.json)."""
    a, b = PurePosixPath(one), PurePosixPath(other)
    return a.parent == b.parent and a.stem == b.stem


def _stems(documents: Iterable[str]) -> dict[tuple[str, str], list[tuple[str, str]]]:
    """By folder and kind: stems with their documents, the longest first."""
    out: dict[tuple[str, str], list[tuple[str, str]]] = {}
    for document in sorted(documents, key=lambda d: (-len(_stem(d)), DOCUMENTS.index(_ending(d)), d)):
        if stem := _stem(document):
            out.setdefault((str(PurePosixPath(document).parent), _kind(document)), []).append(
                (stem, document)
            )
    return out


def _ending(document: str) -> str:
    return PurePosixPath(document).suffix.lower()


def _speaks_for(
    name: str, stems: dict[tuple[str, str], list[tuple[str, str]]], documents: Collection[str]
) -> str | None:
    path = PurePosixPath(name)
    for stem, document in stems.get((str(path.parent), "unit"), []):
        if path.stem == stem or (path.stem.startswith(stem) and path.stem[len(stem)] in BREAKS):
            return document
    return _nearest(path.parent, "unit", documents)


def _nearest(folder: PurePosixPath, kind: str, documents: Collection[str]) -> str | None:
    for place in (folder, *folder.parents):
        for ending in DOCUMENTS:
            if (name := str(place / f"{kind}{ending}")) in documents:
                return name
    return None


def _mapping(unit: str, documents: Collection[str]) -> str | None:
    path = PurePosixPath(unit)
    if stem := _stem(unit):
        for ending in DOCUMENTS:
            if (name := str(path.parent / f"{stem}.trend{ending}")) in documents:
                return name
    return _nearest(path.parent, "trend", documents)


def _name(unit: str, root: str) -> str:
    """What the list calls a unit: its folder, or its stem in that folder."""
    path = PurePosixPath(unit)
    place = path.parent / _stem(unit) if _stem(unit) else path.parent
    return str(place) if str(place) != "." else PurePosixPath(root.rstrip("/")).name or "."
