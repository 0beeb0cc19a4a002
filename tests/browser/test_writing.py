"""What is written from a browser: sessions, changes, undo, two tabs and a command at once."""

import csv
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from datetime import date

import pytest

from forecast.files.entry import log_session
from forecast.files.folder import read_build
from tests.browser.driving import ROOT, settle, turn_to

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("writing")]


def open_log(page, place):
    page.goto(f"{place}/the-log")
    settle(page, charts=False)


def tap_hours(page, hours):
    page.locator("[data-testid=stButtonGroup]").first.get_by_role("radio", name=hours, exact=True).click()


def save(page):
    page.get_by_role("button", name="Save", exact=True).click()
    page.wait_for_selector("text=Wrote log.csv")
    settle(page, charts=False)


def rows_of(folder):
    with (folder / "log.csv").open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_a_session_on_a_phone_takes_two_taps_and_less_than_fifteen_seconds(phone, own):
    folder, place = own
    before = len(rows_of(folder))
    open_log(phone, place)
    begun = time.perf_counter()
    tap_hours(phone, "2.5")
    save(phone)
    took = time.perf_counter() - begun
    rows = rows_of(folder)
    assert len(rows) == before + 1
    assert (rows[-1]["date"], rows[-1]["hours"]) == (date.today().isoformat(), "2.5")
    assert took < 15


def test_the_targets_on_a_phone_are_large_and_save_is_seen_at_once(phone, own):
    _, place = own
    open_log(phone, place)
    for name in ("0.5", "2.5", "5"):
        box = (
            phone.get_by_role("radio", name=name, exact=True)
            .locator("xpath=ancestor-or-self::*[1]")
            .bounding_box()
        )
        assert box["height"] >= 44
    box = phone.get_by_role("button", name="Save", exact=True).bounding_box()
    assert box["height"] >= 48
    assert box["y"] + box["height"] < 844


def test_a_saved_session_can_be_undone(page, own):
    folder, place = own
    before = (folder / "log.csv").read_bytes()
    open_log(page, place)
    tap_hours(page, "1.5")
    save(page)
    page.get_by_role("button", name="Undo the last change").click()
    page.wait_for_selector("text=log.csv: removed")
    assert (folder / "log.csv").read_bytes() == before


def test_a_row_is_changed_in_place(page, own):
    folder, place = own
    open_log(page, place)
    page.get_by_text("Change or delete a row").click()
    cell = page.get_by_label("Note").last
    cell.fill("swept, and put the drills away")
    cell.press("Enter")
    page.wait_for_selector("text=note changed")
    assert rows_of(folder)[-1]["note"] == "swept, and put the drills away"


def test_a_wrong_entry_is_explained_and_what_was_typed_stays(page, own):
    folder, place = own
    before = (folder / "log.csv").read_bytes()
    open_log(page, place)
    page.get_by_text("More: pieces, other hours").click()
    page.get_by_label("Other hours, as 2:15").fill("25")
    page.get_by_role("button", name="Save", exact=True).click()
    page.wait_for_selector("text=must be hours as 2.5 or 2:30")
    assert (folder / "log.csv").read_bytes() == before
    assert page.get_by_label("Other hours, as 2:15").input_value() == "25"


def test_two_tabs_and_a_command_writing_at_once_lose_nothing(page, own):
    folder, place = own
    before = len(rows_of(folder))
    other = page.context.new_page()
    for tab in (page, other):
        open_log(tab, place)
        tap_hours(tab, "0.5")
    words = [
        sys.executable, "-m", "forecast.cli", "log", str(folder), "--hours", "3",
    ]  # fmt: skip
    with ThreadPoolExecutor(2) as pool:
        command = pool.submit(subprocess.run, words, cwd=ROOT, check=True, capture_output=True)
        calls = [pool.submit(log_session, folder, day=date.today(), hours="1") for _ in range(5)]
        save(page)
        save(other)
        command.result()
        for call in calls:
            call.result()
    other.close()
    hours = sorted(row["hours"] for row in rows_of(folder)[before:])
    assert hours == ["0.5", "0.5", "1", "1", "1", "1", "1", "3"]


def test_a_page_reports_changed_files_and_updates(page, own):
    folder, place = own
    page.goto(f"{place}/method")
    settle(page, charts=False)
    sessions = len(read_build(folder).sessions)
    log_session(folder, day=date.today(), hours="1")
    page.wait_for_selector("text=changed since this page was drawn", timeout=20_000)
    page.get_by_role("button", name="Update the page").click()
    page.wait_for_selector("text=changed since this page was drawn", state="detached")
    turn_to(page, "Finish dates", charts=True)
    page.wait_for_selector(f"text=/, {sessions + 1} sessions/", timeout=60_000)
