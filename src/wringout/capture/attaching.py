"""A recording in the record of its call: a note when it begins, the file when it ends."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from wringout.capture.recording import Recording, mapping_path, read
from wringout.errors import InputError
from wringout.records.attachments import MAX_BYTES
from wringout.records.store import Store

__all__ = ["Writer", "attach_recording", "note_begun"]

MARK = "live recording"


@dataclass(frozen=True, slots=True)
class Writer:
    """Who writes, and on which device."""

    author: str
    device: str


def note_begun(
    store: Store, call_id: str, writer: Writer, recording: Recording, every: float, sources: list[str]
) -> None:
    """Write into the call that a recording has begun, or goes on."""
    what = "begins" if recording.last is None else "goes on"
    text = (
        f"{MARK} {what}: {recording.path.name}, {len(recording.columns)} columns every {every:g} s, read "
        f"from {', '.join(sources)}"
    )
    body = {"at": _at(recording.now()), "text": text}
    store.write("note", body, author=writer.author, device=writer.device, call_id=call_id)


def attach_recording(store: Store, call_id: str, writer: Writer, path: Path) -> str:
    """Attach a recording and its mapping to a call, in place of a shorter one of the same name.

    Parameters
    ----------
    store : Store
    call_id : str
    writer : Writer
    path : Path
        The recording.

    Returns
    -------
    str
        What was done, in words.

    Raises
    ------
    InputError, DataError
        When it cannot be read, or not be kept.
    """
    time, _ = read(path)
    if not len(time):
        return f"{path.name} has no rows and was not attached"
    data, mapping = path.read_bytes(), mapping_path(path).read_bytes()
    span = f"{_words(time[0])} to {_words(time[-1])}, {len(time)} rows"
    if len(data) > MAX_BYTES:
        text = (
            f"{MARK} {path.name}, {span}: {len(data) / 1e6:.0f} MB, too much to be kept here; SHA-256 "
            f"{hashlib.sha256(data).hexdigest()}"
        )
        body = {"at": _at(time[-1]), "text": text}
        store.write("note", body, author=writer.author, device=writer.device, call_id=call_id)
        return f"{path.name} is larger than {MAX_BYTES // 1_000_000} MB: noted in the call, not attached"
    before = [
        line
        for line in store.call(call_id).attachments
        if line.body.get("name") in (path.name, mapping_path(path).name)
        and str(line.body.get("text", "")).startswith(MARK)
    ]
    at = _at(time[0])
    to = None
    for name, content, text in (
        (path.name, data, f"{MARK}, {span}"),
        (mapping_path(path).name, mapping, f"{MARK}: which column is what"),
    ):
        log = store.attach(
            content,
            name=name,
            call_id=call_id,
            author=writer.author,
            device=writer.device,
            to=to,
            at=at,
            text=text,
        )
        to = log.id  # the mapping belongs to the recording
    for line in before:
        store.correct(
            line.id, None, author=writer.author, device=writer.device, reason="a longer recording is attached"
        )
    return f"{path.name} is attached to call {call_id}: {span}"


def _at(seconds: float) -> str:
    try:
        return datetime.fromtimestamp(float(seconds), UTC).strftime("%Y-%m-%dT%H:%M:%S")
    except (OverflowError, OSError, ValueError):
        raise InputError("the recording has a time that is none") from None


def _words(seconds: float) -> str:
    return _at(seconds).replace("T", " ")[:16]
