"""One server for all tests of a session, and a client that looks at every page it fetches."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from web.browsing import browser
from web.client import Client
from web.server import served


@pytest.fixture(scope="session")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The address of a running server with an empty record."""
    with served(Path(tmp_path_factory.mktemp("served"))) as found:
        yield found


@pytest.fixture
def client(address: str) -> Iterator[Client]:
    """A client with a session of its own."""
    with Client(address) as made:
        yield made


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    """One browser for a module; every test opens phones of its own in it, which share nothing."""
    with browser() as made:
        yield made
