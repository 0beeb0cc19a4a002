"""Many builds at once: one table of all, and priors for the next builder.

Many          builds, each checked, fitted and forecast, by whatever engine
engine        this machine's cores, or a Dask cluster
pool_priors   what many builds teach, as distributions
"""

from forecast.many.answer import BuildAnswer
from forecast.many.engine import Engine, engine
from forecast.many.kept import Kept
from forecast.many.pool import pool_priors
from forecast.many.run import Many, distinct

__all__ = ["BuildAnswer", "Engine", "Kept", "Many", "distinct", "engine", "pool_priors"]
