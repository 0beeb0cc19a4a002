"""Everything learned from one build up to one day."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from forecast.files.folder import Build
from forecast.learn.progress import Progress, read_progress
from forecast.quantiles import to_date
from forecast.random_streams import FIT, stream
from forecast.simulate.settings import Settings

if TYPE_CHECKING:
    import pandas as pd

    from forecast.learn.bench_time import BenchTime
    from forecast.learn.effort import EffortModel
    from forecast.simulate.network import Network


@dataclass(frozen=True, kw_only=True)
class Fitted:
    """Everything learned from one build up to one day; all what-ifs share it.

    Attributes
    ----------
    build : the folder
    progress : sessions and tasks up to `as_of`
    effort : person-hours per task
    bench : when somebody is at the bench
    network : the open tasks and their constraints
    """

    build: Build
    progress: Progress
    effort: EffortModel
    bench: BenchTime
    network: Network

    @property
    def as_of(self) -> date:
        """The last day that counts."""
        return self.progress.as_of

    def to_frame(self) -> pd.DataFrame:
        """One row per task of the plan, in plan order: the columns of `Progress.tasks`."""
        return self.progress.tasks

    def __repr__(self) -> str:
        progress = self.progress
        done = f"{progress.finished_tasks} of {len(progress.tasks)} tasks finished"
        return f"<Fitted {self.build.name}: as of {self.as_of}, {done}, {len(progress.sessions)} sessions>"


def fit_build(build: Build, as_of: date | str, settings: Settings | None = None) -> Fitted:
    """Learn from everything known at the end of `as_of`.

    Parameters
    ----------
    build : the folder, read by `forecast.files.folder.read_build`
    as_of : the last day that counts; a date or its ISO text
    settings : seed and priors

    Raises
    ------
    UsageError for an `as_of` that is no day.

    Examples
    --------
    >>> from forecast.files.folder import read_build
    >>> fit_build(read_build("sample_logs/dinghy"), "2026-09-30").network.stages[0]
    'mould'
    """
    from forecast.learn.bench_time import BenchTime
    from forecast.learn.effort import EffortModel
    from forecast.simulate.network import network_of

    settings, day = settings or Settings(), to_date(as_of, "as_of")
    progress = read_progress(build.plan, build.sessions, day)
    pooled = settings.priors
    return Fitted(
        build=build,
        progress=progress,
        effort=EffortModel(priors=pooled.effort if pooled else None).fit(
            progress, stream(settings.seed, FIT)
        ),
        bench=BenchTime(priors=pooled.bench if pooled else None).fit(
            progress,
            build.builders,
            build.away,
            build.country,
            plan=build.plan,
            deliveries=build.deliveries,
        ),
        network=network_of(build.plan, progress, build.deliveries, day, limits=build.limits),
    )
