"""The announced dates (forecasts.csv) compared with what happened."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from forecast.errors import InputError, Problem
from forecast.files.tables import read_table
from forecast.quantiles import QUANTILE_KEYS
from forecast.questions.announced_dates import FORECASTS
from forecast.questions.track_record.outcomes import Outcomes
from forecast.questions.track_record.verdicts import Judged


@dataclass(frozen=True, kw_only=True)
class AnnouncedRecord:
    """Announced dates compared with outcomes.

    Attributes
    ----------
    rows : one row per day of announcement and target, the last dates of that day: announced, as_of,
        target, p05 ... p95 (NaT past the horizon), actual (NaT while open), in_plan (False for a stage
        that is no longer in the plan; it cannot be judged)
    known_until : the last day that counts
    """

    rows: pd.DataFrame
    known_until: pd.Timestamp

    @property
    def judged(self) -> Judged:
        """The announced dates as days after their announcement."""
        announced = self.rows["announced"]
        known = _days(announced, pd.Series(self.known_until, index=announced.index))
        return Judged(
            quantiles=pd.DataFrame({k: _days(announced, self.rows[k]) for k in QUANTILE_KEYS}),
            outcome=_days(announced, self.rows["actual"]),
            known_until=np.where(self.rows["in_plan"], known, np.nan),
        )

    @property
    def no_longer_planned(self) -> tuple[str, ...]:
        """Stages with announced dates that are no longer in the plan."""
        return tuple(dict.fromkeys(self.rows.loc[~self.rows["in_plan"], "target"]))


def read_announced(folder: Path, outcomes: Outcomes) -> AnnouncedRecord:
    """Read forecasts.csv up to the last day that counts; without the file there are no rows.

    Parameters
    ----------
    folder : of the build
    outcomes : what happened

    Raises
    ------
    InputError with every cell that cannot be read.
    """
    path = folder / FORECASTS
    try:
        data = path.read_bytes() if path.exists() else b""
    except OSError as error:
        problem = Problem(FORECASTS, None, "", "", f"could not be read: {error.strerror}")
        raise InputError([problem]) from None
    if not data:
        return announced_beside_outcomes(_no_rows(), outcomes)
    table = read_table(data, FORECASTS, "forecasts")
    if table.problems:
        raise InputError(list(table.problems))
    rows = table.frame[["announced", "as_of", "target", *QUANTILE_KEYS]]
    return announced_beside_outcomes(rows, outcomes)


def announced_beside_outcomes(rows: pd.DataFrame, outcomes: Outcomes) -> AnnouncedRecord:
    """Compare announced dates with what happened.

    Parameters
    ----------
    rows : announced, as_of, target, p05 ... p95, one row per announced date
    outcomes : what happened
    """
    until = pd.Timestamp(outcomes.as_of).as_unit("us")
    rows = rows.loc[(rows["announced"] <= until) & (rows["as_of"] <= until)]
    rows = rows.drop_duplicates(["announced", "target"], keep="last").reset_index(drop=True)
    targets = rows["target"].unique()
    finished = {t: outcomes.finished_on(t) for t in targets}
    known = {t: outcomes.knows(t) for t in targets}
    actual = pd.Series([finished[t] for t in rows["target"]], dtype=object)
    return AnnouncedRecord(
        rows=rows.assign(
            actual=pd.to_datetime(actual).astype("datetime64[us]"),
            in_plan=np.array([known[t] for t in rows["target"]], dtype=bool),
        ),
        known_until=until,
    )


def _no_rows() -> pd.DataFrame:
    days = pd.Series([], dtype="datetime64[us]")
    frame = pd.DataFrame(dict.fromkeys(["announced", "as_of", *QUANTILE_KEYS], days))
    frame.insert(2, "target", pd.Series([], dtype="str"))
    return frame


def _days(start: pd.Series, end: pd.Series) -> np.ndarray:
    """Days between two columns; infinite where the end is not known."""
    days = (end - start).dt.days.to_numpy(dtype=float)
    return np.where(np.isnan(days), np.inf, days)
