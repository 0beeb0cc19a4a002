"""Dates as a calendar file, read back by a second library (vobject) and by the rules of RFC 5545."""

import re
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
import vobject
from hypothesis import given, settings
from hypothesis import strategies as st

from forecast.files.logbook import Away
from forecast.present.calendar import calendar_file, event_uid
from forecast.simulate.finish import forecast_finish
from forecast.simulate.outlook import Outlook
from forecast.simulate.settings import Settings
from tests.written_build import build_of

AS_OF = date(2026, 3, 10)
DELIVERIES = (
    "delivery,title,ordered,lead_weeks_low,lead_weeks_likely,lead_weeks_high,arrived,needed_for\n"
    "engine,Engine and mount,,4,6,9,,wing\nwing-kit,Wing kit,2026-02-02,4,6,9,,wing\n"
    "tail-kit,Tail kit,2026-01-02,1,2,3,2026-02-01,tail\n"
)
PLAN = (
    "task,stage,title,type,quantity,after,delivery\nD1,tail,Drill ribs,drill,6,,tail-kit\n"
    "R1,tail,Rivet ribs,rivet,40,D1,\nW1,wing,Fit spar,fit,1,R1,wing-kit\n"
)
FAMILY = Away(builder="A", start=date(2026, 4, 1), end=date(2026, 4, 9), reason="family")


@pytest.fixture(scope="module")
def played(tmp_path_factory) -> Outlook:
    build = build_of(tmp_path_factory.mktemp("kept") / "mine", plan_csv=PLAN, deliveries_csv=DELIVERIES)
    return forecast_finish(build, AS_OF, Settings(runs=20, horizon_years=2))


def outlook_with(played, *, tail=30.0, wing=90.0, as_of=AS_OF, name="Stint", away=()) -> Outlook:
    """The forecast with all runs finishing on one day, stood on another day, under another name."""
    fitted = played.fitted
    runs = played.settings.runs
    build = replace(fitted.build, name=name, away=tuple(away))
    return replace(
        played,
        fitted=replace(fitted, build=build, progress=replace(fitted.progress, as_of=as_of)),
        finish_days=np.tile([tail, wing], (runs, 1)),
        build_finish_days=np.full(runs, wing),
    )


def finished(outlook, stage="tail", day="2026-03-08"):
    """The forecast with a stage that is done."""
    fitted = outlook.fitted
    tasks = fitted.progress.tasks.copy()
    mine = tasks["stage"] == stage
    tasks.loc[mine, "done"] = True
    tasks.loc[mine, "finished"] = np.datetime64(day, "us")
    return replace(outlook, fitted=replace(fitted, progress=replace(fitted.progress, tasks=tasks)))


def events(data):
    """UID -> event, as the second library reads them."""
    calendar = vobject.readOne(data.decode("utf-8"))
    found = {e.uid.value: e for e in calendar.vevent_list}
    assert len(found) == len(calendar.vevent_list), "a UID stands twice"
    return found


def by_summary(data):
    return {e.summary.value: e for e in events(data).values()}


def test_a_second_library_reads_every_date_as_an_all_day_event(played):
    outlook = outlook_with(played)
    read = by_summary(calendar_file(outlook))
    assert set(read) == {
        f"{name}: {odds}" for name in ("Tail", "Wing", "Whole build") for odds in ("even odds", "80 % sure")
    } | {"Order by today: Wing kit"}
    assert read["Tail: even odds"].dtstart.value == AS_OF + timedelta(days=30)
    assert not hasattr(read["Tail: even odds"].dtstart.value, "hour")


def test_the_end_of_an_all_day_event_is_the_day_after(played):
    event = by_summary(calendar_file(outlook_with(played)))["Tail: even odds"]
    assert event.dtend.value - event.dtstart.value == timedelta(days=1)


def test_days_away_run_to_the_day_after_the_last(played):
    read = by_summary(calendar_file(outlook_with(played, away=[FAMILY])))
    event = read["A away from the bench"]
    assert (event.dtstart.value, event.dtend.value) == (date(2026, 4, 1), date(2026, 4, 10))
    assert event.description.value == "family"


def test_an_absence_that_is_over_is_left_out(played):
    over = replace(FAMILY, start=date(2026, 2, 1), end=date(2026, 3, 9))
    assert not any("away" in s for s in by_summary(calendar_file(outlook_with(played, away=[over]))))


def test_a_later_export_replaces_and_never_doubles(played):
    before = events(calendar_file(outlook_with(played, away=[FAMILY])))
    later = outlook_with(played, tail=50, wing=130, as_of=AS_OF + timedelta(days=40), away=[FAMILY])
    after = events(calendar_file(later))
    assert set(after) == set(before) - {u for u, e in before.items() if "away" in e.summary.value}
    for uid, event in after.items():
        assert int(event.sequence.value) == int(before[uid].sequence.value) + 40
        assert event.dtstamp.value > before[uid].dtstamp.value


def test_a_finished_stage_has_the_uid_of_its_forecast(played):
    before = events(calendar_file(outlook_with(played)))
    after = events(calendar_file(finished(outlook_with(played))))
    assert set(before) == set(after)
    even = next(u for u, e in before.items() if e.summary.value == "Tail: even odds")
    sure = next(u for u, e in before.items() if e.summary.value == "Tail: 80 % sure")
    assert after[even].summary.value == "Tail: finished"
    assert after[even].dtstart.value == date(2026, 3, 8)
    assert (after[even].status.value, after[sure].status.value) == ("CONFIRMED", "CANCELLED")


def test_a_date_past_the_horizon_is_withdrawn(played):
    read = by_summary(calendar_file(outlook_with(played, wing=np.inf)))
    assert read["Wing: 80 % sure"].status.value == "CANCELLED"
    assert read["Tail: 80 % sure"].status.value == "CONFIRMED"


def test_what_is_to_be_ordered_has_its_last_day_and_is_withdrawn_once_it_is_on_order(played):
    read = by_summary(calendar_file(outlook_with(played), order_by={"engine": date(2026, 5, 4)}))
    assert read["Order by today: Engine and mount"].dtstart.value == date(2026, 5, 4)
    assert read["Order by today: Engine and mount"].status.value == "CONFIRMED"
    assert read["Order by today: Wing kit"].status.value == "CANCELLED"
    assert "Order by today: Tail kit" not in read


def test_two_builds_never_share_an_event(played):
    one, other = (events(calendar_file(outlook_with(played, name=n))) for n in ("Stint", "Dunlin"))
    assert not set(one) & set(other)


def test_keys_that_run_together_are_different_events():
    assert event_uid("A", "b", "c") != event_uid("A", "bc")


def test_the_file_is_the_same_to_the_byte(played):
    outlook = outlook_with(played, away=[FAMILY])
    assert calendar_file(outlook) == calendar_file(outlook)


def test_the_heading_has_what_rfc_5545_requires(played):
    lines = calendar_file(outlook_with(played)).split(b"\r\n")
    assert lines[0] == b"BEGIN:VCALENDAR"
    assert b"VERSION:2.0" in lines
    assert any(line.startswith(b"PRODID:") for line in lines)
    assert lines[-2:] == [b"END:VCALENDAR", b""]


def test_days_have_the_type_date_and_no_zone(played):
    text = calendar_file(outlook_with(played)).decode()
    starts = re.findall(r"^DT(?:START|END)(.*)$", text.replace("\r\n", "\n"), re.M)
    assert starts
    assert all(re.fullmatch(r";VALUE=DATE:\d{8}", s) for s in starts)


def check_lines(data):
    """RFC 5545 section 3.1: CRLF, lines of at most 75 octets, folds between characters."""
    assert b"\n" not in data.replace(b"\r\n", b"")
    assert b"\r" not in data.replace(b"\r\n", b"")
    for line in data.split(b"\r\n"):
        assert len(line) <= 75
        line.decode("utf-8")


@settings(max_examples=60, deadline=None)
@given(name=st.text(max_size=120), reason=st.text(max_size=200))
def test_any_text_survives_escaping_and_folding(played, name, reason):
    outlook = outlook_with(played, name=name, away=[replace(FAMILY, reason=reason)])
    data = calendar_file(outlook)
    check_lines(data)
    read = by_summary(data)["A away from the bench"]
    kept = re.sub(r"\r\n?", "\n", reason).replace(r"\N", "\n")  # the library reads \\N as a line end
    kept = "".join(c for c in kept if c == "\n" or not (ord(c) < 32 or 127 <= ord(c) < 160))
    assert getattr(read, "description", None) is None or read.description.value == kept


@pytest.mark.parametrize(
    ("text", "escaped"),
    [("a, b", r"a\, b"), ("a; b", r"a\; b"), ("a\\b", r"a\\b"), ("a\nb", r"a\nb")],
)
def test_text_is_escaped_as_in_rfc_5545(played, text, escaped):
    data = calendar_file(outlook_with(played, away=[replace(FAMILY, reason=text)]))
    assert f"DESCRIPTION:{escaped}\r\n".encode() in data


def test_long_lines_of_wide_letters_are_folded_between_letters(played):
    data = calendar_file(outlook_with(played, away=[replace(FAMILY, reason="Größe ÄÖÜ – " * 30)]))
    check_lines(data)
    assert by_summary(data)["A away from the bench"].description.value == "Größe ÄÖÜ – " * 30


def test_the_name_of_the_build_heads_the_calendar_whatever_is_in_it(played):
    calendar = vobject.readOne(calendar_file(outlook_with(played, name="Rib, spar; \\ and\nmore")).decode())
    assert calendar.contents["x-wr-calname"][0].value == "Rib, spar; \\ and\nmore: forecast"
