"""A short command leaves garbage where it lies, and only while it lasts."""

import gc
import inspect

import pytest

from forecast.cli.finish_overruns import finish
from forecast.cli.options import short_work


@short_work()
def _fail_in_short_work():
    assert not gc.isenabled()
    raise KeyError


@pytest.mark.parametrize("searched", [True, False])
def test_the_search_for_garbage_is_as_it_was_afterwards(searched):
    before = gc.isenabled()
    try:
        (gc.enable if searched else gc.disable)()
        with pytest.raises(KeyError):
            _fail_in_short_work()
        assert gc.isenabled() == searched
    finally:
        (gc.enable if before else gc.disable)()


def test_the_command_keeps_its_options():
    assert list(inspect.signature(finish).parameters)[:4] == ["folder", "as_of", "runs", "seed"]
