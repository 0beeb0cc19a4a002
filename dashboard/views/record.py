"""Track record: past forecasts compared with what happened."""

from __future__ import annotations

import streamlit as st

from dashboard.charts.figures import show, show_table
from dashboard.frame import current_request, show_answer, wait_for
from dashboard.work.forecasts import track_record_of
from forecast.present.charts.theme import SCREEN
from forecast.present.figures import past_figure
from forecast.present.track_record import record_rows
from forecast.questions.announced_dates import BUILD
from forecast.questions.track_record import TrackRecord, announced_sentences, record_sentences
from forecast.wording import WHOLE_BUILD, capitalise


def show_page() -> None:
    """Draw the page."""
    request = current_request()
    work, (done, days) = track_record_of(request)
    if not work.done():
        show_answer(["How did earlier forecasts do?"])
        progress = f"{done} of {days} past days done" if days else "this takes a minute or two"
        wait_for(work.done, f"Forecasting from past days with what was known then: {progress}...")
        return
    record = work.result()
    sentences = record_sentences(record)
    show_answer([coverage_sentence(record) or sentences[0]])
    if len(record.finishes):
        targets = {WHOLE_BUILD if t == BUILD else capitalise(t): t for t in reversed(record.targets)}
        target = targets[st.selectbox("Finish of", list(targets), key="record_target")]
        show(lambda: past_figure(record, target, SCREEN), "past", request.key, target)
        show_table(
            record_rows(record).drop(columns="Forecasts"),
            "CRPS: error of the forecast distribution in days, smaller is better; beside it those of the "
            "average pace and of earned schedule",
        )
    with st.expander("How the forecasts were judged and what they were compared with"):
        for sentence in [*sentences, *announced_sentences(record)]:
            st.text(sentence)


def coverage_sentence(record: TrackRecord) -> str:
    """How often the 80 % dates held; empty while none can be judged."""
    held = record.judged().held if len(record.finishes) else None
    if held is None or not held.known:
        return ""
    return f"The 80 % date held in {held.held} of {held.known} past forecasts."


if __name__ == "__main__":
    show_page()
