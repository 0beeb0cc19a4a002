"""The report: one self-contained page that is accessible, prints, and never interprets a builder's text."""

import os
import re
import subprocess
import sys
from dataclasses import replace
from datetime import date
from pathlib import Path

import html5lib
import pytest

from forecast.errors import UsageError
from forecast.files.folder import read_build
from forecast.intake import exported_log
from forecast.present.report_page import gather_answers, page_html, page_pdf
from forecast.present.report_page.decisions import record_section
from forecast.present.report_page.files import ReportFiles, write_report
from forecast.present.report_page.page import page_sections
from forecast.present.report_page.records import cautions_section
from forecast.questions.hours_summary import CAUTION
from forecast.questions.track_record import track_record
from forecast.simulate.settings import Settings
from tests.written_build import build_of

ROOT = Path(__file__).resolve().parents[1]
AS_OF = date(2026, 3, 20)
SETTINGS = Settings(runs=60, horizon_years=6)
NASTY = '<script>alert(1)</script><img src="http://a.b/c.png">'
NO_PANGO = "PDF needs WeasyPrint and the Pango library"
SVG = "{http://www.w3.org/2000/svg}"
PLAN = (
    "task,stage,title,type,quantity,planned_hours,after,crew,hold_days\n"
    "D1,tail,Drill ribs,drill,6,3,,one,\nR1,tail,Rivet ribs,rivet,40,6,D1,two,\n"
    'C1,"wing <b>&",Cut "caps",cut & fit,2,4,,either,1\nC2,"wing <b>&",Fit caps,cut & fit,2,,C1,either,\n'
)
LOG = (
    "date,hours,builders,task,done\n2026-03-02,2,A,D1,\n2026-03-04,1.5,A+B,D1,yes\n2026-03-07,2,A+1,R1,\n"
    "2026-03-09,1,,,\n2026-03-12,3,A,C1,\n"
)
DELIVERIES = (
    "delivery,title,ordered,lead_weeks_low,lead_weeks_likely,lead_weeks_high,needed_for\n"
    "caps,Spar <caps>,,4,6,9,wing <b>&\nskins,Skins,2026-03-01,4,6,9,wing <b>&\n"
)


def answers_of(folder, **more):
    files = {"plan_csv": PLAN, "log_csv": LOG, "deliveries_csv": DELIVERIES, **more}
    return gather_answers(build_of(folder, **files), AS_OF, SETTINGS)


def section_of(answers, name):
    return {s.id: s for s in page_sections(answers)}[name]


@pytest.fixture(scope="module")
def answers(tmp_path_factory):
    return answers_of(tmp_path_factory.mktemp("page") / "mine")


@pytest.fixture(scope="module")
def page(answers):
    return page_html(answers)


@pytest.fixture(scope="module")
def parsed(page):
    return html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(page)


def test_a_strict_parser_finds_nothing_wrong_with_the_page(page):
    parser = html5lib.HTMLParser(strict=True)
    parser.parse(page)
    assert parser.errors == []


def test_the_strict_parser_does_find_a_fault(page):
    with pytest.raises(html5lib.html5parser.ParseError):
        html5lib.HTMLParser(strict=True).parse(page.replace("</main>", "</div>"))


def test_the_page_asks_for_nothing_and_runs_nothing(page, parsed):
    assert "http" not in page.replace("http-equiv", "")
    assert not list(parsed.iter("script"))
    assert not [e for e in parsed.iter() if any(a.startswith("on") for a in e.attrib)]
    links = [e.attrib[a] for e in parsed.iter() for a in ("href", "src", "action") if a in e.attrib]
    assert links
    assert all(link.startswith("#") for link in links)
    assert "default-src 'none'" in page


def test_every_link_leads_to_a_part_of_the_page(parsed):
    ids = [e.attrib["id"] for e in parsed.iter() if "id" in e.attrib]
    assert len(ids) == len(set(ids))
    assert {e.attrib["href"][1:] for e in parsed.iter("a")} <= set(ids)


def test_references_within_the_page_lead_somewhere(page, parsed):
    ids = {e.attrib["id"] for e in parsed.iter() if "id" in e.attrib}
    named = [e.attrib["aria-labelledby"].split() for e in parsed.iter() if "aria-labelledby" in e.attrib]
    assert {i for those in named for i in those} <= ids
    assert set(re.findall(r"url\(#([^)]+)\)", page)) <= ids


def test_headings_go_down_one_step_at_a_time(parsed):
    levels = [int(e.tag[1]) for e in parsed.iter() if re.fullmatch(r"h[1-6]", str(e.tag))]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert set(levels) == {1, 2}


def test_every_picture_has_a_title_and_a_description_in_words(parsed):
    pictures = list(parsed.iter(f"{SVG}svg"))
    assert len(pictures) >= 5
    for one in pictures:
        assert one.attrib["role"] == "img"
        assert all(len("".join(one.find(SVG + part).itertext()).split()) >= 4 for part in ("title", "desc"))


def test_every_table_has_a_caption_and_heads_for_rows_and_columns(parsed):
    for one in parsed.iter("table"):
        assert one.find("caption").text
        assert {e.attrib.get("scope") for e in one.iter("th")} == {"col", "row"}


def test_the_page_has_a_language_and_a_title(parsed, answers):
    assert parsed.attrib["lang"] == "en"
    assert next(parsed.iter("title")).text == "Stint: finish dates as of 20 March 2026"


def test_no_text_of_the_builder_becomes_part_of_the_page(tmp_path):
    toml = f'name = \'{NASTY}\'\n[[builder]]\nid = "A"\n[[builder]]\nid = "B"\n'
    found = page_html(answers_of(tmp_path / "nasty", build_toml=toml))
    html5lib.HTMLParser(strict=True).parse(found)
    assert "<script" not in found
    assert "<img" not in found
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in found
    assert "Wing &lt;b&gt;&amp;" in found


def test_the_hours_are_headed_by_what_they_are_not(answers):
    section = section_of(answers, "hours")
    assert section.answer == (CAUTION,)
    assert [t.caption for t in section.tables] == [
        "Hours by person", "Hours by stage", "Hours by type", "Hours by month"
    ]  # fmt: skip


def test_no_hours_are_given_as_a_share(answers):
    section = section_of(answers, "hours")
    words = [*section.sentences, *(f.legend for f in section.figures)]
    words += [cell for t in section.tables for cell in t.rows.to_numpy().ravel()]
    assert not [
        w for w in words if "%" in w or " of " in w.replace("of each", "").replace("of everybody", "")
    ]


def test_the_page_answers_every_question_in_its_order(answers):
    ids = [s.id for s in page_sections(answers)]
    assert ids == ["finish", "left", "crew", "over", "orders", "record", "hours", "basis", "cautions"]


def test_sections_that_were_not_computed_are_left_out(answers):
    fewer = replace(answers, record=None, crew=None)
    assert not {"crew", "record"} & {s.id for s in page_sections(fewer)}


def test_the_orders_to_place_come_first(answers):
    section = section_of(answers, "orders")
    assert len(section.answer) == 1
    assert section.answer[0].startswith("Order")
    assert section.answer[0].endswith("Spar <caps>.")
    assert section.tables[0].rows["Delivery"].to_list() == ["Spar <caps>", "Skins"]
    assert section.tables[0].rows.iloc[1]["Order by"] == "ordered 1 Mar 2026"


def test_the_three_plans_are_side_by_side(answers):
    section = section_of(answers, "crew")
    assert section.tables[0].rows["Plan"].to_list() == ["Alone", "With B", "Helper for two-person work"]
    assert section.answer == answers.crew.findings[:1]


def test_a_log_that_is_too_short_for_a_back_test_is_reported(answers):
    section = section_of(answers, "record")
    assert section.answer[0].startswith("Too early for a record")
    assert section.figures == section.tables == ()


def test_past_forecasts_are_beside_the_outcome():
    build = read_build(ROOT / "sample_logs" / "turnstone")
    days = [date(2025, 7, 31), date(2026, 1, 31)]
    record = track_record(build, date(2026, 6, 30), Settings(runs=20, horizon_years=6), days=days)
    section = record_section(record)
    assert section.tables[0].rows["Forecast on"].to_list() == ["31 Jul 2025", "31 Jan 2026"]
    assert section.tables[0].rows["Finished"].to_list() == ["open", "open"]
    assert len(section.figures) == 1


def test_rules_of_a_country_are_shown_to_its_builders_only():
    at_home = cautions_section("US").sentences
    elsewhere = cautions_section("GB").sentences
    assert set(elsewhere) < set(at_home)
    assert any("major-portion" in s for s in at_home)
    assert cautions_section(None).sentences == elsewhere


def test_the_same_answers_give_the_same_page(answers, page):
    assert page_html(answers) == page


DRAWING = """
from datetime import date
import pandas as pd
from forecast.present.charts.dates import finish_ranges
from forecast.present.charts.theme import PAPER
from forecast.present.figures import Figure
from forecast.present.report_page.svg import svg
day = pd.to_datetime(["2026-03-28"]).astype("datetime64[us]")
frame = pd.DataFrame(dict.fromkeys(("p05", "p10", "p50", "p80", "p90", "p95"), day))
frame = frame.assign(target="T", finished="")
chart = finish_ranges(frame, date(2026, 3, 1), date(2026, 5, 1), PAPER)
print(svg(Figure(name="n", finding="t", description="d", chart=chart, table=frame)))
"""


def test_the_pictures_do_not_depend_on_the_time_zone():
    """Berlin puts its clocks forward within the range that is drawn."""
    drawn = {
        subprocess.run(
            [sys.executable, "-c", DRAWING], env={**os.environ, "TZ": zone}, cwd=ROOT,
            capture_output=True, text=True, check=True,
        ).stdout
        for zone in ("UTC", "Europe/Berlin")
    }  # fmt: skip
    assert len(drawn) == 1


def test_a_build_that_is_finished_has_its_page(tmp_path):
    plan = "task,stage,title,type\nC1,wing,Cut,cut\n"
    log = "date,hours,builders,task,done\n2026-03-02,1,A,C1,yes\n"
    build = build_of(tmp_path / "over", plan_csv=plan, log_csv=log)
    found = page_html(gather_answers(build, AS_OF, SETTINGS))
    html5lib.HTMLParser(strict=True).parse(found)
    assert "Whole build: finished on 2 March 2026." in found
    assert "none are left" in found


def test_a_build_without_a_date_has_its_page(tmp_path):
    plan = "task,stage,title,type,planned_hours\nC1,wing,Cut,cut,90000\n"
    log = "date,hours,builders,task\n2026-03-02,1,A,C1\n"
    build = build_of(tmp_path / "long", plan_csv=plan, log_csv=log)
    found = page_html(gather_answers(build, AS_OF, replace(SETTINGS, horizon_years=1)))
    html5lib.HTMLParser(strict=True).parse(found)
    assert "so no date is given" in found


def test_a_missing_library_is_reported_in_one_sentence(answers, monkeypatch):
    monkeypatch.setitem(sys.modules, "vl_convert", None)
    with pytest.raises(
        UsageError, match=r"needs vl_convert: install it with `pip install 'benchdays\[report\]'`"
    ):
        page_html(answers)


# PDF ---------------------------------------------------------------------------------------------


def test_the_pdf_is_one(answers):
    pytest.importorskip("weasyprint", exc_type=(ImportError, OSError), reason=NO_PANGO)
    assert page_pdf(answers).startswith(b"%PDF-")


@pytest.mark.parametrize(("paper", "points"), [("A4", (595, 842)), ("letter", (612, 792))])
def test_the_pages_have_the_size_of_the_paper(answers, paper, points):
    weasyprint = pytest.importorskip("weasyprint", exc_type=(ImportError, OSError), reason=NO_PANGO)
    pages = weasyprint.HTML(string=page_html(answers, paper=paper)).render().pages
    assert 2 <= len(pages) <= 12
    assert all((round(p.width * 0.75), round(p.height * 0.75)) == points for p in pages)


def test_without_pango_an_html_page_is_offered_instead(answers, monkeypatch):
    class _NoPango:
        def __getattr__(self, name):
            raise OSError("cannot load library")

    monkeypatch.setitem(sys.modules, "weasyprint", _NoPango())
    with pytest.raises(UsageError, match=r"An \.html page prints without it"):
        page_pdf(answers)


# Files -------------------------------------------------------------------------------------------


@pytest.fixture
def folder(tmp_path):
    build_of(tmp_path / "mine", plan_csv=PLAN, log_csv=LOG, deliveries_csv=DELIVERIES)
    return tmp_path / "mine"


@pytest.mark.parametrize(
    ("asked", "sentence"),
    [
        ({}, "Say what to write"),
        ({"page": "page.txt"}, "must end in .html or .htm or .pdf"),
        ({"calendar": "dates.html"}, "--ics: .*must end in .ics"),
        ({"hours": "hours.xlsx"}, "--hours-csv: .*must end in .csv"),
        ({"page": "nowhere/page.html"}, "the folder .* does not exist"),
        ({"log": "log.ods"}, "--log: .*must end in .csv or .xlsx"),
        ({"hours": "log.csv"}, "is a file of the build"),
        ({"log": "log.csv"}, "is a file of the build"),
        ({"hours": "plan.csv"}, "is a file of the build"),
        ({"page": "page.html", "paper": "A3"}, "--paper: 'A3' must be A4 or letter"),
    ],
)
def test_what_must_not_be_written_is_refused(folder, asked, sentence):
    paths = {k: folder / v if k != "paper" else v for k, v in asked.items()}
    with pytest.raises(UsageError, match=sentence):
        ReportFiles(**paths).check(folder)


def test_a_log_in_a_folder_is_not_overwritten(folder):
    (folder / "log").mkdir()
    with pytest.raises(UsageError, match="is a file of the build"):
        ReportFiles(hours=folder / "log" / "2026.csv").check(folder)


def test_the_log_alone_is_written_without_a_forecast(folder, tmp_path):
    out = tmp_path / "all.csv"
    assert write_report(read_build(folder), AS_OF, SETTINGS, ReportFiles(log=out)) == (out,)
    assert out.read_bytes() == exported_log(read_build(folder), ".csv")


def test_the_paper_is_read_in_any_case(folder):
    assert ReportFiles(page=folder / "page.pdf", paper="Letter").sheet == "letter"


def test_what_cannot_be_written_leaves_the_old_file_and_no_scrap(folder, tmp_path, monkeypatch):
    out = tmp_path / "page.html"
    out.write_text("old", encoding="utf-8")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("forecast.files.storage.os.replace", full)
    with pytest.raises(UsageError, match="could not be written, and is as it was: No space left on device"):
        write_report(read_build(folder), AS_OF, SETTINGS, ReportFiles(page=out))
    assert out.read_text(encoding="utf-8") == "old"
    assert [p.name for p in tmp_path.iterdir() if p.is_file()] == ["page.html"]


def test_the_command_writes_page_calendar_and_hours(folder, tmp_path):
    names = ("page.html", "dates.ics", "hours.csv")
    out = [tmp_path / n for n in names]
    words = ["-o", out[0], "--ics", out[1], "--hours-csv", out[2], "--as-of", str(AS_OF), "--runs", "40"]
    done = subprocess.run(
        [sys.executable, "-m", "forecast.cli", "report", *map(str, [folder, *words])],
        cwd=ROOT, capture_output=True, text=True, check=True, timeout=240,
    )  # fmt: skip
    assert done.stdout.splitlines() == [f"Wrote {path}." for path in out]
    assert out[0].read_bytes().startswith(b"<!DOCTYPE html>")
    assert b"SUMMARY:Order by today: Spar <caps>" in out[1].read_bytes()
    assert out[2].read_bytes().startswith(b"date,until,month,person")


def test_the_command_refuses_before_it_works(folder):
    done = subprocess.run(
        [sys.executable, "-m", "forecast.cli", "report", str(folder), "-o", "page.txt"],
        cwd=ROOT, capture_output=True, text=True, check=False, timeout=240,
    )  # fmt: skip
    assert done.returncode == 2
    assert done.stderr == "-o: 'page.txt' must end in .html or .htm or .pdf.\n"
