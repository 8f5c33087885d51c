"""The JSON API: calls, events, weighing, ledger, sync. Its description is `openapi.py`."""

from __future__ import annotations

from starlette.routing import Route

__all__ = ["routes"]


def routes() -> list[Route]:
    """Addresses of the API."""
    return []
