"""Where files lie: a folder, a pattern, or an address such as ``s3://bucket/trends`` (by fsspec).

Whatever lies elsewhere is copied to a temporary folder, a unit at a time, when it is judged.
"""

from __future__ import annotations

import hashlib
import importlib
import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path, PurePosixPath
from tempfile import TemporaryDirectory
from typing import Any

from wringout.errors import DataError, InputError
from wringout.sweep.pairing import is_document, is_trend

__all__ = ["LARGEST", "MARK", "Hand", "at_hand", "digest", "found_at"]

MARK = ".wringout-sweep"  # in a folder of results: what lies there is no trend
CHUNK = 1 << 20
MAGIC = re.compile(r"[*?\[]")
ADDRESS = re.compile(r"([a-z][a-z0-9+.-]+)://", re.IGNORECASE)
MOST_FILES = 1_000_000
LARGEST = 300_000_000  # [bytes] of one trend file: five years of minutes, thirty columns, as text
TOO_LARGE = f"larger than {LARGEST // 1_000_000} MB; cut it by month (files of a unit are joined in time)"
NEEDS = {"s3": "s3fs", "s3a": "s3fs", "gs": "gcsfs", "gcs": "gcsfs", "abfs": "adlfs", "az": "adlfs"}


def found_at(place: str) -> tuple[str, list[str]]:
    """Find trend files and documents.

    Parameters
    ----------
    place : str
        A folder, a pattern (``hall-*/2027-0[67]*.parquet``: trend files or folders), or an address, which
        may hold a pattern too.

    Returns
    -------
    root : str
        Where names start: an absolute folder, or an address.
    names : list of str
        Posix style, sorted.

    Raises
    ------
    InputError
        Where nothing is there.
    """
    files = _remote(place) if ADDRESS.match(place) else _local(place)
    root, names = files
    if not any(is_trend(name) for name in names):
        raise InputError("no trend file was found there (csv, tsv, parquet, pq)", place)
    return root, sorted(names)


def _wanted(name: str) -> bool:
    return (is_trend(name) or is_document(name)) and not any(
        part.startswith(".")
        for part in PurePosixPath(name).parts  # hidden ones, and ways out of the folder
    )


def _split(place: str) -> tuple[str, str]:
    """A pattern as the folder before its first sign, and the rest."""
    parts = place.split("/")
    first = next((k for k, part in enumerate(parts) if MAGIC.search(part)), len(parts))
    return "/".join(parts[:first]) or ("/" if place.startswith("/") else "."), "/".join(parts[first:])


def _local(place: str) -> tuple[str, list[str]]:
    if Path(place).is_dir():
        root = Path(place).resolve()
        return str(root), list(_walked(root, root))
    if Path(place).is_file():
        raise InputError("this is one file; a sweep takes a folder, a pattern or an address", place)
    before, pattern = _split(place.replace(os.sep, "/"))
    root = Path(before).resolve()
    if not pattern or not root.is_dir():
        raise InputError("there is no such folder", place)
    names: set[str] = set()
    for path in root.glob(pattern):
        if path.is_dir():
            names.update(_walked(path, root))
        elif path.is_file():
            names.add(path.relative_to(root).as_posix())
    trends = {name for name in names if _wanted(name) and is_trend(name)}
    return str(root), [*(trends | _documents_local(root, trends) | {n for n in names if _wanted(n)})]


def _walked(start: Path, root: Path) -> Iterator[str]:
    count = 0
    for folder, inside, files in os.walk(start):
        if MARK in files:
            inside.clear()
            continue
        inside[:] = sorted(name for name in inside if not name.startswith("."))
        for name in files:
            relative = (Path(folder) / name).relative_to(root).as_posix()
            if _wanted(relative):
                count += 1
                if count > MOST_FILES:
                    raise InputError(f"more than {MOST_FILES:,} files; sweep it in parts", str(start))
                yield relative


def _documents_local(root: Path, trends: set[str]) -> set[str]:
    """Documents beside trend files and in the folders above them."""
    folders = {parent for name in trends for parent in PurePosixPath(name).parents}
    return {
        str(folder / entry.name)
        for folder in folders
        for entry in (root / folder).iterdir()
        if is_document(entry.name) and entry.is_file()
    }


def _system(address: str) -> tuple[Any, str]:
    """The file system of an address, and the path in it."""
    scheme = ADDRESS.match(address)
    kind = scheme[1].lower() if scheme else ""
    try:
        url_to_fs = importlib.import_module("fsspec.core").url_to_fs
    except ImportError:
        raise InputError('addresses are read with fsspec: install "wringout[sweep]"', address) from None
    try:
        system, path = url_to_fs(address)
    except ImportError:
        package = NEEDS.get(kind)
        what = f"install {package}" if package else "install the fsspec package for it"
        raise InputError(f"{kind}:// is read with a package that is not here: {what}", address) from None
    except ValueError as error:
        raise InputError(f"no such kind of address ({str(error)[:100]})", address) from None
    return system, path


def _remote(place: str) -> tuple[str, list[str]]:
    scheme = ADDRESS.match(place)
    assert scheme is not None
    before, pattern = _split(place[scheme.end() :])
    root = scheme[0] + before.rstrip("/")
    system, base = _system(root)
    try:
        if pattern:
            hits = system.glob(f"{base.rstrip('/')}/{pattern}", detail=True)
            names: set[str] = set()
            for path, about in hits.items():
                inner = [path] if about["type"] == "file" else system.find(path)
                names.update(_from(base, one) for one in inner)
            names = {n for n in names if _wanted(n)}
            for folder in {parent for name in names for parent in PurePosixPath(name).parents}:
                for about in system.ls(f"{base.rstrip('/')}/{folder}".removesuffix("/."), detail=True):
                    if about["type"] == "file" and is_document(about["name"]):
                        names.add(_from(base, about["name"]))
            return root, [*names]
        every = {_from(base, path) for path in system.find(base)}
    except (OSError, ValueError) as error:
        raise InputError(f"cannot be listed ({_short(error)})", place) from None
    results = {name.removesuffix(MARK) for name in every if PurePosixPath(name).name == MARK}
    return root, [n for n in every if _wanted(n) and not any(n.startswith(folder) for folder in results)]


def _from(base: str, path: str) -> str:
    return path.removeprefix(base.rstrip("/")).lstrip("/")


def _short(error: BaseException) -> str:
    return f"{type(error).__name__}: {str(error).splitlines()[0][:100] if str(error) else 'no reason given'}"


def _open(root: str, name: str) -> Any:
    try:
        if ADDRESS.match(root):
            system, base = _system(root)
            return system.open(f"{base.rstrip('/')}/{name}", "rb")
        return (Path(root) / name).open("rb")
    except OSError as error:
        raise DataError(f"{name}: cannot be read ({error.strerror or _short(error)})") from None


def digest(root: str, name: str) -> str:
    """Hash of a file's content (SHA-256), read in pieces.

    Raises
    ------
    DataError
        For a file that cannot be read.
    """
    hashed = hashlib.sha256()
    try:
        with _open(root, name) as stream:
            while chunk := stream.read(CHUNK):
                hashed.update(chunk)
    except OSError as error:
        raise DataError(f"{name}: cannot be read ({error.strerror or _short(error)})") from None
    return hashed.hexdigest()


class Hand:
    """Files of one unit, one after the other: where they lie, or copied into a temporary folder.

    ``folder`` is where they seem to lie, for messages that name a file.
    """

    def __init__(self, root: str, folder: Path, copies: bool) -> None:
        self.root, self.folder, self.copies = root, folder, copies

    def path(self, name: str) -> Path:
        """A file's path here.

        Raises
        ------
        DataError
            For a file that cannot be had, or is larger than a sweep takes.
        """
        target = self.folder / name
        if not self.copies:
            try:
                size = target.stat().st_size
            except OSError as error:
                raise DataError(f"{name}: cannot be read ({error.strerror})") from None
            if size > LARGEST:
                raise DataError(f"{name}: {TOO_LARGE}")
            return target
        target.parent.mkdir(parents=True, exist_ok=True)
        copied = 0
        try:
            with _open(self.root, name) as stream, target.open("wb") as copy:
                while chunk := stream.read(CHUNK):
                    copied += len(chunk)
                    if copied > LARGEST:
                        raise DataError(f"{name}: {TOO_LARGE}")
                    copy.write(chunk)
        except OSError as error:
            raise DataError(f"{name}: cannot be copied ({error.strerror or _short(error)})") from None
        return target

    def done(self, name: str) -> None:
        """A copy that is not needed any more is taken away."""
        if self.copies:
            (self.folder / name).unlink(missing_ok=True)


@contextmanager
def at_hand(root: str) -> Iterator[Hand]:
    """Bring the files of a root to hand; copies are gone afterwards."""
    if not ADDRESS.match(root):
        yield Hand(root, Path(root), copies=False)
        return
    with TemporaryDirectory(prefix="wringout-") as folder:
        yield Hand(root, Path(folder), copies=True)
