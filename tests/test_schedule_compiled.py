"""How the compiled kernel is kept."""

from pathlib import Path

import numpy as np

from forecast.compiled import compile_cached, is_compiled
from forecast.files.plan import Plan, Task
from forecast.simulate.network import kernel, kernel_is_compiled, network_of_untouched, simulate_schedule


def test_after_one_play_the_kernel_is_compiled():
    plan = Plan(tasks=(Task(task="A", stage="tail", title=""),))
    simulate_schedule(network_of_untouched(plan), [[1.0]], np.ones((1, 2, 1)))
    assert kernel_is_compiled()


def test_what_another_process_compiled_is_known_to_be():
    class NotCalledYet:
        signatures = ()
        stats, py_func = kernel.simulate_runs.stats, kernel.simulate_runs.py_func

    assert is_compiled(NotCalledYet, kernel.__file__)


def test_one_signature_serves_every_kind_of_input():
    plan = Plan(tasks=(Task(task="A", stage="tail", title=""),))
    network = network_of_untouched(plan)
    for kind in (np.float32, np.float64, np.int64):
        simulate_schedule(network, np.ones((1, 1), kind), np.ones((1, 2, 1), kind), trace=True, grid=[1])
    assert len(kernel.simulate_runs.signatures) == 1


def test_where_nothing_can_be_kept_the_kernel_is_compiled_for_now():
    space: dict = {}
    exec(compile("def twice(x):\n    return 2 * x\n", "nowhere.py", "exec"), space)
    assert compile_cached(space["twice"])(21) == 42


def test_what_is_kept_depends_on_every_file_of_the_kernel():
    folder = Path(kernel.__file__).parent
    compiled = {p.name for p in folder.glob("*.py") if "@compiled" in p.read_text(encoding="utf-8")}
    assert compiled - {"kernel.py"} <= set(kernel._OTHER_FILES)


def test_a_changed_file_changes_the_number_that_is_kept_with_the_code():
    assert kernel._digest("ready_queues.py") != kernel._digest("dispatch.py")
