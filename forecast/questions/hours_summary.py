"""The builder's own record of hours: by date, person, stage, type and month.

It records time and nothing else: no share of the work, no finding. Hours per person are clock hours at the
bench; helpers without a name count once each.
"""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pandas as pd

from forecast.errors import UsageError
from forecast.files.csv_file import format_record, guard_formula

CAUTION = (
    "This is a record of time and nothing more. It does not show who is entitled to what, how much of a "
    "craft somebody made, or that it is fit to fly or sail. The rules differ from country to country and "
    "change: ask your authority and your kit maker which records they want before you rely on this one."
)
HELPERS = "helpers without a name"
OUTSIDE = "outside the plan"
BREAKDOWNS = ("person", "stage", "type", "month")
_KEYS = ["date", "until", "month", "person", "stage", "type", "task"]


def hours_record(sessions: pd.DataFrame) -> pd.DataFrame:
    """Hours of each person on each day and task.

    A log row that covers several days stays one row, but is split where a month ends, in proportion to the
    days: the log has no finer detail.

    Parameters
    ----------
    sessions : the sessions up to the last day that counts (`Progress.sessions`)

    Returns
    -------
    One row per date, person, stage, type and task, sorted: date, until, month (YYYY-MM), person, stage,
    type, task ("outside the plan" where none), hours (clock hours of that person; of helpers without a
    name the sum over them), rework_hours (those of them spent on rework)
    """
    rows = _by_month(sessions)
    named = rows.assign(person=rows["builders"].str.split("+")).explode("person", ignore_index=True)
    helped = rows.loc[rows["helpers"] > 0]
    helped = helped.assign(person=HELPERS, hours=helped["hours"] * helped["helpers"])
    each = pd.concat([named, helped], ignore_index=True)
    each = each.assign(
        month=each["date"].dt.strftime("%Y-%m").astype("str"),
        task=each["task"].where(each["task"] != "", OUTSIDE),
        rework_hours=each["hours"].where(each["rework"], 0.0),
    )
    return each.groupby(_KEYS, as_index=False, sort=True)[["hours", "rework_hours"]].sum()


def hours_by(record: pd.DataFrame, breakdown: str) -> pd.DataFrame:
    """The record summed by person, stage, type or month: days, hours, rework_hours.

    Parameters
    ----------
    record : of `hours_record`
    breakdown : one of BREAKDOWNS

    Returns
    -------
    One row per name, in alphabetical order; `days` are the days with such work (a row that covers several
    days counts as all of them)

    Raises
    ------
    UsageError for another breakdown.
    """
    if breakdown not in BREAKDOWNS:
        raise UsageError(f"breakdown must be one of {', '.join(BREAKDOWNS)}. Got {breakdown!r} instead.")
    hours = record.groupby(breakdown, sort=True)[["hours", "rework_hours"]].sum()
    days = record.assign(days=(record["until"] - record["date"]).dt.days + 1)
    spans = days.drop_duplicates([breakdown, "date", "until"]).groupby(breakdown)["days"].sum()
    return hours.assign(days=spans).reset_index()[[breakdown, "days", "hours", "rework_hours"]]


def record_csv(record: pd.DataFrame) -> bytes:
    """The record as a CSV file (RFC 4180, UTF-8).

    The caution is the header of an empty last column: in a spreadsheet it stays with the figures, and the
    file remains one header and its rows.
    """
    cells = {
        **{day: record[day].dt.strftime("%Y-%m-%d").tolist() for day in ("date", "until")},
        **{c: [guard_formula(str(t)) for t in record[c]] for c in _KEYS[2:]},
        **{c: [f"{hours:.2f}" for hours in record[c]] for c in ("hours", "rework_hours")},
    }
    rows = [[*cells, CAUTION], *([*row, ""] for row in zip(*cells.values(), strict=True))]
    return "".join(f"{format_record(row, ',')}\r\n" for row in rows).encode("utf-8")


def _by_month(sessions: pd.DataFrame) -> pd.DataFrame:
    """The sessions, split where they run past the end of a month."""
    months = sessions["until"].dt.to_period("M") != sessions["date"].dt.to_period("M")
    if not months.any():
        return sessions
    parts = [_split(row) for _, row in sessions.loc[months].iterrows()]
    return pd.concat([sessions.loc[~months], *parts], ignore_index=True).astype(sessions.dtypes.to_dict())


def _split(row: pd.Series) -> pd.DataFrame:
    """One row per month, its hours in proportion to the days."""
    first, last = row["date"].date(), row["until"].date()
    days = [first + timedelta(days=d) for d in range((last - first).days + 1)]
    starts = [d for d in days if d == first or d.day == 1]
    ends = [*(d - timedelta(days=1) for d in starts[1:]), last]
    lengths = np.array([(e - s).days + 1 for s, e in zip(starts, ends, strict=True)])
    same = pd.DataFrame([row] * len(starts)).reset_index(drop=True)
    return same.assign(
        date=pd.to_datetime(pd.Series(starts)).astype("datetime64[us]"),
        until=pd.to_datetime(pd.Series(ends)).astype("datetime64[us]"),
        hours=row["hours"] * lengths / len(days),
        person_hours=row["person_hours"] * lengths / len(days),
    )
