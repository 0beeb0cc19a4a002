"""The register of random streams: which part of a forecast draws from which.

The seed is set once, in `Settings`. Every part draws from a stream of its own, named by its place below,
so that a what-if changes what it asks about and leaves all other draws as they were, run by run.
"""

from __future__ import annotations

from zlib import crc32

import numpy as np

# First numbers of the places. Never reuse one: two parts that share a stream are no longer independent.
FIT, EFFORT, BENCH, ARRIVALS = range(4)
LEAD_TIMES, TONIGHT, BACK_TEST, STUDIES = 4, 7, 8, 9
BENCH_HOURS, SCOPE, DATE_CHANGE = 10, 11, 12

# Runs are drawn in batches of this many, each from streams of its own: whoever draws the same runs must
# use the same size, or the same run gets other draws.
BATCH_RUNS = 500


def stream(seed: int, *place: int) -> np.random.Generator:
    """The generator of one place in the forecast, the same at every call.

    Parameters
    ----------
    seed : the seed of the forecast
    place : one of the names above, then the number of the batch or the like

    Examples
    --------
    >>> bool(stream(0, EFFORT, 1).random() == stream(0, EFFORT, 1).random())
    True
    """
    return np.random.default_rng(np.random.SeedSequence(seed, spawn_key=place))


def named_stream(seed: int, name: str, *place: int) -> np.random.Generator:
    """A generator that depends on a name alone, so that nobody's draws shift when another one joins."""
    return stream(seed, crc32(name.encode()), *place)
