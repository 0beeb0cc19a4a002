"""Whether this machine has compiled the loops that every forecast runs."""

from __future__ import annotations

from forecast.compiled import is_compiled


def loops_are_compiled() -> bool:
    """Whether both kernels are in numba's cache; if not, the first forecast does (some 10 s).

    The cache is next to the package or, where that folder is read-only, in the user's cache folder.
    """
    # Compiling one kernel in a second process was no faster on two cores (cold cache: 16 to 31 s against 10
    # to 30 s, alternating): it takes 2 s of CPU more, because that process imports everything again.
    from forecast.learn.bench_time import kernel as weeks
    from forecast.simulate.network import kernel as network

    kernels = ((network.simulate_runs, network.__file__), (weeks.simulate_weeks, weeks.__file__))
    return all(is_compiled(function, file) for function, file in kernels)
