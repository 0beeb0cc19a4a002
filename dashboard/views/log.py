"""The log: write a session down, see what was written, put a row right, take the last change back."""

from __future__ import annotations

from datetime import date

import pandas as pd
import streamlit as st

from dashboard.charts.figures import show_table
from dashboard.forms.entry_forms import change_form, session_form, step_form
from dashboard.forms.take_form import take_form
from dashboard.frame import answer, place_for_passing
from dashboard.server.opening import opened
from dashboard.views.tables import problems_table
from dashboard.words import plain
from dashboard.work.forecasts import begin_soon
from dashboard.work.reading import problems_today, read_folder, read_log
from forecast.errors import BenchdaysError, InputError, Problem
from forecast.files.amend import LogRow
from forecast.files.storage import undo
from forecast.present.finish import format_hours, format_short_date

_ROWS_SHOWN = 12
_ROWS_OFFERED = 300
_COLUMNS = ("date", "hours", "builders", "task", "done", "note")


def show_page() -> None:
    """Draw the page."""
    folder = opened().folder
    try:
        written = read_log(folder)
    except InputError as error:
        answer(["The log cannot be written to until this is put right:"])
        for problem in error.problems:
            st.text(str(problem))
        return
    answer([today_sentence(written.sessions, date.today())])
    with place_for_passing():
        _show_said()
    with place_for_passing():
        session_form(written)
    with place_for_passing():
        _show_undo()
    problems = problems_today(folder, date.today())
    with place_for_passing():
        _show_problems(problems, written.rows)
    with place_for_passing():
        _show_rows(written.rows, problems)
    with st.expander("A step that is not in the plan yet"):
        step_form(written.records)
    with st.expander("Take in a sheet kept elsewhere", expanded="taken" in st.session_state):
        take_form()


def today_sentence(sessions: pd.DataFrame, today: date) -> str:
    """What is in the log for today, or when somebody was there last."""
    sessions = sessions.loc[sessions["hours"].notna()]
    if sessions.empty:
        return "No session yet: write the first one down."
    mine = sessions.loc[sessions["until"] == pd.Timestamp(today)]
    if len(mine):
        return f"Today: {format_exact_hours(mine['hours'].sum())} in the log."
    last = sessions.iloc[-1]
    hours = format_exact_hours(last["hours"])
    return f"Nothing yet today; last time {format_short_date(last['until'].date())}, {hours}."


def format_exact_hours(hours: float) -> str:
    """A few hours to the quarter.

    >>> format_exact_hours(2.5), format_exact_hours(1)
    ('2.5 hours', '1 hour')
    """
    return f"{hours:g} hour{'s' if hours != 1 else ''}" if hours < 200 else f"{format_hours(hours)} hours"


def _show_said() -> None:
    """What was just written, said once, and the forecast begun anew."""
    said = st.session_state.pop("said", "")
    if said:
        st.success(plain(said), icon=":material/check:")
        if read_folder(opened().folder).build is not None:
            st.page_link("views/finish.py", label="See the dates", icon=":material/event:")
        begin_soon()


def _show_undo() -> None:
    if st.button("Take the last change back", key="undo", width="stretch"):
        try:
            st.session_state["said"] = undo(opened().folder).sentence
        except BenchdaysError as error:
            st.error(plain(str(error)))
            return
        st.rerun()


def _show_problems(problems: tuple[Problem, ...], rows: tuple[LogRow, ...]) -> None:
    if not problems:
        return
    count = len(problems)
    st.subheader(f"{count} thing{'s' if count != 1 else ''} to put right", anchor=False)
    words = {(r.file, r.line): row_words(r) for r in rows}
    show_table(
        problems_table(problems, words),
        "Every problem of the folder, beside its row; rows of the log can be changed below",
    )


def _show_rows(rows: tuple[LogRow, ...], problems: tuple[Problem, ...]) -> None:
    if not rows:
        return
    wrong = {(p.file, p.line) for p in problems}
    newest = sorted(rows, key=lambda r: (r.cells.get("date", ""), r.file, r.line), reverse=True)
    st.subheader("The last rows", anchor=False)
    show_table(rows_table(newest[:_ROWS_SHOWN]), "Newest first")
    with st.expander("Change or take out a row", expanded=bool(wrong)):
        find = st.text_input("Only rows that hold", key="find_row", placeholder="a day, a task, a word")
        offered = [r for r in newest if find.casefold() in row_words(r).casefold()][:_ROWS_OFFERED]
        first = [r for r in offered if (r.file, r.line) in wrong]
        offered = [*first, *(r for r in offered if r not in first)]
        if not offered:
            st.caption("No row holds that.")
            return
        picked = st.selectbox("Row", offered, format_func=row_words, key="row_to_change")
        if picked is not None:
            change_form(picked)


def rows_table(rows: list[LogRow]) -> pd.DataFrame:
    """Rows of the log as they stand in the file."""
    table = pd.DataFrame([{c: r.cells.get(c, "") for c in _COLUMNS} for r in rows])
    shown = table.loc[:, [c for c in table if c in ("date", "hours") or (table[c] != "").any()]]
    return shown.rename(columns=str.capitalize)


def row_words(row: LogRow) -> str:
    """One row in one line."""
    cells = row.cells
    hours = f"{cells['hours']} h" if cells.get("hours") else ""
    parts = [cells.get("date", ""), hours, *(cells.get(c, "") for c in ("builders", "task", "stage", "note"))]
    return f"line {row.line}: {', '.join(p for p in parts if p)}"


if __name__ == "__main__":
    show_page()
