"""The access check of the server: allowed hosts and origins, paired devices, and what a page may reach.

Every request passes here first: HTTP and WebSocket, pages, uploads and downloads.
"""

from __future__ import annotations

from collections.abc import Collection
from http.cookies import CookieError, SimpleCookie
from importlib import resources
from urllib.parse import parse_qs, urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from dashboard.server.pairing import Pairing

PAIR_PATH = "/pair"
_MOST_FORM_BYTES = 500  # the form holds one code of ten characters
# The page starts as inline script, and Vega compiles charts in the browser.
_SCRIPTS = "'self' 'unsafe-inline' 'unsafe-eval' 'wasm-unsafe-eval'"


class Guard:
    """ASGI middleware that refuses foreign hosts, foreign origins and devices that are not paired.

    Parameters
    ----------
    app : the application behind it
    hosts : names under which the dashboard may be requested
    pairing : the paired devices; None lets every device in
    """

    def __init__(self, app: ASGIApp, hosts: Collection[str], pairing: Pairing | None = None) -> None:
        self.app = app
        self.hosts = frozenset(host.casefold() for host in hosts)
        self.pairing = pairing

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or refuse it."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        refused = self._refusal(scope, headers)
        if refused is None and self.pairing is not None and not self._paired(headers, self.pairing):
            refused = await _pair(scope, receive, headers, self.pairing)
        if refused is None:
            await self.app(scope, receive, _with_policy(send, headers.get("host", "")))
        elif scope["type"] == "http":
            await refused(scope, receive, _with_policy(send, headers.get("host", "")))
        else:
            await send({"type": "websocket.close", "code": 1008, "reason": ""})

    def _refusal(self, scope: Scope, headers: Headers) -> Response | None:
        host = headers.get("host", "")
        if _host_name(f"//{host}") not in self.hosts:
            return PlainTextResponse("This dashboard does not serve that address.", status_code=421)
        origin = headers.get("origin")
        reads_only = scope["type"] == "http" and scope["method"] in ("GET", "HEAD")
        if origin is not None and not reads_only and urlsplit(origin).netloc != host:
            return PlainTextResponse("Refused: the request came from another site.", status_code=403)
        return None

    def _paired(self, headers: Headers, pairing: Pairing) -> bool:
        try:
            cookie = SimpleCookie(headers.get("cookie", "")).get(_cookie_name(headers.get("host", "")))
        except CookieError:
            return False
        return cookie is not None and pairing.knows(cookie.value)


async def _pair(scope: Scope, receive: Receive, headers: Headers, pairing: Pairing) -> Response:
    """The response to a device that is not paired: the form, the result of sending it, or a refusal."""
    if scope["type"] == "websocket":
        return PlainTextResponse("", status_code=403)
    if scope["path"] != PAIR_PATH:
        if scope["method"] == "GET" and "text/html" in headers.get("accept", ""):
            return RedirectResponse(PAIR_PATH, status_code=303)
        return PlainTextResponse("This device is not paired.", status_code=403)
    if scope["method"] != "POST":
        return _pairing_page("")
    token = pairing.admit(await _submitted_code(Request(scope, receive)))
    if token is None:
        wait = pairing.locked_seconds
        message = f"Locked: try again in {wait:.0f} seconds." if wait else "That is not the code shown now."
        return _pairing_page(message, status=429 if wait else 403)
    answer = RedirectResponse("/", status_code=303)
    answer.set_cookie(_cookie_name(headers.get("host", "")), token, httponly=True, samesite="lax", path="/")
    return answer


async def _submitted_code(request: Request) -> str:
    body = b""
    async for part in request.stream():
        body += part
        if len(body) > _MOST_FORM_BYTES:
            return ""
    return parse_qs(body.decode("ascii", errors="replace")).get("code", [""])[0]


def _pairing_page(message: str, *, status: int = 200) -> Response:
    page = (resources.files("dashboard.server") / "pairing.html").read_text(encoding="utf-8")
    body = page.replace("<!-- message -->", message)
    return HTMLResponse(body, status_code=status, headers={"cache-control": "no-store"})


def _host_name(address: str) -> str:
    try:
        return (urlsplit(address).hostname or "").casefold().rstrip(".")
    except ValueError:
        return ""


def _cookie_name(host: str) -> str:
    """Browsers share cookies between ports: two dashboards on one machine must not share one."""
    return f"benchdays-{host.rpartition(':')[2] if ':' in host else 80}"


def _with_policy(send: Send, host: str) -> Send:
    """Add the security headers to every response: the page reaches this server and nothing else."""
    policy = (
        f"default-src 'self'; script-src {_SCRIPTS}; style-src 'self' 'unsafe-inline'; "
        f"img-src 'self' data: blob:; font-src 'self' data:; connect-src 'self' ws://{host}; "
        "worker-src 'self' blob:; object-src 'none'; base-uri 'self'; form-action 'self'; "
        "frame-ancestors 'none'"
    )

    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            headers["content-security-policy"] = policy
            headers["referrer-policy"] = "same-origin"
            headers["x-content-type-options"] = "nosniff"
        await send(message)

    return sending
