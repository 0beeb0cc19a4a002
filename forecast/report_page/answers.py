"""Every answer that the report gives, computed before a word is written."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

import pandas as pd

from forecast.burn_down import BurnDown, burn_down
from forecast.folder import Build
from forecast.hours_summary import hours_record
from forecast.outlook import Outlook, Settings, fit_build, play
from forecast.overruns import Overruns, overruns


@dataclass(frozen=True, kw_only=True)
class Answers:
    """What the report tells.

    Attributes
    ----------
    outlook : finish dates
    left : hours left over time, of the whole build
    over : which types of work run over their estimate
    hours : the builder's own record (of `hours_record`)
    """

    outlook: Outlook
    left: BurnDown
    over: Overruns
    hours: pd.DataFrame

    @property
    def build(self) -> Build:
        """The folder that the report is about."""
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
    on_progress: Callable[[int, int], None] | None = None,
) -> Answers:
    """Compute everything that the report tells.

    Parameters
    ----------
    build : the folder
    as_of : the last day that counts
    settings : runs, seed and horizon
    on_progress : called with (runs played, runs in all)
    """
    fitted = fit_build(build, as_of, settings)
    outlook = play(fitted, settings, on_progress=on_progress)
    return Answers(
        outlook=outlook,
        left=burn_down(outlook),
        over=overruns(fitted.progress, fitted.effort),
        hours=hours_record(fitted.progress.sessions),
    )
