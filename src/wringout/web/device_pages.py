"""Settings, the devices that may come in, and pairing."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from wringout.errors import InputError
from wringout.web.gate import cookie
from wringout.web.pages import NOBODY, Problem, form_of, page, session, shared, text_of
from wringout.web.qr import qr_svg

__all__ = ["authority", "devices", "pair", "pair_keep", "revoke", "settings", "settings_keep", "trust"]

MOST_NAME = 60


async def settings(request: Request, problems: tuple[Problem, ...] = ()) -> Response:
    """Name, device and units."""
    who = session(request)
    return page(
        request,
        "settings.html",
        status=422 if problems else 200,
        title="Settings",
        tab="settings",
        person=who.writer.author if who.device else "",
        device=who.writer.device if who.device else "",
        chosen=who.device.units if who.device else "",
        problems=problems,
        kept=request.query_params.get("kept", ""),
    )


async def settings_keep(request: Request) -> Response:
    """Keep name, device and units of this session."""
    form = await form_of(request)
    try:
        person = text_of(
            form, "person", MOST_NAME, needed="Write your name: it stands beside what you write."
        )
        device = text_of(form, "device", MOST_NAME) or "this device"
        units = text_of(form, "units", 4)
        if units not in ("", "ip", "si"):
            raise InputError("choose one of the three", "units")
    except InputError as error:
        return await settings(request, (Problem(error.message, error.place or ""),))
    shared(request).devices.name(session(request).token, person=person, device=device, units=units)
    return RedirectResponse("/settings?kept=1", 303)


async def devices(request: Request) -> Response:
    """The devices that were paired or named, and the way in for another one."""
    everything = shared(request)
    address = everything.addresses[0] if everything.addresses else ""
    port = request.url.port
    code = everything.devices.code() if everything.lan else ""
    link = f"https://{address}{f':{port}' if port else ''}/pair?code={code}" if address and code else ""
    return page(
        request,
        "devices.html",
        title="Devices",
        tab="settings",
        devices=sorted(everything.devices.known.values(), key=lambda d: -d.seen),
        mine=session(request).device,
        code=code,
        link=link,
        qr=qr_svg(link) if link else "",
    )


async def revoke(request: Request) -> Response:
    """Shut a device out."""
    form = await form_of(request)
    shared(request).devices.revoke(text_of(form, "device", 40))
    return RedirectResponse("/devices", 303)


async def pair(request: Request, problems: tuple[Problem, ...] = ()) -> Response:
    """The form that lets a device in, once."""
    code = request.query_params.get("code", "")
    return page(
        request,
        "pair.html",
        status=422 if problems else 200,
        title="Pair this device",
        code=code if code.isdecimal() and len(code) <= 12 else "",
        problems=problems,
        paired=session(request).device is not None and shared(request).lan,
    )


async def pair_keep(request: Request) -> Response:
    """Let a device in whose code is right."""
    form = await form_of(request)
    try:
        person = text_of(
            form, "person", MOST_NAME, needed="Write your name: it stands beside what you write."
        )
        device = text_of(form, "device", MOST_NAME) or "phone"
        code = text_of(form, "code", 20, needed="Write the code that the server shows.")
    except InputError as error:
        return await pair(request, (Problem(error.message, error.place or ""),))
    token = shared(request).devices.pair(code, person=person or NOBODY, device=device)
    if token is None:
        return await pair(
            request,
            (
                Problem(
                    "That is not the code that the server shows now. Each code lets one device in.", "code"
                ),
            ),
        )
    answer = RedirectResponse("/", 303)
    answer.headers.append("set-cookie", cookie(token, request.url.scheme == "https"))
    return answer


async def trust(request: Request) -> Response:
    """How a phone comes to trust this server's certificate, and why."""
    return page(
        request, "trust.html", title="Trust this server", has_authority=shared(request).authority is not None
    )


async def authority(request: Request) -> Response:
    """The certificate of this server's own small authority; no secret is in it."""
    data = shared(request).authority
    if data is None:
        return Response("This server has no certificate of its own: it serves this machine alone.", 404)
    return Response(
        data,
        media_type="application/x-x509-ca-cert",
        headers={"content-disposition": 'attachment; filename="wringout-authority.crt"'},
    )
