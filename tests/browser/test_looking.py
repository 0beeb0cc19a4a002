"""What is seen in a browser: charts, texts, widths, and nothing that leaves the machine."""

import http.client
import json
import shutil
import time
from urllib.parse import urlsplit

import pytest

from tests.browser.conftest import TRICK, hosts, opened
from tests.browser.driving import PHONE, ROOT, look, offered, served, settle, taken_away, turn_to, work_done

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("looking")]
PAGES = (
    "Finish dates", "The log", "Tonight", "Burn-down", "Solo or two", "Over estimate", "Time at the bench",
    "Orders", "Track record", "Method",
)  # fmt: skip
CHARTED = (
    "Finish dates",
    "Burn-down",
    "Solo or two",
    "Over estimate",
    "Time at the bench",
    "Orders",
    "Track record",
)


@pytest.fixture(scope="module")
def seen(chromium, place):
    """Every page looked at once: (name -> what was seen, the hosts that were asked, how much was asked)."""
    page = opened(chromium)
    page.goto(place)
    settle(page)
    found = {}
    for name in offered(page):
        turn_to(page, name, charts=name in CHARTED)
        found[name] = look(page)
    asked = hosts(page)
    strangers = page.locator("img[src*=evil]").count()
    page.close()
    return found, asked, strangers


def test_every_page_is_reached_by_its_name(seen):
    assert tuple(seen[0]) == PAGES


@pytest.mark.parametrize("name", PAGES)
def test_a_page_has_one_answer_and_no_error(seen, name):
    assert (seen[0][name].headings, seen[0][name].errors) == (1, 0)


@pytest.mark.parametrize("name", PAGES)
def test_on_a_phone_nothing_scrolls_sideways(seen, name):
    assert seen[0][name].sideways == 0


@pytest.mark.parametrize("name", CHARTED)
def test_every_chart_is_drawn_and_described(seen, name):
    assert seen[0][name].charts
    for label, height in seen[0][name].charts:
        assert len(label) > 40
        assert height > 80


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("name", PAGES)
def test_axe_finds_nothing_serious(seen, name, scheme):
    assert not seen[0][name].serious[scheme], json.dumps(seen[0][name].serious[scheme], indent=1)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_words_in_the_charts_have_the_colour_of_the_page(seen, scheme):
    for name in CHARTED:
        assert len(set(seen[0][name].colours[scheme])) == 1


def test_no_request_leaves_the_machine_whatever_the_builder_writes(seen):
    _, asked, strangers = seen
    assert asked == {"127.0.0.1"}
    assert strangers == 0


def test_text_of_the_builder_is_shown_as_text(page, place):
    page.goto(f"{place}/the-log")
    settle(page, charts=False)
    assert TRICK in page.locator("table.figures").first.inner_text()
    page.locator("[data-testid=stSelectbox] input").first.click()
    assert page.get_by_role("option", name=TRICK).count() == 1
    assert TRICK in page.title()
    page.keyboard.press("Escape")
    turn_to(page, "Orders", charts=True)
    assert TRICK in page.locator("h1").inner_text()
    assert hosts(page) == {"127.0.0.1"}


def test_a_picture_from_elsewhere_is_refused_by_the_rules_of_the_page(page, place):
    page.goto(f"{place}/method")
    settle(page, charts=False)
    blocked = page.evaluate(
        """() => new Promise(done => {
          document.addEventListener('securitypolicyviolation', e => done(e.violatedDirective));
          const picture = new Image(); picture.src = 'http://evil.example/p.png';
          document.body.append(picture); setTimeout(() => done('loaded'), 3000); })"""
    )
    assert blocked == "img-src"


def test_table_and_picture_can_be_taken_away(page, place):
    page.goto(place)
    settle(page)
    work_done(page)
    page.locator("[data-testid=stExpander] summary").first.click()
    name, table = taken_away(page, "Table as CSV")
    assert name == "finish-dates.csv"
    head = table.decode("utf-8-sig").splitlines()[0]
    assert head == "Stage,Person-hours left,Even odds,80 % sure,90 % of hours"
    name, picture = taken_away(page, "Picture as PNG")
    assert name == "finish-dates.png"
    assert picture[:8] == b"\x89PNG\r\n\x1a\n"


def test_the_slider_of_a_second_builder_answers(page, place):
    page.goto(f"{place}/solo-or-two")
    settle(page)
    page.wait_for_selector("text=What it rests on", timeout=60_000)
    said = page.locator("h1").inner_text()
    slider = page.get_by_role("slider").first
    slider.focus()
    begun = time.perf_counter()
    for _ in range(4):
        slider.press("ArrowRight")
    page.wait_for_function("said => document.querySelector('h1').innerText !== said", arg=said)
    assert time.perf_counter() - begun < 15


def test_a_phone_turned_to_dark_shows_the_answer_without_scrolling(phone, place):
    phone.emulate_media(color_scheme="dark")
    phone.goto(place)
    settle(phone)
    box = phone.locator("h1").bounding_box()
    assert box["y"] + box["height"] < PHONE["height"] / 2


UPGRADE = {
    "Connection": "Upgrade", "Upgrade": "websocket", "Sec-WebSocket-Version": "13",
    "Sec-WebSocket-Key": "dGhlIHNhbXBsZSBub25jZQ==", "Sec-WebSocket-Protocol": "streamlit",
}  # fmt: skip


def status(place, method, path, **headers):
    """What the server answers to a request that no browser of ours would send."""
    where = urlsplit(place)
    named = {"Host": where.netloc, **{k.replace("_", "-"): v for k, v in headers.items()}}
    connection = http.client.HTTPConnection(where.hostname, where.port, timeout=20)
    try:
        connection.request(method, path, headers=named)
        return connection.getresponse().status
    finally:
        connection.close()


@pytest.mark.parametrize("path", ["/", "/_stcore/health", "/_stcore/host-config", "/media/a.csv"])
def test_a_foreign_host_name_is_refused(place, path):
    assert status(place, "GET", path, Host="evil.example") == 421


def test_a_websocket_is_opened_for_the_own_page_only(place):
    assert status(place, "GET", "/_stcore/stream", **UPGRADE) == 101
    assert status(place, "GET", "/_stcore/stream", Origin="http://evil.example", **UPGRADE) == 403
    assert status(place, "GET", "/_stcore/stream", Host="evil.example", **UPGRADE) == 403


@pytest.mark.parametrize("method", ["PUT", "POST", "DELETE"])
def test_a_crossed_origin_may_neither_upload_nor_delete(place, method):
    assert status(place, method, "/_stcore/upload_file/a/b", Origin="http://evil.example") == 403


@pytest.mark.parametrize(
    "path", ["/static/../../../etc/passwd", "/media/..%2f..%2fetc%2fpasswd", "//etc/passwd"]
)
def test_a_path_out_of_the_server_is_no_file(place, path):
    where = urlsplit(place)
    connection = http.client.HTTPConnection(where.hostname, where.port, timeout=20)
    connection.request("GET", path)
    assert b"root:" not in connection.getresponse().read()
    connection.close()


def test_what_was_opened_stays_open_while_the_rest_is_worked_out(page, tmp_path):
    folder = shutil.copytree(ROOT / "sample_logs" / "dinghy", tmp_path / "dinghy")
    with served(folder, "--runs", "40000") as address:
        page.goto(address)
        settle(page)
        opened_by_hand = page.locator("[data-testid=stExpander] details").first
        opened_by_hand.locator("summary").click()
        was_waiting = page.get_by_text("Preliminary result from 500 runs").count()
        work_done(page)
        assert was_waiting == 1
        assert opened_by_hand.get_attribute("open") is not None
