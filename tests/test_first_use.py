"""The first forecast on a machine: whether the kernels are compiled."""

import numpy as np

from forecast.files.plan import Plan, Task
from forecast.learn.bench_time import kernel as weeks
from forecast.simulate.first_use import loops_are_compiled
from forecast.simulate.network import kernel as network
from forecast.simulate.network import network_of_untouched, simulate_schedule


class NotCompiled:
    """A kernel that nobody has compiled: its cache folder is empty."""

    signatures = ()

    def __init__(self, folder):
        self.stats = type("Stats", (), {"cache_path": str(folder)})
        self.py_func = network.simulate_runs.py_func


def test_loops_are_compiled_when_both_kernels_are(monkeypatch, tmp_path):
    plan = Plan(tasks=(Task(task="A", stage="A", title=""),))
    simulate_schedule(network_of_untouched(plan), [[1.0]], np.ones((1, 1, 1)))
    monkeypatch.setattr(weeks, "simulate_weeks", network.simulate_runs)
    monkeypatch.setattr(weeks, "__file__", network.__file__)
    assert loops_are_compiled()
    monkeypatch.setattr(weeks, "simulate_weeks", NotCompiled(tmp_path))
    assert not loops_are_compiled()
