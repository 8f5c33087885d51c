"""The app with a worker that takes its time, as a machine would that is slower than ours.

Run as ``python slow.py RECORD SECONDS``: prints its address, then serves.
"""

from __future__ import annotations

import socket
import sys
import threading
from concurrent.futures import Future
from pathlib import Path
from typing import Any

import uvicorn

from wringout.quantity import UnitSystem
from wringout.records.store import open_store
from wringout.web.app import create_app
from wringout.web.weigher import Weigher


class Slow(Weigher):
    """A weigher whose results all come so many seconds later."""

    def __init__(self, seconds: float) -> None:
        super().__init__()
        self.seconds = seconds

    def _submit(
        self, kind: str, document: str, system: UnitSystem, more: dict[str, Any] | None
    ) -> Future[dict[str, Any]]:
        inner, outer = super()._submit(kind, document, system, more), Future[dict[str, Any]]()

        def hand_over(done: Future[dict[str, Any]]) -> None:
            error = done.exception()
            if error is not None:
                outer.set_exception(error)
            else:
                outer.set_result(done.result())

        threading.Timer(self.seconds, lambda: inner.add_done_callback(hand_over)).start()
        outer.set_running_or_notify_cancel()
        return outer


if __name__ == "__main__":
    listening = socket.socket()
    listening.bind(("127.0.0.1", 0))
    sys.stdout.write(f"http://127.0.0.1:{listening.getsockname()[1]}\n")
    sys.stdout.flush()
    with open_store(Path(sys.argv[1])) as store:
        made = create_app(store, weigher=Slow(float(sys.argv[2])))
        config = uvicorn.Config(made, log_level="warning", access_log=False, timeout_graceful_shutdown=1)
        uvicorn.Server(config).run(sockets=[listening])
