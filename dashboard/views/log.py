"""The log: add a session, see the last rows, fix a row, undo the last change."""

from __future__ import annotations

from datetime import date

import pandas as pd
import streamlit as st

from dashboard.charts.figures import show_table
from dashboard.forms.entry_forms import change_form, session_form, step_form, write
from dashboard.forms.import_form import import_form
from dashboard.frame import show_answer, slot
from dashboard.markup import plain
from dashboard.server.opening import opened
from dashboard.views.problems import problems_table
from dashboard.work.forecasts import start_forecast_in_background
from dashboard.work.reading import problems_today, read_folder, read_log
from forecast.errors import InputError, Problem
from forecast.files.amend import LogRow
from forecast.files.storage import undo
from forecast.wording import format_hours, format_short_date, plural

_LAST_ROWS = 12
_MOST_CHOICES = 300  # in the list of rows to change; the search field reaches the others
_COLUMNS = ("date", "hours", "builders", "task", "done", "note")


def show_page() -> None:
    """Draw the page."""
    folder = opened().folder
    try:
        log = read_log(folder)
    except InputError as error:
        show_answer(["Fix these problems before you add to the log:"])
        for problem in error.problems:
            st.text(str(problem))
        return
    show_answer([today_sentence(log.sessions, date.today())])
    with slot():
        _show_notice()
    with slot():
        session_form(log)
    with slot():
        _show_undo()
    problems = problems_today(folder, date.today())
    with slot():
        _show_problems(problems, log.rows)
    with slot():
        _show_rows(log.rows, problems)
    with st.expander("Add a task to the plan"):
        step_form(log.records)
    with st.expander("Import a spreadsheet", expanded="import_lines" in st.session_state):
        import_form()


def today_sentence(sessions: pd.DataFrame, today: date) -> str:
    """The hours logged today, or the last session."""
    sessions = sessions.loc[sessions["hours"].notna()]
    if sessions.empty:
        return "No session yet: log the first one."
    now = sessions.loc[sessions["until"] == pd.Timestamp(today)]
    if len(now):
        return f"Today: {format_exact_hours(now['hours'].sum())} in the log."
    last = sessions.iloc[-1]
    day, hours = format_short_date(last["until"]), format_exact_hours(last["hours"])
    return f"No session today; the last was {day}, {hours}."


def format_exact_hours(hours: float) -> str:
    """Hours as they were entered, where `format_hours` would round them.

    Examples
    --------
    >>> format_exact_hours(2.5), format_exact_hours(1)
    ('2.5 hours', '1 hour')
    """
    return f"{hours:g} hour{'' if hours == 1 else 's'}" if hours < 200 else f"{format_hours(hours)} hours"


def _show_notice() -> None:
    """What was just written, shown once; the forecast of the new files starts."""
    notice = st.session_state.pop("notice", "")
    if notice:
        st.success(plain(notice), icon=":material/check:")
        if read_folder(opened().folder).build is not None:
            st.page_link("views/finish.py", label="See the dates", icon=":material/event:")
        start_forecast_in_background()


def _show_undo() -> None:
    if st.button("Undo the last change", key="undo", width="stretch"):
        write(lambda: undo(opened().folder).sentence)


def _show_problems(problems: tuple[Problem, ...], rows: tuple[LogRow, ...]) -> None:
    if not problems:
        return
    st.subheader(f"Fix {plural(len(problems), 'problem')}", anchor=False)
    table = problems_table(problems)
    texts = {(row.file, row.line): row_words(row) for row in rows}
    table = table.assign(Row=[texts.get((p.file, p.line), "") for p in problems])
    show_table(table, "Every problem in the folder with its row; rows of the log can be changed below")


def _show_rows(rows: tuple[LogRow, ...], problems: tuple[Problem, ...]) -> None:
    if not rows:
        return
    wrong = {(p.file, p.line) for p in problems}
    newest = sorted(rows, key=lambda r: (r.cells.get("date", ""), r.file, r.line), reverse=True)
    st.subheader("The last rows", anchor=False)
    show_table(rows_table(newest[:_LAST_ROWS]), "Newest first")
    with st.expander("Change or delete a row", expanded=bool(wrong)):
        search = st.text_input("Search", key="find_row", placeholder="a day, a task, a word").casefold()
        matches = [row for row in newest if search in row_words(row).casefold()][:_MOST_CHOICES]
        matches.sort(key=lambda row: (row.file, row.line) not in wrong)
        if not matches:
            st.caption("No row matches.")
            return
        row = st.selectbox("Row", matches, format_func=row_words, key="row_to_change")
        if row is not None:
            change_form(row)


def rows_table(rows: list[LogRow]) -> pd.DataFrame:
    """Rows of the log as they are in the file, without columns that are blank in all of them."""
    table = pd.DataFrame([{c: row.cells.get(c, "") for c in _COLUMNS} for row in rows])
    filled = table.loc[:, [c for c in table if c in ("date", "hours") or (table[c] != "").any()]]
    return filled.rename(columns=str.capitalize)


def row_words(row: LogRow) -> str:
    """One row in one line."""
    cells = row.cells
    hours = f"{cells['hours']} h" if cells.get("hours") else ""
    parts = [cells.get("date", ""), hours, *(cells.get(c, "") for c in ("builders", "task", "stage", "note"))]
    return f"line {row.line}: {', '.join(p for p in parts if p)}"


if __name__ == "__main__":
    show_page()
