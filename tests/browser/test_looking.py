"""What is seen in a browser: charts, texts, widths, and nothing that leaves the machine."""

import json
import time
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from axe_playwright_python.sync_playwright import Axe

from tests.browser.driving import PHONE, served, settle, sideways
from tests.dashboard_build import write_kit

pytestmark = pytest.mark.browser
PAGES = {
    "": "Finish dates",
    "the-log": "The log",
    "tonight": "Tonight",
    "burn-down": "Burn-down",
    "solo-or-two": "Solo or two",
    "over-estimate": "Over estimate",
    "time-at-the-bench": "Time at the bench",
    "orders": "Orders",
    "track-record": "Track record",
    "method": "Method",
}
CHARTED = ["", "burn-down", "solo-or-two", "over-estimate", "time-at-the-bench", "orders", "track-record"]


def visit(page, place, address, *, charts=False):
    page.goto(f"{place}/{address}")
    settle(page, charts=charts)


@pytest.mark.parametrize("address", PAGES)
def test_on_a_phone_nothing_scrolls_sideways(phone, place, address):
    visit(phone, place, address, charts=address in CHARTED)
    for opener in phone.locator("[data-testid=stExpander] summary").all():
        opener.click()
    phone.wait_for_timeout(300)
    assert sideways(phone) == 0


@pytest.mark.parametrize("address", CHARTED)
def test_every_chart_is_drawn_and_tells_what_it_shows(page, place, address):
    visit(page, place, address, charts=True)
    charts = page.locator("[data-testid=stVegaLiteChart][role=graphics-document]")
    assert charts.count() >= 1
    for chart in charts.all():
        assert len(chart.get_attribute("aria-label")) > 40
        assert chart.locator("svg.marks").bounding_box()["height"] > 80


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("address", PAGES)
def test_axe_finds_nothing_serious(page, place, address, scheme):
    page.emulate_media(color_scheme=scheme)
    visit(page, place, address, charts=address in CHARTED)
    found = Axe().run(page).response["violations"]
    serious = [
        (v["id"], [node["html"][:160] for node in v["nodes"]])
        for v in found
        if v["impact"] in ("serious", "critical")
    ]
    assert not serious, json.dumps(serious, indent=1)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_words_in_a_chart_have_the_colour_of_the_page(page, place, scheme):
    page.emulate_media(color_scheme=scheme)
    visit(page, place, "", charts=True)
    colours = page.evaluate(
        """() => [getComputedStyle(document.querySelector('h1')).color,
        ...[...document.querySelectorAll('[data-testid=stVegaLiteChart] svg text')]
          .map(t => getComputedStyle(t).fill)]"""
    )
    assert len(colours) > 10
    assert len(set(colours)) == 1


def test_no_request_leaves_the_machine(page, place):
    for address in PAGES:
        visit(page, place, address, charts=address in CHARTED)
    hosts = {urlsplit(url).hostname for url in page.asked if urlsplit(url).scheme not in ("data", "blob")}
    assert len(page.asked) > 50
    assert hosts == {"127.0.0.1"}


def test_text_of_the_builder_fetches_nothing_and_is_shown_as_text(page, tmp_path):
    trick = '![x](http://evil.example/p.png) <img src="http://evil.example/i.png" onerror="alert(1)"> =1+1'
    folder = write_kit(tmp_path / "tricky")
    quoted = trick.replace('"', '""')
    plan = (folder / "plan.csv").read_text().replace("Wire hull part 4", f'"{quoted}"').replace('""""', '"')
    (folder / "plan.csv").write_text(plan)
    log = (folder / "log.csv").read_text().replace("swept the shop", f'"{quoted}"')
    (folder / "log.csv").write_text(log)
    (folder / "build.toml").write_text(f"name = '{trick}'\n[[builder]]\nid = 'A'\n[[builder]]\nid = 'B'\n")
    with served(folder, "--as-of", "2026-06-30", "--runs", "200") as place:
        for address in PAGES:
            visit(page, place, address)
        page.goto(f"{place}/the-log")
        settle(page, charts=False)
        assert trick in page.locator("table.figures").first.inner_text()
        page.locator("[data-testid=stSelectbox] input").first.click()
        assert page.get_by_role("option", name=trick).count() == 1
    hosts = {urlsplit(url).hostname for url in page.asked if urlsplit(url).scheme not in ("data", "blob")}
    assert hosts == {"127.0.0.1"}
    assert page.locator("img[src*=evil]").count() == 0


def test_a_picture_from_elsewhere_is_refused_by_the_rules_of_the_page(page, place):
    visit(page, place, "method")
    blocked = page.evaluate(
        """() => new Promise(done => {
          document.addEventListener('securitypolicyviolation', e => done(e.violatedDirective));
          const picture = new Image(); picture.src = 'http://evil.example/p.png';
          document.body.append(picture); setTimeout(() => done('loaded'), 3000); })"""
    )
    assert blocked == "img-src"


def test_table_and_picture_can_be_taken_away(page, place):
    visit(page, place, "", charts=True)
    page.locator("[data-testid=stExpander] summary").first.click()
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Table as CSV").first.click()
    table = Path(waiting.value.path()).read_bytes().decode("utf-8-sig")
    assert waiting.value.suggested_filename == "finish-dates.csv"
    assert table.splitlines()[0] == "Stage,Person-hours left,Even odds,80 % sure,9 in 10 hours done"
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Picture as PNG").first.click()
    assert waiting.value.suggested_filename == "finish-dates.png"
    assert Path(waiting.value.path()).read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"


def test_the_pages_are_reached_by_their_names(page, place):
    visit(page, place, "", charts=True)
    for address, name in list(PAGES.items())[1:]:
        page.locator("[data-testid=stSidebarNav]").get_by_text(name, exact=True).click()
        page.wait_for_url(f"**/{address}")
        settle(page, charts=False)


def test_the_slider_of_a_second_builder_answers_within_a_second_or_two(page, place):
    visit(page, place, "solo-or-two", charts=True)
    page.wait_for_selector("text=What it rests on", timeout=60_000)
    slider = page.get_by_role("slider").first
    said = page.locator("h1").inner_text()
    slider.focus()
    begun = time.perf_counter()
    for _ in range(4):
        slider.press("ArrowRight")
    page.wait_for_function("said => document.querySelector('h1').innerText !== said", arg=said)
    assert time.perf_counter() - begun < 15


def test_a_phone_turned_to_dark_shows_the_answer_without_scrolling(phone, place):
    phone.emulate_media(color_scheme="dark")
    visit(phone, place, "", charts=True)
    box = phone.locator("h1").bounding_box()
    assert box["y"] + box["height"] < PHONE["height"] / 2
