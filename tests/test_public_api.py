"""What `import forecast` offers: one sorted list, every name documented, and nothing heavy at import."""

import ast
import inspect
import pickle
import subprocess
import sys
from pathlib import Path

import pytest

import forecast

SOURCE = Path(forecast.__file__)


def test_the_list_is_sorted_and_short():
    assert forecast.__all__ == sorted(forecast.__all__)
    assert 20 <= len(forecast.__all__) <= 32


@pytest.mark.parametrize("name", forecast.__all__)
def test_every_public_name_can_be_used_and_is_documented(name):
    value = getattr(forecast, name)
    assert isinstance(value, str) if name == "__version__" else len(inspect.getdoc(value)) > 20


def test_type_checkers_see_the_same_names_as_users():
    """The names imported for type checkers and those imported on first use are the same."""
    tree = ast.parse(SOURCE.read_text(encoding="utf-8"))
    block = next(n for n in tree.body if isinstance(n, ast.If))
    typed = {(n.module, alias.name) for n in block.body for alias in n.names}
    assert typed == {(module, name) for name, module in forecast._HOME_OF.items()}
    assert {name for _, name in typed} == set(forecast.__all__) - {"__version__"}


def test_importing_the_package_imports_nothing_heavy():
    code = "import sys, forecast; print([m for m in ('numpy', 'pandas', 'numba') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_an_error_from_a_worker_process_keeps_its_problems():
    error = forecast.InputError.about("log.csv", "must have a header", 1)
    again = pickle.loads(pickle.dumps(error))
    assert (type(again), again.problems, str(again)) == (type(error), error.problems, str(error))


def test_an_unknown_name_is_an_attribute_error():
    with pytest.raises(AttributeError, match="has no attribute 'finish_dates'"):
        _ = forecast.finish_dates


def test_functions_with_two_or_more_parameters_describe_them():
    silent = []
    for name in forecast.__all__:
        value = getattr(forecast, name)
        if inspect.isfunction(value):
            parameters = inspect.signature(value).parameters
            if len(parameters) > 1 and "Parameters\n" not in inspect.getdoc(value):
                silent.append(name)
    assert silent == []
