"""What every page shares: templates, the reader's units and name, forms with their tokens, errors in
words."""

from __future__ import annotations

import hashlib
import html
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

import jinja2
from markupsafe import Markup
from starlette.datastructures import FormData, UploadFile
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from wringout.documents.overview import system_of
from wringout.documents.unit import Unit
from wringout.errors import InputError
from wringout.quantity import UnitSystem
from wringout.showing.words import chance, pretty, span
from wringout.web.desk import Desk, Here, Writer
from wringout.web.devices import Device, Devices
from wringout.web.earlier import EarlierCalls
from wringout.web.live_feed import Feed
from wringout.web.weigher import Weigher
from wringout.weighing.evidence_words import plain

__all__ = [
    "Problem",
    "Shared",
    "asset",
    "back",
    "form_of",
    "page",
    "shared",
    "static_bytes",
    "system_for",
    "text_of",
]

MAX_FIELDS = 400
NOBODY = "technician"


@dataclass
class Shared:
    """What the handlers of one server share."""

    desk: Desk
    devices: Devices
    weigher: Weigher
    lan: bool = False
    addresses: tuple[str, ...] = ()
    authority: bytes | None = None
    shelf: Path | None = None
    live: Feed | None = None
    earlier: EarlierCalls = field(init=False)

    def __post_init__(self) -> None:
        self.earlier = EarlierCalls(self.desk)


@dataclass(frozen=True, slots=True)
class Problem:
    """Something to mend in a form: what it says, and the field it belongs to."""

    message: str
    field: str = ""


@dataclass
class Session:
    """Whose request this is."""

    token: str
    device: Device | None
    new: bool = False
    writer: Writer = field(default_factory=lambda: Writer(NOBODY, "this machine"))


def shared(request: Request) -> Shared:
    """What the server's handlers share."""
    found: Shared = request.app.state.shared
    return found


def session(request: Request) -> Session:
    """Whose request this is."""
    found: Session = request.state.session
    return found


def system_for(request: Request, unit: Unit | None = None) -> UnitSystem:
    """The units chosen on this device; else those of the unit's document."""
    device = session(request).device
    if device is not None and device.system is not None:
        return device.system
    return system_of(unit) if unit is not None else "ip"


# ----------------------------------------------------------------------------------------- static files


@cache
def static_bytes(name: str) -> bytes:
    """The bytes of a file that ships with the app."""
    return resources.files("wringout.web").joinpath("static", name).read_bytes()


@cache
def asset(name: str) -> str:
    """The address of a file of the app; it changes with its content, so that it may be kept for ever."""
    return f"/static/{hashlib.sha256(static_bytes(name)).hexdigest()[:10]}/{name}"


# -------------------------------------------------------------------------------------------- templates


def _when(text: str) -> str:
    at = datetime.fromisoformat(text)
    return f"{at:%d %b %H:%M}"


@cache
def _templates() -> jinja2.Environment:
    made = jinja2.Environment(
        loader=jinja2.PackageLoader("wringout.web", "templates"),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=jinja2.StrictUndefined,
    )
    made.globals.update(asset=asset)
    made.filters.update(
        upper_first=_upper_first,
        pretty=pretty,
        when=_when,
        span=span,
        chance=chance,
        nowrap=_nowrap,
        plain=plain,
    )
    return made


def _upper_first(text: str) -> str:
    text = text.replace("rh ", "relative humidity ", 1) if text.startswith("rh ") else text
    return text[:1].upper() + text[1:]


def _nowrap(text: str) -> Markup:
    """A number stays with its unit, and a day is not broken at its hyphens."""
    whole = html.escape(text).replace(" ± ", "&nbsp;±&nbsp;").replace(" °", "&nbsp;°")
    return Markup(re.sub(r"\b\d{4}-\d\d-\d\d\b", r"<time>\g<0></time>", whole))


def page(
    request: Request,
    template: str,
    *,
    status: int = 200,
    here: Here | None = None,
    tab: str = "",
    problems: tuple[Problem, ...] = (),
    **values: Any,
) -> Response:
    """A whole page, or its part where only that was asked for."""
    everything = shared(request)
    who = session(request)
    context: dict[str, Any] = {
        "request": request,
        "csrf": everything.devices.csrf(who.token),
        "writer": who.writer,
        "named": who.device is not None,
        "here": here,
        "tab": tab,
        "problems": problems,
        "lan": everything.lan,
        "secure": request.url.scheme == "https" or request.url.hostname in ("localhost", "127.0.0.1"),
        "new_id": everything.desk.store.new_id(),
        **values,
    }
    if here is not None:
        context["unit"] = here.call.unit
        context["system"] = system_for(request, here.call.unit)
    text = _templates().get_template(template).render(context)
    return HTMLResponse(text, status)


def back(to: str, request: Request) -> Response:
    """After a form was taken: on to a page; the queue of a phone is told where."""
    if request.headers.get("x-queued"):
        return Response(status_code=204, headers={"x-location": to})
    return RedirectResponse(to, 303)


# ------------------------------------------------------------------------------------------------ forms


async def form_of(request: Request, files: int = 0) -> FormData:
    """The fields of a form, bounded."""
    return await request.form(max_files=files, max_fields=MAX_FIELDS, max_part_size=300_000)


def text_of(form: Mapping[str, Any], name: str, limit: int = 4000, *, needed: str = "") -> str:
    """The words of a field.

    Raises
    ------
    InputError
        When they are too many, or missing where they are needed (``needed`` says what to do).
    """
    value = form.get(name, "")
    if isinstance(value, UploadFile) or not isinstance(value, str):
        raise InputError("wanted words, not a file", name)
    words = value.replace("\r\n", "\n").replace("\r", "\n").strip()
    if len(words) > limit:
        raise InputError(f"{len(words)} characters long; at most {limit} are taken", name)
    if not words and needed:
        raise InputError(needed, name)
    return words
