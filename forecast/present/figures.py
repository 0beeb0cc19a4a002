"""Figures that both the report and the dashboard show: a chart with its finding, legend and table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import altair as alt
import pandas as pd

from forecast import wording
from forecast.present.charts import dates, hours
from forecast.present.charts.theme import Theme
from forecast.present.finish import finish_rows
from forecast.present.overruns import overruns_rows
from forecast.quantiles import quantile_key
from forecast.questions.announced_dates import BUILD
from forecast.questions.burn_down import BurnDown
from forecast.questions.overruns import SPEAKS, SURE, running_over
from forecast.questions.track_record import TrackRecord
from forecast.simulate.outlook import Outlook

_LEVELS = (0.05, 0.10, 0.50, 0.80, 0.90, 0.95)
_BURN_DOWN_ROWS = 14  # about what one screen shows
Target = tuple[str, Outlook, str | None]


@dataclass(frozen=True, kw_only=True)
class Figure:
    """A chart and what belongs to it.

    Attributes
    ----------
    name : of its files, and of its place in a page
    finding : what it shows, in one sentence: its title
    chart : the chart
    description : the chart in words, for those who cannot see it
    table : the values behind it
    legend : how to read the marks, in one line
    """

    name: str
    finding: str
    chart: alt.Chart | alt.LayerChart
    description: str
    table: pd.DataFrame
    legend: str = ""


def ranges_frame(targets: Sequence[Target]) -> pd.DataFrame:
    """One row per target: target, p05 to p95 (days; NaT past the horizon), finished (a text or "").

    Parameters
    ----------
    targets : name to show, forecast, and stage in it (None: the whole build)
    """
    rows = []
    for name, outlook, stage in targets:
        done = outlook.finished_on(stage)
        finished = "" if done is None else f"finished {wording.format_short_date(done)}"
        days = {quantile_key(q): outlook.date_at(q, stage) for q in _LEVELS}
        rows.append({"target": name, **days, "finished": finished})
    return as_days(pd.DataFrame(rows), [quantile_key(q) for q in _LEVELS])


def as_days(frame: pd.DataFrame, columns: Sequence[str]) -> pd.DataFrame:
    """A frame whose columns of dates are `datetime64`; None becomes NaT."""
    return frame.assign(**{c: pd.to_datetime(frame[c]).astype("datetime64[us]") for c in columns})


def right_edge(frame: pd.DataFrame, outlook: Outlook) -> date:
    """Where a chart of finish dates ends: behind the last 90 % date, or the last date there is.

    The room behind it, 8 % of the way and a week, is for the label of the last mark.
    """
    latest = frame[["p10", "p50", "p80", "p90"]].max().max()
    if latest is pd.NaT:
        return outlook.as_of + timedelta(days=outlook.settings.horizon_days)
    last: date = latest.date()
    return last + (last - outlook.as_of) * 0.08 + timedelta(days=7)


def finish_figure(outlook: Outlook, theme: Theme) -> Figure:
    """The range of finish dates of every stage and of the whole build."""
    frame = ranges_frame([(wording.target_name(s), outlook, s) for s in (*outlook.stages, None)])
    day = wording.format_date(outlook.as_of)
    return Figure(
        name="finish-dates",
        finding=_finish_finding(outlook),
        chart=dates.finish_ranges(frame, outlook.as_of, right_edge(frame, outlook), theme),
        description=(
            f"One row per stage and one for the build, against dates from {day}: "
            "a range that widens the further away the finish lies."
        ),
        table=finish_rows(outlook),
        legend=f"{RANGES_LEGEND} Dotted line: {day}.",
    )


RANGES_LEGEND = (
    "Circle: even odds. Diamond with its date: 80 % sure. Broad bar: 8 in 10 runs; line: 9 in 10. "
    "Triangle at the right edge: the range continues."
)


def _finish_finding(outlook: Outlook) -> str:
    early, late = outlook.date_at(0.10, None), outlook.date_at(0.90, None)
    first, last = wording.format_date(early), wording.format_date(late)
    if early is None:
        return "Fewer than one run in ten finishes the whole build within the horizon"
    if late is None:
        return f"The whole build is hardly done before {first}; how late is open"
    return f"The whole build: 8 in 10 runs end between {first} and {last}"


def burn_down_figure(outlook: Outlook, burned: BurnDown, theme: Theme) -> Figure:
    """Person-hours left of one stage or of the whole build, in the log and in the runs."""
    name = wording.target_name(burned.stage)
    left, grown = burned.forecast["p50"].iloc[0], burned.scope["hours"].sum()
    # Below an hour the growth is a rounding of the estimates.
    more = f"; the plan grew by {wording.format_hours(grown)} hours" if grown >= 1 else ""
    return Figure(
        name="burn-down",
        finding=f"{name}: {wording.format_hours(left)} person-hours left at even odds{more}",
        chart=hours.hours_left(burned.logged, burned.forecast, burned.scope, theme),
        description=(
            f"{name}: person-hours left against dates. A stepped line falls through the log to "
            f"{wording.format_date(outlook.as_of)}; from there the range of the runs falls to zero."
        ),
        table=_burn_down_rows(burned),
        legend=(
            "Stepped line: the log, as seen from today. Line ahead: even odds. Dark, middle and pale bands: "
            "half, 8 in 10 and 95 in 100 of the runs. Triangle: tasks added to the plan."
        ),
    )


def _burn_down_rows(burned: BurnDown) -> pd.DataFrame:
    ahead = burned.forecast.iloc[:: max(len(burned.forecast) // _BURN_DOWN_ROWS, 1)]
    columns = {
        "p50": "Even odds",
        "p10": "Low (80 %)",
        "p90": "High (80 %)",
        "p02": "Low (95 %)",
        "p98": "High (95 %)",
    }
    table = {"Date": [wording.format_short_date(day) for day in ahead["day"]]}
    return pd.DataFrame(
        table | {title: ahead[q].round().astype(int).to_list() for q, title in columns.items()}
    )


def ratios_figure(types: pd.DataFrame, theme: Theme) -> Figure:
    """Hours taken over hours planned, by type of work.

    Parameters
    ----------
    types : rows of `Overruns.types` with planned hours, most hours at stake first
    theme : colours and sizes
    """
    frame = pd.DataFrame(
        {
            "type": types["type"].map(wording.capitalise),
            **{q: types[f"ratio_{q}"] for q in ("p10", "p50", "p90")},
            "label": [f"{ratio:.2f}" for ratio in types["ratio_p50"]],
            "side": [_side(chance) for chance in types["probability_over"]],
        }
    )
    count = wording.plural(len(frame), "type")
    return Figure(
        name="over-estimate",
        finding=f"{len(running_over(types))} of {count} of work run over their plan",
        chart=hours.ratios_of_types(frame, theme),
        description="One row per type of work: hours taken over hours planned with its range, beside 1.",
        table=overruns_rows(types),
        legend=(
            f"Triangle to the right: {wording.format_percent(SURE)} sure to run over; to the left: to stay "
            f"under; circle: open. Counted in the title: types with {SPEAKS} finished tasks or more. Bar: 8 "
            "in 10. Dotted line: the plan. Most hours at stake first."
        ),
    )


def _side(probability_over: float) -> str:
    if probability_over >= SURE:
        return "over"
    return "under" if probability_over <= 1 - SURE else "open"


def past_figure(record: TrackRecord, target: str, theme: Theme) -> Figure:
    """Past forecasts of one target beside the day on which it was finished.

    Parameters
    ----------
    record : the back-test
    target : a stage, or `BUILD`
    theme : colours and sizes
    """
    rows = record.finishes.loc[record.finishes["target"] == target]
    name = wording.target_name(None if target == BUILD else target)
    held = record.judged(target).held
    hits = f"the 80 % date held in {held.held} of {held.known}" if held.known else "none can be judged yet"
    return Figure(
        name="track-record",
        finding=f"{name}: {wording.plural(len(rows), 'past forecast')}, {hits}",
        chart=dates.past_forecasts(rows, theme),
        description=f"{name}: one bar per past day with the range forecast then, beside the actual finish.",
        table=pd.DataFrame(
            {
                "Forecast on": [wording.format_short_date(day) for day in rows["as_of"]],
                "Even odds": [wording.format_short_date(day) for day in rows["p50"]],
                "80 % sure": [wording.format_short_date(day) for day in rows["p80"]],
                "Finished": [
                    "open" if day is pd.NaT else wording.format_short_date(day) for day in rows["actual"]
                ],
            }
        ),
        legend=(
            "Bar: 8 in 10 runs. Circle: even odds; diamond: 80 % sure. Triangle: past the horizon. "
            "Line across: finished."
        ),
    )
