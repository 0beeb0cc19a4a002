"""Start the dashboard: one process, one folder, on this machine or, with --lan, on the home network."""

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
from dashboard.work.first_look import start_first_look
from forecast.errors import UsageError

LOOPBACK = "127.0.0.1"
FIRST_PORT = 8501  # the default of the server library
_PORTS_TRIED = 50  # more dashboards at once than anybody opens
_SCRIPT = Path(__file__).parents[1] / "app.py"
_MOST_UPLOAD_MB = 5  # a log of a hundred thousand rows


def serve(opening: Opening, *, port: int | None, lan: bool, say: Callable[[str], None]) -> None:
    """Serve the pages until the process is stopped.

    Parameters
    ----------
    opening : what the pages show
    port : of the server; None = the first free port from 8501
    lan : whether devices on the home network may open it with a code
    say : called with each line for the terminal

    Raises
    ------
    UsageError when the port is taken, or there is no home network.
    """
    address = home_address() if lan else LOOPBACK
    port = free_port(address, port)
    start_first_look(opening)
    from starlette.middleware import Middleware
    from streamlit.starlette import App

    from dashboard.server.guard import Guard

    open_dashboard(opening)
    pairing = Pairing() if lan else None
    hosts = host_names(address)
    for line in welcome(address, port, pairing):
        say(line)
    guard = Middleware(Guard, hosts=hosts, pairing=pairing)
    app = App(_SCRIPT, middleware=[guard], lifespan=_start_forecast, on_script_error=report_failure)
    app.run(config=server_settings(address, port, hosts))


def server_settings(address: str, port: int, hosts: list[str]) -> dict[str, Any]:
    """The settings of the server; they override configuration files and environment variables.

    Parameters
    ----------
    address, port : where it listens
    hosts : names under which it may be requested
    """
    return {
        "server.headless": True,
        "server.address": address,
        "server.port": port,
        "server.allowedHosts": hosts,
        "server.maxUploadSize": _MOST_UPLOAD_MB,
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
    UsageError when there is none, or when it is a public address.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # sends nothing: it only selects a route
            address = probe.getsockname()[0]
        except OSError:
            address = "0.0.0.0"
    found = ipaddress.ip_address(address)
    if found.is_unspecified or found.is_loopback:
        raise UsageError(
            "--lan: this machine is on no network, so no other device could reach the dashboard."
        )
    if not found.is_private:
        raise UsageError(f"--lan: {address} is not an address of a home network, so nothing was opened.")
    return str(address)


def host_names(address: str) -> list[str]:
    """The host names under which a browser may request the dashboard."""
    if address == LOOPBACK:
        return [LOOPBACK, "localhost"]
    name = socket.gethostname().casefold()
    return [address, name, f"{name.partition('.')[0]}.local"]


def free_port(address: str, port: int | None) -> int:
    """The port requested, or the first free one.

    Parameters
    ----------
    address : where the server is to listen
    port : the port; None = the first free one of some from 8501

    Raises
    ------
    UsageError when it is taken.
    """
    candidates = range(FIRST_PORT, FIRST_PORT + _PORTS_TRIED) if port is None else [port]
    for candidate in candidates:
        with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind((address, candidate))
            except OSError:
                continue
            return candidate
    raise UsageError(f"--port: {candidates[0]} is taken or not allowed: give another one.")


def welcome(address: str, port: int, pairing: Pairing | None) -> list[str]:
    """The lines for the terminal: the address, and who has access.

    Parameters
    ----------
    address, port : where the server listens
    pairing : None = this machine only
    """
    place = f"http://{address}:{port}"
    if pairing is None:
        return [f"The dashboard is at {place}, for this machine only. Ctrl+C stops it."]
    return [
        qr_picture(f"{place}/pair#{pairing.code}"),
        f"The dashboard is at {place}, for devices on the home network with this code:",
        "",
        f"    {spaced(pairing.code)}",
        "",
        "Point a phone's camera at the picture, or type the address and then the code.",
        "A paired device can read every page and change the log until you stop the dashboard (Ctrl+C); then",
        "the code expires. Without the code nothing can be read. Five wrong codes lock pairing for a minute.",
        "The traffic is not encrypted, so use this on a network that you trust. Use this address on this",
        "machine too.",
    ]


def qr_picture(text: str) -> str:
    """A text as a QR code in characters, two rows of it per line."""
    import io

    import segno

    out = io.StringIO()
    segno.make(text, error="m", micro=False).terminal(out=out, compact=True)
    return out.getvalue().rstrip("\n")


def report_failure(error: Exception) -> bool:
    """Show one sentence on the page and the traceback in the terminal."""
    import streamlit as st

    logging.getLogger("benchdays").error("A page could not be drawn.", exc_info=error)
    st.error(
        f"This page could not be drawn ({type(error).__name__}). Your files are unchanged; the terminal in "
        "which the dashboard runs shows the details."
    )
    return True


@asynccontextmanager
async def _start_forecast(app: Any) -> AsyncIterator[None]:
    """Start the forecast while the browser is still loading the page."""
    from dashboard.work.forecasts import start_forecast

    threading.Thread(target=start_forecast, daemon=True).start()
    yield
