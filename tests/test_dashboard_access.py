"""The access check of the server: hosts, origins, the pairing code, and the headers of every response."""

import asyncio
import ipaddress
import string

import pytest

from dashboard.server.guard import Guard
from dashboard.server.opening import Opening
from dashboard.server.pairing import ALPHABET, CODE_LENGTH, LOCK_SECONDS, Pairing, new_code, spaced
from dashboard.server.serve import (
    free_port,
    home_address,
    host_names,
    qr_picture,
    server_settings,
    welcome,
)
from forecast.errors import UsageError

CODE = "ABCDE12345"
HOST = "192.168.7.20:8501"


class Clock:
    """A clock that the test sets."""

    def __init__(self):
        self.now = 1000.0

    def __call__(self):
        return self.now


async def _inside(scope, receive, send):
    if scope["type"] == "http":
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": b"inside"})
    else:
        await send({"type": "websocket.accept"})


def ask(guard, path="/", *, kind="http", method="GET", body=b"", **headers):
    """One request, through the guard; the messages that came back."""
    sent = []
    named = {"host": HOST, **{k.replace("_", "-"): v for k, v in headers.items()}}
    scope = {
        "type": kind, "path": path, "method": method, "query_string": b"",
        "headers": [(k.encode(), v.encode()) for k, v in named.items()],
    }  # fmt: skip

    async def receive():
        return {"type": "http.request", "body": body, "more_body": False}

    async def send(message):
        sent.append(message)

    asyncio.run(guard(scope, receive, send))
    return sent


def status(sent):
    return sent[0]["status"]


def header(sent, name):
    return dict(sent[0]["headers"]).get(name.encode(), b"").decode()


def text(sent):
    return sent[1]["body"].decode()


@pytest.fixture
def pairing():
    return Pairing(CODE, clock=Clock())


@pytest.fixture
def guard(pairing):
    return Guard(_inside, ["192.168.7.20", "barn.local"], pairing)


def paired(guard):
    sent = ask(guard, "/pair", method="POST", body=f"code={CODE}".encode())
    return header(sent, "set-cookie").split(";")[0]


def test_a_code_has_fifty_bits_and_no_letters_that_look_alike():
    assert len(ALPHABET) ** CODE_LENGTH == 2**50
    assert set(ALPHABET) == set(string.digits + string.ascii_uppercase) - set("ILOU")
    codes = {new_code() for _ in range(200)}
    assert len(codes) == 200
    assert all(set(code) <= set(ALPHABET) for code in codes)


@pytest.mark.parametrize("said", ["ABCDE12345", "abcde-12345", " abcde 12345 ", "ABCDEl2345", "abcde-i2345"])
def test_the_code_is_accepted_however_it_is_typed(said):
    assert Pairing(CODE).admit(said) is not None


def test_five_wrong_tries_lock_even_the_right_code_out_for_a_minute():
    clock = Clock()
    pairing = Pairing(CODE, clock=clock)
    assert [pairing.admit("wrong") for _ in range(5)] == [None] * 5
    assert pairing.admit(CODE) is None
    clock.now += LOCK_SECONDS - 0.5
    assert pairing.admit(CODE) is None
    clock.now += 1.0
    assert pairing.admit(CODE) is not None


def test_four_wrong_tries_do_not_lock():
    pairing = Pairing(CODE, clock=Clock())
    for _ in range(4):
        pairing.admit("wrong")
    assert pairing.admit(CODE) is not None


def test_a_lock_does_not_put_a_paired_device_out():
    pairing = Pairing(CODE, clock=Clock())
    token = pairing.admit(CODE)
    for _ in range(5):
        pairing.admit("wrong")
    assert pairing.knows(token)


def test_another_run_knows_no_device_of_this_one():
    assert not Pairing(CODE).knows(Pairing(CODE).admit(CODE))


@pytest.mark.parametrize("path", ["/", "/log", "/_stcore/upload_file/a/b", "/media/x.csv", "/static/js/a.js"])
def test_without_the_code_nothing_is_reached(guard, path):
    for method in ("GET", "PUT", "POST", "DELETE"):
        sent = ask(guard, path, method=method)
        assert status(sent) == 403
        assert "inside" not in text(sent)


def test_without_the_code_no_websocket_is_opened(guard):
    assert ask(guard, "/_stcore/stream", kind="websocket")[0]["type"] == "websocket.close"


def test_a_browser_is_sent_to_the_pairing_page(guard):
    sent = ask(guard, "/log", accept="text/html")
    assert (status(sent), header(sent, "location")) == (303, "/pair")
    assert "The code in the terminal" in text(ask(guard, "/pair"))


def test_the_right_code_opens_pages_and_websocket(guard):
    cookie = paired(guard)
    assert text(ask(guard, "/", cookie=cookie)) == "inside"
    assert ask(guard, "/_stcore/stream", kind="websocket", cookie=cookie)[0]["type"] == "websocket.accept"


def test_neither_scripts_nor_other_sites_get_the_cookie(guard):
    sent = ask(guard, "/pair", method="POST", body=f"code={CODE}".encode())
    words = header(sent, "set-cookie").casefold()
    assert "httponly" in words
    assert "samesite=lax" in words


def test_a_wrong_code_and_a_lock_are_reported(guard):
    answers = [ask(guard, "/pair", method="POST", body=b"code=nope") for _ in range(6)]
    assert [status(a) for a in answers] == [403] * 4 + [429] * 2
    assert "not the code" in text(answers[0])
    assert "try again in 60 seconds" in text(answers[5])


def test_a_form_of_a_megabyte_is_not_read(guard):
    sent = ask(guard, "/pair", method="POST", body=f"code={CODE}&x=".encode() + b"a" * 1_000_000)
    assert status(sent) == 403


@pytest.mark.parametrize("cookie", ["benchdays-8501=", "benchdays-8501=guess", "=;;", "a" * 9000])
def test_an_invented_cookie_does_not_open(guard, cookie):
    assert status(ask(guard, "/", cookie=cookie)) == 403


@pytest.mark.parametrize(
    "host", ["evil.example", "192.168.7.20.evil.example", "", "192.168.7.21:8501", "[::"]
)
def test_a_foreign_host_is_refused_before_anything_else(guard, host):
    assert status(ask(guard, "/pair", host=host)) == 421
    assert ask(guard, "/_stcore/stream", kind="websocket", host=host)[0]["type"] == "websocket.close"


@pytest.mark.parametrize("origin", ["http://evil.example", "http://192.168.7.20:9000", "null"])
def test_a_crossed_origin_may_neither_write_nor_listen(guard, origin):
    cookie = paired(guard)
    crossed = ask(guard, "/_stcore/stream", kind="websocket", cookie=cookie, origin=origin)
    assert crossed[0]["type"] == "websocket.close"
    assert status(ask(guard, "/_stcore/upload_file/a/b", method="PUT", cookie=cookie, origin=origin)) == 403
    posted = ask(guard, "/pair", method="POST", body=f"code={CODE}".encode(), origin=origin)
    assert "set-cookie" not in dict(posted[0]["headers"])


def test_the_own_origin_may(guard):
    sent = ask(guard, "/_stcore/stream", kind="websocket", cookie=paired(guard), origin=f"http://{HOST}")
    assert sent[0]["type"] == "websocket.accept"


def test_this_machine_alone_needs_no_code():
    guard = Guard(_inside, ["127.0.0.1", "localhost"])
    assert text(ask(guard, host="localhost:8501")) == "inside"
    assert status(ask(guard, host="evil.example")) == 421


def test_every_answer_forbids_the_page_to_reach_elsewhere(guard):
    rules = header(ask(guard, "/pair"), "content-security-policy")
    assert "default-src 'self'" in rules
    assert f"connect-src 'self' ws://{HOST};" in rules
    assert "img-src 'self' data: blob:" in rules
    assert "frame-ancestors 'none'" in rules


def test_the_settings_keep_to_one_address_and_tell_nobody():
    settings = server_settings("127.0.0.1", 8501, ["127.0.0.1", "localhost"])
    assert settings["server.address"] == "127.0.0.1"
    assert settings["server.allowedHosts"] == ["127.0.0.1", "localhost"]
    assert settings["browser.gatherUsageStats"] is False
    assert settings["server.maxUploadSize"] <= 5
    assert settings["client.showErrorDetails"] == "none"
    assert settings["server.enableXsrfProtection"] is True
    assert settings["server.enableCORS"] is True


def test_every_setting_is_known_to_the_server():
    from streamlit import config

    unknown = set(server_settings("127.0.0.1", 8501, [])) - set(config._config_options_template)
    assert unknown == set()


def test_the_terminal_shows_who_has_access():
    lines = "\n".join(welcome("192.168.7.20", 8501, Pairing(CODE)))
    assert spaced(CODE) in lines
    assert "http://192.168.7.20:8501" in lines
    assert "not encrypted" in lines
    assert "Five wrong codes" in lines
    alone = "\n".join(welcome("127.0.0.1", 8501, None))
    assert "this machine only" in alone


def test_the_qr_picture_is_square_and_small_enough_for_a_terminal():
    picture = qr_picture(f"http://192.168.7.20:8501/pair#{CODE}").splitlines()
    assert len(picture) <= 24
    assert max(len(line) for line in picture) <= 80


def test_a_taken_port_is_reported():
    import socket

    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        taken = other.getsockname()[1]
        with pytest.raises(UsageError, match=f"--port: {taken} is taken"):
            free_port("127.0.0.1", taken)
        assert free_port("127.0.0.1", None) != taken


def _on_network(monkeypatch, address):
    class Probe:
        def __enter__(self):
            return self

        def __exit__(self, *_):
            return None

        def connect(self, _):
            if address is None:
                raise OSError("unreachable")

        def getsockname(self):
            return (address, 9)

    monkeypatch.setattr("dashboard.server.serve.socket.socket", lambda *_: Probe())


def test_a_home_address_is_taken(monkeypatch):
    _on_network(monkeypatch, "192.168.7.20")
    assert home_address() == "192.168.7.20"
    assert ipaddress.ip_address(host_names("192.168.7.20")[0]).is_private


@pytest.mark.parametrize("address", ["8.8.8.8", "127.0.0.1", "0.0.0.0", None])
def test_neither_a_public_address_nor_none_is_opened(monkeypatch, address):
    _on_network(monkeypatch, address)
    with pytest.raises(UsageError, match="--lan"):
        home_address()


def test_an_opening_is_plain_and_frozen(tmp_path):
    opening = Opening(folder=tmp_path)
    assert (opening.runs, opening.seed, opening.as_of) == (10_000, 0, None)
    assert opening.settings.runs == 10_000
