"""How the compiled kernel is cached."""

from pathlib import Path

import numpy as np

from forecast.compiled import compile_cached, is_compiled
from forecast.files.plan import Plan, Task
from forecast.simulate.network import kernel, network_of_untouched, simulate_schedule


def test_after_one_simulation_the_kernel_is_compiled():
    plan = Plan(tasks=(Task(task="A", stage="tail", title=""),))
    simulate_schedule(network_of_untouched(plan), [[1.0]], np.ones((1, 2, 1)))
    assert is_compiled(kernel.simulate_runs, kernel.__file__)


def test_a_kernel_that_another_process_compiled_counts_as_compiled():
    class NotCalledYet:
        signatures = ()
        stats, py_func = kernel.simulate_runs.stats, kernel.simulate_runs.py_func

    assert is_compiled(NotCalledYet, kernel.__file__)


def test_one_signature_serves_every_kind_of_input():
    plan = Plan(tasks=(Task(task="A", stage="tail", title=""),))
    network = network_of_untouched(plan)
    for kind in (np.float32, np.float64, np.int64):
        simulate_schedule(network, np.ones((1, 1), kind), np.ones((1, 2, 1), kind), trace=True, grid=[1])
    simulate_schedule(
        network,
        np.ones((3, 1)),
        np.ones((3, 9, 2)),
        expected_hours=[1.0],
        reopening_hours=np.full((3, 1), 0.5),
        reopening_after_hours=np.full((3, 1), 2.0),
    )
    assert len(kernel.simulate_runs.signatures) == 1


def test_without_a_cache_folder_the_kernel_is_compiled_for_this_process():
    space: dict = {}
    exec(compile("def twice(x):\n    return 2 * x\n", "nowhere.py", "exec"), space)
    assert compile_cached(space["twice"])(21) == 42


def test_the_cache_depends_on_every_file_of_the_kernel():
    folder = Path(kernel.__file__).parent
    inlined = {p.name for p in folder.glob("*.py") if "@inlined" in p.read_text(encoding="utf-8")}
    assert len(inlined) == 3
    assert inlined - {"kernel.py"} <= set(kernel._INLINED_FILES)


def test_another_text_gives_another_digest():
    assert kernel._digest("ready_queues.py") != kernel._digest("dispatch.py")
