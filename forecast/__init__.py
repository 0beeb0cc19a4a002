"""benchdays: when will the kit be finished?

Read a build folder, forecast it, ask questions of the forecast:

>>> import forecast
>>> build = forecast.read_build("sample_logs/turnstone")
>>> outlook = forecast.forecast_finish(build, "2026-09-30", forecast.Settings(runs=200))
>>> outlook.stages
('tail', 'wings', 'fuselage', 'floats', 'fitting out')

Everything listed in `__all__` is public; all other names may change.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from forecast.errors import BenchdaysError, InputError, UsageError
    from forecast.files.folder import Build, check_build, read_build
    from forecast.learn.bench_time import BenchTime
    from forecast.learn.effort import EffortModel, TaskEffort
    from forecast.questions.bench_hours import bench_hours
    from forecast.questions.burn_down import burn_down
    from forecast.questions.crew import compare_crews
    from forecast.questions.date_change import explain_date_change
    from forecast.questions.drivers import date_drivers
    from forecast.questions.orders import orders_of
    from forecast.questions.overruns import overruns
    from forecast.questions.scores import coverage, crps, interval_score, pinball_loss
    from forecast.questions.tonight import tonight
    from forecast.questions.track_record import track_record
    from forecast.simulate.finish import forecast_finish
    from forecast.simulate.fitted import Fitted, fit_build
    from forecast.simulate.outlook import Outlook
    from forecast.simulate.settings import Settings

__all__ = [
    "BenchTime",
    "BenchdaysError",
    "Build",
    "EffortModel",
    "Fitted",
    "InputError",
    "Outlook",
    "Settings",
    "TaskEffort",
    "UsageError",
    "__version__",
    "bench_hours",
    "burn_down",
    "check_build",
    "compare_crews",
    "coverage",
    "crps",
    "date_drivers",
    "explain_date_change",
    "fit_build",
    "forecast_finish",
    "interval_score",
    "orders_of",
    "overruns",
    "pinball_loss",
    "read_build",
    "tonight",
    "track_record",
]

_HOMES = {
    "forecast.errors": ("BenchdaysError", "InputError", "UsageError"),
    "forecast.files.folder": ("Build", "check_build", "read_build"),
    "forecast.learn.bench_time": ("BenchTime",),
    "forecast.learn.effort": ("EffortModel", "TaskEffort"),
    "forecast.questions.bench_hours": ("bench_hours",),
    "forecast.questions.burn_down": ("burn_down",),
    "forecast.questions.crew": ("compare_crews",),
    "forecast.questions.date_change": ("explain_date_change",),
    "forecast.questions.drivers": ("date_drivers",),
    "forecast.questions.orders": ("orders_of",),
    "forecast.questions.overruns": ("overruns",),
    "forecast.questions.scores": ("coverage", "crps", "interval_score", "pinball_loss"),
    "forecast.questions.tonight": ("tonight",),
    "forecast.questions.track_record": ("track_record",),
    "forecast.simulate.finish": ("forecast_finish",),
    "forecast.simulate.fitted": ("Fitted", "fit_build"),
    "forecast.simulate.outlook": ("Outlook",),
    "forecast.simulate.settings": ("Settings",),
}
_HOME_OF = {name: module for module, names in _HOMES.items() for name in names}


def __getattr__(name: str) -> Any:
    """Import a public name when it is first used (PEP 562).

    `benchdays --help` imports this package too, and must not wait for pandas and statsmodels.
    """
    if name == "__version__":
        from importlib.metadata import version

        return version("benchdays")
    if name in _HOME_OF:
        return getattr(import_module(_HOME_OF[name]), name)
    raise AttributeError(f"module 'forecast' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
