"""Track record: what would have been said on past days, beside what happened."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard.charts.figures import Figure, drawn, show, show_table
from dashboard.charts.plans import past_forecasts
from dashboard.frame import answer, asked, wait_for
from dashboard.words import title_case
from dashboard.work.forecasts import record_for
from forecast.present.finish import format_short_date
from forecast.questions.announced_dates import BUILD
from forecast.questions.track_record import TrackRecord, announced_sentences, early_or_late, record_sentences

_WHOLE = "Whole build"


def show_page() -> None:
    """Draw the page."""
    now = asked()
    found, done = record_for(now)
    if not found.done():
        answer(["How did earlier forecasts do?"])
        said = f"{done[0]} of {done[1]} past days done." if done[1] else "This takes a minute or two."
        wait_for(found.done, f"Forecasting from past days by what was known then. {said}")
        return
    record = found.result()
    sentences = record_sentences(record)
    answer([held_sentence(record) or sentences[0]])
    if len(record.finishes):
        names = {_WHOLE if t == BUILD else title_case(t): t for t in reversed(record.targets)}
        picked = st.selectbox("Finish of", list(names), key="record_target")
        show(drawn(lambda: past_figure(record, names[picked]), "past", now.key, picked))
        show_table(
            targets_table(record),
            "Score: error of the range in days, small is good; beside it an average pace and earned schedule",
        )
    with st.expander("How that was judged, and beside which other ways"):
        for sentence in [*sentences, *announced_sentences(record)]:
            st.text(sentence)


def held_sentence(record: TrackRecord) -> str:
    """How often the dates held, in short; nothing while none can be judged."""
    held = record.judged().held if len(record.finishes) else None
    if held is None or not held.known:
        return ""
    return f"80 % sure: held in {held.held} of {held.known} past forecasts."


def past_figure(record: TrackRecord, target: str) -> Figure:
    """The dates that would have been said for one target, by the day on which they were."""
    rows = record.finishes.loc[record.finishes["target"] == target]
    held = record.judged(target).held
    name = _WHOLE if target == BUILD else title_case(target)
    said = f"the 80 % date held in {held.held} of {held.known}" if held.known else "none can be judged yet"
    return Figure(
        name="track-record",
        finding=f"{name}: {len(rows)} past forecast{'s' if len(rows) != 1 else ''}, {said}",
        chart=past_forecasts(rows),
        description=f"{name}: one bar a past day: the finish as it looked then, beside what came.",
        table=pd.DataFrame(
            {
                "Said on": [format_short_date(d.date()) for d in rows["as_of"]],
                "Even odds": [_words(d) for d in rows["p50"]],
                "80 % sure": [_words(d) for d in rows["p80"]],
                "Finished": ["open" if d is pd.NaT else format_short_date(d.date()) for d in rows["actual"]],
            }
        ),
        legend="Bar: 8 in 10 runs. Circle: even odds; diamond: 80 % sure. Line across: finished.",
    )


def _words(day: pd.Timestamp) -> str:
    return "past horizon" if day is pd.NaT else format_short_date(day.date())


def targets_table(record: TrackRecord) -> pd.DataFrame:
    """How the dates of each target did, and the scores beside the naive ways."""
    rows = []
    for target in record.targets:
        judged = record.judged(target)
        scores = [record.crps_days(way, target) for way in ("", "average_pace", "earned_schedule")]
        rows.append(
            {
                "Finish of": target,
                "80 % held": f"{judged.held.held} of {judged.held.known}" if judged.held.known else "open",
                "Even odds": early_or_late(judged.middle) if judged.held.known else "",
                "Score": _score(scores[0]),
                "Pace": _score(scores[1]),
                "Earned": _score(scores[2]),
            }
        )
    return pd.DataFrame(rows)


def _score(days: float) -> str:
    return "" if days != days else f"{days:,.0f}"


if __name__ == "__main__":
    show_page()
