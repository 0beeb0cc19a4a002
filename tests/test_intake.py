"""Taking a foreign log into a build folder: what must come out, what is asked, what is written."""

import csv
from datetime import date, timedelta
from pathlib import Path

import openpyxl
import pytest

from forecast.errors import UsageError
from forecast.files.folder import read_build, start_build
from forecast.intake import (
    BuilderAnswers,
    exported_log,
    intake_lines,
    propose_intake,
    take_in,
    taken_lines,
)
from forecast.intake.coarse_plan import coarse_plan
from tests.foreign_log import SHEET, TODAY, log_rows, propose, reasons, take, write_folder

MESSY = Path(__file__).resolve().parents[1] / "sample_logs" / "messy"
SAID = {
    "hangar.xlsx": ["year=2023", "day:0203-03-04=2023-03-04"],
    "shed.csv": ["who:B=B", "blank-day=above"],
    "pair.ods": [],
}
SHOWN = ("date", "until", "hours", "builders", "stage", "rework", "note")


@pytest.fixture
def sheet(tmp_path):
    path = tmp_path / "hours.csv"
    path.write_text(SHEET)
    return path


@pytest.fixture
def folder(tmp_path):
    return tmp_path / "my build é"


@pytest.mark.parametrize("name", sorted(SAID))
def test_every_line_of_the_messy_sheets_comes_out_as_written_down(name, folder):
    intake = propose(MESSY / name, folder, *SAID[name])
    stage_of = {t.task: t.stage for t in intake.plan.tasks}
    found = [
        {
            "line": str(j.parsed.row.line),
            "fate": "apart" if row.set_aside else "log",
            "stage": stage_of.get(row.task, row.stage),
            "reason": "",
            **{k: row.cells[k] for k in SHOWN if k != "stage"},
        }
        for j in intake.rows
        for row in j.rows
    ]
    blank = dict.fromkeys(SHOWN, "")
    found += [{"line": str(p.line), "fate": "report", "reason": p.allowed, **blank} for p in intake.reported]
    with (MESSY / name).with_suffix(".expected.csv").open(encoding="utf-8", newline="") as file:
        expected = list(csv.DictReader(file))
    found.sort(key=lambda row: (int(row["line"]), row["fate"] == "apart"))
    for row, want in zip(found, expected, strict=True):
        assert row["reason"].startswith(want["reason"])
        assert {**row, "reason": ""} == {**want, "reason": ""}


@pytest.mark.parametrize("name", sorted(SAID))
def test_a_messy_sheet_becomes_a_folder_that_passes_every_check(name, folder):
    taken = take(MESSY / name, folder, *SAID[name])
    build = read_build(folder)
    assert len(build.sessions) == taken.added


@pytest.mark.parametrize("name", sorted(SAID))
def test_person_hours_in_the_log_are_those_of_the_sheet(name, folder):
    intake = propose(MESSY / name, folder, *SAID[name])
    for j in intake.rows:
        said = sum(p.hours * (1 if p.unit == "person_hours" else j.rows[0].people) for p in j.parsed.parts)
        assert sum(r.hours * r.people for r in j.rows) == pytest.approx(said, abs=0.001)


def test_nothing_is_written_by_a_proposal(sheet, folder):
    propose(sheet, folder)
    assert not folder.exists()


def test_a_new_folder_gets_builders_a_coarse_plan_and_the_log(sheet, folder):
    taken = take(sheet, folder)
    assert (taken.added, taken.stages, taken.builders) == (3, ("tail", "wing"), ("A",))
    assert [row["task"] for row in log_rows(folder)] == ["tail", "tail", "wing"]
    assert [t.planned_hours for t in read_build(folder).plan.tasks] == [None, None]


def test_an_ambiguous_order_keeps_every_row_out_until_it_is_said(tmp_path, folder):
    path = tmp_path / "t.csv"
    path.write_text("Date,Hours,Section\n3/4/2023,2,tail\n5/6/2023,1,tail\n")
    intake = propose(path, folder)
    assert not intake.rows
    assert "begin with the day or with the month?" in intake.questions[0].text
    assert propose(path, folder, "order=day-first").rows[0].rows[0].date == date(2023, 4, 3)


def test_an_order_said_once_is_never_turned_for_single_rows(tmp_path, folder):
    path = tmp_path / "t.csv"
    path.write_text("Date,Hours,Section\n3/4/2023,2,tail\n4/19/2023,1,tail\n19/5/2023,1,tail\n")
    intake = propose(path, folder, "order=month-first")
    assert [r.rows[0].date for r in intake.rows] == [date(2023, 3, 4), date(2023, 4, 19)]
    assert "does not exist (month first" in reasons(intake)[4]


def test_rows_kept_apart_are_written_and_counted_once(tmp_path, folder):
    path = tmp_path / "t.csv"
    rows = "2026-01-03,2,tail,inventory of kit\n2026-01-04,1,tail,drilled\n"
    path.write_text(f"Date,Hours,Section,Work\n{rows}")
    assert (take(path, folder).set_aside, take(path, folder).set_aside) == (1, 0)
    assert [(r["kind"], r["note"]) for r in log_rows(folder, "not_building.csv")] == [
        ("inventory", "inventory of kit")
    ]


def test_rows_outside_the_plan_get_the_type_of_their_words(sheet, folder):
    intake = propose_intake(sheet, folder, today=TODAY, coarse=False)
    assert [r.rows[0].type for r in intake.rows] == ["drill", "deburr", "rivet"]


def test_the_builder_s_types_are_learned_and_remembered(sheet, folder):
    said = BuilderAnswers(types={"riveted skin": "close-up"})
    intake = propose_intake(sheet, folder, today=TODAY, coarse=False, answers=said)
    assert intake.rows[2].rows[0].type == "close-up"
    take_in(intake)
    assert propose_intake(sheet, folder, today=TODAY, coarse=False).rows[2].rows[0].type == "close-up"


def test_a_type_corrected_in_the_log_teaches_the_next_take(sheet, folder):
    (sheet).write_text(SHEET.replace("riveted skin", "gizmo left"))
    take_in(propose_intake(sheet, folder, today=TODAY, coarse=False))
    log = folder / "log.csv"
    rows = log.read_text().splitlines()
    log.write_text("\n".join(r.replace(",wing,,", ",wing,plumb,") for r in rows) + "\n")
    sheet.write_text(SHEET.replace("riveted skin", "gizmo left") + "2026-01-12,1,wing,gizmo left\n")
    assert propose_intake(sheet, folder, today=TODAY, coarse=False).rows[3].rows[0].type == "plumb"


def test_rows_that_name_a_task_of_the_plan_go_on_it(tmp_path, folder):
    write_folder(folder, "task,stage,title\nT1,tail,Drill ribs\nT2,tail,Rivet ribs\n")
    path = tmp_path / "t.csv"
    path.write_text(
        "Date,Hours,Task,Done\n2026-01-03,2,t1,\n2026-01-04,1,rivet ribs,x\n2026-01-05,1,oiling,\n"
    )
    take(path, folder)
    assert [(r["task"], r["done"], r["note"]) for r in log_rows(folder)] == [
        ("T1", "", ""), ("T2", "yes", ""), ("", "", "oiling"),
    ]  # fmt: skip


def test_a_task_finished_twice_is_finished_once_and_said(tmp_path, folder):
    write_folder(folder, "task,stage,title\nT1,tail,Drill ribs\n")
    path = tmp_path / "t.csv"
    path.write_text("Date,Hours,Task,Done\n2026-01-03,2,T1,x\n2026-01-04,1,T1,x\n")
    intake = propose(path, folder)
    assert any("with a task that is finished already" in d for d in intake.doubts)
    take_in(intake)
    assert [(r["done"], r["note"]) for r in log_rows(folder)] == [("yes", ""), ("", "done")]
    assert len(read_build(folder).sessions) == 2


def test_a_builder_is_not_taken_before_the_day_of_joining(tmp_path, folder):
    folder.mkdir()
    (folder / "build.toml").write_text('[[builder]]\nid = "A"\n[[builder]]\nid = "B"\njoins = 2026-01-04\n')
    path = tmp_path / "t.csv"
    path.write_text("Date,Hours,Who,Section\n2026-01-03,2,A+B,tail\n2026-01-05,2,A+B,tail\n")
    intake = propose(path, folder)
    assert reasons(intake) == {2: "names B before 2026-01-04, when build.toml says they join"}


def test_a_new_builder_said_by_the_builder_is_added_and_comments_stay(tmp_path, folder):
    folder.mkdir()
    (folder / "build.toml").write_text('# ours\nname = "t"\n[[builder]]\nid = "A"  # me\n')
    path = tmp_path / "t.csv"
    path.write_text("Date,Hours,Who,Section\n2026-01-03,2,Jo & Sam,tail\n")
    take(path, folder, "who:Jo=A", "who:Sam=B")
    text = (folder / "build.toml").read_text()
    assert text.startswith('# ours\nname = "t"\n[[builder]]\nid = "A"  # me\n')
    assert log_rows(folder)[0]["builders"] == "A+B"
    assert [b.id for b in read_build(folder).builders] == ["A", "B"]


@pytest.mark.parametrize("started_on", [None, date(2026, 8, 31)])
def test_the_invented_rows_of_start_make_room(started_on, sheet, folder):
    start_build(folder, started_on)
    intake = propose(sheet, folder)
    assert any("invented rows" in d for d in intake.doubts)
    take_in(intake)
    build = read_build(folder)
    assert (len(build.sessions), build.plan.stages, build.away) == (3, ("tail", "wing"), ())


def test_rows_of_the_builder_s_own_stay_beside_those_taken(sheet, folder):
    take(sheet, folder)
    log = folder / "log.csv"
    log.write_text(log.read_text().replace("note\n", "note,weather\n").replace("ribs\n", "ribs,sun\n"))
    sheet.write_text(SHEET + "2026-01-12,1,wing,riveted\n")
    take(sheet, folder)
    assert [r["weather"] for r in log_rows(folder)][:2] == ["sun", "sun"]


def test_a_log_kept_as_a_folder_gets_a_file_of_its_own(sheet, folder):
    take(sheet, folder)
    (folder / "log").mkdir()
    (folder / "log.csv").rename(folder / "log" / "2025.csv")
    sheet.write_text(SHEET + "2026-01-12,1,wing,riveted\n")
    taken = take(sheet, folder)
    assert (taken.added, len(read_build(folder).sessions)) == (1, 4)
    assert (folder / "log" / "taken.csv").exists()


def test_several_tasks_are_kept_as_one_and_said_or_split_when_told(tmp_path, folder):
    path = tmp_path / "t.csv"
    work = '"drilled ribs, deburred ribs; ordered rivets"'
    path.write_text(f"Date,Hours,Section,Work\n2026-01-03,3,tail,{work}\n")
    intake = propose(path, folder)
    assert len(intake.rows[0].rows) == 1
    assert any("several tasks, kept as one" in d for d in intake.doubts)
    split = propose(path, folder, "several=split").rows[0].rows
    assert [(r.hours, r.set_aside, r.note) for r in split] == [
        (1.0, "", "drilled ribs"), (1.0, "", "deburred ribs"), (1.0, "ordering", "ordered rivets"),
    ]  # fmt: skip


@pytest.mark.parametrize("suffix", [".csv", ".xlsx"])
@pytest.mark.parametrize("name", sorted(SAID))
def test_take_export_take_again_gives_the_same_rows(name, suffix, folder, tmp_path):
    take(MESSY / name, folder, *SAID[name])
    build = read_build(folder)
    file, second = tmp_path / f"out{suffix}", tmp_path / "second"
    file.write_bytes(exported_log(build, suffix))
    second.mkdir()
    for part in ("build.toml", "plan.csv"):
        (second / part).write_bytes((folder / part).read_bytes())
    intake = propose(file, second)
    assert not intake.reported
    assert take_in(intake).added == len(build.sessions)
    again = read_build(second).sessions
    columns = [c for c in again.columns if c not in ("file", "line")]
    assert again[columns].equals(build.sessions[columns])


def test_work_outside_a_coarse_plan_stays_outside_when_an_export_is_taken(tmp_path):
    """The sample whose plan has one task a stage, with ordering and cleaning logged beside it."""
    sample, second = MESSY.parent / "dinghy", tmp_path / "second"
    second.mkdir()
    for part in ("build.toml", "plan.csv"):
        (second / part).write_bytes((sample / part).read_bytes())
    file = tmp_path / "out.csv"
    file.write_bytes(exported_log(read_build(sample), ".csv"))
    take_in(propose(file, second))
    assert exported_log(read_build(second), ".csv") == file.read_bytes()


def test_no_text_in_an_export_is_a_formula(folder, tmp_path):
    path = tmp_path / "t.csv"
    path.write_text(
        'Date,Hours,Section,Work\n2026-01-03,3,tail,"=HYPERLINK(""x"")"\n2026-01-04,3,tail,@cmd\n'
    )
    take(path, folder)
    for name in ("out.csv", "out.xlsx"):
        (tmp_path / name).write_bytes(exported_log(read_build(folder), name[3:]))
    notes = [r["note"] for r in log_rows(tmp_path, "out.csv")]
    assert notes == ['\'=HYPERLINK("x")', "'@cmd"]
    cells = openpyxl.load_workbook(tmp_path / "out.xlsx").active["M"]
    assert [(c.value, c.data_type) for c in cells[1:]] == [('=HYPERLINK("x")', "s"), ("@cmd", "s")]


def test_an_export_of_another_kind_is_refused(sheet, folder, tmp_path):
    take(sheet, folder)
    with pytest.raises(UsageError, match="must be .csv or .xlsx"):
        exported_log(read_build(folder), ".pdf")


def test_an_export_holds_nothing_later_than_asked_and_is_the_same_file_each_time(sheet, folder):
    take(sheet, folder)
    build = read_build(folder)
    last = build.sessions["until"].max()
    lines = [
        exported_log(build, ".csv", day).decode().splitlines() for day in (None, last - timedelta(days=1))
    ]
    assert len(lines[0]) - len(lines[1]) == (build.sessions["until"] == last).sum()
    assert exported_log(build, ".xlsx") == exported_log(build, ".xlsx")


def test_the_account_names_every_row_that_is_not_taken(folder):
    intake = propose(MESSY / "shed.csv", folder)
    lines = "\n".join(intake_lines(intake))
    assert all(f"shed.csv, line {p.line}" in lines for p in intake.reported)
    taken = "\n".join(taken_lines(take_in(intake)))
    assert all(f"shed.csv, line {p.line}" in taken for p in intake.reported)


def test_a_swapped_spreadsheet_is_suspected(tmp_path, folder):
    book = openpyxl.Workbook()
    book.active.append(["Date", "Hours", "Section"])
    for day in (date(2023, 4, 1), date(2023, 5, 1), date(2023, 6, 1), "13/1/2023", "14/1/2023"):
        book.active.append([day, 2, "tail"])
    book.save(tmp_path / "a.xlsx")
    assert any("may have swapped day and month" in d for d in propose(tmp_path / "a.xlsx", folder).doubts)


def test_sheets_with_the_same_headings_are_read_together(tmp_path, folder):
    book = openpyxl.Workbook()
    for name, day in (("2024", date(2024, 4, 1)), ("2025", date(2025, 4, 1))):
        sheet = book.create_sheet(name)
        sheet.append(["Date", "Hours", "Section"])
        sheet.append([day, 2, "tail"])
    book.save(tmp_path / "a.xlsx")
    intake = propose(tmp_path / "a.xlsx", folder)
    assert (intake.sheets, len(intake.rows)) == (("2024", "2025"), 2)
    assert propose(tmp_path / "a.xlsx", folder, "sheet=2025").rows[0].rows[0].date == date(2025, 4, 1)


def test_a_sheet_that_is_not_there_cannot_be_said(sheet, folder):
    with pytest.raises(UsageError, match="There is no sheet 'Log'"):
        propose(sheet, folder, "sheet=Log")


def test_a_coarse_plan_has_one_row_a_stage_with_an_id_from_any_letters():
    plan = coarse_plan(["Left wing", "left wing!", "Flügel", "翼"])
    assert [t.task for t in plan.tasks] == ["left-wing", "left-wing-2", "flugel", "stage"]


def test_same_file_same_folder_same_proposal_to_the_byte(folder):
    both = ["\n".join(intake_lines(propose(MESSY / "pair.ods", folder))) for _ in range(2)]
    assert both[0] == both[1]


def test_markdown_entries_become_log_rows(tmp_path, folder):
    notes = tmp_path / "notes"
    notes.mkdir()
    (notes / "a.md").write_text("---\ndate: 2026-01-02\nhours: 2:30\nsection: tail\n---\n# Deburred ribs\n")
    (notes / "b.md").write_text("---\ndate: 2026-01-03\nhours: a while\nsection: tail\n---\nMore.\n")
    intake = propose(notes, folder)
    assert [str(p) for p in intake.reported] == ["b.md, line 1, hours: 'a while' is not a number of hours."]
    take_in(intake)
    assert [(r["hours"], r["task"], r["note"]) for r in log_rows(folder)] == [
        ("2.5", "tail", "Deburred ribs")
    ]


def test_names_that_build_toml_does_not_know_are_counted_as_helpers_and_said(tmp_path, folder):
    write_folder(folder, "task,stage\nT1,tail\n")
    path = tmp_path / "t.csv"
    path.write_text("Date,Hours,Who,Section\n2026-01-03,2,A & Jo,tail\n2026-01-04,2,Jo,tail\n")
    intake = propose(path, folder)
    assert [r.rows[0].people for r in intake.rows] == [2, 1]
    assert any("helpers without a name: Jo (2)" in d for d in intake.doubts)


def test_last_year_s_year_in_january_is_asked_about_and_kept_as_written(tmp_path, folder):
    path = tmp_path / "t.csv"
    path.write_text("Date,Hours,Section\n2022-12-30,2,tail\n2022-01-03,2,tail\n2023-01-08,1,tail\n")
    intake = propose(path, folder)
    assert intake.rows[1].rows[0].date == date(2022, 1, 3)
    assert any("line 3: 2022-01-03 comes between later days: is it 2023?" in d for d in intake.doubts)


def test_hours_with_minutes_after_the_point_are_suspected(tmp_path, folder):
    path = tmp_path / "t.csv"
    rows = "".join(f"2026-01-0{d},2.{m},tail\n" for d, m in enumerate(("30", "15", "45", "00"), start=1))
    path.write_text(f"Date,Hours,Section\n{rows}")
    assert any("minutes-after-point=yes" in d for d in propose(path, folder).doubts)
    assert propose(path, folder, "minutes-after-point=yes").rows[0].rows[0].hours == 2.5
