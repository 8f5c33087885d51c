"""Who may come in: devices that were paired, their people, and tokens that only this server can make."""

from __future__ import annotations

import hashlib
import hmac
import json
import os
import secrets
import threading
import time
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

from wringout.errors import DataError
from wringout.quantity import UnitSystem

__all__ = ["Device", "Devices"]

CODE_DIGITS = 8
MOST_WRONG = 5  # wrong codes before another one is made
CODE_SECONDS = 900.0
SEEN_SECONDS = 300.0  # a later visit is written down no more often than this


@dataclass(frozen=True, slots=True)
class Device:
    """A device that was paired or named: whose it is, its units, and when it was here."""

    id: str
    token: str  # SHA-256 of the session's token
    person: str
    name: str
    units: str = ""
    paired: float = 0.0
    seen: float = 0.0

    @property
    def system(self) -> UnitSystem | None:
        """Units chosen on this device, if any."""
        return "ip" if self.units == "ip" else "si" if self.units == "si" else None


@dataclass
class Devices:
    """The devices of one server, kept in one file that only its owner may read."""

    path: Path | None
    secret: str = ""
    known: dict[str, Device] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._lock = threading.RLock()
        self._wrong = 0
        self._code, self._made = "", 0.0
        if self.path is not None and self.path.is_file():
            self._read()
        if not self.secret:
            self.secret = secrets.token_hex(32)
            self._write()

    # ------------------------------------------------------------------------------------ sessions

    def of(self, token: str) -> Device | None:
        """The device of a session's token, unless it was revoked."""
        return self.known.get(_hashed(token)) if token else None

    def csrf(self, token: str) -> str:
        """A token for the forms of a session."""
        return hmac.new(bytes.fromhex(self.secret), token.encode(), hashlib.sha256).hexdigest()[:32]

    def csrf_holds(self, token: str, shown: str) -> bool:
        """Whether a form's token is that of the session."""
        return bool(token) and hmac.compare_digest(self.csrf(token), shown)

    def name(self, token: str, *, person: str, device: str, units: str = "") -> Device:
        """Keep whose device this is and its units."""
        with self._lock:
            before = self.of(token)
            now = time.time()
            if before is None:
                kept = Device(secrets.token_hex(6), _hashed(token), person, device, units, now, now)
            else:
                kept = replace(before, person=person, name=device, units=units, seen=now)
            self.known[kept.token] = kept
            self._write()
            return kept

    def visited(self, device: Device) -> None:
        """Write down that a device was here."""
        with self._lock:
            if time.time() - device.seen > SEEN_SECONDS and device.token in self.known:
                self.known[device.token] = replace(device, seen=time.time())
                self._write()

    def revoke(self, id: str) -> bool:
        """Shut a device out; its session ends with its next request."""
        with self._lock:
            gone = [token for token, device in self.known.items() if device.id == id]
            for token in gone:
                del self.known[token]
            self._write()
            return bool(gone)

    # ------------------------------------------------------------------------------------- pairing

    def code(self) -> str:
        """The pairing code that holds now; each lets one device in, within a quarter of an hour."""
        with self._lock:
            if not self._code or time.monotonic() - self._made > CODE_SECONDS:
                self._renew()
            return self._code

    def pair(self, code: str, *, person: str, device: str) -> str | None:
        """A new session's token for the right code; nothing for a wrong one."""
        with self._lock:
            right = hmac.compare_digest(self.code().encode(), "".join(code.split()).encode())
            if not right:
                self._wrong += 1
                if self._wrong >= MOST_WRONG:
                    self._renew()
                return None
            self._renew()
            token = secrets.token_urlsafe(32)
            self.name(token, person=person, device=device)
            return token

    def _renew(self) -> None:
        self._code = "".join(secrets.choice("0123456789") for _ in range(CODE_DIGITS))
        self._made, self._wrong = time.monotonic(), 0

    # ---------------------------------------------------------------------------------------- file

    def _read(self) -> None:
        assert_path = self.path
        if assert_path is None:
            return
        try:
            tree: dict[str, Any] = json.loads(assert_path.read_text(encoding="utf-8"))
            self.secret = str(tree["secret"])
            bytes.fromhex(self.secret)
            self.known = {entry["token"]: Device(**entry) for entry in tree["devices"]}
        except (OSError, ValueError, KeyError, TypeError) as error:
            raise DataError(f"{assert_path}: cannot be read as the list of devices ({error})") from None

    def _write(self) -> None:
        if self.path is None:
            return
        text = json.dumps(
            {"secret": self.secret, "devices": [asdict(d) for d in self.known.values()]}, indent=1
        )
        beside = self.path.with_suffix(".new")
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            handle = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
            with os.fdopen(handle, "w", encoding="utf-8") as file:
                file.write(text)
            os.replace(beside, self.path)
        except OSError as error:
            raise DataError(f"{self.path}: cannot be written ({error.strerror})") from None


def _hashed(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
