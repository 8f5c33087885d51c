"""``wringout serve``: the app on this machine, and with ``--lan`` for phones on the same network."""

from __future__ import annotations

import contextlib
import importlib.util
import os
import socket
import sys
from pathlib import Path

import click

from wringout.errors import DataError, InputError

__all__ = ["command", "lan_addresses"]

NEEDED = ("starlette", "uvicorn", "jinja2", "python_multipart", "cryptography", "segno")
PORT = 8734


@click.command(
    "serve",
    epilog="Exit codes: 0 ended, 1 our fault, 2 something to mend (the message says what). "
    "Example: wringout serve --lan --store visits.sqlite",
)
@click.option(
    "--store",
    type=click.Path(dir_okay=False),
    default=None,
    metavar="FILE",
    help="The record; made where there is none. Else WRINGOUT_STORE, else one in the folder for data.",
)
@click.option("--lan", is_flag=True, help="Let phones on this network in, over TLS, each after pairing once.")
@click.option("--port", type=click.IntRange(0, 65535), default=PORT, show_default=True)
@click.option("--host", default=None, help="With --lan: the address to answer at; else all of this machine.")
@click.option(
    "--live",
    type=click.Path(exists=True, file_okay=False),
    default=None,
    metavar="FOLDER",
    help="Where `wringout listen` writes its recordings, for guided tests.",
)
def command(store: str | None, lan: bool, port: int, host: str | None, live: str | None) -> None:
    """Serve the app: calls, readings, suspects and next checks as pages for a phone.

    Without --lan this machine alone can open it.
    """
    missing = [name for name in NEEDED if importlib.util.find_spec(name) is None]
    if missing:
        raise InputError(
            f'the app needs {", ".join(missing)}; install them with: pip install "wringout[web]"', "serve"
        )
    if host is not None and not lan:
        raise InputError("an address beside this machine is for --lan", "--host")
    from wringout.records.place import usual_place

    if store == "":
        raise InputError("empty; name the file of the record", "--store")
    path = Path(store) if store else usual_place(os.environ, sys.platform, Path.home())
    _run(path, lan, port, host, Path(live) if live else None)


def _run(path: Path, lan: bool, port: int, host: str | None, live: Path | None) -> None:
    import uvicorn

    from wringout.records.store import open_store
    from wringout.shelf.place import SETTING
    from wringout.web.app import create_app
    from wringout.web.authority import certificates

    store = open_store(path)
    beside = path.with_name(path.stem + ".server")
    addresses: tuple[str, ...] = ()
    made = None
    if lan:
        addresses = (host,) if host else lan_addresses()
        made = certificates(beside, (*addresses, "localhost", "127.0.0.1"))
    app = create_app(
        store,
        devices=beside / "devices.json",
        lan=lan,
        addresses=addresses,
        authority=made.authority if made else None,
        shelf=Path(os.environ[SETTING]) if os.environ.get(SETTING) else path.with_name("shelf.sqlite"),
        live=live,
    )
    listening = _listen((host or "0.0.0.0") if lan else "127.0.0.1", port)
    port = listening.getsockname()[1]
    if made is not None:
        _tell_lan(addresses, port, app.state.shared.devices.code(), made.fingerprint)
    else:
        click.echo(f"Open http://127.0.0.1:{port}/ on this machine. The record: {path}")
        click.echo("Phones on this network: wringout serve --lan. Ctrl-C ends it; nothing is lost.")
    server = uvicorn.Server(
        uvicorn.Config(
            app,
            log_level="warning",
            access_log=False,
            server_header=False,
            timeout_graceful_shutdown=2,
            ssl_certfile=str(made.chain) if made else None,
            ssl_keyfile=str(made.key) if made else None,
        )
    )
    try:
        server.run(sockets=[listening])
    finally:
        store.close()


def _listen(host: str, port: int) -> socket.socket:
    made = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        made.bind((host, port))
    except OSError as error:
        made.close()
        raise DataError(
            f"cannot answer at {host} port {port} ({error.strerror}); name another one with --port"
        ) from None
    return made


def lan_addresses() -> tuple[str, ...]:
    """Addresses of this machine on its networks, that towards the default way first.

    No packet is sent: a datagram socket only asks which way one would go.
    """
    found: list[str] = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe, contextlib.suppress(OSError):
        probe.connect(("192.0.2.1", 9))  # TEST-NET-1 of RFC 5737
        found.append(probe.getsockname()[0])
    with contextlib.suppress(OSError):
        entries = socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)
        found += [str(entry[4][0]) for entry in entries]
    return tuple(dict.fromkeys(a for a in found if not a.startswith("127."))) or ("127.0.0.1",)


def _tell_lan(addresses: tuple[str, ...], port: int, code: str, fingerprint: str) -> None:
    from wringout.web.qr import qr_text

    link = f"https://{addresses[0]}:{port}/pair?code={code}"
    click.echo(qr_text(link))
    click.echo(f"On the phone, scan the code or open https://{addresses[0]}:{port}/pair and write {code}")
    for other in addresses[1:]:
        click.echo(f"  or https://{other}:{port}/pair")
    click.echo("It lets one device in, within a quarter of an hour; the page Devices shows the next code.")
    click.echo("The phone will warn about the certificate first. How to trust it: the page /trust there.")
    click.echo(f"Fingerprint of this server's authority (SHA-256): {fingerprint}")
