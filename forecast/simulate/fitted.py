"""Everything learned from one build as it was known on one day."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from forecast.files.folder import Build
from forecast.learn.progress import Progress, read_progress
from forecast.random_streams import FIT, stream
from forecast.simulate.settings import Settings

if TYPE_CHECKING:
    from forecast.learn.bench_time import BenchTime
    from forecast.learn.effort import EffortModel
    from forecast.simulate.network import Network


@dataclass(frozen=True, kw_only=True)
class Fitted:
    """Everything learned from one build as it stood on one day; what-ifs share it."""

    build: Build
    progress: Progress
    effort: EffortModel
    bench: BenchTime
    network: Network

    @property
    def as_of(self) -> date:
        """The last day that counts."""
        return self.progress.as_of


def fit_build(build: Build, as_of: date, settings: Settings) -> Fitted:
    """Learn from everything known at the end of `as_of`."""
    from forecast.learn.bench_time import BenchTime
    from forecast.learn.effort import EffortModel
    from forecast.simulate.network import network_of

    progress = read_progress(build.plan, build.sessions, as_of)
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
        network=network_of(build.plan, progress, build.deliveries, as_of, limits=build.limits),
    )
