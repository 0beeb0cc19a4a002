"""The first forecast on a machine: what must be compiled, and who does it."""

import subprocess
import sys

import numpy as np
import pytest

from forecast.compiled import compile_in_other_process, wait_for_other_process
from forecast.learn.bench_time import kernel as weeks
from forecast.simulate import first_use
from forecast.simulate.network import kernel as network


class NotYet:
    """A loop that nobody has compiled: no index of it lies in its folder."""

    signatures = ()

    def __init__(self, folder):
        self.stats = type("Stats", (), {"cache_path": str(folder)})
        self.py_func = network.simulate_runs.py_func


@pytest.fixture
def begun(monkeypatch):
    """What was begun as a process of its own, without beginning it."""
    words: list[list[str]] = []
    monkeypatch.setattr(first_use.subprocess, "Popen", lambda said, **more: words.append(said))
    monkeypatch.setattr(first_use, "compile_in_other_process", lambda process: None)
    monkeypatch.setattr(first_use.os, "cpu_count", lambda: 2)
    return words


def test_loops_are_compiled_when_both_are(monkeypatch, tmp_path):
    first_use.play_one_task()
    monkeypatch.setattr(weeks, "simulate_weeks", network.simulate_runs)
    monkeypatch.setattr(weeks, "__file__", network.__file__)
    assert first_use.loops_are_compiled()
    monkeypatch.setattr(weeks, "simulate_weeks", NotYet(tmp_path))
    assert not first_use.loops_are_compiled()


def test_another_process_compiles_what_is_not(monkeypatch, tmp_path, begun):
    first_use.play_one_task()
    first_use.start_compiling()
    assert not begun
    monkeypatch.setattr(network, "simulate_runs", NotYet(tmp_path))
    first_use.start_compiling()
    assert begun == [[sys.executable, "-m", "forecast.simulate.first_use"]]
    monkeypatch.setattr(first_use.os, "cpu_count", lambda: 1)
    first_use.start_compiling()
    assert len(begun) == 1


def test_a_play_waits_for_the_process_that_compiles():
    process = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(0.3)"])
    compile_in_other_process(process)
    first_use.play_one_task()
    assert process.returncode == 0
    wait_for_other_process()


def test_the_task_that_is_played_compiles_what_every_forecast_plays():
    from forecast.files.plan import Plan, Task
    from forecast.simulate.network import network_of_untouched, simulate_schedule

    first_use.play_one_task()
    tasks = (Task(task="A", stage="tail", title=""), Task(task="B", stage="tail", title="", after=("A",)))
    simulate_schedule(
        network_of_untouched(Plan(tasks=tasks)),
        np.ones((3, 2)),
        np.ones((3, 9, 2)),
        expected_hours=[1.0, 1.0],
        reopening_hours=np.full((3, 2), 0.5),
        reopening_after_days=np.full((3, 2), 2.0),
        grid=[1, 2],
        trace=True,
    )
    assert len(network.simulate_runs.signatures) == 1
