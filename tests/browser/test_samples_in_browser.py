"""Every page of every sample in a browser; sessions, changes and sheets written to a copy of each."""

import csv
from datetime import date, timedelta

import pytest

from tests.browser.driving import offered, settle, taken_away, turn_to, work_done
from tests.browser.test_looking import CHARTED
from tests.browser.test_writing import rows_of, save, tap_hours

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("samples")]
DAY = date.today() - timedelta(days=1)


def undo(page):
    page.get_by_role("button", name="Undo the last change").click()
    page.wait_for_selector("[data-testid=stAlertContentSuccess]:has-text('removed')")
    settle(page, charts=False)


def test_every_page_of_every_sample_is_drawn(sample):
    _, page = sample
    settle(page, charts=False)
    names = offered(page)
    assert len(names) >= 8
    for name in names:
        turn_to(page, name, charts=name in CHARTED and name != "Track record")
        assert page.locator("h1").count() == 1
        assert page.locator("[data-testid=stAlertContentError], [data-testid=stException]").count() == 0


def test_the_table_of_the_dates_of_each_sample_is_taken_away(sample):
    _, page = sample
    turn_to(page, "Finish dates", charts=True)
    work_done(page)
    page.locator("[data-testid=stExpander] summary").first.click()
    _, table = taken_away(page, "Table as CSV")
    rows = list(csv.DictReader(table.decode("utf-8-sig").splitlines()))
    assert rows[-1]["Stage"] == "Whole build"
    assert all(row["80 % sure"] for row in rows)


def test_the_slider_moves_the_schedule_of_each_sample(sample):
    _, page = sample
    turn_to(page, "Solo or two", charts=True)
    said = page.locator(".stMain").inner_text()
    slider = page.get_by_role("slider").first
    slider.focus()
    slider.press("End")
    page.wait_for_function(
        "said => document.querySelector('.stMain').innerText.replace(/^.*hours per week.*$/m, '')"
        " !== said.replace(/^.*hours per week.*$/m, '')",
        arg=said,
    )
    settle(page)


def test_a_session_is_written_to_each_sample_and_undone(sample):
    folder, page = sample
    before, count = (folder / "log.csv").read_bytes(), len(rows_of(folder))
    turn_to(page, "The log")
    tap_hours(page, "2")
    save(page)
    assert len(rows_of(folder)) == count + 1
    undo(page)
    assert (folder / "log.csv").read_bytes() == before


def test_a_row_of_each_sample_is_changed_and_changed_back(sample):
    folder, page = sample
    before = (folder / "log.csv").read_bytes()
    turn_to(page, "The log")
    work_done(page)
    page.get_by_text("Change or delete a row").click()
    cell = page.get_by_label("Note").last
    cell.fill("from the phone")
    cell.press("Enter")
    page.wait_for_selector("text=note changed")
    assert [r["note"] for r in rows_of(folder)].count("from the phone") == 1
    undo(page)
    assert (folder / "log.csv").read_bytes() == before


def test_a_sheet_is_previewed_and_taken_into_each_sample(sample):
    folder, page = sample
    task = next(r["task"] for r in reversed(rows_of(folder)) if r["task"])
    before = rows_of(folder)
    sheet = f"Date;Hours;Task\n{DAY - timedelta(days=1)};2.5;{task}\n{DAY};1.25;{task}\n"
    turn_to(page, "The log")
    work_done(page)
    page.get_by_text("Import a spreadsheet").click()
    page.locator("[data-testid=stFileUploader]").wait_for(state="visible")
    page.locator("input[type=file]").set_input_files(
        files=[{"name": "../../etc/hours.csv", "mimeType": "text/csv", "buffer": sheet.encode()}]
    )
    page.wait_for_selector("text=Date -> date")
    settle(page, charts=False)
    assert rows_of(folder) == before
    page.get_by_role("button", name="Write 2 rows").click()
    page.wait_for_selector("text=2 rows added to the log.")
    new = [row for row in rows_of(folder) if row not in before]
    assert sorted(row["hours"] for row in new) == ["1.25", "2.5"]
    assert not list(folder.parent.rglob("hours.csv"))
