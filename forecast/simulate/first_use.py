"""The first forecast on a machine: its loops are compiled by two processes at once.

    python -m forecast.simulate.first_use

compiles the play of the network by playing one task, and keeps it. One process compiles one thing at a time;
so the first command leaves that to another, and reads, learns and compiles the play of the weeks meanwhile.
"""

from __future__ import annotations

import os
import subprocess
import sys

from forecast.compiled import compile_in_other_process, is_compiled


def loops_are_compiled() -> bool:
    """Whether this machine has every loop that a forecast plays: else the first takes some seconds longer.

    Once compiled they are kept beside the package or, where that folder cannot be written, in the user's
    cache folder.
    """
    from forecast.learn.bench_time import kernel
    from forecast.simulate.network import kernel_is_compiled

    return kernel_is_compiled() and is_compiled(kernel.simulate_weeks, kernel.__file__)


def start_compiling() -> None:
    """Let another process compile the play of the network; the first play here waits for it.

    Nothing is begun where it is compiled, where one core has to do everything, and where nothing can be kept.
    What goes wrong there costs time only: it is compiled here then.
    """
    from forecast.simulate.network import kernel, kernel_is_compiled

    if kernel_is_compiled() or (os.cpu_count() or 1) < 2 or not kernel.simulate_runs.stats.cache_path:
        return
    compile_in_other_process(
        subprocess.Popen(
            [sys.executable, "-m", "forecast.simulate.first_use"],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
    )


def play_one_task() -> None:
    """Play a network of one task for one day."""
    from forecast.files.plan import Plan, Task
    from forecast.simulate.network import network_of_untouched, simulate_schedule

    plan = Plan(tasks=(Task(task="A", stage="A", title=""),))
    simulate_schedule(network_of_untouched(plan), [[1.0]], [[[1.0]]])


if __name__ == "__main__":
    play_one_task()
