"""The dashboard on the home network, asked from a network namespace of its own."""

import http.cookiejar
import re
import secrets
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from contextlib import contextmanager

import pytest

from tests.browser.driving import ROOT, free_port, settle, stop
from tests.dashboard_build import write_kit

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("network")]
HOME, GUEST = "192.168.203.1", "192.168.203.2"


def run(*words):
    return subprocess.run(words, check=True, capture_output=True, text=True)


@pytest.fixture(scope="module")
def guest():
    """Words that run a command on another machine of the home network, as far as the kernel can tell."""
    name = f"bd{secrets.token_hex(3)}"
    try:
        run("ip", "netns", "add", name)
    except (FileNotFoundError, subprocess.CalledProcessError):
        pytest.skip("no network namespace can be made here")
    try:
        run("ip", "link", "add", f"{name}a", "type", "veth", "peer", "name", f"{name}b", "netns", name)
        run("ip", "addr", "add", f"{HOME}/24", "dev", f"{name}a")
        run("ip", "link", "set", f"{name}a", "up")
        run("ip", "-n", name, "addr", "add", f"{GUEST}/24", "dev", f"{name}b")
        run("ip", "-n", name, "link", "set", f"{name}b", "up")
        run("ip", "-n", name, "link", "set", "lo", "up")
        yield ["ip", "netns", "exec", name]
    finally:
        subprocess.run(["ip", "netns", "delete", name], check=False, capture_output=True)
        subprocess.run(["ip", "link", "delete", f"{name}a"], check=False, capture_output=True)


@contextmanager
def opened_to_the_home_network(folder):
    """A dashboard with --lan on the address of this machine in that network: (address, port, code)."""
    port = free_port()
    words = ["benchdays", "dashboard", str(folder), "--lan", "--port", str(port), "--runs", "200"]
    start = (
        f"import dashboard.server.serve as s; s.home_address = lambda: {HOME!r}; "
        f"from forecast.cli import main; import sys; sys.argv = {words!r}; main()"
    )
    server = subprocess.Popen(
        [sys.executable, "-u", "-c", start], cwd=ROOT, text=True,
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
    )  # fmt: skip
    try:
        said, code = "", None
        while code is None:
            line = server.stdout.readline()
            assert line, said
            said += line
            code = re.search(r"^ {4}([0-9A-Z]{5}-[0-9A-Z]{5})$", line.rstrip("\n"))
        _wait(port)
        yield port, code[1]
    finally:
        stop(server)
        server.stdout.close()


def _wait(port):
    until = time.monotonic() + 60
    while time.monotonic() < until:
        try:
            socket.create_connection((HOME, port), timeout=1).close()
            return
        except OSError:
            time.sleep(0.1)
    raise RuntimeError("nothing listens on the home network")


@pytest.fixture(scope="module")
def opened(guest, tmp_path_factory):
    with opened_to_the_home_network(write_kit(tmp_path_factory.mktemp("lan"))) as (port, code):
        yield guest, port, code


PROBE = """
import http.client, sys
host, port, method, path = sys.argv[1], int(sys.argv[2]), sys.argv[3], sys.argv[4]
headers = dict(h.split("=", 1) for h in sys.argv[5:])
c = http.client.HTTPConnection(host, port, timeout=90)
c.request(method, path, headers=headers)
r = c.getresponse()
print(r.status); print(r.read().decode("latin-1")[:400])
"""
UPGRADE = {
    "Connection": "Upgrade", "Upgrade": "websocket", "Sec-WebSocket-Version": "13",
    "Sec-WebSocket-Key": "dGhlIHNhbXBsZSBub25jZQ==", "Sec-WebSocket-Protocol": "streamlit",
}  # fmt: skip


def asked(opened, method, path, **headers):
    guest, port, _ = opened
    words = [f"{k}={v}" for k, v in headers.items()]
    done = run(*guest, sys.executable, "-c", PROBE, HOME, str(port), method, path, *words)
    status, _, body = done.stdout.partition("\n")
    return int(status), body


@pytest.mark.parametrize(
    ("method", "path"),
    [
        ("GET", "/"), ("GET", "/the-log"), ("GET", "/_stcore/health"), ("GET", "/_stcore/host-config"),
        ("GET", "/static/js/index.js"), ("GET", "/media/a.csv"), ("PUT", "/_stcore/upload_file/a/b"),
        ("DELETE", "/_stcore/upload_file/a/b"), ("GET", "/../../etc/passwd"), ("GET", "//pair/.."),
    ],
)  # fmt: skip
def test_without_the_code_another_machine_reaches_nothing(opened, method, path):
    status, body = asked(opened, method, path)
    assert status in (303, 403)
    assert "Streamlit" not in body


def test_without_the_code_another_machine_opens_no_websocket(opened):
    assert asked(opened, "GET", "/_stcore/stream", **UPGRADE)[0] == 403


def test_a_foreign_host_name_is_refused(opened):
    assert asked(opened, "GET", "/pair", Host="evil.example")[0] == 421
    assert asked(opened, "GET", "/_stcore/stream", Host="evil.example", **UPGRADE)[0] == 403


def test_nothing_listens_on_other_addresses(opened):
    _, port, _ = opened
    with pytest.raises(OSError, match="refused"):
        socket.create_connection(("127.0.0.1", port), timeout=2)


def _paired(port, code):
    jar = http.cookiejar.CookieJar()
    opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(jar))
    with opener.open(f"http://{HOME}:{port}/pair", data=f"code={code}".encode(), timeout=90) as answer:
        return opener, answer.read().decode()


def test_with_the_code_the_pages_open(opened):
    _, port, code = opened
    _, answer = _paired(port, code.lower())
    assert "<title>Streamlit</title>" in answer


def test_a_crossed_origin_is_refused_even_from_a_paired_device(opened):
    _, port, code = opened
    opener, _ = _paired(port, code)
    request = urllib.request.Request(
        f"http://{HOME}:{port}/_stcore/upload_file/a/b", data=b"x", method="PUT",
        headers={"Origin": "http://evil.example"},
    )  # fmt: skip
    with pytest.raises(urllib.error.HTTPError) as refused:
        opener.open(request, timeout=90)
    assert refused.value.code == 403
    refused.value.close()


def test_a_phone_that_scans_the_picture_is_in(opened, page):
    _, port, code = opened
    page.goto(f"http://{HOME}:{port}/pair#{code}")
    settle(page, timeout=90_000)
    assert code.replace("-", "") not in page.url
    page.goto(f"http://{HOME}:{port}/the-log")
    settle(page, charts=False)


def test_five_wrong_codes_lock_pairing(opened):
    _, port, code = opened
    answers = []
    for said in [*["00000-00000"] * 5, code]:
        try:
            _paired(port, said)
            answers.append(200)
        except urllib.error.HTTPError as refused:
            answers.append(refused.code)
            refused.close()
    assert answers == [403] * 4 + [429, 429]
