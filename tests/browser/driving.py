"""A dashboard in a process of its own and a browser that looks at it."""

import contextlib
import os
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from urllib.request import urlopen

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import BrowserContext, Error, Page, sync_playwright

ROOT = Path(__file__).resolve().parents[2]
CHROMIUM = Path(os.environ.get("CHROMIUM", "/usr/bin/chromium"))
ARGUMENTS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip
WIDE = {"width": 1280, "height": 900}
PHONE = {"width": 390, "height": 844}


def free_port() -> int:
    """A port that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextlib.contextmanager
def served(folder: Path, *more: str, address: str = "127.0.0.1") -> Iterator[str]:
    """Start the dashboard on a folder, wait until it answers, give its address, stop it."""
    port = free_port()
    words = [sys.executable, "-m", "forecast.cli", "dashboard", str(folder), "--port", str(port), *more]
    environment = {k: v for k, v in os.environ.items() if not k.startswith("STREAMLIT_")}
    with tempfile.TemporaryFile() as said:
        server = subprocess.Popen(words, cwd=ROOT, env=environment, stdout=said, stderr=subprocess.STDOUT)
        try:
            _wait_until_it_answers(server, f"http://{address}:{port}", said)
            yield f"http://{address}:{port}"
        finally:
            stop(server)


def stop(server: subprocess.Popen) -> None:
    """End a server, whether or not a browser still listens to it."""
    server.terminate()
    try:
        server.wait(timeout=2)
    except subprocess.TimeoutExpired:
        server.kill()
        server.wait()


def _wait_until_it_answers(server, place, said) -> None:
    until = time.monotonic() + 150
    while time.monotonic() < until:
        if server.poll() is not None:
            said.seek(0)
            raise RuntimeError(f"the dashboard stopped: {said.read().decode()}")
        with contextlib.suppress(OSError), urlopen(f"{place}/_stcore/health", timeout=2):
            return
        time.sleep(0.1)
    raise RuntimeError("the dashboard did not answer")


@contextlib.contextmanager
def browser(**more) -> Iterator[BrowserContext]:
    """A chromium with nothing in it."""
    with tempfile.TemporaryDirectory() as profile, sync_playwright() as play:
        context = play.chromium.launch_persistent_context(
            profile, executable_path=str(CHROMIUM), headless=True, args=list(ARGUMENTS), **more
        )
        # A machine that does other work too is slow, not wrong.
        context.set_default_timeout(120_000)
        try:
            yield context
        finally:
            context.close()


_NOT_RUNNING = "document.querySelector('.stApp')?.dataset.testScriptState === 'notRunning'"
_NOTHING_WORKED_OUT = (
    "!document.querySelector('[data-testid=stSpinner]') && ![...document.querySelectorAll("
    "'[data-testid=stCaptionContainer]')].some(e => e.innerText.trim().endsWith('...'))"
    f" && {_NOT_RUNNING}"
)
_REST_MS = 600


def settle(page: Page, *, charts: bool = True, timeout: float = 150_000) -> None:
    """Wait until the page is drawn and nothing runs any more."""
    page.wait_for_selector("h1", timeout=timeout)
    page.wait_for_function(_NOT_RUNNING, timeout=timeout)
    if charts:
        page.wait_for_selector(
            "[data-testid=stVegaLiteChart] svg.marks, [data-testid=stVegaLiteChart] canvas.marks",
            timeout=timeout,
        )


def work_done(page: Page, *, timeout: float = 300_000) -> None:
    """Wait until the page says of nothing any more that it is being worked out, and has come to rest.

    Between two looks there may be a moment in which nothing is said: it must have lasted.
    """
    until, rested = time.monotonic() + timeout / 1000, False
    while not rested:
        assert time.monotonic() < until, "the page never came to rest"
        page.wait_for_function(_NOTHING_WORKED_OUT, timeout=timeout)
        page.wait_for_timeout(_REST_MS)
        rested = page.evaluate(_NOTHING_WORKED_OUT)
    settle(page, charts=False, timeout=timeout)


def taken_away(page: Page, button: str, *, tries: int = 3) -> tuple[str, bytes]:
    """Name and content of what the first button of this name gives.

    A click while the page is drawn anew asks for a file that is gone; a person clicks again.
    """
    for _ in range(tries):
        try:
            with page.expect_download(timeout=20_000) as waiting:
                page.get_by_role("button", name=button).first.click()
            return waiting.value.suggested_filename, Path(waiting.value.path()).read_bytes()
        except Error as problem:
            last = problem
            work_done(page)
    raise last


def sideways(page: Page) -> int:
    """By how many pixels the page can be scrolled sideways."""
    return page.evaluate(
        "Math.max(...[document.documentElement, document.body,"
        " ...document.querySelectorAll('.stMain, .stMainBlockContainer')]"
        ".map(e => e.scrollWidth - e.clientWidth))"
    )


def offered(page: Page) -> list[str]:
    """The names of the pages in the list at the side, whether it is unfolded or not."""
    return page.evaluate(
        "[...document.querySelectorAll('[data-testid=stSidebarNavLink]')].map(a => a.innerText.trim())"
    )


def turn_to(page: Page, name: str, *, charts: bool = False) -> None:
    """Click a page in the list and wait until it is drawn."""
    link = page.locator("[data-testid=stSidebarNavLink]", has_text=name)
    address = str(link.get_attribute("href"))
    link.evaluate("a => a.click()")
    page.wait_for_url(address if address.startswith("http") else f"**{address}")
    page.wait_for_function(
        "name => document.querySelector('[data-testid=stSidebarNavLink][aria-current=page]')"
        "?.innerText.trim() === name",
        arg=name,
    )
    settle(page, charts=charts)


def serious(page: Page) -> list[tuple[str, list[str]]]:
    """What axe holds against the page: rule and the places that break it."""
    return [
        (found["id"], [node["html"][:160] for node in found["nodes"]])
        for found in Axe().run(page).response["violations"]
        if found["impact"] in ("serious", "critical")
    ]


@dataclass(frozen=True, kw_only=True)
class Seen:
    """What was seen of one page."""

    headings: int
    errors: int
    charts: list[tuple[str, float]]
    serious: dict[str, list]
    colours: dict[str, list[str]]
    sideways: int


def look(page: Page) -> Seen:
    """One page that is drawn: its charts, its faults in light and dark, its width on a phone."""
    work_done(page)
    drawn = page.locator("[data-testid=stVegaLiteChart][role=graphics-document]")
    charts = [
        (str(c.get_attribute("aria-label")), c.locator("svg.marks").bounding_box()["height"])
        for c in drawn.all()
    ]
    page.evaluate(
        "document.querySelectorAll('[data-testid=stExpander] details:not([open]) summary')"
        ".forEach(e => e.click())"
    )
    page.wait_for_timeout(300)
    faults, colours = {}, {}
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        page.wait_for_timeout(350)
        page.wait_for_function("document.getAnimations().every(one => one.playState !== 'running')")
        faults[scheme] = serious(page)
        if faults[scheme]:  # half of the page may still have the other scheme's colours; a fault stays
            page.wait_for_timeout(2000)
            faults[scheme] = serious(page)
        colours[scheme] = words_in_charts(page)
    page.emulate_media(color_scheme="light")
    page.set_viewport_size(PHONE)
    page.wait_for_timeout(400)
    width = sideways(page)
    page.set_viewport_size(WIDE)
    return Seen(
        headings=page.locator("h1").count(),
        errors=page.locator("[data-testid=stAlertContentError], [data-testid=stException]").count(),
        charts=charts,
        serious=faults,
        colours=colours,
        sideways=width,
    )


def words_in_charts(page: Page) -> list[str]:
    """The colour of the heading, and those of all words in charts."""
    return page.evaluate(
        """() => [getComputedStyle(document.querySelector('h1')).color,
        ...new Set([...document.querySelectorAll('[data-testid=stVegaLiteChart] svg text')]
          .map(t => getComputedStyle(t).fill))]"""
    )
