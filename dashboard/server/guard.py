"""The door of the server: which host it answers for, who is let in, what a page may reach.

Everything passes here first, HTTP and WebSocket, pages, uploads and downloads alike.
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
_LONGEST_FORM = 500
_SCRIPTS = "'self' 'unsafe-inline' 'unsafe-eval' 'wasm-unsafe-eval'"  # charts are compiled in the browser


class Guard:
    """Let in what asks for one of `hosts`, from its own pages, and (with `pairing`) from a paired device.

    With a page the browser is told which `scripts` it is about to need.
    """

    def __init__(
        self,
        app: ASGIApp,
        hosts: Collection[str],
        pairing: Pairing | None = None,
        scripts: Collection[str] = (),
    ) -> None:
        self.app = app
        self.hosts = frozenset(host.casefold() for host in hosts)
        self.pairing = pairing
        self.link = ", ".join(f"<{script}>; rel=modulepreload" for script in scripts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, refuse, or hand on."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        refused = self._refusal(scope, headers)
        if refused is None and self.pairing is not None and not self._paired(headers, self.pairing):
            refused = await _at_the_door(scope, receive, headers, self.pairing)
        if refused is None:
            await self.app(scope, receive, _with_rules(send, headers.get("host", ""), self.link))
        elif scope["type"] == "http":
            await refused(scope, receive, _with_rules(send, headers.get("host", "")))
        else:
            await send({"type": "websocket.close", "code": 1008, "reason": ""})

    def _refusal(self, scope: Scope, headers: Headers) -> Response | None:
        host = headers.get("host", "")
        if _name_of(f"//{host}") not in self.hosts:
            return PlainTextResponse("This dashboard does not answer for that address.", status_code=421)
        origin = headers.get("origin")
        reads_only = scope["type"] == "http" and scope["method"] in ("GET", "HEAD")
        if origin is not None and not reads_only and urlsplit(origin).netloc != host:
            return PlainTextResponse("Another page asked, so this was refused.", status_code=403)
        return None

    def _paired(self, headers: Headers, pairing: Pairing) -> bool:
        try:
            cookie = SimpleCookie(headers.get("cookie", "")).get(_cookie_name(headers.get("host", "")))
        except CookieError:
            return False
        return cookie is not None and pairing.knows(cookie.value)


async def _at_the_door(scope: Scope, receive: Receive, headers: Headers, pairing: Pairing) -> Response:
    """What a device gets that is not paired: the form, the answer to it, or nothing."""
    if scope["type"] == "websocket":
        return PlainTextResponse("", status_code=403)
    if scope["path"] != PAIR_PATH:
        if scope["method"] == "GET" and "text/html" in headers.get("accept", ""):
            return RedirectResponse(PAIR_PATH, status_code=303)
        return PlainTextResponse("This device is not paired.", status_code=403)
    if scope["method"] != "POST":
        return _door_page("")
    token = pairing.admit(await _said(Request(scope, receive)))
    if token is None:
        wait = pairing.locked_seconds
        said = f"Locked: try again in {wait:.0f} seconds." if wait else "That is not the code of this run."
        return _door_page(said, status=429 if wait else 403)
    answer = RedirectResponse("/", status_code=303)
    answer.set_cookie(_cookie_name(headers.get("host", "")), token, httponly=True, samesite="lax", path="/")
    return answer


async def _said(request: Request) -> str:
    body = b""
    async for part in request.stream():
        body += part
        if len(body) > _LONGEST_FORM:
            return ""
    return parse_qs(body.decode("ascii", errors="replace")).get("code", [""])[0]


def _door_page(said: str, *, status: int = 200) -> Response:
    page = (resources.files("dashboard.server") / "door.html").read_text(encoding="utf-8")
    body = page.replace("<!-- said -->", said)
    return HTMLResponse(body, status_code=status, headers={"cache-control": "no-store"})


def _name_of(address: str) -> str:
    try:
        return (urlsplit(address).hostname or "").casefold().rstrip(".")
    except ValueError:
        return ""


def _cookie_name(host: str) -> str:
    """Cookies do not know ports: two dashboards on one machine must not share one."""
    return f"benchdays-{host.rpartition(':')[2] if ':' in host else 80}"


def _with_rules(send: Send, host: str, link: str = "") -> Send:
    """Put the rules of the page on every answer: it reaches this server and nothing else."""
    rules = (
        f"default-src 'self'; script-src {_SCRIPTS}; style-src 'self' 'unsafe-inline'; "
        f"img-src 'self' data: blob:; font-src 'self' data:; connect-src 'self' ws://{host}; "
        "worker-src 'self' blob:; object-src 'none'; base-uri 'self'; form-action 'self'; "
        "frame-ancestors 'none'"
    )

    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            headers["content-security-policy"] = rules
            headers["referrer-policy"] = "same-origin"
            headers["x-content-type-options"] = "nosniff"
            if link and headers.get("content-type", "").startswith("text/html"):
                headers["link"] = link
        await send(message)

    return sending
