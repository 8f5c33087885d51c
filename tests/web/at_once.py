"""The app without a server or other processes around it: its work is done where it stands, and counted."""

from __future__ import annotations

import asyncio
import re
from concurrent.futures import Future
from dataclasses import dataclass, field
from typing import Any

import httpx
from starlette.applications import Starlette

from wringout.quantity import UnitSystem
from wringout.web import jobs
from wringout.web.weigher import Weigher


class Counting(Weigher):
    """A weigher that says what it would begin, and never ends."""

    def __init__(self) -> None:
        super().__init__()
        self.begun: list[str] = []

    def _submit(
        self, kind: str, document: str, system: UnitSystem, more: dict[str, Any] | None
    ) -> Future[dict[str, Any]]:
        self.begun.append(kind)
        return Future()


class AtOnce(Counting):
    """A weigher that works where it stands, and says what it began."""

    def _submit(
        self, kind: str, document: str, system: UnitSystem, more: dict[str, Any] | None
    ) -> Future[dict[str, Any]]:
        done = super()._submit(kind, document, system, more)
        try:
            done.set_result(jobs.run(kind, document, system, more))
        except jobs.Failed as error:
            done.set_exception(error)
        return done


@dataclass
class App:
    """An app, and the one who asks it."""

    app: Starlette
    weigher: Counting
    cookies: dict[str, str] = field(default_factory=dict)
    token: str = ""

    def ask(
        self, path: str, data: dict[str, str] | None = None, headers: dict[str, str] | None = None
    ) -> httpx.Response:
        async def go() -> httpx.Response:
            transport = httpx.ASGITransport(self.app)
            async with httpx.AsyncClient(
                transport=transport, base_url="http://localhost", cookies=self.cookies
            ) as http:
                if data is None:
                    answer = await http.get(path, headers=headers)
                else:
                    answer = await http.post(path, data={"csrf": self.token, **data}, headers=headers)
                self.cookies |= dict(http.cookies)
                return answer

        answer = asyncio.run(go())
        if found := re.search(r'name="csrf" content="([^"]+)"', answer.text):
            self.token = found[1]
        return answer

    def page(self, path: str) -> str:
        answer = self.ask(path)
        assert answer.status_code == 200, answer.text
        return answer.text
