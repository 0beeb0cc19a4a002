"""Every page of every sample in a browser, and a session written to a copy of each."""

import pytest

from tests.browser.driving import settle
from tests.browser.test_looking import CHARTED, visit
from tests.browser.test_writing import open_log, rows_of, save, tap_hours

pytestmark = pytest.mark.browser


def test_every_page_of_every_sample_is_drawn(page, sample):
    _, place = sample
    page.goto(place)
    settle(page, charts=False)
    links = page.locator("[data-testid=stSidebarNavLink]")
    offered = [str(links.nth(i).get_attribute("href")).rpartition("/")[2] for i in range(links.count())]
    assert len(offered) >= 8
    for address in offered:
        visit(page, place, address, charts=address in CHARTED and address != "track-record")
        assert page.locator("h1").count() == 1
        assert page.locator("[data-testid=stAlertContentError], [data-testid=stException]").count() == 0


def test_a_session_is_written_to_each_sample(page, sample):
    folder, place = sample
    before = len(rows_of(folder))
    open_log(page, place)
    tap_hours(page, "2")
    save(page)
    assert len(rows_of(folder)) == before + 1
    page.get_by_role("button", name="Take the last change back").click()
    page.wait_for_selector("text=took out")
    assert len(rows_of(folder)) == before
