"""The register of random streams: which part of a forecast draws from which.

The seed is set once, in `Settings`. Every part has its own stream, named below, so that a what-if changes
only its own draws and leaves all others the same, run by run.
"""

from __future__ import annotations

from zlib import crc32

import numpy as np

# The first number of each stream. Never reuse one: two parts that share a stream are no longer independent.
FIT, EFFORT, BENCH, ARRIVALS = range(4)
LEAD_TIMES, TONIGHT, BACK_TEST, STUDIES = 4, 7, 8, 9
BENCH_HOURS, SCOPE, DATE_CHANGE = 10, 11, 12

# Runs per batch. Each batch has its own streams, so the same run has the same draws only with the same size.
BATCH_RUNS = 500


def stream(seed: int, *place: int) -> np.random.Generator:
    """A generator for one part of the forecast, in the same state at every call.

    Parameters
    ----------
    seed : of the forecast
    place : one of the names above, then the number of the batch or similar

    Examples
    --------
    >>> bool(stream(0, EFFORT, 1).random() == stream(0, EFFORT, 1).random())
    True
    """
    return np.random.default_rng(np.random.SeedSequence(seed, spawn_key=place))


def named_stream(seed: int, name: str, *place: int) -> np.random.Generator:
    """A generator named by a text, so that one person's draws do not shift when another one joins.

    Parameters
    ----------
    seed : of the forecast
    name : of a person or thing
    place : as in `stream`
    """
    return stream(seed, crc32(name.encode()), *place)
