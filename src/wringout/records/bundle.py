"""Calls as one zip: the contract's documents for people and other programs, the raw events and attachments
for a record.

``manifest.json`` names every other file with its length and SHA-256. Nothing of a zip is ever unpacked
onto the disk: files of known names are read within bounds, and what is not known is refused. The same
calls give the same bytes.
"""

from __future__ import annotations

import contextlib
import json
import os
import re
import tempfile
import zipfile
import zlib
from collections.abc import Container, Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

from wringout.documents.source import name_of
from wringout.errors import DataError, InputError
from wringout.records.attachments import MAX_BYTES, Content, content_of, sha256_of
from wringout.records.events import Event, event_from
from wringout.records.merge import Merged, brought
from wringout.records.plain import yaml_of
from wringout.records.store import Store
from wringout.records.words import shown

__all__ = ["BUNDLE_FORMAT", "export_calls", "export_names", "import_bundle", "safe_name"]

BUNDLE_FORMAT = "wringout-bundle/1"
MAX_FILES = 5_000
MAX_ALL = 1_000_000_000
_EPOCH = (1980, 1, 1, 0, 0, 0)  # the earliest that a zip can say
_MANIFEST, _EVENTS = "manifest.json", "events.jsonl"
_ATTACHMENT = re.compile(r"calls/[0-9a-f-]{36}/files/[A-Za-z0-9_][A-Za-z0-9_. -]*")
_DOCUMENT = re.compile(r"calls/[0-9a-f-]{36}/(?:call|unit)\.yaml")
# what a file of the bundle is -> the most bytes it may have
_BOUNDS = {_MANIFEST: 5_000_000, _EVENTS: 100_000_000}
_DOCUMENT_BYTES = 10_000_000


def export_calls(store: Store, call_ids: Iterable[str], path: str | Path) -> tuple[str, ...]:
    """Write calls into one zip: documents, raw events, attachments.

    Returns
    -------
    tuple of str
        What could not be written because it has not arrived here, in words: attachments, documents of calls.

    Raises
    ------
    InputError
        When there is no such call.
    DataError
        When the file cannot be written; what stood there before is then as it was.
    """
    path = Path(path)
    with store.file.reading():
        events, documents, lacking, gone = _gathered(store, list(dict.fromkeys(call_ids)))
    spoken = {e.body["sha256"] for e in events if e.kind == "attached"}
    there = store.contents()
    missing = sorted(spoken - there)
    with _written_whole(path) as unfinished, zipfile.ZipFile(unfinished, "w") as archive:
        files: dict[str, dict[str, Any]] = {}
        text = "".join(f"{event.canonical()}\n" for event in events)
        for name, data in ((_EVENTS, text.encode()), *documents.items()):
            files[name] = _put(archive, name, data, zipfile.ZIP_DEFLATED)
        for name, sha256 in export_names(events, gone).items():
            if sha256 in there:
                content = store.content(sha256)
                how = zipfile.ZIP_DEFLATED if content.type.startswith("text/") else zipfile.ZIP_STORED
                files[name] = _put(archive, name, content.data, how)
        manifest = {"format": BUNDLE_FORMAT, "files": files, "missing": missing}
        _put(archive, _MANIFEST, json.dumps(manifest, indent=1).encode(), zipfile.ZIP_DEFLATED)
    return (*lacking, *(f"attachment {sha256}" for sha256 in missing))


def _gathered(
    store: Store, call_ids: list[str]
) -> tuple[tuple[Event, ...], dict[str, bytes], list[str], set[str]]:
    """The events that belong to calls, those of their units and names too; the documents; what is lacking,
    and which events are withdrawn."""
    events: dict[str, Event] = {}
    documents: dict[str, bytes] = {}
    lacking: list[str] = []
    units: set[str | None] = set()
    gone: set[str] = set()
    for call_id in call_ids:
        folded = store.call(call_id)
        gone |= {line.id for line in folded.withdrawn}
        mine = store.events(call_id)
        events |= {event.id: event for event in mine}
        units |= {event.unit_id for event in mine} - {None}
        folder = f"calls/{call_id}"
        try:
            documents[f"{folder}/unit.yaml"] = store.unit_text(folded.unit_id or "").encode()
        except InputError:  # nothing is kept back for that: the events go
            lacking.append(f"the documents of call {call_id}: its opening or its unit document")
            continue
        documents[f"{folder}/call.yaml"] = yaml_of(folded.document("unit.yaml")).encode()
    for event in store.events_outside_calls():
        if event.kind == "unit_described" and event.unit_id in units:
            events[event.id] = event
    people = {event.author for event in events.values()} | {event.device for event in events.values()}
    for event in store.events_outside_calls():
        if event.kind.endswith("_named") and event.body[event.kind.removesuffix("_named")] in people:
            events[event.id] = event
    return tuple(events[identifier] for identifier in sorted(events)), documents, lacking, gone


def export_names(events: Iterable[Event], gone: Container[str]) -> dict[str, str]:
    """A name in the zip for every attachment, beside its call, and its SHA-256: the name it was given, made
    safe. Where two would have one name, what stands goes before what is withdrawn (``gone``), else the
    first."""
    found: dict[str, str] = {}
    taken: dict[str, str] = {}  # names that differ by case alone are one name on some disks
    for event in sorted(events, key=lambda event: (event.id in gone, event.id)):
        if event.kind != "attached":
            continue
        sha256 = event.body["sha256"]
        safe = safe_name(event.body["name"])
        name = f"calls/{event.call_id}/files/{safe}"
        if taken.setdefault(name.lower(), sha256) != sha256:
            name = f"calls/{event.call_id}/files/{sha256[:12]}-{safe}"
        found[name] = sha256
    return found


def safe_name(name: str) -> str:
    """The name of an attachment as any disk takes it."""
    return re.sub(r"[^A-Za-z0-9_. -]", "_", name)[-100:].strip(" .-") or "file"


def _put(archive: zipfile.ZipFile, name: str, data: bytes, how: int) -> dict[str, Any]:
    info = zipfile.ZipInfo(name, _EPOCH)
    info.external_attr = 0o644 << 16
    archive.writestr(info, data, compress_type=how)
    return {"bytes": len(data), "sha256": sha256_of(data)}


@contextlib.contextmanager
def _written_whole(path: Path) -> Iterator[Path]:
    """A file that appears under its name only when it is whole."""
    try:
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name[:40]}.")
        os.close(handle)
    except OSError as error:
        raise DataError(f"{path}: cannot be written: {error.strerror or error}") from None
    unfinished = Path(name)
    try:
        yield unfinished
        with unfinished.open("rb") as stream:
            os.fsync(stream.fileno())
        unfinished.chmod(0o644)
        unfinished.replace(path)
    except OSError as error:
        raise DataError(f"{path}: cannot be written: {error.strerror or error}") from None
    finally:
        unfinished.unlink(missing_ok=True)


# ------------------------------------------------------------------------------------------- reading


def import_bundle(store: Store, path: str | Path) -> Merged:
    """Keep what a zip holds, all or nothing; what is there already is left as it is.

    Raises
    ------
    InputError
        When it is no such zip, a file in it is not what the manifest says, or holds what no record takes.
    DataError
        When the record cannot be written.
    """
    name = name_of(Path(path))
    try:
        with zipfile.ZipFile(path) as archive:
            return _imported(store, archive, name)
    except zipfile.BadZipFile as error:
        raise InputError(f"not a whole zip: {error}", name) from None
    except (zlib.error, EOFError, NotImplementedError, RuntimeError, UnicodeError) as error:
        raise InputError(f"not a zip that can be read: {error}", name) from None
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror or error}", name) from None


def _imported(store: Store, archive: zipfile.ZipFile, name: str) -> Merged:
    members = _members(archive, name)
    files = _manifest(archive, members, name)
    events = _events(_checked(archive, members, files, _EVENTS, name), name)
    for member in members:
        if _DOCUMENT.fullmatch(member):
            _checked(archive, members, files, member, name)
    spoken = {e.body["sha256"] for e in events if e.kind == "attached"}
    lacking, there = [], store.contents()
    for member in sorted(members):
        if not _ATTACHMENT.fullmatch(member):
            continue
        sha256 = str(files[member].get("sha256"))
        if sha256 not in spoken:
            raise InputError("no event speaks of this attachment", f"{name}: {member}")
        if sha256 not in there:
            lacking.append(member)
            there |= {sha256}

    def contents() -> Iterator[Content]:
        for member in lacking:
            yield content_of(_checked(archive, members, files, member, name), f"{name}: {member}")

    try:
        new = store.append(events, contents())
    except InputError as error:
        if error.place and error.place.startswith(name):
            raise
        raise InputError(str(error), name) from None
    return brought(events, new, len(lacking))


def _members(archive: zipfile.ZipFile, name: str) -> dict[str, zipfile.ZipInfo]:
    """The files in a zip by name, each of a known kind and within bounds as far as the zip itself says."""
    listed = archive.infolist()
    if len(listed) > MAX_FILES:
        raise InputError(f"{len(listed)} files in it; at most {MAX_FILES} are taken", name)
    members: dict[str, zipfile.ZipInfo] = {}
    for info in listed:
        place = f"{name}: {shown(info.filename, 80)}"
        if _bound(info.filename) is None:
            raise InputError("a file of this name does not belong into an export of calls", place)
        if info.filename in members:
            raise InputError("the zip holds this file twice", place)
        if info.flag_bits & 1:
            raise InputError("the file is locked with a password", place)
        members[info.filename] = info
    if sum(info.file_size for info in listed) > MAX_ALL:
        raise InputError(f"more than {MAX_ALL // 1_000_000} MB when unpacked; that is not taken", name)
    for needed in (_MANIFEST, _EVENTS):
        if needed not in members:
            raise InputError(f"not an export of calls: {needed} is missing in it", name)
    return members


def _bound(member: str) -> int | None:
    """The most bytes that a file of a name may have; nothing for a name that has no place here."""
    if member in _BOUNDS:
        return _BOUNDS[member]
    if _DOCUMENT.fullmatch(member):
        return _DOCUMENT_BYTES
    return MAX_BYTES if _ATTACHMENT.fullmatch(member) else None


def _read(archive: zipfile.ZipFile, info: zipfile.ZipInfo, name: str) -> bytes:
    """The bytes of a file, never more than its kind may have, whatever the zip says about it."""
    bound = _bound(info.filename) or 0
    with archive.open(info) as stream:
        data = stream.read(bound + 1)
    if len(data) > bound:
        raise InputError(f"larger than {bound // 1_000_000} MB when unpacked", f"{name}: {info.filename}")
    return data


def _manifest(
    archive: zipfile.ZipFile, members: Mapping[str, zipfile.ZipInfo], name: str
) -> dict[str, dict[str, Any]]:
    place = f"{name}: {_MANIFEST}"
    try:
        tree = json.loads(_read(archive, members[_MANIFEST], name))
    except (ValueError, RecursionError) as error:
        raise InputError(f"not readable as JSON: {shown(str(error), 80)}", place) from None
    if not isinstance(tree, dict) or tree.get("format") != BUNDLE_FORMAT:
        found = shown(tree.get("format")) if isinstance(tree, dict) else type(tree).__name__
        raise InputError(f'format: found "{found}", wanted {BUNDLE_FORMAT}', place)
    files = tree.get("files")
    if not isinstance(files, dict) or not all(isinstance(entry, dict) for entry in files.values()):
        raise InputError("files: wanted a mapping of names to length and SHA-256", place)
    for member in {*files, *members} - {_MANIFEST}:
        if member not in members:
            raise InputError(f"files: {shown(member, 80)} is named but not in the zip", place)
        if member not in files:
            raise InputError("the manifest does not name this file", f"{name}: {member}")
    return files


def _checked(
    archive: zipfile.ZipFile,
    members: Mapping[str, zipfile.ZipInfo],
    files: Mapping[str, Mapping[str, Any]],
    member: str,
    name: str,
) -> bytes:
    data = _read(archive, members[member], name)
    if files[member].get("bytes") != len(data) or files[member].get("sha256") != sha256_of(data):
        raise InputError("not the file that the manifest names: its SHA-256 differs", f"{name}: {member}")
    return data


def _events(data: bytes, name: str) -> tuple[Event, ...]:
    found = []
    for number, line in enumerate(data.splitlines(), start=1):
        place = f"{name}: {_EVENTS}, line {number}"
        try:
            found.append(event_from(json.loads(line)))
        except InputError as error:
            raise InputError(str(error), place) from None
        except (ValueError, RecursionError) as error:
            raise InputError(f"not readable as JSON: {shown(str(error), 80)}", place) from None
    return tuple(found)
