"""Start the dashboard: one process, one folder, on this machine or (asked for) on the home network."""

from __future__ import annotations

import ipaddress
import logging
import socket
import threading
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

from dashboard.charts.palette import THEME
from dashboard.server.opening import Opening, open_dashboard
from dashboard.server.pairing import Pairing, spaced
from dashboard.work.ahead import look_ahead
from forecast.errors import UsageError

LOOPBACK = "127.0.0.1"
FIRST_PORT = 8501
_PORTS_TRIED = 50
_SCRIPT = Path(__file__).parents[1] / "app.py"
_LONGEST_UPLOAD_MB = 5


def serve(opening: Opening, *, port: int | None, lan: bool, say: Callable[[str], None]) -> None:
    """Serve the pages until the process is stopped.

    Parameters
    ----------
    opening : what the pages show
    port : of the server; None = the first free one from 8501
    lan : whether the home network may reach it, by a code
    say : called with each line for the terminal

    Raises
    ------
    UsageError when the port is taken, or there is no home network.
    """
    address = home_address() if lan else LOOPBACK
    port = free_port(address, port)
    look_ahead(opening)
    from streamlit.starlette import App

    open_dashboard(Opening(**{**_fields(opening), "address": f"{address}:{port}" if lan else ""}))
    pairing = Pairing() if lan else None
    hosts = names_of(address)
    for line in welcome(address, port, pairing):
        say(line)
    app = App(_SCRIPT, middleware=[_guard(hosts, pairing)], lifespan=_warm, on_script_error=report_failure)
    app.run(config=server_settings(address, port, hosts))


def server_settings(address: str, port: int, hosts: list[str]) -> dict[str, Any]:
    """Every setting of the server that keeps it safe, whatever other settings lie about."""
    return {
        "server.headless": True,
        "server.address": address,
        "server.port": port,
        "server.allowedHosts": hosts,
        "server.maxUploadSize": _LONGEST_UPLOAD_MB,
        "server.fileWatcherType": "none",
        "server.enableCORS": True,
        "server.enableXsrfProtection": True,
        "server.enableStaticServing": False,
        "server.enableAgentApi": False,
        "server.runOnSave": False,
        "browser.serverAddress": address,
        "browser.gatherUsageStats": False,
        "client.toolbarMode": "minimal",
        "client.showErrorDetails": "none",
        "client.showErrorLinks": False,
        "global.developmentMode": False,
        "logger.hideWelcomeMessage": True,
        "runner.magicEnabled": False,
        **THEME,
    }


def home_address() -> str:
    """This machine's address on the home network.

    Raises
    ------
    UsageError when there is none, or when it could be reached from outside the home.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # sends nothing: it only asks which way a packet would go
            address = probe.getsockname()[0]
        except OSError:
            address = "0.0.0.0"
    found = ipaddress.ip_address(address)
    if found.is_unspecified or found.is_loopback:
        raise UsageError("--lan: this machine is on no network, so nobody else could reach the dashboard.")
    if not found.is_private:
        raise UsageError(f"--lan: {address} is no address of a home network, so nothing was opened.")
    return str(address)


def names_of(address: str) -> list[str]:
    """The host names under which a browser may ask for the dashboard."""
    if address == LOOPBACK:
        return [LOOPBACK, "localhost"]
    name = socket.gethostname().casefold()
    return [address, name, f"{name.partition('.')[0]}.local"]


def free_port(address: str, port: int | None) -> int:
    """The port asked for, or the first free one.

    Raises
    ------
    UsageError when it is taken.
    """
    tried = range(FIRST_PORT, FIRST_PORT + _PORTS_TRIED) if port is None else [port]
    for candidate in tried:
        with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind((address, candidate))
            except OSError:
                continue
            return candidate
    raise UsageError(f"--port: {tried[0]} is taken or not allowed: give another one.")


def welcome(address: str, port: int, pairing: Pairing | None) -> list[str]:
    """The lines for the terminal: where the dashboard is, and what is open to whom."""
    place = f"http://{address}:{port}"
    if pairing is None:
        return [f"The dashboard is at {place}, for this machine only. Ctrl+C stops it."]
    return [
        qr_picture(f"{place}/pair#{pairing.code}"),
        f"The dashboard is at {place}, for devices on the home network that know this code:",
        "",
        f"    {spaced(pairing.code)}",
        "",
        "Point a phone's camera at the picture, or type the address and then the code.",
        "A device that gave the code may read every page and add to the log until you stop this (Ctrl+C);",
        "then the code is void. Without the code nothing can be read. Five wrong codes lock the door for a",
        "minute. The network itself is trusted: what passes is not encrypted. On this machine too, open it",
        "by that address.",
    ]


def qr_picture(text: str) -> str:
    """A text as a QR picture in characters, two rows of it in one line."""
    import io

    import segno

    out = io.StringIO()
    segno.make(text, error="m", micro=False).terminal(out=out, compact=True)
    return out.getvalue().rstrip("\n")


def report_failure(error: Exception) -> bool:
    """On the page one sentence, in the terminal what a programmer needs; nothing of it is hidden."""
    import streamlit as st

    logging.getLogger("benchdays").error("a page could not be drawn", exc_info=error)
    st.error(
        f"This page could not be drawn ({type(error).__name__}). Your files are as they were; the terminal "
        "in which the dashboard runs says more."
    )
    return True


def _guard(hosts: list[str], pairing: Pairing | None) -> Any:
    from starlette.middleware import Middleware

    from dashboard.server.guard import Guard
    from dashboard.server.page_scripts import first_page_scripts

    return Middleware(Guard, hosts=hosts, pairing=pairing, scripts=first_page_scripts())


def _fields(opening: Opening) -> dict[str, Any]:
    return {name: getattr(opening, name) for name in Opening.__slots__}


@asynccontextmanager
async def _warm(app: Any) -> AsyncIterator[None]:
    """Begin the forecast while the browser is still on its way."""
    from dashboard.work.forecasts import begin

    threading.Thread(target=begin, daemon=True).start()
    yield
