"""Every answer on the page, computed before a word is written."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date

import pandas as pd

from forecast.files.folder import Build
from forecast.questions.burn_down import BurnDown, burn_down
from forecast.questions.crew import CrewAnswer, compare_crews
from forecast.questions.hours_summary import hours_record
from forecast.questions.orders import Orders, orders_of
from forecast.questions.overruns import Overruns, overruns
from forecast.questions.track_record import TrackRecord, track_record
from forecast.simulate.finish import simulate_build
from forecast.simulate.fitted import fit_build
from forecast.simulate.outlook import Outlook
from forecast.simulate.settings import Settings

OnProgress = Callable[[int, int], None]
# Comparing plans repeats the simulation per plan and per delivery, the back-test per past day; these numbers
# of runs keep a report under a minute or so. A judgement.
_PLAN_RUNS, _RECORD_RUNS = 2_000, 1_000
_MOST_WORKERS = 4  # each worker loads the libraries again; with more, memory grows faster than speed


@dataclass(frozen=True, kw_only=True)
class ReportAnswers:
    """The answers on the page; None = left out.

    Attributes
    ----------
    outlook : finish dates
    left : hours left over time, of the whole build
    crew : alone, by two, and with a helper
    over : which types of work run over their estimate
    record : the back-test: past forecasts compared with what happened
    orders : by when to order what
    hours : the builder's own record, as `hours_record` makes it
    """

    outlook: Outlook
    left: BurnDown
    crew: CrewAnswer | None
    over: Overruns
    record: TrackRecord | None
    orders: Orders
    hours: pd.DataFrame

    @property
    def build(self) -> Build:
        """The build that the report is about."""
        return self.outlook.fitted.build

    @property
    def as_of(self) -> date:
        """The last day that counts."""
        return self.outlook.as_of


def gather_answers(
    build: Build,
    as_of: date,
    settings: Settings,
    *,
    crew: bool = True,
    record: bool = True,
    on_progress: OnProgress | None = None,
) -> ReportAnswers:
    """Compute everything on the page.

    The finish dates take `settings.runs`; comparisons of plans and the back-test take fewer.

    Parameters
    ----------
    build : the folder
    as_of : the last day that counts
    settings : runs, seed and horizon
    crew, record : whether to compare crews and to run the back-test, the two slowest parts
    on_progress : called with (done, 100), in hundredths
    """
    fitted = fit_build(build, as_of, settings)
    outlook = simulate_build(fitted, settings, on_progress=_part_of(on_progress, 0, 40))
    fewer = replace(settings, runs=min(settings.runs, _PLAN_RUNS))
    compared = bool(crew and outlook.open_stages)
    return ReportAnswers(
        outlook=outlook,
        left=burn_down(outlook),
        orders=orders_of(fitted, fewer, on_progress=_part_of(on_progress, 40, 55)),
        crew=compare_crews(fitted, fewer, on_progress=_part_of(on_progress, 55, 70)) if compared else None,
        over=overruns(fitted.progress, fitted.effort),
        record=_record(build, as_of, settings, _part_of(on_progress, 70, 100)) if record else None,
        hours=hours_record(fitted.progress.sessions),
    )


def _record(build: Build, as_of: date, settings: Settings, on_progress: OnProgress | None) -> TrackRecord:
    from joblib import cpu_count

    few = replace(settings, runs=min(settings.runs, _RECORD_RUNS))
    workers = min(cpu_count(), _MOST_WORKERS)
    return track_record(build, as_of, few, workers=workers, on_progress=on_progress)


def _part_of(on_progress: OnProgress | None, begin: int, end: int) -> OnProgress | None:
    """The progress of one part, as a stretch of the whole.

    >>> _part_of(lambda done, total: print(done, total), 40, 60)(1, 2)
    50 100
    """
    if on_progress is None:
        return None
    return lambda done, total: on_progress(begin + (end - begin) * done // max(total, 1), 100)
