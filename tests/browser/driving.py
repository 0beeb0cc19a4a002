"""A dashboard in a process of its own and a browser that looks at it."""

import contextlib
import os
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from urllib.request import urlopen

from playwright.sync_api import BrowserContext, Page, sync_playwright

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
    until = time.monotonic() + 60
    while time.monotonic() < until:
        if server.poll() is not None:
            said.seek(0)
            raise RuntimeError(f"the dashboard stopped: {said.read().decode()}")
        with contextlib.suppress(OSError), urlopen(f"{place}/_stcore/health", timeout=2):
            return
        time.sleep(0.1)
    raise RuntimeError("the dashboard did not answer within a minute")


@contextlib.contextmanager
def browser(**more) -> Iterator[BrowserContext]:
    """A chromium with nothing in it."""
    with tempfile.TemporaryDirectory() as profile, sync_playwright() as play:
        context = play.chromium.launch_persistent_context(
            profile, executable_path=str(CHROMIUM), headless=True, args=list(ARGUMENTS), **more
        )
        try:
            yield context
        finally:
            context.close()


def settle(page: Page, *, charts: bool = True, timeout: float = 60_000) -> None:
    """Wait until the page is drawn and nothing runs any more."""
    page.wait_for_selector("h1", timeout=timeout)
    page.wait_for_function(
        "document.querySelector('.stApp')?.dataset.testScriptState === 'notRunning'", timeout=timeout
    )
    if charts:
        page.wait_for_selector(
            "[data-testid=stVegaLiteChart] svg.marks, [data-testid=stVegaLiteChart] canvas.marks",
            timeout=timeout,
        )


def sideways(page: Page) -> int:
    """By how many pixels the page can be scrolled sideways."""
    return page.evaluate(
        "Math.max(...[document.documentElement, document.body,"
        " ...document.querySelectorAll('.stMain, .stMainBlockContainer')]"
        ".map(e => e.scrollWidth - e.clientWidth))"
    )
