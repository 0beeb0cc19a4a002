"""Time at the bench so far and to come: weeks, silences, days of the week."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import pandas as pd

from forecast.quantiles import QUANTILE_KEYS, QUANTILES, date_column
from forecast.random_streams import BENCH_HOURS, stream
from forecast.simulate.fitted import Fitted
from forecast.simulate.settings import Settings

DAY_NAMES = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
COMING_WEEKS = 26
_SHORTEST_SILENCE_DAYS = 14
_SPAN_WEEKS = (4, 13, 26)


@dataclass(frozen=True, kw_only=True)
class BenchHours:
    """Clock hours at the bench; on each day those of the person who stayed longest.

    Attributes
    ----------
    as_of : the last day that counts
    weeks : monday, hours: every week since the first session, the last one as far as it is known
    silences : start, end, days: periods of two weeks or more without a session, longest first
    days : name, worked_share (0-1 of such days), hours (mean of the days worked): by day of the week;
        public holidays count as Sundays where build.toml names the country
    coming : week_from and one column per quantile: hours in each of the next 26 weeks in the runs
    totals : weeks (4, 13, 26), one column per quantile of their hours, and last (the hours of as many past
        weeks, NaN where the log is shorter)
    """

    as_of: date
    weeks: pd.DataFrame
    silences: pd.DataFrame
    days: pd.DataFrame
    coming: pd.DataFrame
    totals: pd.DataFrame

    def __repr__(self) -> str:
        return f"<BenchHours: as of {self.as_of}, {len(self.weeks)} weeks, {len(self.silences)} silences>"

    def to_frame(self) -> pd.DataFrame:
        """One row per week to come: the attribute `coming`."""
        return self.coming

    @property
    def silent_days(self) -> int:
        """Days since the last session, 0 on the day of one."""
        open_end = self.silences.loc[self.silences["end"] == pd.Timestamp(self.as_of)]
        return 0 if open_end.empty else int(open_end["days"].iloc[0])


def bench_hours(fitted: Fitted, settings: Settings) -> BenchHours:
    """Time at the bench in the log, and in the simulation of the next half year.

    Parameters
    ----------
    fitted : what was learned from the log
    settings : runs (at most 2,000 are used) and seed
    """
    history = fitted.bench.learned_.history
    known = history.household[: history.known_days]
    weekly = np.add.reduceat(known, np.arange(0, len(known), 7)) if len(known) else np.zeros(0)
    mondays = [history.origin + timedelta(days=7 * w) for w in range(len(weekly))]
    drawn = _drawn_days(fitted, settings)
    return BenchHours(
        as_of=fitted.as_of,
        weeks=pd.DataFrame({"monday": date_column(mondays), "hours": weekly}),
        silences=_silences(history.origin, known),
        days=_days_of_week(history.kinds[: history.known_days], known),
        coming=_coming(fitted.as_of, drawn),
        totals=_totals(known, drawn),
    )


def _drawn_days(fitted: Fitted, settings: Settings) -> np.ndarray:
    """(run, day) household hours from the day after `as_of`."""
    rng = stream(settings.seed, BENCH_HOURS)
    start = fitted.as_of + timedelta(days=1)
    hours = fitted.bench.sample_hours(start, 7 * COMING_WEEKS, min(settings.runs, 2_000), rng).hours
    return np.asarray(hours.max(axis=2, initial=0.0), dtype=float)


def _silences(origin: date, hours: np.ndarray) -> pd.DataFrame:
    """Periods without a session after the first one, an ongoing one included."""
    worked = np.flatnonzero(hours > 0)
    ends = np.append(worked[1:], len(hours)) if worked.size else np.zeros(0, dtype=np.int64)
    gaps = ends - worked - 1
    long = gaps >= _SHORTEST_SILENCE_DAYS
    silences = pd.DataFrame(
        {
            "start": date_column([origin + timedelta(days=int(d) + 1) for d in worked[long]]),
            "end": date_column([origin + timedelta(days=int(d) - 1) for d in ends[long]]),
            "days": gaps[long],
        }
    )
    return silences.sort_values("days", ascending=False, kind="stable", ignore_index=True)


def _days_of_week(kinds: np.ndarray, hours: np.ndarray) -> pd.DataFrame:
    days = np.bincount(kinds, minlength=7)
    worked = np.bincount(kinds[hours > 0], minlength=7)
    total = np.bincount(kinds, weights=hours, minlength=7)
    return pd.DataFrame(
        {
            "name": pd.Series(DAY_NAMES, dtype="str"),
            "worked_share": worked / np.maximum(days, 1),
            "hours": total / np.maximum(worked, 1),
        }
    )


def _coming(as_of: date, drawn: np.ndarray) -> pd.DataFrame:
    weekly = drawn.reshape(len(drawn), -1, 7).sum(axis=2)
    first = as_of + timedelta(days=1)
    weeks = [first + timedelta(days=7 * w) for w in range(weekly.shape[1])]
    return pd.DataFrame({"week_from": date_column(weeks), **_levels(weekly)})


def _totals(known: np.ndarray, drawn: np.ndarray) -> pd.DataFrame:
    spans = np.array(_SPAN_WEEKS)
    ahead = np.stack([drawn[:, : 7 * w].sum(axis=1) for w in spans], axis=1)
    last = [known[-7 * w :].sum() if len(known) >= 7 * w else np.nan for w in spans]
    return pd.DataFrame({"weeks": spans, **_levels(ahead), "last": last})


def _levels(values: np.ndarray) -> dict[str, np.ndarray]:
    levels = np.quantile(values, QUANTILES, axis=0, method="inverted_cdf")
    return dict(zip(QUANTILE_KEYS, levels, strict=True))
